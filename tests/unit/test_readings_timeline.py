"""Days before the start of the plan, and the demand that is free to follow its meters."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from brewwater.demand import Demand, DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.log import follow_meters, timeline
from brewwater.log.parts import Metered
from brewwater.reports.instruments import instrument

START = dt.date(2026, 3, 2)


def inputs(**calendar: Any) -> DemandInput:
    return DemandInput.model_validate(
        {
            "calendar": {"start": START, **calendar},
            "main_branch": "Machine",
            "drinks": [{"name": "cup", "per_service_day": 100, "fl_oz": 10}],
            "fixed": [{"name": "wash", "branch": "Sink", "gal_per_service_day": 5}],
        }
    )


def planned(scenario: DemandInput) -> Demand:
    return demand(scenario, ["Machine", "Sink"], Draws(64))


def test_without_old_readings_the_timeline_is_the_plan() -> None:
    scenario = inputs()
    line = timeline(scenario, planned(scenario), START)
    assert (line.first, line.start) == (START, 0)
    assert line.last == dt.date(2028, 3, 1)


def test_days_before_the_start_follow_weekdays_seasons_and_closures() -> None:
    scenario = inputs(
        weekdays=["mon", "tue"],
        seasons=[{"months": [2], "multiplier": 2.0}],
        closures=[{"start": dt.date(2026, 2, 16), "end": dt.date(2026, 2, 17)}],
    )
    line = timeline(scenario, planned(scenario), dt.date(2026, 1, 1))
    a, b = line.at(dt.date(2026, 2, 1)), line.at(dt.date(2026, 3, 1))
    assert line.open_days[b] - line.open_days[a] == 6  # four weeks of two days, two of them closed
    assert (line.sums[b] - line.sums[a])[0] == pytest.approx(12)  # at twice the ordinary day
    assert line.at(START) == line.start


def test_growth_counts_from_the_start_of_the_plan() -> None:
    scenario = inputs(growth_per_year=0.2, weekdays=["mon", "tue", "wed", "thu", "fri", "sat", "sun"])
    plan = planned(scenario)
    line = timeline(scenario, plan, dt.date(2025, 3, 2))
    litres = np.diff(line.sums, axis=0) @ plan.branch_amounts("Machine")[:, 0]
    day = litres[line.start]
    assert litres[line.start - 365] == pytest.approx(day * 0.8, rel=2e-3)
    assert litres[line.start + 365] == pytest.approx(day * 1.2, rel=2e-3)


def meter(*branches: str) -> Metered:
    none = np.zeros(0)
    return Metered("", branches, np.zeros((0, 4)), none, none, none.astype(int), none.astype(int), ())


def test_the_factor_moves_what_the_meter_counts_and_nothing_else() -> None:
    plan = planned(inputs())
    free = follow_meters(plan, [meter("Machine")], Draws(64))
    np.testing.assert_array_equal(np.broadcast_to(plan.branch_amounts("Sink"), (4, 64)), free.branch_amounts("Sink"))
    ratio = free.branch_amounts("Machine")[0] / plan.branch_amounts("Machine")[0]
    assert np.median(ratio) == pytest.approx(1, abs=0.03)
    assert 0.6 < np.quantile(ratio, 0.1) < 0.8  # a ratio over 1.3 or under 0.7 is unusual, not rare
    assert 1.25 < np.quantile(ratio, 0.9) < 1.6
    assert follow_meters(plan, [], Draws(64)) is plan
    np.testing.assert_array_equal(free.drinks, plan.drinks)


def test_instruments_know_their_methods() -> None:
    assert instrument("total_hardness", "drop_kit").absolute_sd == pytest.approx(17.1 / np.sqrt(12), abs=0.01)
    assert instrument("sulfate", "lab").relative_sd == instrument("any", "lab").relative_sd
    assert instrument("meter_gal").relative_sd == 0.02
    assert "Murray" in instrument("total_chlorine", "strip").source
    with pytest.raises(KeyError, match=r"instruments\.csv"):
        instrument("total_hardness", "guess")
