"""Membranes and blending against printed figures; where two sources disagree, both stand here."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater import reference
from brewwater.ensemble import Draws
from brewwater.treatment import Stage, apply, settings_for
from brewwater.treatment.blend import raw_share
from brewwater.treatment.reverse_osmosis import concentration_factor, osmotic_pressure_psi, temperature_factor
from brewwater.water import Water

ARTICLE = "trade article on reverse osmosis"


def test_blend_of_raw_water(printed: Callable[..., None]) -> None:
    printed(
        "UFC 3-230-12A App. A: raw 800, permeate 303, target 500",
        "share of raw water",
        float(raw_share(800, 303, 500)),
        0.396,
        0.0005,
    )


def test_concentration_factor(printed: Callable[..., None]) -> None:
    printed(ARTICLE, "concentration factor at 75 % recovery", float(concentration_factor(0.75)), 4, 0.05)


@pytest.mark.parametrize(
    ("fahrenheit", "factor"),
    [
        (32, 0.50),
        (41, 0.58),
        (50, 0.66),
        (59, 0.76),
        (68, 0.87),
        (77, 1.00),
        (86, 1.15),
        (95, 1.32),
        (104, 1.51),
    ],
)
def test_army_temperature_table(printed: Callable[..., None], fahrenheit: float, factor: float) -> None:
    ours = float(temperature_factor((fahrenheit - 32) / 1.8, "army_table"))
    printed("Army TM 10-4610-309-14 WP0083", f"factor at {fahrenheit} °F", ours, factor, 0.005, kind="lookup")


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


def test_two_sources_disagree_in_the_cold() -> None:
    """The conflict is real: the reason that each membrane names its curve."""
    assert float(temperature_factor(10.0, "army_table")) - float(temperature_factor(10.0)) > 0.07


def test_osmotic_pressure(printed: Callable[..., None]) -> None:
    printed(ARTICLE, "osmotic psi at 1,000 mg/L", float(osmotic_pressure_psi(1000.0)), 10, 0.5)


@pytest.mark.parametrize(
    ("source", "recovery", "reject_per_product", "tolerance"),
    [
        ("trade magazine: 5 gal wasted per gal, 16.7 % recovery", 1 / 6, 5.0, 0.05),
        ("EPA P101CQSP, draft: at most 2.3, 30.3 % recovery", 0.303, 2.3, 0.05),
    ],
)
def test_waste_of_a_small_unit(
    printed: Callable[..., None], source: str, recovery: float, reject_per_product: float, tolerance: float
) -> None:
    stage = Stage(name="membrane", medium="reverse_osmosis", recovery=recovery)
    feed = Water(pH=7.5, alkalinity_mg_L_as_CaCO3=100, sodium_mg_L=45.94)
    load = apply(stage, feed, settings_for(stage, Draws(1))).load
    printed(source, "litres wasted per litre", float(load.reject_L[0]), reject_per_product, tolerance)


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
