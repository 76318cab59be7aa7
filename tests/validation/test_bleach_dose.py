"""Bleach for a tank, as health departments and a vehicle's manual print it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater.errors import InputError
from brewwater.plumbing import bleach_fl_oz, sanitising
from brewwater.plumbing.tanks import bleach_mg_L

SHEET = "Mobile-unit sheet of a health department (docslib 4333772)"


def test_the_sheets_own_example(printed: Callable[..., None]) -> None:
    printed(SHEET, "bleach for 80 gal, fl oz", sanitising(80, 5.25).bleach_fl_oz, 10.4, 0.05)
    assert sanitising(80, 5.25).contact_hours == 4
    fast = sanitising(80, 5.25, "mobile_unit_fast")
    printed(SHEET, "double for 1 h, fl oz", fast.bleach_fl_oz, 20.8, 0.05, kind="derived")
    assert fast.contact_hours == 1


@pytest.mark.parametrize(("strength", "theirs"), [(5.25, 53), (8.25, 84)])
def test_what_that_dose_gives(strength: float, theirs: float, printed: Callable[..., None]) -> None:
    printed(
        SHEET, f"mg/L from bleach of {strength} %", sanitising(80, strength).chlorine_mg_L, theirs, 0.5, kind="derived"
    )


@pytest.mark.parametrize(("strength", "theirs", "half"), [(5.25, 54.7, 0.05), (8.25, 86, 0.5)])
def test_a_quarter_cup_in_15_gal(strength: float, theirs: float, half: float, printed: Callable[..., None]) -> None:
    printed(
        "a vehicle manual: 1/4 cup in 15 gal, called 50 ppm",
        f"mg/L from bleach of {strength} %",
        bleach_mg_L(15, 2, strength),
        theirs,
        half,
        kind="derived",
    )


@pytest.mark.parametrize(("fl_oz", "theirs"), [(2, 50), (4, 100)])
def test_what_the_manual_calls_it(fl_oz: float, theirs: float, printed: Callable[..., None]) -> None:
    printed(
        f"a vehicle manual: {fl_oz / 8:g} cup in 15 gal",
        "mg/L from bleach of 5.25 %",
        bleach_mg_L(15, fl_oz, 5.25),
        theirs,
        0.1 * theirs,
        why="a round figure; the manual does not print the strength",
    )


def test_a_gallon_in_a_thousand(printed: Callable[..., None]) -> None:
    printed(
        "Wyoming food rule ch. 12 § 10: 1 gal of 5.25 % in 1,000 gal, about 50 ppm",
        "mg/L",
        bleach_mg_L(1000, 128, 5.25),
        50,
        5,
        why="printed as about 50",
    )


@pytest.mark.parametrize("rule", ["vessel", "vehicle", "overnight", "surface", "hose"])
def test_dose_and_back(rule: str) -> None:
    dose = sanitising(40, 6.0, rule)
    assert bleach_fl_oz(40, dose.chlorine_mg_L, 6.0) == pytest.approx(dose.bleach_fl_oz)
    assert dose.bleach_fl_oz > 0


@pytest.mark.parametrize("strength", [0.5, 20])
def test_a_strength_that_is_not_sold(strength: float) -> None:
    with pytest.raises(InputError, match="1 to 15 %"):
        bleach_fl_oz(40, 50, strength)
