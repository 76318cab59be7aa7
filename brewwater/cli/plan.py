"""``brewwater plan``: a plan from a document, a report or three numbers."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from brewwater.cli.words import open_store
from brewwater.errors import InputError

if TYPE_CHECKING:
    from brewwater.plan import Plan
    from brewwater.store.people import Document

MOVED = "dates_moved"


def _source(named: str) -> tuple[Path | Document, str | None]:
    """The file of a plan; or what the saved unit of that name is planned from, and its name."""
    path = Path(named)
    try:
        if path.exists() or path.suffix == ".json" or len(path.parts) > 1:
            return path, None
    except (OSError, ValueError):  # no name of a file
        pass
    from brewwater.store.faults import UnknownUnit

    with open_store() as place:
        try:
            return place.planned(named), named
        except UnknownUnit:
            units = ", ".join(u.name for u in place.units()[:10]) or "none"
            limit = f"it is neither a file nor a saved unit; saved units: {units}"
            raise InputError("PLAN.json", named, limit, "Give a plan document or a unit.") from None


@click.command()
@click.argument("source", metavar="[PLAN.json|UNIT]", required=False)
@click.option("--report", type=click.Path(path_type=Path), help="A water report (pdf, csv, xlsx, html, txt, md).")
@click.option("--supply", help="Which supply of the report.")
@click.option("--hardness", help="Total hardness, mg/L (ppm) as CaCO3, or with a unit: '17 gpg'.")
@click.option("--alkalinity", help="Alkalinity, mg/L (ppm) as CaCO3.")
@click.option("--tds", help="Total dissolved solids, mg/L (ppm).")
@click.option("--drinks", help="Drinks per service day.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole result as JSON.")
@click.option("--full", is_flag=True, help="Print everything: reasons, alternatives, every cartridge and cost.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the sheet, the calendar and the tables.")
def plan(
    source: str | None,
    report: Path | None,
    supply: str | None,
    hardness: str | None,
    alkalinity: str | None,
    tds: str | None,
    drinks: str | None,
    as_json: bool,
    full: bool,
    out: Path | None,
) -> None:
    """Make a plan from a document, a saved unit with its log, a report or three numbers; else the demo."""
    from brewwater.plan import make_plan
    from brewwater.planning.quick import quick_document

    given, unit = (None, None) if source is None else _source(source)
    document = quick_document(
        given,
        report=report,
        supply=supply,
        hardness=hardness,
        alkalinity=alkalinity,
        tds=tds,
        drinks=drinks,
        named="--{}",
    )
    made = make_plan(document)
    if unit is not None and not (report or supply or hardness or alkalinity or tds or drinks):
        made = _tell_moved(unit, made, seen=not as_json)
    if out is not None:
        from brewwater.output.sheet.files import write_all

        for path in write_all(made, out):
            click.echo(str(path), err=True)
    if as_json:
        from brewwater.output.result import plan_result

        click.echo(plan_result(made).model_dump_json(indent=2))
    elif full:
        from brewwater.output.result import summary

        click.echo(summary(made))
    else:
        from brewwater.output.answer import answer
        from brewwater.output.numbers import Words
        from brewwater.output.terminal import show

        for warning in made.warnings:
            if warning.code == MOVED:
                click.echo(f"{warning.message}\n")
        show(answer(made, Words(made.document.units == "metric"), dt.date.today()))


def _tell_moved(unit: str, made: Plan, *, seen: bool) -> Plan:
    """The plan of a saved unit, with a warning where new rules moved its dates; told once where a person sees it."""
    from brewwater.plan import Warning_

    with open_store() as place:
        moved = place.dates_moved(unit, made)
        if moved is None:
            return made
        if seen:
            place.tell(unit, made)
    return replace(made, warnings=(Warning_(MOVED, moved.sentence), *made.warnings))
