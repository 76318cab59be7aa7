"""Whose water is in the tank on which day."""

from __future__ import annotations

from typing import Any

import pytest

from brewwater.demand import DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.supply.tank_days import MOST_PHASES, FillCalendar, tank_days

EVERY_DAY = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
TWO_TOWNS = [{"supply": "a"}, {"supply": "b", "weekdays": ["tue", "thu"]}]


def tank(fills: list[dict[str, Any]], heel: float = 0.0, **calendar: Any) -> Any:
    document = {"start": "2026-01-05", **calendar}
    inputs = DemandInput.model_validate({"calendar": document, "drinks_per_service_day": 10})
    days = demand(inputs, ["machine"], Draws(1))
    return tank_days(FillCalendar.model_validate({"fills": fills, "heel": heel}), days, inputs.calendar)


def share_of(found: Any, name: str, days: int) -> list[float]:
    return [float(found.shares[p, found.names.index(name)]) for p in found.phase_of_day[:days]]


def test_plumbed_shop_has_one_water() -> None:
    found = tank([{"supply": "a"}])
    assert found.phases == 1
    assert found.shares.tolist() == [[1.0]]


def test_two_towns_without_heel() -> None:
    assert share_of(tank(TWO_TOWNS), "b", 5) == [0, 1, 0, 1, 0]


def test_carry_over() -> None:
    # by hand, heel 0.2: Mon a; Tue 0.8 b; Wed 0.16 b; Thu 0.8 + 0.2 x 0.16 = 0.832; Fri 0.1664
    found = tank(TWO_TOWNS, heel=0.2)
    assert share_of(found, "b", 5) == pytest.approx([0, 0.8, 0.16, 0.83, 0.17])
    assert found.rounding == 0.01
    assert found.shares.sum(axis=1) == pytest.approx(1)


def test_no_fill_keeps_the_tank() -> None:
    found = tank([{"supply": "a", "weekdays": ["mon"]}, {"supply": "b", "weekdays": ["thu"]}], heel=0.5)
    assert share_of(found, "b", 10) == pytest.approx([0, 0, 0, 0.5, 0.5, 0.5, 0.5, 0.25, 0.25, 0.25])


def test_before_the_first_fill_the_tank_holds_its_water() -> None:
    assert share_of(tank([{"supply": "b", "start": "2026-01-07"}]), "b", 2) == [1, 1]


def test_a_later_line_holds() -> None:
    trip = {"supply": "b", "start": "2026-01-06", "end": "2026-01-07"}
    assert share_of(tank([{"supply": "a"}, trip]), "b", 5) == [0, 1, 1, 0, 0]


@pytest.mark.parametrize(
    "stop",
    [
        {"suspensions": [{"start": "2026-01-07", "end": "2026-01-07"}]},
        {"closures": [{"start": "2026-01-07", "end": "2026-01-07", "drained": True}]},
        {"closures": [{"start": "2026-01-07", "end": "2026-01-07", "kind": "stored"}]},
    ],
)
def test_an_emptied_tank_carries_nothing_over(stop: dict[str, Any]) -> None:
    fills = [{"supply": "a"}, {"supply": "b", "weekdays": ["tue"]}]
    assert share_of(tank(fills, heel=0.5, **stop), "b", 4) == pytest.approx([0, 0.5, 0.5, 0])


def test_a_closed_day_keeps_the_tank() -> None:
    fills = [{"supply": "a"}, {"supply": "b", "weekdays": ["tue"]}]
    closed = {"closures": [{"start": "2026-01-07", "end": "2026-01-07"}]}
    assert share_of(tank(fills, heel=0.5, **closed), "b", 4) == pytest.approx([0, 0.5, 0.5, 0.25])


def test_few_mixtures_however_many_towns() -> None:
    towns = [{"supply": f"t{i}", "weekdays": [w]} for i, w in enumerate(EVERY_DAY)]
    trips = [{"supply": f"far{m}", "start": f"2026-{m:02}-03", "end": f"2026-{m:02}-05"} for m in range(1, 13)]
    found = tank(towns + trips, heel=0.6, weekdays=EVERY_DAY)
    assert found.shares.sum(axis=1) == pytest.approx(1)
    assert found.phases <= MOST_PHASES or found.rounding == 0.1
