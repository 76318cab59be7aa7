"""What must hold for any plan: nothing is lost between cartridges, and more is never less."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.changes import Policy, changes, moves_of, stops_of
from brewwater.changes.wear import Wear, ledger, wear
from brewwater.demand import Calendar, DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.supply.tank_days import FillCalendar, tank_days
from brewwater.treatment.medium import Load
from brewwater.treatment.rating import Capacity

DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
N = 8


@st.composite
def plans(draw: Any) -> DemandInput:
    weekdays = draw(st.lists(st.sampled_from(DAYS), min_size=1, max_size=7, unique=True))
    first = draw(st.dates(min_value=dt.date(2026, 1, 1), max_value=dt.date(2029, 12, 31)))
    low = draw(st.floats(5, 200))
    return DemandInput.model_validate(
        {
            "calendar": {"start": str(first), "weekdays": weekdays, "growth_per_year": draw(st.floats(0, 0.5))},
            "drinks": [{"name": "cup", "per_service_day": [low, 1.5 * low], "fl_oz": draw(st.floats(2, 16))}],
        }
    )


def worn(inputs: DemandInput, factor: float = 1.0) -> tuple[Wear, Any]:
    days = demand(inputs, ["machine"], Draws(N))
    fills = [{"supply": "a"}, {"supply": "b", "weekdays": ["tue", "sat"]}]
    tank = tank_days(FillCalendar.model_validate({"fills": fills, "heel": 0.3}), days, inputs.calendar)
    load = Load(volume_L=factor * np.ones(1), exchange_eq=factor * tank.shares @ np.array([[0.002], [0.005]]))
    return wear(ledger(days, tank), days, {"machine": load}), days


@given(plans(), st.floats(200, 20_000), st.floats(1, 60), st.sampled_from([60.0, 200.0, np.inf]))
@settings(max_examples=40, deadline=None)
def test_every_litre_goes_through_one_cartridge(inputs: DemandInput, litres: float, eq: float, life: float) -> None:
    on, days = worn(inputs)
    bears = Capacity(volume_L=np.array([litres]), exchange_eq=np.array([eq]), days=np.array([life]))
    found = changes(on, lambda number: bears)
    total = np.zeros(on.n)
    start = np.full(on.n, found.first_day)
    for day, back in zip(found.day, found.back, strict=True):
        total += on.served(on.sums_before(day) - on.sums_before(start))
        # none is asked for more than its planned share, unless one day alone is more
        use = on.use("exchange_eq", on.sums_before(day) - on.sums_before(start))
        assert ((use <= 0.8 * eq * (1 + 1e-9)) | (day - start <= 1)).all()
        assert (day > start)[start < len(found.days)].all()
        start = back
    assert np.allclose(total, days.litres("machine"))
    assert ((found.left >= 0) & (found.left <= 1)).all()


@given(plans(), st.floats(500, 20_000), st.floats(1.05, 3))
@settings(max_examples=30, deadline=None)
def test_more_use_is_never_later_and_more_capacity_never_sooner(
    inputs: DemandInput, litres: float, more: float
) -> None:
    def first(factor: float, size: float) -> Any:
        on, _ = worn(inputs, factor)
        return changes(on, lambda number: Capacity(volume_L=np.array([size]))).day[0]

    plain = first(1, litres)
    assert (first(more, litres) <= plain).all()
    assert (first(1, litres * more) >= plain).all()


@given(plans(), st.lists(st.tuples(st.integers(0, 700), st.integers(1, 20)), max_size=4))
@settings(max_examples=30, deadline=None)
def test_no_change_falls_inside_an_event_while_it_can_be_moved(
    inputs: DemandInput, spans: list[tuple[int, int]]
) -> None:
    start = inputs.calendar.start
    day = type(start)
    events = [
        {
            "name": "e",
            "start": str(day.fromordinal(start.toordinal() + a)),
            "end": str(day.fromordinal(start.toordinal() + a + length)),
            "multiplier": 2,
        }
        for a, length in spans
    ]
    calendar = inputs.calendar.model_dump(mode="json") | {"events": events}
    busy = DemandInput.model_validate(inputs.model_dump(mode="json") | {"calendar": calendar})
    moves = moves_of(busy.calendar, Policy())
    inside = np.zeros(len(moves), dtype=bool)
    for event in busy.calendar.events:
        inside[busy.calendar.span_of(event)] = True
    assert (moves <= np.arange(len(moves))).all()
    run_from_start = np.cumprod(inside).astype(bool)  # nothing lies before an event that opens the plan
    assert not inside[moves[~run_from_start]].any()
    assert (moves[run_from_start] == np.arange(len(moves))[run_from_start]).all()
    assert stops_of(busy.calendar) == ()


@given(plans(), st.floats(500, 5000))
@settings(max_examples=30, deadline=None)
def test_whole_cartridges_are_counted_once(inputs: DemandInput, litres: float) -> None:
    on, _ = worn(inputs)
    found = changes(on, lambda number: Capacity(volume_L=np.array([litres])))
    years = [found.bought(*found.year_days(y)) for y in (1, 2)]
    assert (years[0] + years[1] == found.bought()).all()
    # whole ones bought differ from the share used up by less than one
    assert (np.abs(years[0] + 1 - found.used_up) < 1 + 1e-9).all()


def test_two_events_that_open_the_plan_together_move_nothing_into_each_other() -> None:
    events = [
        {"name": "fair", "start": "2026-01-01", "end": "2026-01-02", "multiplier": 2},
        {"name": "market", "start": "2026-01-02", "end": "2026-01-03", "multiplier": 2},
        {"name": "first", "start": "2026-02-01", "end": "2026-02-02", "multiplier": 2},
        {"name": "next", "start": "2026-02-03", "end": "2026-02-04", "multiplier": 2},
    ]
    calendar = Calendar.model_validate({"start": "2026-01-01", "events": events})
    moves = moves_of(calendar, Policy())
    assert list(moves[:4]) == [0, 1, 2, 3]
    assert list(moves[30:36]) == [30, 30, 30, 30, 30, 35]
