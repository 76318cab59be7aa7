"""A trade article on reverse osmosis: concentration, temperature, osmotic pressure, rejection."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater import reference
from brewwater.treatment.media.reverse_osmosis import concentration_factor, osmotic_pressure_psi, temperature_factor

ARTICLE = "trade article on reverse osmosis"


def test_concentration_factor(printed: Callable[..., None]) -> None:
    printed(ARTICLE, "concentration factor at 75 % recovery", float(concentration_factor(0.75)), 4, 0.05)


@pytest.mark.parametrize(
    ("fahrenheit", "exponential", "three_percent"),
    [
        (50, 0.585, 0.642),
        (59, 0.704, 0.744),
        (68, 0.841, 0.863),
        (86, 1.157, None),
        (104, 1.528, None),
    ],
)
def test_temperature_formulas(
    printed: Callable[..., None], fahrenheit: float, exponential: float, three_percent: float | None
) -> None:
    celsius = (fahrenheit - 32) / 1.8
    printed(
        ARTICLE,
        f"exp factor at {fahrenheit} °F",
        float(temperature_factor(celsius)),
        exponential,
        0.0015,
        kind="derived",
        why="printed formula, answers worked; 298 or 298.15 K moves the third digit",
    )
    if three_percent is not None:
        printed(
            "1.03^(T - 25)",
            f"factor at {fahrenheit} °F",
            float(temperature_factor(celsius, "three_percent")),
            three_percent,
            0.0005,
            kind="derived",
            why="common practice, answers worked",
        )


def test_osmotic_pressure(printed: Callable[..., None]) -> None:
    printed(ARTICLE, "osmotic psi at 1,000 mg/L", float(osmotic_pressure_psi(1000.0)), 10, 0.5)


@pytest.mark.parametrize(
    ("ion", "low", "high"),
    [
        ("calcium", 96, 98),
        ("magnesium", 96, 98),
        ("sodium", 92, 98),
        ("potassium", 92, 92),
        ("alkalinity", 95, 96),
        ("chloride", 94, 95),
        ("nitrate", 93, 96),
        ("silica", 85, 90),
    ],
)
def test_rejection_table(printed: Callable[..., None], ion: str, low: float, high: float) -> None:
    row = reference.keyed("ro_rejection", "ion")[ion]
    printed(
        "trade article, thin-film rejection",
        f"{ion} low %",
        float(row["low_percent"]),
        low,
        0.5,
        kind="lookup",
    )
    printed(
        "trade article, thin-film rejection",
        f"{ion} high %",
        float(row["high_percent"]),
        high,
        0.5,
        kind="lookup",
    )
