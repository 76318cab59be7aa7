"""Change dates at the edges: first and last days, draws that differ, weights, logs, and a schedule's own choices.

Dates and shares are worked by hand from the demand (ten US gallons on every day unless said otherwise).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from brewwater.changes import (
    GOVERNS,
    Changes,
    Due,
    Policy,
    Slot,
    Standstill,
    change_calendar,
    changes,
    moves_of,
    quantile_days,
    stops_of,
)
from brewwater.changes.wear import ledger, wear
from brewwater.demand import DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.supply.tank_days import FillCalendar, tank_days
from brewwater.treatment.medium import Load
from brewwater.treatment.rating import Capacity
from brewwater.units import GAL_L

EVERY_DAY = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
ONE = np.ones(1)


def sized(**capacity: Any) -> Capacity:
    """A capacity; ``gal`` in US gallons."""
    if "gal" in capacity:
        capacity["volume_L"] = np.atleast_1d(capacity.pop("gal")) * GAL_L
    return Capacity(**{k: np.atleast_1d(np.asarray(v, dtype=np.float64)) for k, v in capacity.items()})


class Plan:
    """One branch that serves ``gal`` a day for two years from 1 January 2026."""

    def __init__(self, gal: float = 10, eq_per_L: float = 0.0, **calendar: Any) -> None:
        inputs = DemandInput.model_validate(
            {
                "calendar": {"start": "2026-01-01", "weekdays": EVERY_DAY, **calendar},
                "drinks": [{"name": "cup", "per_service_day": gal * 16, "fl_oz": 8}],
            }
        )
        self.calendar = inputs.calendar
        litres = demand(inputs, ["machine"], Draws(1))
        tank = tank_days(FillCalendar.model_validate({"fills": [{"supply": "town"}]}), litres, self.calendar)
        self.wear = wear(ledger(litres, tank), litres, {"machine": Load(exchange_eq=np.array([eq_per_L]))})

    def changes(self, bears: Capacity | Callable[[int], Capacity], margin: float = 0.8, **more: Any) -> Changes:
        return changes(
            self.wear,
            bears if callable(bears) else lambda number: bears,
            margin=margin,
            stops=stops_of(self.calendar),
            **more,
        )

    def place(self, bears: Capacity | Callable[[int], Capacity], name: str = "carbon", **more: Any) -> Slot:
        return Slot(
            name,
            self.wear,
            bears if callable(bears) else lambda number: bears,
            **{"stops": stops_of(self.calendar), **more},
        )

    def schedule(self, *places: Slot, weights: Any = ONE, **policy: Any) -> tuple[Due, ...]:
        return change_calendar(places, self.calendar, Policy(**policy), weights).dues


def day(number: int) -> dt.date:
    return dt.date(2026, 1, 1) + dt.timedelta(days=number)


# the years of a plan


def test_a_year_is_twelve_months_from_the_first_day() -> None:
    assert Plan(start="2027-02-28").changes(sized(days=30)).year_days(1) == (0, 365)
    assert Plan(start="2027-03-01").changes(sized(days=30)).year_days(1) == (0, 366)  # over 29 February 2028


@pytest.mark.parametrize("year", [0, 3])
def test_a_year_outside_the_plan_is_named(year: int) -> None:
    with pytest.raises(InputError) as refused:
        Plan().changes(sized(days=30)).year_days(year)
    assert (refused.value.field, refused.value.value) == ("year", year)
    assert "730 days" in str(refused.value)


def test_one_that_goes_in_on_the_first_day_is_bought() -> None:
    assert Plan().changes(sized(gal=80_000), made=(0,)).bought() == 1


# draws that differ


def test_quantiles_are_days_that_a_draw_gives_and_count_weights() -> None:
    assert quantile_days(np.array([50, 30]), np.array([1.0, 3.0])) == [30, 30, 50]
    assert quantile_days(np.array([30, 50, 40]), np.ones(3)) == [30, 40, 50]
    assert quantile_days(np.array([50, 30]), np.ones(2), [0.5, 1.0]) == [30, 50]  # half is reached by the first


def test_weights_count_in_dates_and_in_what_governs() -> None:
    found = Plan().changes(sized(gal=[800, 10_000], days=[400, 100]))
    heavy_first, heavy_last = np.array([9.0, 1.0]), np.array([1.0, 9.0])
    assert found.dates(heavy_first)[0][:2] == (day(64), day(64))
    assert found.dates(heavy_last)[0][1:] == (day(100), day(100))
    assert (found.governed_by(heavy_first), found.governed_by(heavy_last)) == ("volume", "time")


@pytest.mark.parametrize(
    ("bears", "used"),
    [
        (sized(gal=[800, 800, 800]), np.zeros(1)),
        (sized(gal=800, days=[400, 500, 600]), np.zeros(1)),
        (sized(gal=800), np.zeros(3)),
    ],
)
def test_doubt_in_one_place_gives_every_result_its_draws(bears: Capacity, used: Any) -> None:
    found = Plan().changes(bears, in_service=(0.0, used))
    assert found.day.shape[1] == found.left.shape[1] == 3
    assert found.first_served_gal.shape == found.used_up.shape == (3,)
    assert (found.day[0] == 64).all()
    planned = Plan().schedule(Plan().place(bears, in_service=(0.0, used)), weights=np.ones(3))
    assert planned[0].date == day(64)


def test_a_limit_of_time_stands_where_only_another_draw_lacks_it() -> None:
    # past the horizon the currency furthest on is named, but not for the draw whose time limit comes first
    found = Plan(1, eq_per_L=0.01).changes(sized(gal=2000, days=[30, np.inf], exchange_eq=138))
    assert [GOVERNS[g] for g in found.governs[0]] == ["time", "volume"]
    assert found.day[0, 0] == 30
    # 730 gal: 27.6 eq in all
    exchange = Plan(1, eq_per_L=0.01).changes(sized(gal=3650, exchange_eq=75))
    assert exchange.governed_by(ONE) == "exchange"


def test_past_its_horizon_a_date_is_not_told() -> None:
    early, expected, late = Plan().changes(sized(gal=[800, 800, 100_000])).dates(np.ones(3))[0]
    assert (early, expected, late) == (day(64), day(64), None)
    just = Plan().changes(sized(days=[700, 730]))  # 730 is the first day after the plan
    assert just.dates(np.ones(2))[0][2] is None


# a cartridge in place, and the log


def test_one_that_goes_in_after_the_start_cannot_be_in_place() -> None:
    with pytest.raises(InputError, match="3 days after") as refused:
        Plan().changes(sized(gal=800), in_service=(-3.0, np.zeros(1)))
    assert refused.value.field == "installed"


def test_one_past_its_life_comes_out_at_once() -> None:
    found = Plan().changes(sized(days=183), in_service=(200.0, np.zeros(1)))
    assert list(found.day[:2, 0]) == [1, 184]


def test_a_notice_replaces_the_cartridge_in_place_once() -> None:
    plan = Plan(suspensions=[{"start": "2026-02-01", "end": "2026-02-03"}])
    in_place = (10.0, np.zeros(1))
    assert list(plan.changes(sized(gal=800), in_service=in_place).day[:2, 0]) == [34, 98]
    made = plan.schedule(plan.place(sized(gal=800), in_service=in_place))
    assert [m.date for m in made[:2]] == [day(34), day(98)]


def test_what_is_left_counts_from_the_change_before() -> None:
    plan = Plan()
    assert plan.changes(sized(gal=800)).left[1] == pytest.approx(0.2)
    assert plan.schedule(plan.place(sized(gal=800)))[1].left == pytest.approx((0.2, 0.2, 0.2))


def test_each_cartridge_has_its_own_capacity() -> None:
    def bears(number: int) -> Capacity:
        return sized(gal=800 if number == 0 else 100 * number)

    plan = Plan()
    found = plan.changes(bears)
    assert found.first_served_gal == pytest.approx(640)
    assert list(found.day[:4, 0]) == [64, 72, 88, 112]
    assert [m.date for m in plan.schedule(plan.place(bears))[:4]] == [day(64), day(72), day(88), day(112)]


# how many are used up in the first year


def test_a_used_one_counts_for_what_was_left_of_it() -> None:
    # 800 of 1,000 gal are planned with: 600 used is three quarters, the last quarter takes 20 days
    found = Plan().changes(sized(gal=1000), in_service=(0.0, np.array([0.6])))
    assert found.used_up == pytest.approx(0.25 + 345 / 80)
    overdue = Plan().changes(sized(gal=1000), in_service=(0.0, np.array([0.9])))
    assert overdue.used_up == pytest.approx(364 / 80)


def test_time_in_place_is_use() -> None:
    assert Plan(1).changes(sized(days=730), in_service=(100.0, np.zeros(1))).used_up == pytest.approx(0.5)
    # the first service day is the third of the plan
    late = Plan(1, start="2026-01-03", weekdays=["mon"]).changes(sized(days=730))
    assert late.used_up == pytest.approx(363 / 730)


def test_a_change_on_the_day_after_the_year() -> None:
    # 3,650 of 6,400 gal; the next one goes in after the year and counts nothing in it
    assert Plan().changes(sized(gal=8000), made=(365,)).used_up == pytest.approx(3650 / 6400)
    # run far over, it is still one cartridge
    assert Plan().changes(sized(gal=800), made=(400,)).used_up == pytest.approx(1)


# what the calendar imposes


def test_only_stops_inside_the_plan_count() -> None:
    def stops(*closures: tuple[str, str], **calendar: Any) -> tuple[Standstill, ...]:
        stored = [{"start": s, "end": e, "kind": "stored"} for s, e in closures]
        return stops_of(Plan(closures=stored, **calendar).calendar)

    before, after = ("2025-11-01", "2025-12-31"), ("2028-01-01", "2028-02-01")
    assert stops(before, after, ("2026-02-01", "2026-02-10")) == (Standstill(31, 41, "lay-up"),)
    assert stops(("2025-12-20", "2026-01-01")) == (Standstill(0, 1, "lay-up"),)
    assert stops(("2027-12-31", "2028-02-01")) == (Standstill(729, 730, "lay-up"),)
    # one that begins on the day the other ends goes on from it; a day of service between parts them
    assert stops(("2026-02-01", "2026-02-10"), ("2026-02-11", "2026-02-20")) == (Standstill(31, 51, "lay-up"),)
    assert len(stops(("2026-02-01", "2026-02-10"), ("2026-02-12", "2026-02-20"))) == 2

    def notices(start: str, end: str) -> tuple[Standstill, ...]:
        return stops_of(Plan(suspensions=[{"start": start, "end": end}]).calendar)

    assert notices("2025-12-20", "2026-01-01") == (Standstill(1, 1, "notice"),)
    assert notices("2025-12-20", "2025-12-31") == notices("2028-01-01", "2028-01-02") == ()


def test_moves_at_the_start_of_the_plan() -> None:
    def moved(first: str, last: str, **policy: Any) -> list[int]:
        fair = {"name": "fair", "start": first, "end": last, "multiplier": 1}
        return list(moves_of(Plan(events=[fair]).calendar, Policy(**policy))[:5])

    assert moved("2026-01-01", "2026-01-02") == [0, 1, 2, 3, 4]  # no day before it
    assert moved("2026-01-02", "2026-01-03") == [0, 0, 0, 3, 4]
    # 1 January 2026 is a Thursday: visits on it, then a week later; on Fridays none before the second day
    assert moved("2027-01-01", "2027-01-01", visit_weekday="thu") == [0, 0, 0, 0, 0]
    assert moved("2027-01-01", "2027-01-01", visit_weekday="fri") == [0, 1, 1, 1, 1]


def test_order_in_time_for_delivery_and_the_buffer() -> None:
    assert Policy(lead_days=7, buffer_days=14).order_by(dt.date(2026, 3, 6)) == dt.date(2026, 2, 13)


# the schedule


def test_scheduled_clocks_start_when_the_cartridge_goes_in() -> None:
    shut = Plan(start="2026-01-03", weekdays=["mon"])  # a Saturday: the first service day is the third
    thirty = sized(days=30)

    def dates(**more: Any) -> list[int]:
        made = shut.schedule(shut.place(thirty, **more))
        return [(m.date - dt.date(2026, 1, 3)).days for m in made[:2]]

    assert dates() == [32, 67]  # changed on the 32nd, the next goes in on Monday the 37th
    assert dates(in_service=(10.0, np.zeros(1)))[0] == 20
    assert dates(made=(30,))[0] == 60


def test_scheduled_dates_show_the_spread_of_the_draws() -> None:
    plan = Plan()
    planned = plan.schedule(plan.place(sized(gal=[400, 800, 100_000])), weights=np.ones(3))[0]
    assert (planned.date, planned.early, planned.late) == (day(64), day(32), None)
    assert planned.governs == "volume"
    heavy = plan.schedule(plan.place(sized(gal=[400, 800, 100_000])), weights=np.array([8.0, 1.0, 1.0]))[0]
    assert heavy.date == day(32)
    by_time = plan.place(sized(gal=[400, 800], days=[1000, 50]))
    assert plan.schedule(by_time, weights=np.array([1.0, 3.0]))[0].governs == "time"
    assert plan.schedule(by_time, weights=np.array([3.0, 1.0]))[0].governs == "volume"


def test_nothing_is_scheduled_on_the_day_after_the_plan() -> None:
    plan = Plan()
    assert plan.schedule(plan.place(sized(days=730))) == ()
    assert [m.date for m in plan.schedule(plan.place(sized(days=729)))] == [day(729)]


def test_a_festival_longer_than_a_cartridge_in_the_schedule() -> None:
    plan = Plan(events=[{"name": "fair", "start": "2026-01-10", "end": "2026-01-20", "multiplier": 10}])
    made = plan.schedule(plan.place(sized(gal=300)), margin=1)
    assert [m.date for m in made[:3]] == [day(8), day(11), day(14)]


def test_a_lay_up_has_one_date_and_is_not_pulled_forward() -> None:
    plan = Plan(closures=[{"start": "2026-02-01", "end": "2026-02-28", "kind": "stored"}])
    places = (plan.place(sized(days=20), "timed", stops=()), plan.place(sized(gal=800), "wet"))
    made = plan.schedule(*places, group_days=90)
    wet = next(m for m in made if m.cartridge == "wet")
    assert (wet.date, wet.early, wet.late, wet.fitted) == (day(31), day(31), day(31), day(59))


def test_one_that_went_in_after_the_lay_up_is_not_changed_on_that_day() -> None:
    # the other falls due on the very day on which this one, good for eight days, goes in
    plan = Plan(closures=[{"start": "2026-02-01", "end": "2026-02-28", "kind": "stored"}])
    wet = plan.place(lambda number: sized(gal=100 if number else 80_000), "wet")
    made = plan.schedule(wet, plan.place(sized(days=59), "dry", stops=()), group_days=20)
    assert [(m.cartridge, m.date) for m in made[:3]] == [("wet", day(31)), ("dry", day(59)), ("wet", day(67))]


def test_a_lay_up_to_the_end_of_the_plan() -> None:
    plan = Plan(closures=[{"start": "2027-12-01", "end": "2028-03-01", "kind": "stored"}])
    last = plan.schedule(plan.place(sized(gal=80_000)))
    assert [(m.date, m.fitted) for m in last] == [(dt.date(2027, 12, 1), None)]


def test_one_pulled_forward_says_so_and_the_next_goes_in_that_day() -> None:
    plan = Plan()
    places = (plan.place(sized(gal=800), "a"), plan.place(sized(gal=900), "b"))  # due after 64 and 72 days
    made = plan.schedule(*places, group_days=8)
    assert [(m.cartridge, m.date, m.fitted) for m in made[:2]] == [("a", day(64), day(64)), ("b", day(64), day(64))]
    assert "another" in made[1].because
    assert made[0].because == ""
    assert plan.schedule(*places, group_days=7)[1].date == day(72)
