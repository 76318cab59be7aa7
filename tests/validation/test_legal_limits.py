"""Legal limits as printed, and the basis traps between them (US tables as N, EU and WHO as the ion)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater.reference import cite, table

Printed = Callable[..., None]


def limit(law: str, analyte: str, kind: str = "health", until: str | None = None) -> float:
    rows = [
        r
        for r in table("legal_limits")
        if (r["law"], r["analyte"], r["kind"]) == (law, analyte, kind)
        and (until is None or r["applies_until"] == until)
    ]
    assert len(rows) == 1
    return float(rows[0]["high"])


@pytest.mark.parametrize(
    ("analyte", "theirs"),
    [
        ("arsenic", 0.010),
        ("fluoride", 4.0),
        ("nitrate", 10),
        ("nitrite", 1),
        ("barium", 2),
        ("cadmium", 0.005),
        ("chromium", 0.1),
        ("mercury", 0.002),
        ("selenium", 0.05),
        ("antimony", 0.006),
        ("trihalomethanes", 0.080),
        ("haloacetic_acids", 0.060),
        ("bromate", 0.010),
    ],
)
def test_us_maximum_contaminant_levels(printed: Printed, analyte: str, theirs: float) -> None:
    printed(
        cite("epa_mcl"),
        f"{analyte}, mg/L (nitrate, nitrite as N)",
        limit("us_federal", analyte),
        theirs,
        0,
        kind="lookup",
    )


def test_us_disinfectants(printed: Printed) -> None:
    for analyte, theirs in (("total_chlorine", 4.0), ("chlorine_dioxide", 0.8)):
        printed(
            cite("epa_mcl"),
            f"{analyte}, mg/L",
            limit("us_federal", analyte, "disinfectant"),
            theirs,
            0,
            kind="lookup",
        )


def test_us_action_levels(printed: Printed) -> None:
    lead = limit("us_federal", "lead", "action_level", until="2027-11-01")
    printed(cite("cfr_141_2"), "lead, 90th percentile, mg/L", lead, 0.015, 0, kind="lookup")
    printed(
        cite("cfr_141_2"),
        "copper, 90th percentile, mg/L",
        limit("us_federal", "copper", "action_level"),
        1.3,
        0,
        kind="lookup",
    )
    later = limit("us_federal", "lead", "action_level", until="")
    printed(cite("lcri_2024"), "lead from 1 November 2027, mg/L", later, 0.010, 0, kind="lookup")


@pytest.mark.parametrize(
    ("analyte", "theirs"),
    [
        ("aluminum", 0.2),
        ("chloride", 250),
        ("color", 15),
        ("copper", 1.0),
        ("fluoride", 2.0),
        ("foaming_agents", 0.5),
        ("iron", 0.3),
        ("manganese", 0.05),
        ("odor", 3),
        ("ph", 8.5),
        ("silver", 0.1),
        ("sulfate", 250),
        ("total_dissolved_solids", 500),
        ("zinc", 5),
    ],
)
def test_us_secondary_levels(printed: Printed, analyte: str, theirs: float) -> None:
    printed(cite("cfr_143_3"), analyte, limit("us_federal", analyte, "secondary"), theirs, 0, kind="lookup")


@pytest.mark.parametrize(("analyte", "theirs"), [("nitrate", 50), ("nitrite", 0.5), ("copper", 2.0), ("nickel", 0.020)])
def test_eu_98_83_part_b(printed: Printed, analyte: str, theirs: float) -> None:
    printed(
        cite("eu_98_83_part_b"),
        f"{analyte}, mg/L (nitrate, nitrite as the ion)",
        limit("eu", analyte),
        theirs,
        0,
        kind="lookup",
    )


@pytest.mark.parametrize(
    ("analyte", "until", "theirs"),
    [
        ("lead", "2036-01-12", 0.010),
        ("lead", "", 0.005),
        ("arsenic", "", 0.010),
        ("bromate", "", 0.010),
        ("antimony", "", 0.010),
        ("boron", "", 1.5),
        ("chlorate", "", 0.25),
    ],
)
def test_eu_2020_2184(printed: Printed, analyte: str, until: str, theirs: float) -> None:
    printed(cite("eu_2020_2184"), f"{analyte}, mg/L", limit("eu", analyte, until=until), theirs, 0, kind="lookup")


def test_conductivity_is_at_25_degrees(printed: Printed) -> None:
    printed(
        cite("trinkwv_2023"),
        "conductivity at 25 °C, µS/cm",
        limit("eu", "conductivity", "secondary"),
        2790,
        0,
        kind="lookup",
    )


def test_us_nitrate_limit_as_the_ion(printed: Printed) -> None:
    from brewwater.units import to_plan_units

    printed(
        "40 CFR 141 nitrate limit of 10 mg/L as N",
        "mg/L as NO3",
        to_plan_units(10, "mg/L", "nitrate", "N"),
        44.3,
        0.05,
        kind="derived",
    )
