"""Goals of published sheets for brewing water, and chloride by stainless grade, as printed."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater.reference import cite
from brewwater.units import to_plan_units
from brewwater.verdicts import TargetChoice, goals, stainless_chloride_max_mg_L

Printed = Callable[..., None]


@pytest.mark.parametrize(
    ("measure", "bound", "theirs"),
    [
        ("total_chlorine", "target", 0),
        ("total_dissolved_solids", "target", 150),
        ("total_dissolved_solids", "low", 75),
        ("total_dissolved_solids", "high", 250),
        ("calcium_hardness", "target", 68),
        ("calcium_hardness", "low", 17),
        ("calcium_hardness", "high", 85),
        ("alkalinity", "target", 40),
        ("ph", "target", 7.0),
        ("ph", "low", 6.5),
        ("ph", "high", 7.5),
        ("sodium", "target", 10),
    ],
)
def test_scaa_2009(printed: Printed, measure: str, bound: str, theirs: float) -> None:
    goal = goals(TargetChoice(edition="scaa_2009"))[measure]
    printed(cite("scaa_2009"), f"{measure}, {bound}", getattr(goal, bound), theirs, 0, kind="lookup")


def test_scaa_2009_hardness_is_four_grains(printed: Printed) -> None:
    sheet = goals(TargetChoice(edition="scaa_2009"))["calcium_hardness"]
    for grains, printed_mg_L in ((4, sheet.target), (1, sheet.low), (5, sheet.high)):
        printed(
            cite("scaa_2009"),
            f"calcium hardness, {grains} grains per gallon, mg/L as CaCO3",
            to_plan_units(grains, "gpg", "total_hardness"),
            printed_mg_L,
            0.5 if grains < 5 else 0.6,
            why="" if grains < 5 else "85.6, which the sheet prints as five times 17",
        )


@pytest.mark.parametrize(
    ("grade", "temperature", "theirs"),
    [
        ("304", 60, 50),
        ("304", 80, 25),
        ("304", 120, 10),
        ("316", 60, 300),
        ("316", 80, 150),
        ("316", 120, 80),
    ],
)
def test_plate_exchanger_chloride(printed: Printed, grade: str, temperature: float, theirs: float) -> None:
    printed(
        cite("plate_exchanger_manual"),
        f"{grade} at {temperature} °C, mg/L chloride",
        stainless_chloride_max_mg_L(grade, temperature)[0],
        theirs,
        0,
        kind="lookup",
    )


@pytest.mark.parametrize(("grade", "theirs"), [("304", 200), ("316", 1000)])
def test_crevice_attack_at_room_temperature(printed: Printed, grade: str, theirs: float) -> None:
    printed(
        cite("bssa_crevice"),
        f"{grade}, ambient, mg/L chloride",
        stainless_chloride_max_mg_L(grade, 20)[0],
        theirs,
        0,
        kind="lookup",
    )


@pytest.mark.parametrize(
    ("measure", "low", "high"),
    [("calcium_hardness", 50, 175), ("alkalinity", 40, 70), ("ph", 6, 8)],
)
def test_later_sheet_second_hand(printed: Printed, measure: str, low: float, high: float) -> None:
    goal = goals(TargetChoice(edition="sca_later"))[measure]
    for bound, ours, theirs in (("low", goal.low, low), ("high", goal.high, high)):
        printed(
            cite("sca_later"),
            f"{measure}, {bound}",
            ours,
            theirs,
            0,
            kind="lookup",
            why="seen in a reprint; sheets disagree by edition",
        )
