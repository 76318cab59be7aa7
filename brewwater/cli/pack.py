"""``brewwater pack``: a unit's papers for its client and for an inspector."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from brewwater.cli.words import day_typed, open_store, small_file
from brewwater.errors import InputError


@click.command()
@click.argument("unit_id", metavar="UNIT")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the files.")
@click.option("--owner", default="", help="Name of whoever gives it out, printed at the head.")
@click.option("--logo", type=click.Path(path_type=Path), help="Picture for the head: PNG or JPEG.")
@click.option("--date", "made", help="The day it is made on; today by default.")
def pack(unit_id: str, out: Path, owner: str, logo: Path | None, made: str | None) -> None:
    """Write a unit's papers: client.pdf and inspector.pdf, and the same as .html."""
    from brewwater.output.owner import LOGO_BYTES, owner_of
    from brewwater.output.pack.files import pack_files, write_files
    from brewwater.plan import make_plan

    giver = owner_of(owner, small_file(logo, "--logo", LOGO_BYTES), fields=("--owner", "--logo"))
    day = day_typed("--date", made, dt.date.today())
    with open_store() as place:
        document = place.document(unit_id)
    if document is None:
        limit = "it has a log, and no plan was saved yet"
        raise InputError("UNIT", unit_id, limit, "Save a plan in the front end.")
    plan = make_plan(document, search=document.get("train") is None)
    for path in write_files(pack_files(plan, giver, day), out):
        click.echo(str(path))
