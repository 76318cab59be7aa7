"""From a report to complete waters: charge balances, solids come out as measured, nothing is filled in silently."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.ensemble import Draws, mean
from brewwater.reports.analysis import Supply
from brewwater.supply.completion import Completion, complete


def supply(disinfectant: str = "free_chlorine", **analysis: Any) -> Supply:
    entries = {}
    for name, value in analysis.items():
        unit = {"ph": "NONE", "conductivity": "µS/cm"}.get(name, "mg/L")
        entries[name] = value if isinstance(value, dict) else {"value": value, "unit": unit, "method": "lab"}
    return Supply.model_validate({"name": "Town", "analysis": entries, "disinfectant": disinfectant})


def run(n: int = 512, **analysis: Any) -> Completion:
    return complete(supply(**analysis), Draws(n))


def imbalance(found: Completion) -> float:
    t = found.water.totals
    return float(np.max(np.abs(t.charge_imbalance) / (t.cation_charge + 1e-12)))


def codes(found: Completion) -> set[str]:
    return {note.code for note in found.notes}


THREE = {"total_hardness": 290, "alkalinity": 240, "total_dissolved_solids": 420}


def test_three_numbers_become_balanced_waters_with_those_solids() -> None:
    found = run(**THREE)
    assert imbalance(found) < 1e-9
    weights = np.exp(found.log_weight)
    assert mean(found.water.hardness_mg_L_as_CaCO3, weights) == pytest.approx(290, abs=2)
    assert mean(found.water.alkalinity_mg_L_as_CaCO3, weights) == pytest.approx(240, abs=2)
    assert mean(found.water.tds_mg_L, weights) == pytest.approx(420, abs=5)
    assert found.known == {"total_hardness", "alkalinity", "total_dissolved_solids"}


def test_with_one_draw_the_numbers_come_back_exactly() -> None:
    found = run(n=1, **THREE)
    assert found.water.hardness_mg_L_as_CaCO3[0] == pytest.approx(290)
    assert found.water.alkalinity_mg_L_as_CaCO3[0] == pytest.approx(240)
    assert found.water.tds_mg_L[0] == pytest.approx(420)


def test_unmeasured_chloride_is_wide_and_not_known() -> None:
    found = run(**THREE)
    low, high = np.quantile(found.water.chloride_mg_L, [0.1, 0.9])
    assert high / low > 5
    assert "chloride" not in found.known


def test_sodium_alone_missing_is_inferred_from_the_charge() -> None:
    found = run(
        n=1,
        total_hardness=100.0869,
        alkalinity=50.04345,
        chloride=70.906,
        sulfate=0.0,
        nitrate=0.0,
        potassium=0.0,
        calcium=40.078,
    )
    # 2 meq/L of hardness against 1 of alkalinity and 2 of chloride: 1 meq/L of sodium, 22.99 mg/L
    assert found.water.sodium_mg_L[0] == pytest.approx(22.99, abs=0.3)


def test_missing_alkalinity_is_said_and_stays_unknown() -> None:
    found = run(
        total_hardness={"value": [80, 260], "unit": "mg/L", "method": "report"},
        total_dissolved_solids={"value": [180, 420], "unit": "mg/L", "method": "report"},
    )
    assert "alkalinity_missing" in codes(found)
    assert "alkalinity" not in found.known
    assert imbalance(found) < 1e-9


def test_missing_hardness_is_said_and_stays_unknown() -> None:
    found = run(alkalinity=120, total_dissolved_solids=250)
    assert "hardness_missing" in codes(found)
    assert "total_hardness" not in found.known


def test_hardness_follows_from_calcium_and_magnesium() -> None:
    found = run(n=1, calcium=40.078, magnesium=24.305, alkalinity=100)
    assert found.water.hardness_mg_L_as_CaCO3[0] == pytest.approx(200.17, rel=1e-3)
    assert "total_hardness" in found.known


def test_bicarbonate_stands_for_alkalinity() -> None:
    found = run(n=1, total_hardness=150, bicarbonate=190)
    assert found.water.alkalinity_mg_L_as_CaCO3[0] == pytest.approx(155.8, abs=0.3)  # the job's scenario 8
    assert "alkalinity" in found.known


def test_impossible_solids_are_set_aside_not_averaged() -> None:
    """The job's scenario 14: the ions add up to about 290, the report prints 110."""
    found = run(total_hardness=180, alkalinity=150, chloride=60, sulfate=40, total_dissolved_solids=110)
    assert "tds_impossible" in codes(found)
    solids = np.median(found.water.tds_mg_L)
    assert 220 < solids < 330


def test_a_detection_limit_is_an_interval_from_zero() -> None:
    entry = {"value": [0, 2.0], "unit": "mg/L", "method": "report", "below_detection": True}
    values = run(chloride=entry, **THREE).water.chloride_mg_L
    assert values.min() < 0.3
    assert np.quantile(values, 0.5) == pytest.approx(1.0, abs=0.25)


def test_unknown_disinfectant_is_both_and_said() -> None:
    found = complete(supply(disinfectant="unknown", **THREE), Draws(512))
    free, combined = found.water.free_chlorine_mg_L, found.water.chloramine_mg_L
    assert "disinfectant_unknown" in codes(found)
    assert np.mean(free > 0) == pytest.approx(0.5, abs=0.05)
    assert not np.any((free > 0) & (combined > 0))


def test_total_less_free_is_chloramine() -> None:
    """The job's scenario 5: total chlorine 2.8, free 0.1."""
    found = run(n=1, total_chlorine=2.8, free_chlorine=0.1, **THREE)
    assert found.water.chloramine_mg_L[0] == pytest.approx(2.7)


@given(
    hardness=st.floats(0, 500),
    alkalinity=st.floats(0, 450),
    solids=st.floats(20, 1500),
    chloride=st.none() | st.floats(0, 300),
    sodium=st.none() | st.floats(0, 300),
)
@settings(max_examples=60, deadline=None)
def test_any_numbers_give_balanced_waters(
    hardness: float, alkalinity: float, solids: float, chloride: float | None, sodium: float | None
) -> None:
    analysis: dict[str, Any] = {
        "total_hardness": hardness,
        "alkalinity": alkalinity,
        "total_dissolved_solids": solids,
    }
    if chloride is not None:
        analysis["chloride"] = chloride
    if sodium is not None:
        analysis["sodium"] = sodium
    found = run(n=32, **analysis)
    assert imbalance(found) < 1e-8
    for name in ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate"):
        assert np.all(getattr(found.water.totals, name) >= 0), name
    assert np.isfinite(found.log_weight).all()


def test_a_contradiction_is_said_and_no_stated_value_is_moved_to_hide_it() -> None:
    found = run(
        chloride={"value": [190, 200, 210], "unit": "mg/L"},
        sodium={"value": [4, 6, 8], "unit": "mg/L"},
        total_hardness=80,
        alkalinity=40,
    )
    assert "charge_imbalance" in codes(found)
    assert np.median(found.water.chloride_mg_L) == pytest.approx(200, rel=0.11)  # within twice its error of 5 %
    assert imbalance(found) < 1e-8
