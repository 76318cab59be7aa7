"""Simulated years with known truth: what three meter readings do to the next change date.

Each business has a plan (ranges) and a truth that the plan allows: drinks, water in a drink, the meter over the
plan, what the cartridge really holds, the water it meets, and days that differ. The filter meter is read three
times in the first third of the planned life. Run as a command for the full figures:

    python tests/consistency/test_readings_years.py 1000
"""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pytest

from brewwater.planning.candidate import route
from brewwater.planning.cartridges import Cartridge, cartridge
from brewwater.planning.correction import correct
from brewwater.planning.document import load_document
from brewwater.planning.scenario import Scenario, prepare
from brewwater.units import FL_OZ_L, GAL_L
from brewwater.water import CACO3_G_PER_EQ

START = dt.date(2026, 3, 2)
Case = Literal["volume", "exchange"]
DRAWS = 512


@dataclass(frozen=True)
class Found:
    """Days from the start: the true change, and early, expected and late date before and after the readings."""

    truth: int
    before: tuple[int, int, int]
    after: tuple[int, int, int]


def pert(rng: np.random.Generator, low: float, typical: float, high: float) -> float:
    mean = min(max((typical - low) / (high - low), 0.02), 0.98)
    return low + (high - low) * float(rng.beta(6 * mean, 6 * (1 - mean)))


def business(case: Case, seed: int, drift: float = 0.0, holds: float = 1.0) -> Found | None:
    """One business; None where the cartridge is spent before the third reading, or outlasts the plan.

    ``drift``: use grows by this share a year, unseen by the plan; ``holds``: the cartridge holds this part of
    what the plan allows.
    """
    rng = np.random.default_rng([seed, 77])
    typical = float(rng.uniform(60, 200))
    doubt = (typical * 0.85, typical, typical * 1.2)
    ounces = (8.0, 10.0, 12.0)
    alkalinity = (150.0, 190.0, 230.0)
    days_of_life = float(rng.uniform(70, 160))
    day_L = typical * ounces[1] * FL_OZ_L
    stage: dict[str, object] = {"name": "Filter", "medium": "carbon" if case == "volume" else "weak_acid"}
    rated_gal = day_L / GAL_L * days_of_life / 0.8
    if case == "volume":
        stage["sheet"] = {"rated_gal": rated_gal, "reference_chlorine_mg_L_as_Cl2": 2.0, "life_months": 36}
    else:
        stage["bypass_percent"] = 20
        stage["leakage_mg_L_as_CaCO3"] = 10
        eq = rated_gal * GAL_L * 0.8 * (alkalinity[1] - 10) / 1000 / CACO3_G_PER_EQ
        stage["sheet"] = {"capacity_grains": eq * CACO3_G_PER_EQ * 1000 / 64.79891, "life_months": 36}
    base = {
        "unit": {"kind": "truck"},
        "supplies": [
            {
                "name": "Town",
                "disinfectant": "free_chlorine",
                "analysis": {
                    "total_hardness": {"value": 300, "unit": "mg/L"},
                    "alkalinity": {"value": alkalinity, "unit": "mg/L"},
                    "free_chlorine": {"value": [0.2, 0.4, 0.6], "unit": "mg/L"},
                },
            }
        ],
        "fill": {"fills": [{"supply": "Town"}]},
        "demand": {
            "calendar": {"start": START.isoformat(), "weekdays": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]},
            "main_branch": "Machine",
            "drinks": [{"name": "cup", "per_service_day": doubt, "fl_oz": ounces}],
        },
        "branches": [{"name": "Machine", "kind": "espresso_machine", "machine": "M", "filtered": True}],
        "machines": [{"name": "M", "kind": "espresso"}],
        "train": [stage],
        "settings": {"draws": DRAWS, "seed": seed},
    }
    prior = prepare(load_document(base))
    before = dates(prior, next_change(prior))
    if before[1] >= 700:
        return None

    factor = float(np.exp(0.25 * rng.standard_t(4)))
    poured = pert(rng, *doubt) * pert(rng, *ounces) * FL_OZ_L * factor
    bears = holds * pert(rng, 0.75, 1.0, 1.15) * (1 + 0.05 * rng.standard_normal())
    room = 0.8 * rated_gal * GAL_L * bears
    if case == "exchange":
        room *= (alkalinity[1] - 10) / (pert(rng, *alkalinity) - 10)
    spread = np.sqrt(np.log(1 + 0.25**2))
    days = poured * np.exp(spread * rng.standard_normal(730) - spread**2 / 2) * (1 + drift * np.arange(730) / 365)
    total = np.cumsum(days)
    over = np.flatnonzero(total > room)
    read_on = [int(before[1] * part) for part in (0.11, 0.22, 0.33)]
    if not len(over) or over[0] <= read_on[-1]:
        return None
    slope = 1 + 0.02 * rng.standard_normal()
    log = [
        {
            "date": (START + dt.timedelta(days=d)).isoformat(),
            "kind": "meter_gal",
            "unit": "gal",
            "value": round(slope * float(total[d - 1] + rng.random() * days[d]) / GAL_L, 1),
        }
        for d in read_on
    ]
    document = load_document(base | {"readings": log})
    found = correct(prepare(document), document.train).scenario
    return Found(int(over[0]), before, dates(found, next_change(found)))


