"""The dates that go on paper and into the calendar: changes, orders, lay-ups, notices."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from brewwater.capacity import Governs
from brewwater.chain import Cartridge, Given
from brewwater.ensemble import percentiles
from brewwater.forecast import GOVERNS, Place, quantile_days, schedule
from brewwater.plan import Plan
from brewwater.treatment import Stage, capacity

GOVERNS_WORDS: dict[str, str] = {
    "volume": "gallons used up", "exchange": "exchange capacity used up", "chlorine": "chlorine taken up",
    "time": "time limit", "pressure": "pressure drop", "lay-up": "lay-up", "freeze": "freezing",
    "reading": "a reading", "notice": "boil-water notice",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Due:
    """One change. ``date`` is the one for the calendar; ``early`` to ``late`` is its range (10th to 90th
    percentile), None past the plan; ``left``: share of the capacity not used by then, typical."""

    stage: Stage
    number: int
    date: dt.date
    early: dt.date | None
    late: dt.date | None
    order_by: dt.date
    governs: Governs
    left: float
    because: str = ""


def dues(plan: Plan) -> tuple[Due, ...]:
    """Every change inside the plan whose expected date is, in order of time.

    The dates are the expected ones of ``Changes``; where the policy states a risk or groups visits, those of
    ``forecast.schedule``.
    """
    policy = plan.document.policy
    planned = _scheduled if policy.risk is not None or policy.group_days else _expected
    return tuple(sorted(planned(plan), key=lambda d: (d.date, d.stage.name)))


def _expected(plan: Plan) -> Iterator[Due]:
    weights = plan.given.weights
    for one in plan.outcome.cartridges:
        days = one.changes.days
        for index, row in enumerate(one.changes.day):
            early, middle, late = quantile_days(row, weights)
            if middle >= len(days):
                break
            date = days[middle].astype(dt.date)
            causes = np.broadcast_to(one.changes.governs[index], weights.shape)
            left = percentiles(one.changes.left[index], weights)[1]
            yield Due(
                one.stage, index + 1, date, days[early].astype(dt.date),
                days[late].astype(dt.date) if late < len(days) else None,
                plan.document.policy.order_by(date), GOVERNS[int(np.argmax(np.bincount(causes, weights)))],
                float(left),
            )  # fmt: skip


def _scheduled(plan: Plan) -> Iterator[Due]:
    given = plan.given
    stages = {c.stage.name: c.stage for c in plan.outcome.cartridges}
    places = [place_of(given, c) for c in plan.outcome.cartridges]
    count = dict.fromkeys(stages, 0)
    for made in schedule(places, plan.document.demand.calendar, plan.document.policy, given.weights):
        count[made.place] += 1
        yield Due(
            stages[made.place], count[made.place], made.date, made.early, made.late,
            plan.document.policy.order_by(made.date), made.governs, made.left[1], made.because,
        )  # fmt: skip


def place_of(given: Given, one: Cartridge) -> Place:
    """A cartridge as ``forecast.schedule`` takes it."""
    age = None
    for old in given.document.in_service:
        if old.stage == one.stage.name:
            days = (given.document.demand.calendar.start - old.installed).days
            age = float(days), given.draws.span(f"{one.stage.name}: used at the start", old.used)
    bears = partial(capacity, one.stage, given.draws, disinfectant=given.disinfectant)
    return Place(one.stage.name, one.wear, bears, given.stops, age)
