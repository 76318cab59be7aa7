"""``brewwater fact``: what was foretold against what the log shows, for a unit, and what all units tell the next."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import click

from brewwater.cli.words import open_store
from brewwater.errors import InputError

if TYPE_CHECKING:
    from brewwater.store import Store


@click.command
@click.argument("unit", required=False)
@click.option("--json", "as_json", is_flag=True)
@click.option("--use-own", is_flag=True, help="Save the figures of your other units in the plan of UNIT.")
@click.option("--forget-own", is_flag=True, help="Save the plan of UNIT without them.")
def fact(unit: str | None, as_json: bool, use_own: bool, forget_own: bool) -> None:
    """Forecast against fact: gallons, dates and money of UNIT; without UNIT, what all units tell of water and lives."""
    if (use_own or forget_own) and unit is None:
        flag = "--use-own" if use_own else "--forget-own"
        raise InputError(flag, "no unit", "it needs to know whose plan is meant", "Name a unit before it.")
    if use_own and forget_own:
        raise InputError("--use-own", "with --forget-own", "one contradicts the other", "Give one of them.")
    with open_store() as place:
        if unit is None:
            _all(place, as_json)
        elif use_own or forget_own:
            _keep(place, unit, use_own)
        else:
            _one(place, unit, as_json)


def _one(place: Store, unit: str, as_json: bool) -> None:
    import json

    from brewwater.output.fact import coverage_line, facts_result
    from brewwater.planning.document import load_document
    from brewwater.planning.fact import coverage, facts_of

    found = facts_of(load_document(place.planned(unit)))
    if found is None:
        raise InputError(
            "UNIT", unit, "its plan states no treatment, or nothing is logged", "Choose its treatment and log readings."
        )
    result = facts_result(found, coverage(found.changes))
    if as_json:
        click.echo(json.dumps(result, indent=2))
        return
    click.echo(f"{found.name}, {found.first} to {found.last}")
    if found.metered_gal is not None and found.planned_gal is not None:
        low, middle, high = found.planned_gal
        click.echo(f"gallons   planned {middle:,.0f} ({low:,.0f} to {high:,.0f}), metered {found.metered_gal:,.0f}")
    for row in result["changes"]:
        planned = row["planned_gal"]
        gal = ""
        if planned is not None:
            inside = "inside" if row["inside"] else "outside"
            gal = f"; {row['metered_gal']:,.0f} gal, {inside} {planned['p10']:,.0f} to {planned['p90']:,.0f}"
        due = f"due {row['expected']} ({row['early']} to {row['late']})" if row["expected"] else "not due in the plan"
        click.echo(f"change    {row['changed']} {row['cartridge']}: {due}{gal}; {row['ended']}")
    for row in result["money"]:
        click.echo(
            f"money     {row['cartridge']}: {row['planned']} planned, {row['made']} made, "
            f"{row['each']:,.2f} {found.currency} each"
        )
    click.echo(coverage_line(coverage(found.changes)))


def _all(place: Store, as_json: bool) -> None:
    import json

    from brewwater.output.fact import fleet_result, own_units_lines, told_of
    from brewwater.planning.own_units import LEAST_UNITS, eight_in_ten, pooled

    told, left_out = told_of(place)
    for line in left_out:  # one unit that cannot be read must not hide the others
        click.echo(f"brewwater: {line}", err=True)
    found = pooled(told)
    figures = found.figures(dt.date.today())
    if as_json:
        click.echo(json.dumps(fleet_result(found, figures), indent=2))
        return
    if figures is None:
        click.echo(f"{len(told)} units tell something; figures for the next one need at least {LEAST_UNITS}.")
        return
    click.echo(f"From {figures.source}; for a next unit, eight cases in ten:")
    for name, factor in own_units_lines(figures):
        low, high = eight_in_ten(factor)
        click.echo(f"{name}: {factor.middle:.2f} ({low:.2f} to {high:.2f}), from {factor.units} units")
    drink = found.gal_per_drink
    if drink is not None:
        click.echo(f"Water through the filters for a drink: {drink[1]:.3f} gal ({drink[0]:.3f} to {drink[2]:.3f})")


def _keep(place: Store, unit: str, use: bool) -> None:
    from brewwater.output.fact import figures_for
    from brewwater.planning.document import load_document
    from brewwater.planning.own_units import LEAST_UNITS, with_own_units

    ref = place.unit(unit).ref
    plan = place.plan(ref)
    if plan is None:
        raise InputError("UNIT", unit, "it has no plan yet", "Save a plan for it first.")
    figures = figures_for(place, ref, dt.date.today()) if use else None
    if use and figures is None:
        why = f"fewer than {LEAST_UNITS} of your other units tell anything"
        raise InputError("--use-own", unit, why, "Log meters and tests in more units.")
    document = with_own_units(load_document(plan.document), figures)
    saved = place.save_plan(ref, document.model_dump(mode="json"), plan.version)
    what = "without figures of your own units" if figures is None else f"with figures of {figures.source}"
    click.echo(f"{ref}, version {saved.version}: {what}")
