"""``brewwater log``: the log of readings."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from brewwater.cli.words import open_store
from brewwater.errors import InputError

if TYPE_CHECKING:
    from brewwater.store import Store


@click.group()
def log() -> None:
    """The log of readings."""


@log.command("add")
@click.argument("unit_id", metavar="UNIT")
@click.option("--date", required=True)
@click.option("--kind", required=True)
@click.option("--value", required=True)
@click.option("--unit", "unit_text", required=True)
@click.option("--where", default="", help="source, served, or the name of a supply, a branch or a cartridge.")
@click.option("--note", default="")
@click.option("--new", is_flag=True, help="Make the unit where there is none of that name.")
def log_add(unit_id: str, date: str, kind: str, value: str, unit_text: str, where: str, note: str, new: bool) -> None:
    """Add one reading. The first unit of an empty store is made; after that a new one needs --new."""
    with open_store() as place:
        there = place.units()
        if there and not new and not _known(place, unit_id):
            names = [unit.ref for unit in there]
            shown = ", ".join(names[:10]) + (f" and {len(names) - 10} more" if len(names) > 10 else "")
            raise InputError(
                "UNIT", unit_id, f"there is no such unit, there are: {shown}", "Give one of these, or --new to make it."
            )
        line = place.add_reading_text(
            unit_id, date=date, kind=kind, value=value, unit=unit_text, where=where, note=note
        )
        click.echo(line)


def _known(place: Store, name: str) -> bool:
    """Whether the store finds a unit by that name, in whatever spelling."""
    from brewwater.store.faults import UnknownUnit

    try:
        place.unit(name)
    except UnknownUnit:
        return False
    return True


@log.command("list")
@click.argument("unit_id", metavar="UNIT")
@click.option("--json", "as_json", is_flag=True)
def log_list(unit_id: str, as_json: bool) -> None:
    """List the readings of a unit."""
    with open_store() as place:
        rows = place.readings_as_rows(unit_id)
    if as_json:
        click.echo(json.dumps(rows, indent=2))
    else:
        for row in rows:
            click.echo("  ".join(str(row[k]) for k in ("id", "date", "kind", "value", "unit", "where")))
