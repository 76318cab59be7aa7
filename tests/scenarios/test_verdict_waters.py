"""The job's scenarios on source water: what cup, scale, corrosion and safety say of it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from brewwater.ensemble import Draws
from brewwater.reports.analysis import Measurement, Supply
from brewwater.supply.completion import complete
from brewwater.verdicts import MachineProfile, Measure, TargetChoice, Verdict, judge
from brewwater.water import Water

UNIT = {"alkalinity": "mg/L as CaCO3", "total_hardness": "mg/L as CaCO3", "ph": "1"}


def town(values: Mapping[str, float | list[float]], **facts: object) -> Supply:
    """A supply as if read in a report, in the plan's units."""
    analysis = {
        name: Measurement.model_validate({"value": v, "unit": UNIT.get(name, "mg/L"), "method": "report"})
        for name, v in values.items()
    }
    return Supply.model_validate({"name": "Quarry Lane", "analysis": analysis, **facts})


def verdicts(
    supply: Supply, *, machine: MachineProfile | None = None, targets: TargetChoice | None = None, n: int = 512
) -> dict[str, Verdict]:
    """The four verdicts on a supply's own water, by subject."""
    done = complete(supply, Draws(n))
    weights = np.exp(np.broadcast_to(done.log_weight, (n,)))
    found = judge(done.water, known=done.known, weights=weights, supplies=[supply], machine=machine, targets=targets)
    return {v.subject: v for v in found}


def measure(verdict: Verdict, name: str) -> Measure:
    return next(m for m in verdict.measures if m.name == name)


def test_scenario_1_salty_soft_water_scales_nothing_and_pits_boilers() -> None:
    found = verdicts(
        town(
            {
                "total_hardness": 35,
                "alkalinity": 30,
                "chloride": 95,
                "sulfate": 20,
                "sodium": 69,
                "total_dissolved_solids": 225,
            }
        )
    )
    assert found["scale"].status == "ok"
    assert found["corrosion"].status == "act"
    larson = measure(found["corrosion"], "larson_ratio").p50
    assert larson == pytest.approx(5.0, abs=0.5)  # (95/35.45 + 20/48.03) / (30/50.04) = 5.16
    assert "hloride" in found["corrosion"].why
    assert found["corrosion"].flip_test == "chloride_drop_kit"


def test_scenario_3_permanent_hardness_warns_of_sulfate_scale() -> None:
    scale = verdicts(town({"total_hardness": 280, "alkalinity": 45, "sulfate": 210, "chloride": 25}))["scale"]
    assert measure(scale, "temporary_hardness").p50 == pytest.approx(45, abs=3)
    assert measure(scale, "temporary_hardness").status == "ok"
    assert measure(scale, "sulfate_hardness").status == "watch"
    assert "sulfate hardness" in scale.why


def test_scenario_4_soft_is_not_good() -> None:
    found = verdicts(town({"total_hardness": 25, "alkalinity": 260, "sodium": 120, "chloride": 15, "sulfate": 10}))
    assert found["cup"].status == "act"
    assert "lkalinity" in found["cup"].why
    assert found["scale"].status == "ok"
    foam = measure(found["scale"], "sodium_alkalinity")
    assert foam.p50 == pytest.approx(235, rel=0.05)
    assert "foam" in foam.note


def test_scenario_7_two_towns_are_judged_apart_and_the_worst_is_named() -> None:
    # served at 30 % bypass: A 60/40 becomes about 39/19, B 300/220 about 153/73
    spread = np.random.default_rng(7).normal(0, 3, 400)
    alkalinity = np.stack([19 + spread, 73 + spread])
    hardness = np.array([[39.0], [153.0]])
    water = Water(
        pH=7.4,
        alkalinity_mg_L_as_CaCO3=alkalinity,
        calcium_mg_L=hardness / 2.497 * 0.8,
        magnesium_mg_L=hardness / 4.118 * 0.2,
        sodium_mg_L=12.0,
        chloride_mg_L=12.0,
    )
    known = frozenset({"total_hardness", "alkalinity"})

    def judged(w: Water, names: tuple[str, ...]) -> dict[str, Verdict]:
        found = judge(w, known=known, weights=np.ones(400), role="served", phase_names=names)
        return {v.subject: v for v in found}

    both = judged(water, ("Town A", "Town B"))
    assert (both["cup"].status, both["cup"].phase) == ("act", "Town A")
    assert "in Town A" in both["cup"].why
    assert (both["scale"].status, both["scale"].phase) == ("watch", "Town B")
    only_b = judged(water.each(lambda a: a[1] if a.ndim == 2 and a.shape[0] == 2 else a), ())
    assert only_b["cup"].status == "watch"
    mean = judged(water.each(lambda a: a.mean(axis=0) if a.ndim == 2 and a.shape[0] == 2 else a), ())
    assert mean["cup"].status == "ok"  # the average hides both: why it is never judged


