"""Water in a drink, from the Golden Cup brewing ratio and what the grounds hold."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater.demand import usual_drink
from brewwater.units import to_plan_units


@pytest.mark.parametrize(("held_g_per_g", "end"), [(2.0, "low"), (2.5, "high")])
def test_drip_coffee(printed: Callable[..., None], held_g_per_g: float, end: str) -> None:
    # 55 g/L of water; the grounds keep 2 to 2.5 g/g; 12 fl oz reach the cup
    poured = 12 / (1 - 0.055 * held_g_per_g)
    source = "SCAA Golden Cup 2015, 55 g/L; grounds hold 2 to 2.5 g/g"
    printed(
        source,
        f"water for 12 fl oz of drip coffee, {end}, fl oz",
        getattr(usual_drink("drip"), end),
        poured,
        0.5,
        kind="derived",
        why="the table is kept to the half ounce",
    )


def test_brewing_temperature_in_both_units(printed: Callable[..., None]) -> None:
    printed(
        "SCAA Golden Cup, brewing temperature (93 °C, 200 °F)",
        "200 °F in °C",
        to_plan_units(200, "°F", "temperature"),
        93,
        0.5,
    )
