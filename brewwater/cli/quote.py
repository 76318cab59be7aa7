"""``brewwater quote``: what a unit's treatment costs, for its client."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from brewwater.cli.words import day_typed, number_between, open_store, small_file


@click.command()
@click.argument("unit_id", metavar="UNIT")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the files.")
@click.option("--client", default="", help="For whom.")
@click.option("--number", default="", help="Number of the quote; by the day and the plan by default.")
@click.option("--days", default="30", help="Days it is valid.")
@click.option("--tax", help="Tax in per cent, on all that is paid at installation.")
@click.option("--labour", help="What the fitting costs, before tax, in the plan's currency.")
@click.option("--owner", default="", help="Name of whoever gives it, printed at the head.")
@click.option("--logo", type=click.Path(path_type=Path), help="Picture for the head: PNG or JPEG.")
@click.option("--date", "made", help="The day it is made on; today by default.")
def quote(
    unit_id: str,
    out: Path,
    client: str,
    number: str,
    days: str,
    tax: str | None,
    labour: str | None,
    owner: str,
    logo: Path | None,
    made: str | None,
) -> None:
    """Write a quote for a unit: quote.pdf, quote.html and quote.csv."""
    from brewwater.output.owner import LOGO_BYTES, owner_of
    from brewwater.output.pack.files import write_files
    from brewwater.output.quote.files import quote_files
    from brewwater.output.quote.quote import MOST_VALID_DAYS, QuoteTerms, make_quote
    from brewwater.plan import make_plan

    def amount(field: str, text: str | None, most: float, needed: str) -> float | None:
        return None if text is None else number_between(field, text, 0, most, needed, "Give a plain number.")

    valid = number_between("--days", days, 1, MOST_VALID_DAYS, f"1 to {MOST_VALID_DAYS} days", "Give another number.")
    terms = QuoteTerms(
        made=day_typed("--date", made, dt.date.today()),
        client=" ".join(client.split()),
        number=" ".join(number.split()),
        valid_days=int(valid),
        tax_percent=amount("--tax", tax, 100, "0 to 100 per cent"),
        labour=amount("--labour", labour, 1e7, "0 to 10,000,000 in the plan's currency"),
        owner=owner_of(owner, small_file(logo, "--logo", LOGO_BYTES), fields=("--owner", "--logo")),
    )
    with open_store() as place:
        document = place.planned(unit_id)
    for path in write_files(quote_files(make_quote(make_plan(document), terms, fields="--{}")), out):
        click.echo(str(path))