def test_scenario_8_grains_and_bicarbonate() -> None:
    supply = Supply(
        name="Ferry Road",
        analysis={
            "total_hardness": Measurement(value=239.65, unit="mg/L as CaCO3", method="report"),
            "bicarbonate": Measurement(value=190, unit="mg/L", method="report"),
        },
    )
    scale = verdicts(supply)["scale"]
    assert scale.status == "act"
    assert measure(scale, "temporary_hardness").p50 == pytest.approx(156, rel=0.02)
    assert measure(scale, "permanent_hardness").p50 == pytest.approx(84, rel=0.06)


def test_scenario_14_impossible_solids_do_not_soften_the_verdict() -> None:
    found = verdicts(
        town({"total_hardness": 180, "alkalinity": 150, "chloride": 60, "sulfate": 40, "total_dissolved_solids": 110})
    )
    assert found["corrosion"].status == "act"
    solids = measure(found["cup"], "total_dissolved_solids")
    assert solids.p50 is not None
    assert solids.p50 > 230  # never the printed 110
    sodium = measure(found["cup"], "sodium")
    assert "Inferred" in sodium.note


def test_scenario_15_scale_is_red_and_cold_corrosion_undecided_without_a_ph() -> None:
    found = verdicts(
        town({"total_hardness": 200, "calcium": 150 / 2.497, "alkalinity": 160, "total_dissolved_solids": 280})
    )
    assert found["scale"].status == "act"
    assert found["corrosion"].status == "unknown"
    assert "pH" in found["corrosion"].why
    assert found["corrosion"].share is None
    assert measure(found["corrosion"], "line_ph").status == "unknown"
    hot = measure(found["scale"], "hot_index")
    assert hot.status == "unknown"
    assert hot.p10 is not None
    assert hot.p10 > 0  # positive throughout at 93 °C


def test_three_numbers_say_nothing_of_chloride_or_safety() -> None:
    found = verdicts(town({"total_hardness": 290, "alkalinity": 240, "total_dissolved_solids": 420}))
    assert {s: v.status for s, v in found.items()} == {
        "cup": "act",
        "scale": "act",
        "corrosion": "unknown",
        "safety": "unknown",
    }
    assert "chloride" in found["corrosion"].why


def test_no_hardness_leaves_scale_unknown_and_asks_for_it_first() -> None:
    found = verdicts(town({"alkalinity": 100, "total_dissolved_solids": 200, "ph": 7.6}))
    assert found["scale"].status == "unknown"
    assert found["scale"].flip_test == "hardness_drop_kit"


def test_no_alkalinity_leaves_cup_and_scale_unknown() -> None:
    found = verdicts(town({"total_hardness": [80, 190], "total_dissolved_solids": [180, 340]}))
    for subject in ("cup", "scale"):
        assert found[subject].status == "unknown"
        assert found[subject].flip_test == "alkalinity_drop_kit"
        assert found[subject].share is None


def test_a_clear_fault_stands_though_the_rest_is_unknown() -> None:
    found = verdicts(town({"total_hardness": 400}))
    assert found["scale"].status == "act"
    assert found["cup"].status == "act"
    assert found["corrosion"].status == "unknown"


def test_good_water_is_called_good() -> None:
    found = verdicts(
        town(
            {
                "total_hardness": 85,
                "alkalinity": 55,
                "total_dissolved_solids": 135,
                "ph": 7.4,
                "chloride": 12,
                "sulfate": 15,
                "sodium": 9,
            }
        )
    )
    assert [found[s].status for s in ("cup", "scale", "corrosion")] == ["ok", "ok", "ok"]


def weak_acid_water() -> Water:
    """Scenario 2 after the bed: 110 hardness, 60 alkalinity and about 160 mg/L of CO2."""
    return Water(
        pH=5.87,
        alkalinity_mg_L_as_CaCO3=60.0,
        calcium_mg_L=32.0,
        magnesium_mg_L=7.3,
        sodium_mg_L=9.0,
        chloride_mg_L=20.0,
        sulfate_mg_L=30.0,
    )


@pytest.mark.parametrize(
    ("metal", "line", "status"),
    [
        ("copper_brass", "copper_brass", "act"),
        ("stainless", "steel", "act"),
        ("copper_brass", "non_metallic", "watch"),
        ("stainless", "non_metallic", "watch"),
        ("unknown", "non_metallic", "watch"),
    ],
)
def test_co2_rich_water_is_right_in_the_cup_and_wrong_for_a_metal_line(metal: str, line: str, status: str) -> None:
    known = frozenset({"total_hardness", "alkalinity", "ph", "chloride", "sulfate", "sodium"})
    machine = MachineProfile.model_validate({"wetted_metal": metal, "line_material": line, "stainless_grade": "316"})
    found = {
        v.subject: v for v in judge(weak_acid_water(), known=known, weights=np.ones(1), role="served", machine=machine)
    }
    assert found["cup"].status == "ok"
    assert measure(found["cup"], "ph").p50 == pytest.approx(6.8)
    assert "5.9 in the line to 8.2" in measure(found["cup"], "ph").note
    assert found["corrosion"].status == status
    assert measure(found["corrosion"], "line_ph").p50 == pytest.approx(5.87, abs=0.01)
    assert measure(found["corrosion"], "line_co2").p50 == pytest.approx(160, abs=15)
