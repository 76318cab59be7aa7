"""Scenarios of the calendar: a small cart, festivals, a winter in store, a fast meter, two towns."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from brewwater.changes import GOVERNS, Changes, Policy, changes, moves_of, stops_of
from brewwater.changes.wear import Wear, ledger, usable_gal, wear
from brewwater.demand import Calendar, Demand, DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.supply.tank_days import FillCalendar, tank_days
from brewwater.treatment.medium import Load
from brewwater.treatment.rating import Capacity
from brewwater.units import GAL_L

ONE = np.ones(1)
EVERY_DAY = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


def lived(document: dict[str, Any], eq_per_L: Any = None, fills: Any = None) -> tuple[Demand, Calendar, Wear]:
    inputs = DemandInput.model_validate(document)
    days = demand(inputs, ["machine"], Draws(1))
    filled = FillCalendar.model_validate({"fills": fills or [{"supply": "town"}]})
    tank = tank_days(filled, days, inputs.calendar)
    load = Load() if eq_per_L is None else Load(exchange_eq=tank.shares @ np.array(eq_per_L)[:, None])
    return days, inputs.calendar, wear(ledger(days, tank), days, {"machine": load})


def dates(on: Wear, calendar: Calendar, margin: float = 0.8, **bears: float) -> Changes:
    new = Capacity(**{k: np.array([v]) for k, v in bears.items()})
    return changes(on, lambda number: new, margin=margin, stops=stops_of(calendar), moves=moves_of(calendar, Policy()))


def test_a_small_cart_is_governed_by_time() -> None:
    # 15 drinks of 9.4 fl oz, four days a week, a 1,000 gal cartridge good for six months
    days, calendar, on = lived(
        {
            "calendar": {"start": "2026-01-08", "weekdays": ["thu", "fri", "sat", "sun"]},
            "drinks": [{"name": "cup", "per_service_day": 15, "fl_oz": 9.4}],
        }
    )
    found = dates(on, calendar, volume_L=1000 * GAL_L, days=182.625)
    assert days.ordinary_day_litres("machine")[0] / GAL_L == pytest.approx(1.1, abs=0.01)
    assert found.governed_by(ONE) == "time"
    assert found.first_served_gal[0] == pytest.approx(114, abs=1)
    longest = max(np.diff([found.first_day, *found.day[:-1, 0]]))
    assert longest <= 183  # never 4.4 years
    assert found.left[0, 0] > 0.85  # what a smaller cartridge would save


def test_festivals_are_not_hidden_by_the_average() -> None:
    weekends = [("2026-06-06", "2026-06-07"), ("2026-07-11", "2026-07-12"), ("2026-08-15", "2026-08-16")]
    document = {
        "calendar": {
            "start": "2026-05-04",
            "events": [{"name": s, "start": s, "end": e, "drinks_per_day": 450} for s, e in weekends],
        },
        "drinks": [{"name": "cup", "per_service_day": 40, "fl_oz": 6.83}],
    }
    days, calendar, on = lived(document)
    assert days.peak_day_litres("machine")[0] / GAL_L == pytest.approx(24, abs=0.5)
    assert days.litres_per_service_day("machine")[0] / GAL_L < 2.5
    # by hand: 23 service days at 2.134 gal before 6 June leave less than two festival days of 24 gal
    capacity_gal = (25 * 40 + 1.5 * 450) * 6.83 / 128
    found = dates(on, calendar, margin=1, volume_L=capacity_gal * GAL_L)
    assert str(found.days[found.day[0, 0]]) == "2026-06-05"  # the Friday before, not the Sunday
    unmoved = changes(on, lambda number: Capacity(volume_L=np.array([capacity_gal * GAL_L])), margin=1)
    assert str(unmoved.days[unmoved.day[0, 0]]) == "2026-06-07"


def test_a_winter_in_store_ends_a_carbon_that_is_60_percent_used() -> None:
    document = {
        "calendar": {
            "start": "2026-09-01",
            "weekdays": EVERY_DAY,
            "closures": [{"name": "winter", "start": "2026-11-15", "end": "2027-03-15", "kind": "stored"}],
        },
        "drinks": [{"name": "cup", "per_service_day": 160, "fl_oz": 8}],
    }
    days, calendar, on = lived(document)
    found = dates(on, calendar, margin=1, volume_L=1250 * GAL_L, days=300)
    assert str(found.days[found.day[0, 0]]) == "2026-11-15"
    assert GOVERNS[found.governs[0, 0]] == "lay-up"
    assert 1 - found.left[0, 0] == pytest.approx(0.6)
    assert str(found.days[found.back[0, 0]]) == "2027-03-16"  # bought in spring
    assert not days.open[75:196].any()
    # the clock does not pause: without the lay-up rule it would have come out 300 days after 1 September
    kept = changes(on, lambda number: Capacity(volume_L=np.array([9e9]), days=np.array([300.0])))
    assert str(kept.days[kept.day[0, 0]]) == str(dt.date(2026, 9, 1) + dt.timedelta(days=300))


def test_a_meter_that_runs_ahead_shortens_the_dates() -> None:
    def service_days(gal_per_day: float, gal_left: float) -> int:
        _, calendar, on = lived(
            {
                "calendar": {"start": "2026-01-01", "weekdays": EVERY_DAY},
                "drinks": [{"name": "cup", "per_service_day": gal_per_day * 16, "fl_oz": 8}],
            }
        )
        return int(dates(on, calendar, margin=1, volume_L=gal_left * GAL_L).day[0, 0])

    assert service_days(8, 800) == 100
    assert service_days(384 / 30, 800) == 62
    assert service_days(384 / 30, 800 - 384) == 32


def test_two_towns_share_one_ledger_by_equivalents() -> None:
    # 60/40 and 300/220 (hardness/alkalinity), 30 % bypass: a weak-acid bed takes the lower of the two less 10
    soft, hard = (0.7 * (alkalinity - 10) / 50.04 / 1000 for alkalinity in (40, 220))
    fills = [{"supply": "a"}, {"supply": "b", "weekdays": ["fri", "sat", "sun"]}]
    document = {
        "calendar": {"start": "2026-01-05", "weekdays": EVERY_DAY},
        "drinks": [{"name": "cup", "per_service_day": 160, "fl_oz": 8}],
    }
    _, calendar, on = lived(document, [soft, hard], fills)
    litres = 10 * GAL_L
    week = 4 * soft * litres + 3 * hard * litres
    found = dates(on, calendar, margin=1, exchange_eq=10 * week)
    assert str(found.days[found.day[0, 0]]) == "2026-03-16"  # ten weeks to the day
    assert found.governed_by(ONE) == "exchange"
    # the average of the two waters, day by day alike, would be wrong by a quarter
    _, _, averaged = lived(document, [(soft + hard) / 2] * 2, fills)
    wrong = dates(averaged, calendar, margin=1, exchange_eq=10 * week)
    assert abs(wrong.day[0, 0] - 70) >= 5
    assert usable_gal(on, Capacity(exchange_eq=np.array([10 * week])))[0] == pytest.approx(700, rel=0.01)
