"""Which measurement next: the expected value of each possible test, from the draws themselves.

A test's reading is predicted in every draw, with its own error; readings are binned, the best train is chosen
anew in each bin, and the mean saving over choosing once is the value of the test. It is never negative, and
zero where no reading would change what one does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater import chemistry
from brewwater.chain import Given, Outcome
from brewwater.recommend import Alternative
from brewwater.reference import cite, table
from brewwater.water import Water, speciate

FloatArray = NDArray[np.float64]

BINS = 16


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test worth considering.

    ``value``: expected saving a year in the plan's currency by deciding after it; ``changes``: how often it
    would change the train, 0 to 1; ``price`` and ``minutes``: placeholders of the table.
    """

    test: str
    label: str
    analyte: str
    supply: str
    value: float
    changes: float
    price: float
    minutes: float
    because: str
    source: str


def next_tests(given: Given, outcome: Outcome, alternatives: Sequence[Alternative]) -> tuple[NextTest, ...]:
    """Every test that could help, best first.

    A missing hardness or alkalinity comes first whatever its value, because nothing is decided without it;
    after them the tests by value less their price.
    """
    usable = [a for a in alternatives if not a.refused or _waits_for_alkalinity(a)]
    if not usable:
        return ()
    totals = np.array([np.broadcast_to(a.open_weight.total, given.weights.shape) for a in usable])
    now = next((i for i, a in enumerate(usable) if a.outcome.stages == outcome.stages), 0)
    found = []
    for supply, water in zip(given.supplies, given.supply_waters, strict=True):
        known = supply.known()
        for row in table("possible_tests"):
            if row["analyte"] == "panel":
                continue
            reading = _reading(given, row["test"], supply.name, water, row["analyte"],
                               float(row["relative_sd"]), float(row["absolute_sd"]))  # fmt: skip
            value, changed = value_of(reading, totals, given.weights, now)
            missing = row["analyte"] not in known
            if value <= 0 and not (missing and row["analyte"] in _FIRST):
                continue
            found.append(NextTest(
                row["test"], row["label"], row["analyte"], supply.name, value, changed, float(row["price_usd"]),
                float(row["minutes"]), _because(row["label"], supply.name, missing, changed, value, given),
                cite(row["source"]),
            ))  # fmt: skip
    known_of = {s.name: s.known() for s in given.supplies}

    def order(t: NextTest) -> tuple[int, float]:
        first = (
            _FIRST.index(t.analyte)
            if t.analyte in _FIRST and t.analyte not in known_of[t.supply]
            else len(_FIRST)
        )
        return first, t.price - t.value

    return tuple(sorted(found, key=order))


_FIRST = ("total_hardness", "alkalinity")


def _waits_for_alkalinity(one: Alternative) -> bool:
    return {p.code for p in one.refused} == {"alkalinity_unknown"}


def value_of(reading: FloatArray, totals: FloatArray, weights: FloatArray, now: int) -> tuple[float, float]:
    """Expected saving of deciding after a reading, and how often the decision changes.

    Parameters
    ----------
    reading : predicted readings, error included, shape (n,)
    totals : cost and loss of each option, shape (option, n)
    weights : shape (n,)
    now : the option followed without the test

    Returns
    -------
    (value, share) : value in money, 0 or more: the saving over the best option without the test
    """
    share = weights / weights.sum()
    before = totals @ share
    best = int(np.argmin(before))
    order = np.argsort(reading, kind="stable")
    bins = np.minimum((np.cumsum(share[order]) - 0.5 * share[order]) * BINS, BINS - 1).astype(np.int64)
    edges = np.flatnonzero(np.r_[True, np.diff(bins) > 0])
    in_bin = np.add.reduceat((totals * share)[:, order], edges, axis=1)
    mass = np.add.reduceat(share[order], edges)
    after = float(in_bin.min(axis=0).sum())
    changed = float(mass[in_bin.argmin(axis=0) != best].sum())
    value = max(float(before[best]) - after, 0.0)
    return (0.0, 0.0) if value <= 1e-9 * abs(float(before[best])) else (value, changed)


def _reading(
    given: Given, test: str, supply: str, water: Water, analyte: str, relative: float, absolute: float
) -> FloatArray:
    truth = np.broadcast_to(_predicted(water, analyte), given.weights.shape)
    z = given.draws.normal(f"test/{supply}/{test}")
    return np.asarray(truth + np.hypot(relative * truth, absolute) * z)


def _predicted(water: Water, analyte: str) -> FloatArray:
    match analyte:
        case "total_hardness":
            return water.hardness_mg_L_as_CaCO3
        case "alkalinity":
            return water.alkalinity_mg_L_as_CaCO3
        case "conductivity":
            return chemistry.conductivity_uS_cm(water.totals)
        case "ph":
            return speciate(water).ph
        case "total_chlorine":
            return water.total_chlorine_mg_L
        case _:
            return water.ion_mg_L(analyte)


def _because(label: str, supply: str, missing: bool, changed: float, value: float, given: Given) -> str:
    currency = given.document.money.currency
    lead = f"Not measured in {supply}. " if missing else ""
    if changed <= 0:
        return f"{lead}Without it that verdict stays undecided; by itself it would not change the train."
    return f"{lead}A {label} would change the choice of train in {changed:.0%} of cases, worth about {value:,.0f} {currency} a year."
