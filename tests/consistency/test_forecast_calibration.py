"""Calibration: 500 made-up businesses whose truth is known; how often the forecast's range holds the truth.

The truth of each business is drawn here, by this file's own generator, and lived through day by day with
drinks that vary from day to day. Run as a script it prints the coverage, and beside it the coverage where the
truth comes from elsewhere than the plan assumes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from brewwater.changes import changes, quantile_days
from brewwater.changes.wear import ledger, wear
from brewwater.demand import DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.supply.tank_days import FillCalendar, tank_days
from brewwater.treatment import capacity
from brewwater.treatment.medium import Load
from brewwater.treatment.stage import DataSheet, Stage
from brewwater.water import CACO3_G_PER_EQ

BUSINESSES = 500
DRAWS = 256
GAL_L, FL_OZ_L = 3.785411784, 3.785411784 / 128
GRAIN_EQ = 0.06479891 / CACO3_G_PER_EQ
NAMES = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


def pert(rng: np.random.Generator, low: float, typical: float, high: float) -> float:
    """A beta on the range with the typical value as its mean, weight six: what a typical value promises."""
    mean = (typical - low) / (high - low)
    return float(low + (high - low) * rng.beta(6 * mean, 6 * (1 - mean)))


@dataclass
class Candidate:
    early: int
    late: int
    truth: int


def business(seed: int, drift: float, bias: float) -> Candidate:
    """One business: forecast, then live it. ``drift``: share by which demand grows over the first year unseen
    by the plan; ``bias``: true capacity over the plan's."""
    rng = np.random.default_rng(seed)
    drinks = float(rng.uniform(30, 250))
    doubt = [drinks * rng.uniform(0.6, 0.9), drinks, drinks * rng.uniform(1.1, 1.5)]
    ounces = sorted(rng.uniform(4, 9, 2).tolist())
    weekdays = sorted(rng.choice(7, int(rng.integers(4, 8)), replace=False).tolist())
    document = {
        "calendar": {"start": "2026-03-02", "weekdays": [NAMES[d] for d in weekdays]},
        "drinks": [{"name": "cup", "per_service_day": doubt, "fl_oz": ounces}],
    }
    litres = drinks * np.mean(ounces) * FL_OZ_L
    wanted_days = rng.uniform(40, 200)  # service days that a cartridge of the right size would last
    by_exchange = bool(rng.random() < 0.5)
    hardness = sorted(rng.uniform(80, 260, 2).tolist())
    if by_exchange:
        removed = np.mean(hardness) / 1000 / CACO3_G_PER_EQ
        rated = wanted_days * litres * removed / 0.8
        sheet = DataSheet(capacity_grains=rated / GRAIN_EQ, life_months=99)
        stage = Stage(name="resin", medium="softening", sheet=sheet)
    else:
        rated_gal = wanted_days * litres / 0.8 / GAL_L
        stage = Stage(name="fine", medium="sediment", sheet=DataSheet(rated_gal=rated_gal, life_months=99))
        rated = rated_gal * GAL_L

    draws = Draws(DRAWS)
    inputs = DemandInput.model_validate(document)
    days = demand(inputs, ["machine"], draws)
    tank = tank_days(FillCalendar.model_validate({"fills": [{"supply": "town"}]}), days, inputs.calendar)
    ppm = hardness[0] + (hardness[1] - hardness[0]) * draws.uniform("hardness")
    load = Load(exchange_eq=ppm / 1000 / CACO3_G_PER_EQ) if by_exchange else Load()
    on = wear(ledger(days, tank), days, {"machine": load})
    found = changes(on, lambda number: capacity(stage, draws, number))
    early, late = quantile_days(found.day[0], np.ones(DRAWS), [0.1, 0.9])

    per_day = pert(rng, *doubt)
    ounce = rng.uniform(*ounces)
    use = rng.uniform(*hardness) / 1000 / CACO3_G_PER_EQ if by_exchange else 1.0
    room = 0.8 * bias * rated * pert(rng, 0.75, 1.0, 1.15) * (1 + 0.05 * rng.standard_normal())
    used, day = 0.0, 0
    while True:
        if day % 7 in weekdays:  # 2 March 2026 is a Monday
            poured = rng.poisson(per_day * (1 + drift * day / 365)) * ounce * FL_OZ_L * use
            if used + poured > room:
                return Candidate(early, late, day)
            used += poured
        day += 1


@cache
def coverage(drift: float = 0.0, bias: float = 1.0) -> float:
    """Share of the businesses whose true first change lies from the early to the late date."""
    found = [business(seed, drift, bias) for seed in range(BUSINESSES)]
    return float(np.mean([o.early <= o.truth <= o.late for o in found]))


def test_the_range_holds_the_truth_as_often_as_it_says() -> None:
    assert 0.75 <= coverage() <= 0.85


if __name__ == "__main__":
    print(f"{BUSINESSES} businesses, early to late (10th to 90th percentile) holds the true first change:")
    print(f"  truth as the plan assumes       {coverage():.1%}")
    print(f"  demand grows by a fifth unseen  {coverage(drift=0.2):.1%}")
    print(f"  capacity a fifth below          {coverage(bias=0.8):.1%}")
    print(f"  capacity a fifth above          {coverage(bias=1.2):.1%}")
