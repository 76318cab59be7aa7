"""Food Code 5-202.12 as adopted in OAC 3717-1-05.1: 29.4 °C (85 °F) at the hand sink."""

from __future__ import annotations

from collections.abc import Callable

from brewwater.units import to_plan_units


def test_handwash_in_both_units(printed: Callable[..., None]) -> None:
    printed(
        "Food Code 5-202.12 (handwash), °F and °C", "85 °F in °C", to_plan_units(85, "°F", "temperature"), 29.4, 0.05
    )
