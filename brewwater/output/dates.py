"""The dates that go on paper and into the calendar: changes, orders, lay-ups, notices."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from brewwater.changes import GOVERNS, Place, descale_dates, quantile_days, schedule
from brewwater.changes.wear import Governs
from brewwater.ensemble import percentiles
from brewwater.plan import Plan
from brewwater.planning.candidate import NOT_BOUGHT, Cartridge, scale_held
from brewwater.planning.scenario import Scenario
from brewwater.treatment import Stage, capacity

WEEK = dt.timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Due:
    """One change. ``date``: the cartridge comes out, as the calendar says; ``early`` to ``late``: its range (10th
    to 90th percentile), None past the plan; ``fitted``: the next one goes in, after a lay-up later than
    ``date``, None past the plan; ``order_by``: in time for the early date, or for
    the end of a lay-up; ``left``: share of the capacity not used, typical."""

    stage: Stage
    number: int
    date: dt.date
    early: dt.date | None
    late: dt.date | None
    fitted: dt.date | None
    order_by: dt.date | None
    governs: Governs
    left: float
    because: str = ""


def dues(plan: Plan) -> tuple[Due, ...]:
    """Every change to come whose expected date is inside the plan, in order of time; those made are left out.

    The dates are the expected ones of ``Changes``; where the policy states a risk or groups visits, those of
    ``forecast.schedule``.
    """
    policy = plan.document.policy
    planned = _scheduled if policy.risk is not None or policy.group_days else _expected
    return tuple(sorted(planned(plan), key=lambda d: (d.date, d.stage.name)))


def _expected(plan: Plan) -> Iterator[Due]:
    weights = plan.scenario.weights
    for one in plan.candidate.cartridges:
        days = one.changes.days
        past = len(plan.scenario.made.get(one.stage.name, ()))
        for index, row in list(enumerate(one.changes.day))[past:]:
            early, middle, late = quantile_days(row, weights)
            if middle >= len(days):
                break
            date = days[middle].astype(dt.date)
            causes = np.broadcast_to(one.changes.governs[index], weights.shape)
            left = percentiles(one.changes.left[index], weights)[1]
            back = quantile_days(one.changes.back[index], weights)[1]
            fitted = _fitted(date, days[back].astype(dt.date) if back < len(days) else None)
            soon = days[early].astype(dt.date)
            yield Due(
                one.stage,
                index + 1,
                date,
                soon,
                days[late].astype(dt.date) if late < len(days) else None,
                fitted,
                _order_by(plan, date, soon, fitted),
                GOVERNS[int(np.argmax(np.bincount(causes, weights)))],
                float(left),
            )


def _scheduled(plan: Plan) -> Iterator[Due]:
    scenario = plan.scenario
    stages = {c.stage.name: c.stage for c in plan.candidate.cartridges}
    places = [place_of(scenario, c) for c in plan.candidate.cartridges]
    count = {name: len(scenario.made.get(name, ())) for name in stages}
    for made in schedule(places, plan.document.demand.calendar, plan.document.policy, scenario.weights):
        count[made.place] += 1
        fitted = _fitted(made.date, made.back)
        yield Due(
            stages[made.place],
            count[made.place],
            made.date,
            made.early,
            made.late,
            fitted,
            _order_by(plan, made.date, made.early, fitted),
            made.governs,
            made.left[1],
            made.because,
        )


def _fitted(out: dt.date, back: dt.date | None) -> dt.date | None:
    """A new cartridge goes in when the old one comes out, but for a lay-up or another long stop."""
    return out if back is not None and back - out <= WEEK else back


def _order_by(plan: Plan, date: dt.date, early: dt.date | None, fitted: dt.date | None) -> dt.date | None:
    """In time for the early date; after a lay-up, for the day the new one goes in."""
    if fitted is None:
        return None
    return plan.document.policy.order_by(min(date, early or date) if fitted == date else fitted)


@dataclass(frozen=True, slots=True)
class Descale:
    """One descale of a machine by the scale laid down: expected day and its range, None past the plan."""

    machine: str
    number: int
    date: dt.date
    early: dt.date | None
    late: dt.date | None


def descales(plan: Plan) -> tuple[Descale, ...]:
    """Every descale inside the plan, in order of time. What a manual asks for regardless is not in it."""
    scenario = plan.scenario
    grams = scenario.draws.span("scale per descale", plan.document.money.scale_g_per_descale)
    found = []
    for at in plan.candidate.served:
        if at.machine is None or at.state is None:
            continue
        falls = np.maximum(np.nan_to_num(at.state.machine_ccpp_mg_L_as_CaCO3), 0) / 1000
        laid = {at.branch.name: np.where(scale_held(at), 0.0, falls)}
        dates = descale_dates(scenario.book, scenario.demand, laid, grams).dates(scenario.weights)
        found += [
            Descale(at.machine.name, n, day, early, late)
            for n, (early, day, late) in enumerate(dates, start=1)
            if day is not None
        ]
    return tuple(sorted(found, key=lambda d: (d.date, d.machine)))


def place_of(scenario: Scenario, one: Cartridge) -> Place:
    """A cartridge as ``forecast.schedule`` takes it."""
    age = None
    for old in scenario.document.in_service:
        if old.stage == one.stage.name:
            days = (scenario.document.demand.calendar.start - old.installed).days
            used = scenario.used.get(one.stage.name)
            if used is None:
                used = scenario.draws.span(f"{one.stage.name}: used at the start", old.used)
            age = float(days), used
    bears = partial(capacity, one.stage, scenario.draws, disinfectant=scenario.disinfectant)
    made = scenario.made.get(one.stage.name, ())
    stops = () if one.stage.medium in NOT_BOUGHT else scenario.stops
    return Place(one.stage.name, one.wear, bears, stops, age, made)


def between(due: Due | Descale) -> str:
    """The range of a change, for reading."""
    return day_word(due.early) if due.early == due.late else f"{day_word(due.early)} to {day_word(due.late)}"


def day_word(day: dt.date | None) -> str:
    """A date for reading."""
    return "past the plan" if day is None else day.isoformat()
