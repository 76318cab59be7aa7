"""An invented firm (``tests/lived.py``): does what its units tell make a new unit's first date better, and do the
plans' ranges hold as often as they say?

``BREWWATER_FACT``: how many firms are lived through, one by default, each with 10 units that tell and 3 new ones; from
two on each has 60 that tell and 12 new ones. Run as a script it prints the figures.
"""

from __future__ import annotations

import datetime as dt
import os
import sys
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))

from lived import LivedUnit, firm

from brewwater.planning.candidate import evaluate
from brewwater.planning.document import PlanDocument
from brewwater.planning.fact import Foretold, coverage, facts_of
from brewwater.planning.own_units import pooled, told_by, with_own_units
from brewwater.planning.scenario import prepare

FIRMS = int(os.environ.get("BREWWATER_FACT", "1"))


@dataclass
class Lived:
    """errors : days by which the first date was off, plain and with the firm's figures, for each new unit and
    cartridge that tests can show used up; ``grit`` the same of those that none can. ``changes`` by unit."""

    errors: list[tuple[float, float]] = field(default_factory=list)
    grit: list[tuple[float, float]] = field(default_factory=list)
    changes: list[tuple[Foretold, ...]] = field(default_factory=list)


def first_dates(document: PlanDocument) -> dict[str, dt.date]:
    calendar = evaluate(prepare(document), document.train or ()).calendar
    return {name: calendar.of(name)[0].date for name in calendar.lives if calendar.of(name)}


@cache
def lived(firms: int) -> Lived:
    old, new = (10, 3) if firms < 2 else (60, 12)
    found = Lived()
    for seed in range(firms):
        told = [t for u in firm(old, seed) if (t := told_by(u.document)) is not None]
        figures = pooled(told).figures(dt.date(2026, 12, 1))
        assert figures is not None
        for unit in firm(new, 1000 + seed):
            _one(found, unit, with_own_units(unit.bare, figures), with_own_units(unit.document, figures))
        print(f"firm {seed}", file=sys.stderr)
    return found


def _one(found: Lived, unit: LivedUnit, bare: PlanDocument, logged: PlanDocument) -> None:
    plain, own = first_dates(unit.bare), first_dates(bare)
    for name, true in unit.due.items():
        off = float((plain[name] - true).days), float((own[name] - true).days)
        (found.errors if name == "resin" else found.grit).append(off)
    facts = facts_of(logged)
    assert facts is not None
    found.changes.append(facts.changes)


def resampled(values: NDArray[np.float64], times: int = 2000) -> tuple[float, float]:
    """95 % interval of a mean over units, by drawing the units anew."""
    rng = np.random.default_rng(7)
    means = values[rng.integers(0, len(values), (times, len(values)))].mean(axis=1)
    low, high = np.percentile(means, [2.5, 97.5])
    return float(low), float(high)


def test_what_a_firm_learned_makes_the_first_date_of_a_new_unit_better() -> None:
    plain, own = np.abs(np.array(lived(FIRMS).errors)).T
    assert own.mean() < plain.mean()
    if FIRMS > 1:  # over many new units the gain is not chance
        assert resampled(plain - own)[0] > 0


def test_the_ranges_hold_as_often_as_they_say() -> None:
    changes = [row for unit in lived(FIRMS).changes for row in unit]
    held = coverage(changes)
    # the changes of a few units: wide enough that only a wrong range falls outside (one time in a thousand)
    share, of = held.gal / held.gal_of, held.gal_of
    assert abs(share - 0.8) < 3.3 * np.sqrt(0.8 * 0.2 / of)
    if FIRMS > 1:
        low, high = by_unit()[1]
        assert low <= 0.8 <= high


def by_unit() -> tuple[float, tuple[float, float]]:
    """Share of the metered gallons inside their range, and its 95 % interval with units, not changes, drawn anew: the
    changes of one unit share their meter and their plan."""
    inside = np.array([[sum(bool(r.gal_inside) for r in unit), len(unit)] for unit in lived(FIRMS).changes])
    rng = np.random.default_rng(7)
    drawn = inside[rng.integers(0, len(inside), (4000, len(inside)))].sum(axis=1)
    low, high = np.percentile(drawn[:, 0] / drawn[:, 1], [2.5, 97.5])
    return float(inside[:, 0].sum() / inside[:, 1].sum()), (float(low), float(high))


if __name__ == "__main__":
    seen = lived(FIRMS)
    for what, rows in (("softener", seen.errors), ("sediment", seen.grit)):
        off = np.abs(np.array(rows))
        gain = off[:, 0] - off[:, 1]
        print(f"{what}: {len(off)} new units, first date off by (mean, 10th, 50th, 90th percentile, days)")
        for name, values in (("plain plan", off[:, 0]), ("own units", off[:, 1])):
            print(f"  {name:10} {values.mean():5.1f}", np.percentile(values, [10, 50, 90]).round(1))
        print(f"  gain       {gain.mean():5.1f} (95 % {resampled(gain)[0]:.1f} to {resampled(gain)[1]:.1f})")
    every = [row for unit in seen.changes for row in unit]
    for what, rows_ in (
        ("all", every),
        ("first", [r for r in every if r.spell.number == 0]),
        ("later", [r for r in every if r.spell.number > 0]),
    ):
        held_ = coverage(rows_)
        print(
            f"{what}: gallons {held_.gal} of {held_.gal_of} = {held_.gal / held_.gal_of:.3f}, Wilson",
            held_.gal_interval,
            f"; ends {held_.used_up} {held_.used_up_interval}, seen {held_.seen}, before {held_.early}",
        )
    print("gallons, units drawn anew:", by_unit())
