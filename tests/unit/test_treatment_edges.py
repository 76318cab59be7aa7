"""Stages as documents, and waters at the edge: none, acid, empty of hardness."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from brewwater.chemistry import Totals
from brewwater.ensemble import Draws
from brewwater.treatment import MEDIA, DataSheet, Dose, Stage, apply, settings_for
from brewwater.water import Water

ONE = Draws(1)


def test_a_stage_survives_its_document() -> None:
    stage = Stage(
        name="membrane",
        medium="reverse_osmosis",
        bypass_percent=12.5,
        sheet=DataSheet(price=[40, 60, 90], flush_gal=5, rated_output_gal_per_day=75),  # type: ignore[arg-type]
        recovery=0.3,
        rejection={"sodium": 0.91},
        doses=(Dose(salt="sodium_chloride", mg_L=5),),
        temperature_curve="army_table",
    )
    assert Stage.model_validate_json(stage.model_dump_json()) == stage
    assert stage.sheet.flush_gal is not None
    assert stage.sheet.flush_gal.certain


@pytest.mark.parametrize(
    "wrong",
    [
        {"bypass_percent": 101},
        {"bypass_percent": -1},
        {"recovery": 1.0},
        {"medium": "magnets"},
        {"rejection": {"sodium": 1.2}},
        {"sheet": {"rated_gal": 0}},
        {"sheet": {"reference_bypass_percent": 100}},
        {"leakage_mg_L_as_CaCO3": float("nan")},
        {"surprise": 1},
    ],
)
def test_a_wrong_stage_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Stage.model_validate({"name": "s", "medium": "carbon", **wrong})


def stage_of(medium: str) -> Stage:
    return Stage(name="s", medium=medium, bypass_percent=10)  # type: ignore[arg-type]


@pytest.mark.parametrize("medium", sorted(MEDIA))
def test_pure_water_stays_finite_and_empty(medium: str) -> None:
    pure = Water(pH=7.0, alkalinity_mg_L_as_CaCO3=0.0)
    outlet = apply(stage_of(medium), pure, settings_for(stage_of(medium), ONE)).outlet
    for name in Totals.__dataclass_fields__:
        assert np.isfinite(getattr(outlet.totals, name)).all(), name
    assert np.abs(outlet.totals.charge_imbalance).max() < 1e-15
    if medium != "calcite":
        assert float(np.max(outlet.hardness_mg_L_as_CaCO3)) == 0


@pytest.mark.parametrize("medium", sorted(set(MEDIA) - {"calcite"}))
def test_mineral_acid_keeps_its_charge(medium: str) -> None:
    acid = Water.of(
        Totals(
            calcium=np.array([2e-4]),
            magnesium=np.array([1e-4]),
            sodium=np.array([1e-4]),
            potassium=np.array([0.0]),
            chloride=np.array([5e-4]),
            sulfate=np.array([1.5e-4]),
            nitrate=np.array([0.0]),
            alkalinity=np.array([-1e-4]),
            dic=np.array([2e-4]),
        ),
        np.array([20.0]),
    )
    outlet = apply(stage_of(medium), acid, settings_for(stage_of(medium), ONE)).outlet
    assert np.abs(acid.totals.charge_imbalance).max() < 1e-12
    assert np.abs(outlet.totals.charge_imbalance).max() < 1e-12
    for name in ("calcium", "magnesium", "sodium", "chloride", "sulfate", "dic"):
        assert float(getattr(outlet.totals, name)[0]) >= 0, name


def test_a_calcite_bed_mends_acid_water() -> None:
    sour = Water(pH=4.6, alkalinity_mg_L_as_CaCO3=0.2, sodium_mg_L=0.1)
    outlet = apply(stage_of("calcite"), sour, settings_for(stage_of("calcite"), ONE)).outlet
    assert float(outlet.alkalinity_mg_L_as_CaCO3[0]) > 5
