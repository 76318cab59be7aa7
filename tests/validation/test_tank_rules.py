"""Waste tank, slope, temperature and residual, as the codes print them."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater import reference
from brewwater.plumbing.parts import limit
from brewwater.plumbing.tanks import drain_slope_in_per_ft, fall_in, waste_rule


@pytest.mark.parametrize(
    ("key", "source", "percent"),
    [
        ("ohio", "OAC 3717-1-05.3(A)", 15),
        ("indiana", "410 IAC 7-24-372", 15),
        ("chicago", "Chicago 7-38-132", 50),
    ],
)
def test_percent_larger(key: str, source: str, percent: float, printed: Callable[..., None]) -> None:
    printed(
        source,
        "waste tank larger than the fresh one by, %",
        (waste_rule(key).ratio() - 1) * 100,
        percent,
        1e-6,
        kind="lookup",
    )


def test_california_in_its_parts(printed: Callable[..., None]) -> None:
    rule, source = waste_rule("california"), "California HSC 114240"
    printed(
        source,
        "waste tank larger by, %, no preparation",
        (rule.ratio(prepares=False) - 1) * 100,
        50,
        1e-6,
        kind="lookup",
    )
    printed(
        source, "further share of the supply for preparation, %", rule.preparation_share * 100, 15, 1e-6, kind="lookup"
    )
    printed(source, "least waste tank, gal", rule.required_gal(1), 7.5, 1e-9, kind="lookup")
    assert rule.required_gal(40) == pytest.approx(66)


def test_the_model_code_on_scenario_tanks(printed: Callable[..., None]) -> None:
    printed(
        "OAC 3717-1-05.3(A)",
        "waste tank for 32 gal fresh, gal",
        waste_rule("food_code").required_gal(32),
        36.8,
        1e-9,
        kind="derived",
    )


@pytest.mark.parametrize(
    ("diameter", "slope"), [(1, 1 / 4), (2.5, 1 / 4), (3, 1 / 8), (6, 1 / 8), (8, 1 / 16), (12, 1 / 16)]
)
def test_drain_slope(diameter: float, slope: float, printed: Callable[..., None]) -> None:
    printed(
        "Chicago 18-29-704.1, Table 704.1",
        f"slope of a {diameter:g} in drain, in/ft",
        drain_slope_in_per_ft(diameter),
        slope,
        1e-9,
        kind="lookup",
    )


def test_a_drain_between_two_lines_takes_the_steeper() -> None:
    assert drain_slope_in_per_ft(2.75) == 0.25
    assert drain_slope_in_per_ft(7) == 0.125


def test_fall_of_a_tank_three_feet_long() -> None:
    assert fall_in(36, 0.25) == 0.75


def test_handwash_temperature(printed: Callable[..., None]) -> None:
    printed(
        "Food Code 5-202.12 (2022) as adopted",
        "handwash water, °F",
        limit("handwash") * 1.8 + 32,
        85,
        0.5,
        kind="lookup",
        why="the code prints 29.4 °C (85 °F)",
    )


def test_residuals(printed: Callable[..., None]) -> None:
    rows = {r["when"]: r for r in reference.table("tank_residual")}
    for when, column, theirs in (
        ("taken on board", "minimum_mg_L", 2.0),
        ("each day", "minimum_mg_L", 0.2),
        ("each day", "maximum_mg_L", 5.0),
    ):
        printed("CDC VSP 2018", f"chlorine {when}, {column}", float(rows[when][column]), theirs, 0.05, kind="lookup")