def next_change(scenario: Scenario) -> Cartridge:
    train = scenario.document.train or ()
    return cartridge(scenario, train[0], route(scenario, train, scenario.document.branches).loads["Filter"])


def dates(scenario: Scenario, one: Cartridge) -> tuple[int, int, int]:
    due = next(iter(one.alone.dues), None)
    found = (None, None, None) if due is None else (due.early, due.date, due.late)
    first = [730 if d is None else (d - START).days for d in found]
    return first[0], first[1], first[2]


@dataclass(frozen=True)
class Score:
    """Over many businesses: mean absolute error of the expected date in days, and coverage of early to late."""

    count: int
    left_out: int
    error_before: float
    error_after: float
    covered_before: float
    covered_after: float

    def __str__(self) -> str:
        return (
            f"{self.count} businesses ({self.left_out} left out): error {self.error_before:.1f} -> {self.error_after:.1f} "
            f"days ({self.error_after / self.error_before:.2f}); 10-90 % holds {self.covered_before:.1%} -> "
            f"{self.covered_after:.1%}"
        )


def score(case: Case, count: int, **truth: float) -> Score:
    every = [business(case, seed, **truth) for seed in range(count)]
    kept = [f for f in every if f is not None]
    return Score(
        len(kept),
        count - len(kept),
        float(np.mean([abs(f.before[1] - f.truth) for f in kept])),
        float(np.mean([abs(f.after[1] - f.truth) for f in kept])),
        float(np.mean([f.before[0] <= f.truth <= f.before[2] for f in kept])),
        float(np.mean([f.after[0] <= f.truth <= f.after[2] for f in kept])),
    )


@pytest.mark.parametrize("case", ["volume", "exchange"])
def test_three_readings_halve_the_error_and_the_range_holds_the_truth(case: Case) -> None:
    """60 businesses: the error gate is the aim itself, the coverage gate leaves room for chance (2 sd)."""
    found = score(case, 60)
    assert found.count >= 50
    assert found.error_after <= 0.5 * found.error_before
    assert 0.70 <= found.covered_after <= 0.90


if __name__ == "__main__":
    businesses = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for kind in ("volume", "exchange"):
        print(f"{kind}, truth as the plan allows: {score(kind, businesses)}")
        print(f"{kind}, use drifts up 30 % a year: {score(kind, businesses // 4, drift=0.3)}")
        print(f"{kind}, cartridge holds a fifth less: {score(kind, businesses // 4, holds=0.8)}")
