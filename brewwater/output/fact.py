"""Forecast against fact in words and rows, of a unit and of all of a person's units: for command, page and JSON."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from brewwater.errors import BrewwaterError
from brewwater.log.own_units import OwnFactor, OwnUnits
from brewwater.log.pooled import Pooled
from brewwater.output.vocabulary import MEDIA
from brewwater.planning.document import load_document
from brewwater.planning.fact import Coverage, Facts, Foretold
from brewwater.planning.own_units import Fleet, Kind, Told, pooled, told_by

if TYPE_CHECKING:
    from brewwater.store import Store


def ended(row: Foretold) -> str:
    """How a cartridge ended, as far as the log shows it."""
    spell = row.spell
    if spell.through is not None:
        since = "" if spell.good is None else f"after {spell.good}, "
        return f"used up: {since}by {spell.through} at the latest"
    if spell.good is not None:
        return f"changed before its end: still good on {spell.good}"
    return "no test shows"


def facts_table(found: Facts) -> list[dict[str, Any]]:
    """The changes as rows, in order of time; dates in ISO 8601, gallons US."""
    rows = sorted(found.changes, key=lambda r: (r.spell.out or r.spell.until, r.spell.stage.name))
    return [
        {
            "cartridge": r.spell.stage.name,
            "went_in": r.spell.went_in.isoformat(),
            "changed": None if r.spell.out is None else r.spell.out.isoformat(),
            "early": _iso(r.early),
            "expected": _iso(r.expected),
            "late": _iso(r.late),
            "planned_gal": _three(r.gal),
            "metered_gal": r.spell.gal,
            "inside": r.gal_inside,
            "last_good_test": _iso(r.spell.good),
            "first_failed_test": _iso(r.spell.through),
            "ended": ended(r),
        }
        for r in rows
    ]


def _three(found: tuple[float, float, float] | None) -> dict[str, float] | None:
    return None if found is None else dict(zip(("p10", "p50", "p90"), found, strict=True))


def _iso(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


def coverage_row(found: Coverage) -> dict[str, Any]:
    """How often the ranges of eight in ten held, with 95 % intervals."""
    interval = found.gal_interval
    return {
        "gallons_inside": found.gal,
        "gallons_of": found.gal_of,
        "gallons_interval": None if interval is None else list(interval),
        "used_up_inside": found.used_up,
        "used_up_interval": None if found.used_up_interval is None else list(found.used_up_interval),
        "used_up_seen": found.seen,
        "taken_out_before": found.early,
    }


def coverage_line(found: Coverage) -> str:
    """The same in a sentence or two."""
    if not found.gal_of:
        return "No meter followed a cartridge from change to change: nothing shows how often the ranges held."
    low, high = found.gal_interval or (0.0, 1.0)
    said = (
        f"The metered gallons lay in the range of eight in ten for {found.gal} of {found.gal_of} cartridges "
        f"({found.gal / found.gal_of:.0%}; 95 % interval {low:.0%} to {high:.0%})."
    )
    if found.used_up is None or found.used_up_interval is None:
        return (
            f"{said} Seen used up by a test: {found.seen}; changed before: {found.early}, which says only that they "
            "lasted so long."
        )
    low, high = found.used_up_interval
    return (
        f"{said} The end lay in its range for {found.used_up:.0%} ({low:.0%} to {high:.0%}) of {found.seen} seen used "
        f"up, with {found.early} changed before counted as not yet."
    )


def facts_result(found: Facts, held: Coverage) -> dict[str, Any]:
    """Forecast against fact for one unit, as ``fact --json`` prints it."""
    return {
        "unit": found.name,
        "from": found.first.isoformat(),
        "to": found.last.isoformat(),
        "planned_gal": None
        if found.planned_gal is None
        else dict(zip(("p10", "p50", "p90"), found.planned_gal, strict=True)),
        "metered_gal": found.metered_gal,
        "changes": facts_table(found),
        "money": [
            {
                "cartridge": s.cartridge,
                "planned": s.planned,
                "made": s.made,
                "each": s.each,
                "planned_cost": s.planned * s.each,
                "cost": s.made * s.each,
            }
            for s in found.spent
        ],
        "currency": found.currency,
        "coverage": coverage_row(held),
    }


def kind_words(kind: Kind) -> str:
    """A medium and what its life is counted over."""
    over = "its sheet's rating" if kind[1] else "the usual figure of its class"
    return f"Life of {MEDIA[kind[0]].inside}, over {over}"


def own_units_lines(figures: OwnUnits) -> list[tuple[str, OwnFactor]]:
    """The figures that a plan takes from own units, each with its name."""
    lines: list[tuple[str, OwnFactor]] = []
    if figures.use is not None:
        lines.append(("Water behind the filters, over plan", figures.use))
    return lines + [(kind_words((life.medium, life.rated)), life) for life in figures.lives]


def fleet_result(found: Fleet, figures: OwnUnits | None) -> dict[str, Any]:
    """What own units tell, as ``fact --json`` prints it without a unit."""

    def shown(pooled_: Pooled) -> dict[str, Any]:
        return {
            "middle": float(np.exp(pooled_.middle)),
            "middle_log_sd": pooled_.middle_sd,
            "between_units_log_sd": _three(pooled_.spread),
            "next_unit_log_sd": pooled_.next_sd,
        }

    return {
        "units": [t.name for t in found.told],
        "water_over_plan": None if found.use is None else shown(found.use),
        "gal_per_drink": None if found.per_drink is None else shown(found.per_drink),
        "lives": [{"medium": kind[0], "rated": kind[1], **shown(life)} for kind, life in found.lives.items()],
        "own_units": None if figures is None else figures.model_dump(mode="json"),
    }


def told_of(
    store: Store, but: str | None = None, on: Callable[[float], None] | None = None
) -> tuple[list[Told], list[str]]:
    """What each unit of a person tells, and a line for each unit that cannot be read.

    Parameters
    ----------
    but : a unit to leave out: the one that the figures are for
    on : called with the share of the units that is done, 0 to 1
    """
    found: list[Told] = []
    left_out: list[str] = []
    units = [unit for unit in store.units() if unit.ref != but]
    for number, unit in enumerate(units):
        try:
            document = store.document(unit.ref)
            told = None if document is None else told_by(load_document(document))
            found += [] if told is None else [told]
        except BrewwaterError as error:
            left_out.append(f"{unit.ref} is left out: {error}")
        if on is not None:
            on((number + 1) / len(units))
    return found, left_out


def figures_for(store: Store, ref: str, day: dt.date) -> OwnUnits | None:
    """What a unit's plan can take from the person's other units; None where too few tell anything."""
    return pooled(told_of(store, ref)[0]).figures(day)
