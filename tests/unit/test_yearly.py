"""What comes again every year: a winter break and a fair, on the same days of each later year of the plan."""

from __future__ import annotations

import datetime as dt

import numpy as np

from brewwater.demand.calendar import Calendar, Closure, Event, curves
from brewwater.plan import make_plan
from brewwater.planning.document import PlanDocument, mobile_template

START = dt.date(2027, 3, 1)


def calendar(yearly: bool, months: int = 36) -> Calendar:
    return Calendar(
        start=START,
        months=months,
        events=(Event(name="Fair", start=dt.date(2027, 7, 3), end=dt.date(2027, 7, 4), multiplier=3, yearly=yearly),),
        closures=(
            Closure(name="Winter", start=dt.date(2027, 12, 20), end=dt.date(2028, 2, 20), kind="stored", yearly=yearly),
        ),
    )


def test_each_year_of_the_plan_has_its_own() -> None:
    again = calendar(yearly=True)
    assert [e.start for e in again.busy] == [dt.date(y, 7, 3) for y in (2027, 2028, 2029)]
    assert [(c.start, c.end) for c in again.stops] == [
        (dt.date(y, 12, 20), dt.date(y + 1, 2, 20)) for y in (2027, 2028, 2029)
    ]
    assert calendar(yearly=False).busy == calendar(yearly=False).events


def test_the_days_are_those_of_entries_written_out_by_hand() -> None:
    again = calendar(yearly=True)
    by_hand = calendar(yearly=False).model_copy(update={"events": again.busy, "closures": again.stops})
    for one, other in zip(curves(again), curves(by_hand), strict=True):
        np.testing.assert_array_equal(one, other)
    once = curves(calendar(yearly=False))[0]
    assert curves(again)[0].sum() < once.sum()  # two winters more are closed


def test_an_entry_of_years_ago_still_comes_again() -> None:
    old = Event(name="Fair", start=dt.date(2020, 2, 29), end=dt.date(2020, 3, 1), multiplier=2, yearly=True)
    found = [(e.start, e.end) for e in Calendar(start=START, events=(old,)).busy if e.end >= START]
    assert found == [
        (dt.date(2027, 2, 28), dt.date(2027, 3, 1)),
        (dt.date(2028, 2, 29), dt.date(2028, 3, 1)),
        (dt.date(2029, 2, 28), dt.date(2029, 3, 1)),
    ]
    late = Event(name="Fair", start=dt.date(2031, 1, 1), end=dt.date(2031, 1, 1), multiplier=2, yearly=True)
    assert Calendar(start=START, events=(late,)).busy == (late,)


def test_cartridges_go_out_before_each_winter() -> None:
    document = mobile_template().model_dump(mode="json") | {
        "train": [{"name": "grit", "medium": "sediment"}],
        "settings": {"draws": 16, "seed": 1},
    }
    document["demand"]["calendar"] = calendar(yearly=True).model_dump(mode="json")
    plan = make_plan(PlanDocument.model_validate(document), search=False)
    out = [d.date for d in plan.calendar.dues if d.governs == "lay-up"]
    assert [(d.year, d.month, d.day) for d in out] == [(2027, 12, 20), (2028, 12, 20), (2029, 12, 20)]
