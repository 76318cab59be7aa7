"""``brewwater round``: what is overdue, due and soon over all units."""

from __future__ import annotations

import datetime as dt

import click

from brewwater.cli.words import open_store
from brewwater.errors import InputError


def _day(field: str, text: str | None, otherwise: dt.date | None) -> dt.date | None:
    if text is None:
        return otherwise
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(field, text, "a date such as 2027-05-31 is needed", "Write year, month, day.") from None


@click.command
@click.option("--json", "as_json", is_flag=True)
@click.option("--from", "first", help="First day of the round; today by default.")
@click.option("--to", "last", help="Last day; four weeks on by default.")
def round(as_json: bool, first: str | None, last: str | None) -> None:
    """Changes that are overdue, due within a week, or soon, in all units; by the plans' calendars and their logs."""
    import json

    from brewwater.output.round import parts_list, shortages, stops
    from brewwater.output.round_keeping import round_of

    start = _day("--from", first, dt.date.today()) or dt.date.today()
    end = _day("--to", last, None)
    if end is not None and end < start:
        raise InputError("--to", last, f"it must not be before {start}", "Give a later day.")
    with open_store() as place:
        found, left_out = round_of(place)
        stock = {item.name: item.in_stock for item in place.shelf().items}
    for line in left_out:  # one unit that cannot be planned must not hide the others
        click.echo(f"brewwater: {line}", err=True)
    ordered = stops(found, start, end)
    if as_json:
        rows = [
            {
                "unit": s.unit,
                "cartridge": s.cartridge,
                "due": s.due.isoformat(),
                "state": s.state,
                "parts": list(s.parts),
                "name": s.name,
                "number": s.number,
                "place": s.place,
                "order_by": s.order_by.isoformat() if s.order_by else None,
                "governed_by": s.governs,
            }
            for s in ordered
        ]
        click.echo(json.dumps(rows, indent=2))
        return
    for s in ordered:
        click.echo(f"{s.state:8} {s.due}  {s.name}: {s.number} {s.cartridge} ({', '.join(s.parts)})")
    for part, count in parts_list(ordered).items():
        click.echo(f"load     {count} x {part}")
    for short in shortages(ordered, stock):
        order = f"; order by {short.order_by}" if short.order_by else ""
        click.echo(f"short    {short.part}: {short.in_stock} in stock, {short.needed} needed{order}")
    if not ordered:
        click.echo("Nothing is due.")
