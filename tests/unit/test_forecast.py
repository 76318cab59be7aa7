"""Hand-worked change dates, to the day."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from brewwater.changes import (
    GOVERNS,
    Changes,
    Policy,
    Slot,
    change_calendar,
    changes,
    descale_dates,
    moves_of,
    stops_of,
)
from brewwater.changes.wear import ledger, usable_gal, wear
from brewwater.demand import DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.supply.tank_days import FillCalendar, tank_days
from brewwater.treatment.medium import Load
from brewwater.treatment.rating import Capacity
from brewwater.units import GAL_L

EVERY_DAY = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
ONE = np.ones(1)
ONE_TOWN = [{"supply": "town"}]


class Plan:
    """A cartridge on one branch that serves ``gal`` a day of one or more waters."""

    def __init__(self, gal: float, fills: Any = ONE_TOWN, eq_per_L: Any = None, **calendar: Any) -> None:
        self.inputs = DemandInput.model_validate(
            {
                "calendar": {"start": "2026-01-01", "weekdays": EVERY_DAY, **calendar},
                "drinks": [{"name": "cup", "per_service_day": gal * 16, "fl_oz": 8}],
            }
        )
        self.calendar = self.inputs.calendar
        days = self.demand = demand(self.inputs, ["machine"], Draws(1))
        tank = tank_days(FillCalendar.model_validate({"fills": fills}), days, self.calendar)
        load = Load() if eq_per_L is None else Load(exchange_eq=tank.shares @ np.array(eq_per_L)[:, None])
        self.wear = wear(ledger(days, tank), days, {"machine": load})

    def changes(
        self,
        margin: float = 0.8,
        policy: Policy | None = None,
        wet: bool = True,
        in_service: Any = None,
        **capacity: float,
    ) -> Changes:
        bears = Capacity(**{k: np.array([float(v)]) for k, v in capacity.items()})
        return changes(
            self.wear,
            lambda number: bears,
            margin=margin,
            in_service=in_service,
            stops=stops_of(self.calendar) if wet else (),
            moves=moves_of(self.calendar, policy or Policy()),
        )

    def place(self, name: str = "carbon", **capacity: float) -> Slot:
        bears = Capacity(**{k: np.array([float(v)]) for k, v in capacity.items()})
        return Slot(name, self.wear, lambda number: bears, stops_of(self.calendar))


def days(found: Changes) -> list[str]:
    return [str(expected) for _, expected, _ in found.dates(ONE)]


def why(found: Changes) -> list[str]:
    pairs = zip(found.governs[:, 0], found.day[:, 0], strict=True)
    return [GOVERNS[g] for g, d in pairs if d < len(found.days)]


def test_constant_demand() -> None:
    # 800 gal x 0.8 at 10 gal a day last 64 days: 1 Jan to 5 Mar; changed on 6 Mar, then 9 May, 12 Jul
    found = Plan(10).changes(volume_L=800 * GAL_L)
    assert days(found)[:3] == ["2026-03-06", "2026-05-09", "2026-07-12"]
    assert set(why(found)) == {"volume"}
    assert found.left[0] == pytest.approx(0.2)
    assert found.first_served_gal == pytest.approx(640)


def test_margin_is_applied_once() -> None:
    assert days(Plan(10).changes(margin=1, volume_L=640 * GAL_L))[0] == "2026-03-06"


def test_a_day_that_does_not_fit_is_served_by_the_next() -> None:
    assert days(Plan(10).changes(margin=1, volume_L=639 * GAL_L))[0] == "2026-03-05"


def test_time_limit_first() -> None:
    found = Plan(1).changes(volume_L=1000 * GAL_L, days=183)
    assert days(found) == ["2026-07-03", "2027-01-02", "2027-07-04"]
    assert why(found) == ["time"] * 3


def test_what_passes_before_the_limit_is_not_the_rating() -> None:
    # 1.1 gal, Monday to Thursday, six months: 26 weeks of 4.4 gal
    plan = Plan(1.1, start="2026-01-05", weekdays=["mon", "tue", "wed", "thu"])
    found = plan.changes(volume_L=1000 * GAL_L, days=182.625)
    assert found.governed_by(ONE) == "time"
    assert found.first_served_gal == pytest.approx(114.4)
    assert usable_gal(plan.wear, Capacity(volume_L=np.array([1000 * GAL_L]))) == pytest.approx(1000)
    assert days(found)[0] == "2026-07-06"


def test_clock_starts_on_the_first_service_day() -> None:
    found = Plan(1, start="2026-01-03", weekdays=["mon"]).changes(days=30)  # a Saturday
    assert str(found.days[found.first_day]) == "2026-01-05"
    assert days(found)[0] == "2026-02-04"


def test_29_february_is_a_service_day_like_others() -> None:
    # 10 gal from 1 Jan 2028: 60 days to 29 Feb; changed on 1 Mar; in 2027 on 2 Mar
    assert days(Plan(10, start="2028-01-01").changes(margin=1, volume_L=600 * GAL_L))[0] == "2028-03-01"
    assert days(Plan(10, start="2027-01-01").changes(margin=1, volume_L=600 * GAL_L))[0] == "2027-03-02"


def test_storage_over_winter() -> None:
    # 10 gal a day from 1 Sep: 75 service days to 14 Nov use 750 of 1,250 gal, 60 %
    lay_up = {"start": "2026-11-15", "end": "2027-03-15", "kind": "stored", "name": "winter"}
    found = Plan(10, start="2026-09-01", closures=[lay_up]).changes(margin=1, volume_L=1250 * GAL_L, days=365)
    assert days(found)[0] == "2026-11-15"
    assert why(found)[0] == "lay-up"
    assert found.left[0] == pytest.approx(0.4)
    assert str(found.days[found.back[0, 0]]) == "2027-03-16"
    assert days(found)[1] == "2027-07-19"  # 125 days from 16 March
    # two changes in the first twelve months: the one bought in spring and the one of July
    assert found.bought(*found.year_days(1)) == 2


def test_a_closure_stops_volume_and_not_time() -> None:
    closed = {"start": "2026-02-01", "end": "2026-02-28"}
    by_volume = Plan(10, closures=[closed]).changes(volume_L=800 * GAL_L)
    assert days(by_volume)[0] == "2026-04-03"  # 6 March and 28 days
    by_time = Plan(10, closures=[closed]).changes(days=64)
    assert days(by_time)[0] == "2026-03-06"


def test_a_dry_stage_outlives_a_lay_up() -> None:
    lay_up = {"start": "2026-02-01", "end": "2026-02-28", "kind": "stored"}
    found = Plan(10, closures=[lay_up]).changes(wet=False, volume_L=800 * GAL_L)
    assert days(found)[0] == "2026-04-03"


@pytest.mark.parametrize(
    ("drained", "expected"),
    [
        (False, ("2026-02-01", "freeze")),
        (True, ("2026-03-16", "volume")),
    ],
)
def test_freezing(drained: bool, expected: tuple[str, str]) -> None:
    frost = {"start": "2026-02-01", "end": "2026-02-10", "frozen": True, "drained": drained}
    found = Plan(10, closures=[frost]).changes(volume_L=800 * GAL_L)
    assert (days(found)[0], why(found)[0]) == expected


def test_boil_water_notice() -> None:
    notice = {"start": "2026-02-01", "end": "2026-02-03"}
    found = Plan(10, suspensions=[notice]).changes(volume_L=800 * GAL_L)
    assert (days(found)[0], why(found)[0]) == ("2026-02-04", "notice")
    assert days(found)[1] == "2026-04-09"  # 64 days on
    kept = Plan(10, suspensions=[{**notice, "replace_cartridges": False}]).changes(volume_L=800 * GAL_L)
    assert days(kept)[0] == "2026-03-09"


def test_two_towns_by_equivalents() -> None:
    # town a uses 2 meq a litre, town b 6; Mon, Wed, Fri a and Tue, Thu b: 18 meq a week per litre a day
    fills = [{"supply": "a"}, {"supply": "b", "weekdays": ["tue", "thu"]}]
    week = Plan(10 / GAL_L, fills, [0.002, 0.006], start="2026-01-05", weekdays=EVERY_DAY[:5])
    # 10 litres a day: 0.18 eq a week; 0.9 eq last five weeks to the milli-equivalent
    found = week.changes(margin=1, exchange_eq=0.9)
    assert days(found)[0] == "2026-02-09"
    assert why(found)[0] == "exchange"
    # 0.85 eq: after four weeks 0.13 left: Mon 0.02, Tue 0.06, Wed 0.02 fit, Thursday's 0.06 does not
    assert days(week.changes(margin=1, exchange_eq=0.85))[0] == "2026-02-05"


def test_festival_pulls_the_change_forward() -> None:
    # due on 6 March, in a fair from 5 to 8 March: made on the 4th
    fair = {"name": "fair", "start": "2026-03-05", "end": "2026-03-08", "multiplier": 1}
    plan = Plan(10, events=[fair])
    assert days(plan.changes(volume_L=800 * GAL_L))[0] == "2026-03-04"
    assert days(plan.changes(volume_L=800 * GAL_L, policy=Policy(before_events=False)))[0] == "2026-03-06"
    assert plan.changes(volume_L=800 * GAL_L).left[0] == pytest.approx(1 - 620 / 800)


def test_a_festival_longer_than_a_cartridge() -> None:
    # 300 gal fit three days of 100: in on the eve, out after three days of the fair, not every day
    fair = {"name": "fair", "start": "2026-01-10", "end": "2026-01-20", "multiplier": 10}
    found = Plan(10, events=[fair]).changes(margin=1, volume_L=300 * GAL_L)
    assert days(found)[:4] == ["2026-01-09", "2026-01-12", "2026-01-15", "2026-01-18"]


def test_visits() -> None:
    # due on Friday 6 March; visits on Mondays; every second Monday from 5 January
    plan = Plan(10)
    assert days(plan.changes(volume_L=800 * GAL_L, policy=Policy(visit_weekday="mon")))[0] == "2026-03-02"
    fortnight = Policy(visit_weekday="mon", visit_every_weeks=2)
    assert days(plan.changes(volume_L=800 * GAL_L, policy=fortnight))[0] == "2026-03-02"
    rarely = Policy(visit_weekday="mon", visit_every_weeks=3)
    assert days(plan.changes(volume_L=800 * GAL_L, policy=rarely))[0] == "2026-02-16"


def test_cartridge_in_place() -> None:
    # 60 % of 1,000 gal used: 0.8 - 0.6 leaves 200 gal, 20 days
    found = Plan(10).changes(volume_L=1000 * GAL_L, in_service=(100.0, np.array([0.6])))
    assert days(found)[0] == "2026-01-21"
    assert found.left[0] == pytest.approx(0.2)
    aged = Plan(1).changes(days=183, in_service=(100.0, np.zeros(1)))
    assert days(aged)[0] == "2026-03-25"  # 83 days on


def test_cartridge_in_place_and_the_unit_in_store() -> None:
    lay_up = {"start": "2025-12-01", "end": "2026-01-31", "kind": "stored"}
    found = Plan(10, closures=[lay_up]).changes(volume_L=800 * GAL_L, in_service=(10.0, np.zeros(1)))
    assert days(found)[:2] == ["2026-01-01", "2026-04-06"]
    assert why(found)[:2] == ["lay-up", "volume"]


def test_a_change_that_was_made_resets_the_dates() -> None:
    # made on 31 January by the log: 64 days on, and again; the schedule goes on from there too
    plan = Plan(10)
    bears = Capacity(volume_L=np.array([800 * GAL_L]))
    found = changes(plan.wear, lambda number: bears, made=(30,))
    assert days(found)[:3] == ["2026-01-31", "2026-04-05", "2026-06-08"]
    assert why(found)[:2] == ["reading", "volume"]
    place = Slot("carbon", plan.wear, lambda number: bears, made=(30,))
    assert str(change_calendar([place], plan.calendar, Policy(), ONE).dues[0].date) == "2026-04-05"


def test_too_small_for_a_day() -> None:
    found = Plan(10).changes(margin=1, volume_L=5 * GAL_L)
    assert days(found)[:2] == ["2026-01-02", "2026-01-03"]


def test_nothing_wears_it_out() -> None:
    found = Plan(10).changes()
    assert days(found) == []
    assert np.isnan(found.first_served_gal).all()
    assert found.bought() == 0


def test_past_the_horizon() -> None:
    found = Plan(1).changes(volume_L=2000 * GAL_L)
    assert days(found) == []
    assert found.governed_by(ONE) == "volume"


def test_used_up_against_whole() -> None:
    # 64 days each: 365 days use up 5.703 cartridges, five bought after the first
    found = Plan(10).changes(volume_L=800 * GAL_L)
    assert found.used_up == pytest.approx(365 / 64)
    assert found.bought(*found.year_days(1)) == 5
    assert found.bought(*found.year_days(2)) == 6
    with pytest.raises(InputError, match="year"):
        found.year_days(3)


def test_schedule_follows_the_dates_chosen() -> None:
    fair = {"name": "fair", "start": "2026-03-05", "end": "2026-03-08", "multiplier": 1}
    plan = Plan(10, events=[fair])
    made = change_calendar([plan.place(volume_L=800 * GAL_L)], plan.calendar, Policy(), ONE).dues
    assert [str(m.date) for m in made[:2]] == ["2026-03-04", "2026-05-07"]
    assert str(made[0].late) == "2026-03-06"
    assert "event" in made[0].because
    assert made[0].over_risk == 0
    assert made[1].because == ""


def test_schedule_groups_visits() -> None:
    plan = Plan(10)
    places = [plan.place("a", volume_L=800 * GAL_L), plan.place("b", volume_L=900 * GAL_L)]
    made = change_calendar(places, plan.calendar, Policy(group_days=10), ONE).dues
    assert [(m.cartridge, str(m.date)) for m in made[:2]] == [("a", "2026-03-06"), ("b", "2026-03-06")]
    assert made[1].left[1] == pytest.approx(1 - 640 / 900)
    apart = change_calendar(places, plan.calendar, Policy(), ONE).dues
    assert [(m.cartridge, str(m.date)) for m in apart[:2]] == [("a", "2026-03-06"), ("b", "2026-03-14")]


def test_schedule_at_a_stated_risk() -> None:
    plan = Plan(10)
    draws = Draws(1024)
    bears = Capacity(volume_L=(600 + 400 * draws.uniform("capacity")) * GAL_L)
    place = Slot("carbon", plan.wear, lambda number: bears)
    weights = np.ones(1024)
    for risk in (0.06, 0.26):
        first = change_calendar([place], plan.calendar, Policy(risk=risk), weights).dues[0]
        # full capacity 600 to 1,000 gal: the risk's quantile is reached after so many days
        assert first.date == dt.date(2026, 1, 1) + dt.timedelta(days=int((600 + 400 * risk) // 10))
        assert first.over_risk <= risk
        assert first.over_risk > risk - 0.03  # a day is 2.5 % of the range


def test_schedule_keeps_lay_ups() -> None:
    lay_up = {"start": "2026-02-01", "end": "2026-02-28", "kind": "stored"}
    plan = Plan(10, closures=[lay_up])
    made = change_calendar([plan.place(volume_L=800 * GAL_L)], plan.calendar, Policy(group_days=90), ONE).dues
    assert (str(made[0].date), str(made[0].fitted), made[0].governs) == ("2026-02-01", "2026-03-01", "lay-up")


def test_descale_dates_by_the_scale_laid_down() -> None:
    # 10 gal a day laying down 0.1 g a litre: 3.785 g a day; 60 g after 15 whole days
    plan = Plan(10)
    found = descale_dates(plan.wear.ledger, plan.demand, {"machine": np.array([0.1])}, np.array([60.0]))
    assert days(found)[:2] == ["2026-01-16", "2026-01-31"]
    none = descale_dates(plan.wear.ledger, plan.demand, {"machine": np.zeros(1)}, np.array([60.0]))
    assert days(none) == []
