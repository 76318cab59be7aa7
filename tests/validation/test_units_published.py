"""Conversions against published figures (EPA, USGS, German law, definitions)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater.units import to_plan_units


@pytest.mark.parametrize(
    ("source", "what", "args", "theirs", "tolerance"),
    [
        ("unit conversion page (constants)", "1 gpg, mg/L as CaCO3", (1, "gpg", "total_hardness"), 17.11806, 5e-6),
        ("unit conversion page", "1 °dH, mg/L as CaCO3", (1, "°dH", "total_hardness"), 17.848, 5e-4),
        ("unit conversion page", "1 °fH, mg/L as CaCO3", (1, "°fH", "total_hardness"), 10.0, 0.05),
        ("unit conversion page", "1 °Clark, mg/L as CaCO3", (1, "°Clark", "total_hardness"), 14.254, 5e-4),
        ("molar mass", "1 mmol/L hardness, mg/L as CaCO3", (1, "mmol/L", "total_hardness"), 100.0869, 5e-5),
        ("molar mass", "1 meq/L, mg/L as CaCO3", (1, "meq/L", "total_hardness"), 50.0435, 5e-5),
        ("Hem 1985 p. 57 (USGS WRI 02-4045)", "HCO3 to alkalinity", (1, "mg/L as HCO3", "alkalinity"), 0.8202, 1e-4),
        (
            "TrinkwV 2023 annex 3 and 98/83/EC",
            "2500 µS/cm at 20 °C in µS/cm at 25 °C",
            (2500, "µS/cm at 20 °C", "conductivity"),
            2790,
            0.5,
        ),
        ("40 CFR 141 and WHO (10 mg/L as N)", "nitrate as N to NO3, mg/L", (10, "mg/L as N", "nitrate"), 44.3, 0.05),
    ],
)
def test_conversion(
    printed: Callable[..., None], source: str, what: str, args: tuple[float, str, str], theirs: float, tolerance: float
) -> None:
    kind = "derived" if "40 CFR" in source else "lookup" if source.startswith(("TrinkwV", "molar mass")) else "computed"
    why = ""
    if "Hem" in source:
        why = "0.8202 rests on slightly older atomic weights"
    elif "TrinkwV" in source:
        why = "the factor is the ratio of the two printed limits"
    printed(source, what, to_plan_units(*args), theirs, tolerance, kind=kind, why=why)


def test_epa_120_1_potassium_chloride(printed: Callable[..., None]) -> None:
    """0.01 M KCl reads 1305 µmho/cm at 21 °C and 1413 at 25 °C."""
    printed(
        "EPA Method 120.1 (1982)",
        "KCl at 21 °C referred to 25 °C, µS/cm",
        to_plan_units(1305, "µmho/cm", "conductivity", "21C"),
        1413,
        0.5,
        kind="derived",
        why="the slope was worked from this table",
    )
