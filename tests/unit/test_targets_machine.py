"""The machine profile: the manual's figures first, the usual ones marked, chloride by stainless grade."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest
from pydantic import ValidationError

from brewwater.verdicts import MachineProfile, Verdict, judge, stainless_chloride_max_mg_L
from brewwater.verdicts.machine import Kind
from brewwater.water import Water

KNOWN = frozenset({"total_hardness", "alkalinity", "chloride", "sulfate", "sodium", "ph"})
GOOD = Water(
    pH=7.4,
    alkalinity_mg_L_as_CaCO3=55.0,
    calcium_mg_L=25.0,
    magnesium_mg_L=5.0,
    sodium_mg_L=9.0,
    chloride_mg_L=14.0,
    sulfate_mg_L=15.0,
)


def verdict(subject: str, water: Water = GOOD, **machine: object) -> Verdict:
    profile = MachineProfile.model_validate(machine)
    found = judge(water, known=KNOWN, weights=np.ones(1), machine=profile)
    return next(v for v in found if v.subject == subject)


@pytest.mark.parametrize("kind", get_args(Kind))
def test_every_kind_has_a_usual_temperature_and_inlet_pressure(kind: str) -> None:
    profile = MachineProfile.model_validate({"kind": kind})
    assert 0 <= profile.temperature_C <= 130
    inlet = profile.limit("minimum_inlet_psi")
    assert inlet is not None
    assert inlet.value > 0
    assert not inlet.from_manual
    assert "common practice" in inlet.source


def test_the_manual_outranks_the_usual_figure() -> None:
    limit = MachineProfile(minimum_inlet_psi=43).limit("minimum_inlet_psi")
    assert limit is not None
    assert (limit.value, limit.from_manual) == (43, True)


def test_a_manual_limit_passed_is_act_and_cited() -> None:
    assert verdict("scale").status == "ok"
    strict = verdict("scale", hardness_max_mg_L_as_CaCO3=70)
    assert strict.status == "act"
    assert "manual" in strict.source
    assert "manual up to 70" in strict.why


def test_a_manual_limit_wider_than_the_goal_lets_water_pass() -> None:
    hard = Water(pH=7.4, alkalinity_mg_L_as_CaCO3=60.0, calcium_mg_L=60.0, magnesium_mg_L=5.0)
    assert verdict("scale", hard).status == "watch"
    assert verdict("scale", hard, hardness_max_mg_L_as_CaCO3=250).status == "ok"


@pytest.mark.parametrize(
    ("field", "value", "subject"),
    [
        ("alkalinity_max_mg_L_as_CaCO3", 40, "scale"),
        ("tds_max_mg_L", 60, "scale"),
        ("chloride_max_mg_L", 10, "corrosion"),
        ("hardness_min_mg_L_as_CaCO3", 100, "corrosion"),
        ("alkalinity_min_mg_L_as_CaCO3", 60, "corrosion"),
        ("minimum_conductivity_uS_cm", 900, "corrosion"),
    ],
)
def test_every_limit_of_the_manual_binds(field: str, value: float, subject: str) -> None:
    assert verdict(subject).status == "ok"
    assert verdict(subject, **{field: value}).status == "act"


def test_pure_water_blinds_probes_even_without_a_manual() -> None:
    pure = Water(pH=6.5, alkalinity_mg_L_as_CaCO3=4.0, calcium_mg_L=1.0, sodium_mg_L=1.0, chloride_mg_L=0.5)
    found = verdict("corrosion", pure)
    assert found.status == "watch"
    probe = next(m for m in found.measures if m.name == "conductivity")
    assert probe.status == "watch"


def test_stainless_bears_less_chloride_hot() -> None:
    assert verdict("corrosion", wetted_metal="stainless", stainless_grade="304").status == "ok"
    hot = verdict("corrosion", wetted_metal="stainless", stainless_grade="304", boiler_temperature_C=120)
    assert hot.status == "act"
    assert verdict("corrosion", wetted_metal="stainless", boiler_temperature_C=120).status == "watch"
    assert (
        verdict("corrosion", wetted_metal="stainless", stainless_grade="316", boiler_temperature_C=120).status == "ok"
    )


def test_steam_concentrates_chloride() -> None:
    # 14 mg/L fed, nine tenths leaving as steam: 140 in the boiler, over the 80 that 316 bears at 120 °C
    found = verdict(
        "corrosion", kind="steam_boiler", wetted_metal="stainless", stainless_grade="316", steam_fraction=0.9
    )
    assert found.status == "act"
    boiler = next(m for m in found.measures if m.name == "boiler_chloride")
    assert boiler.p50 == pytest.approx(140)
    assert "10.0 times" in boiler.note


def test_the_table_says_where_it_ends() -> None:
    assert stainless_chloride_max_mg_L("304", 100)[0] == pytest.approx(17.5)  # halfway from 25 to 10
    assert stainless_chloride_max_mg_L("304", 120)[2] is False
    assert stainless_chloride_max_mg_L("304", 125)[2] is True
    hot = verdict("corrosion", wetted_metal="stainless", boiler_temperature_C=125)
    assert "ends at 120" in next(m for m in hot.measures if m.name == "boiler_chloride").note


def test_hot_results_above_90_are_marked() -> None:
    scale = verdict("scale", boiler_temperature_C=120)
    assert "Extrapolated" in next(m for m in scale.measures if m.name == "hot_ccpp").note
    cooler = verdict("scale", boiler_temperature_C=88)
    assert next(m for m in cooler.measures if m.name == "hot_ccpp").note == ""


def test_impossible_profiles_are_refused() -> None:
    with pytest.raises(ValidationError, match="above the maximum"):
        MachineProfile(hardness_min_mg_L_as_CaCO3=90, hardness_max_mg_L_as_CaCO3=50)
    with pytest.raises(ValidationError):
        MachineProfile(steam_fraction=1.0)
    with pytest.raises(ValidationError):
        MachineProfile(boiler_temperature_C=140)
