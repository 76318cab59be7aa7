"""Report units: a closed list with bases; nothing of a user's text is ever evaluated."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import brewwater
from brewwater import units
from brewwater.errors import UnitError
from brewwater.reference import table
from brewwater.units import PLAN_UNITS, from_plan_units, read_unit, to_plan_units


def test_exact_factors_agree_with_pint() -> None:
    q = pint.UnitRegistry().Quantity
    for ours, amount, unit, target in (
        (units.GAL_L, 1, "gallon", "liter"),
        (units.FL_OZ_L, 1, "fluid_ounce", "liter"),
        (units.PSI_KPA, 1, "psi", "kPa"),
        (units.GRAIN_MG, 1, "grain", "milligram"),
        (units.LB_KG, 1, "pound", "kilogram"),
        (units.INCH_M, 1, "inch", "meter"),
    ):
        assert ours == pytest.approx(q(amount, unit).to(target).magnitude, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "unit", "analyte", "basis", "plan"),
    [
        (1, "gpg", "total_hardness", None, 17.11806),
        (1, "grains/\ngallon", "total_hardness", None, 17.11806),
        (1, "°dH", "total_hardness", None, 17.848),
        (1, "°fH", "total_hardness", None, 10.0),
        (1, "°f", "total_hardness", None, 10.0),
        (1, "°Clark", "total_hardness", None, 14.2538),
        (1, "mmol/l", "total_hardness", None, 100.0869),
        (1, "mval/l", "total_hardness", None, 50.04345),
        (1, "mmol/l", "alkalinity", None, 50.04345),
        (61.0168, "mg/L as HCO3", "alkalinity", None, 50.04345),
        (100.0869, "mg/L", "calcium", "CaCO3", 40.078),
        (56.0774, "mg/l CaO", "total_hardness", None, 100.0869),
        (14.0067, "ppm", "nitrate", "N", 62.0049),
        (14.0067, "mg N/L", "nitrate", None, 62.0049),
        (10, "mg/L", "nitrate", None, 10.0),
        (32.06, "mg/L", "sulfate", "S", 96.0626),
        (2500, "µS/cm at 20 °C", "conductivity", None, 2790.0),
        (50, "mS/m", "conductivity", None, 500.0),
        (500, "μmho/cm", "conductivity", None, 500.0),
        (0.5, "mS/cm", "conductivity", None, 500.0),
        (77, "°F", "temperature", None, 25.0),
        (15, "ppb", "lead", None, 0.015),
        (4, "ng/L", "pfoa", None, 4e-6),
        (7.5, "NONE", "ph", None, 7.5),
        (7.5, "", "ph", None, 7.5),
        (1, "FNU", "turbidity", None, 1.0),
    ],
)
def test_to_plan_units(value: float, unit: str, analyte: str, basis: str | None, plan: float) -> None:
    assert to_plan_units(value, unit, analyte, basis) == pytest.approx(plan, rel=2e-5)


@pytest.mark.parametrize(
    ("unit", "analyte", "basis"),
    [
        ("decihenry", "total_hardness", None),
        ("__import__('os')", "calcium", None),
        ("mg/L**2", "calcium", None),
        ("µS/cm", "total_dissolved_solids", None),
        ("mg/L", "ph", None),
        ("mg/L", "calcium", "N"),
        ("gpg", "total_hardness", "HCO3"),
        ("mg/L", "chloride", "HCO3"),
        ("meq/L", "total_organic_carbon", None),
        ("mmol/l", "trihalomethanes", None),
        ("", "calcium", None),
        ("mg/L", "unobtainium", None),
        ("m" * 5000, "ph", None),
        ("µS/cm", "conductivity", "90C"),
    ],
)
def test_what_does_not_fit_is_refused(unit: str, analyte: str, basis: str | None) -> None:
    with pytest.raises(UnitError):
        to_plan_units(1.0, unit, analyte, basis)


def test_a_value_that_is_no_number_is_refused() -> None:
    with pytest.raises(UnitError):
        to_plan_units(math.nan, "mg/L", "calcium")


def test_the_traps_of_a_units_library() -> None:
    """``dH`` is a degree of hardness, not a decihenry; ``ppm`` is mg/L; a gallon is the US gallon."""
    assert read_unit("dH").unit == "dH"  # type: ignore[union-attr]
    assert to_plan_units(3, "ppm", "calcium") == 3
    assert units.GAL_L == 3.785411784


def test_every_plan_unit_is_its_own_plan_unit() -> None:
    for analyte, unit in PLAN_UNITS.items():
        assert to_plan_units(2.0, unit, analyte) == pytest.approx(2.0), analyte


def test_every_legal_limit_converts() -> None:
    for row in table("legal_limits"):
        assert to_plan_units(float(row["high"]), row["unit"], row["analyte"], row["basis"] or None) >= 0


def test_every_spelling_leads_to_its_unit() -> None:
    for row in table("report_units"):
        for spelling in row["printed"].split("|"):
            assert read_unit(spelling) is not None, spelling


@settings(max_examples=100, deadline=None)
@given(
    st.floats(0.001, 1e5),
    st.sampled_from(
        [
            ("gpg", "total_hardness"),
            ("mmol/L", "calcium"),
            ("mS/m", "conductivity"),
            ("degF", "temperature"),
            ("mg/L as N", "nitrate"),
        ]
    ),
)
def test_round_trip(value: float, case: tuple[str, str]) -> None:
    assert from_plan_units(to_plan_units(value, *case), *case) == pytest.approx(value, rel=1e-9)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_a_unit_or_not_and_never_an_error(text: str) -> None:
    read_unit(text)


def test_only_units_imports_pint() -> None:
    package = Path(brewwater.__file__).parent
    found = [
        p.name for p in package.rglob("*.py") if re.search(r"^\s*(?:import|from) pint\b", p.read_text(), re.MULTILINE)
    ]
    assert found == ["units.py"]


@pytest.mark.parametrize(("share", "digits", "said"), [(0.8, 0, "80 %"), (0.005, 1, "0.5 %"), (1.0, 0, "100 %")])
def test_a_share_is_written_with_a_space_before_its_sign(share: float, digits: int, said: str) -> None:
    assert units.percent(share, digits) == said
