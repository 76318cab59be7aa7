"""Mineral dosing: hydrates, purity, grams, and the block on tenfold entries."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from brewwater import reference
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.treatment import Dose, Stage, apply, settings_for
from brewwater.treatment.media.mineral_dose import batch, dosed, salt
from brewwater.water import MOLAR_MASS_G, Water

PURE = Water(pH=7, alkalinity_mg_L_as_CaCO3=0.0, sodium_mg_L=0.0)
# g/mol from standard atomic weights (H 1.008, C 12.011, O 15.999)
ATOMS = {
    "Ca": 40.078,
    "Mg": 24.305,
    "Na": 22.98977,
    "K": 39.0983,
    "Cl": 35.453,
    "S": 32.06,
    "O": 15.999,
    "H": 1.008,
    "C": 12.011,
}
PARTS = {
    "sodium_bicarbonate": "Na H C O O O",
    "potassium_bicarbonate": "K H C O O O",
    "magnesium_sulfate_heptahydrate": "Mg S O O O O" + " H H O" * 7,
    "magnesium_sulfate_anhydrous": "Mg S O O O O",
    "magnesium_chloride_hexahydrate": "Mg Cl Cl" + " H H O" * 6,
    "calcium_chloride_dihydrate": "Ca Cl Cl H H O H H O",
    "calcium_chloride_anhydrous": "Ca Cl Cl",
    "calcium_sulfate_dihydrate": "Ca S O O O O H H O H H O",
    "sodium_chloride": "Na Cl",
    "potassium_chloride": "K Cl",
}


@pytest.mark.parametrize("key", sorted(PARTS))
def test_salt_is_its_formula_and_neutral(key: str) -> None:
    found = salt(key)
    assert found.g_per_mol == pytest.approx(sum(ATOMS[a] for a in PARTS[key].split()), abs=0.03)
    gives = {**dict.fromkeys([*MOLAR_MASS_G, "alkalinity"], 0.0), **found.gives}
    plus = 2 * gives["calcium"] + 2 * gives["magnesium"] + gives["sodium"] + gives["potassium"]
    assert plus == gives["chloride"] + 2 * gives["sulfate"] + gives["nitrate"] + gives["alkalinity"]


def test_every_salt_is_tested() -> None:
    assert set(reference.keyed("salts")) == set(PARTS)


@pytest.mark.parametrize(
    ("key", "per_ppm", "measure"),
    [
        ("sodium_bicarbonate", 1.68, "alkalinity_mg_L_as_CaCO3"),
        ("potassium_bicarbonate", 2.00, "alkalinity_mg_L_as_CaCO3"),
        ("magnesium_sulfate_heptahydrate", 2.46, "hardness_mg_L_as_CaCO3"),
    ],
)
def test_dose_per_ppm(key: str, per_ppm: float, measure: str) -> None:
    """mg/L of salt for one mg/L as CaCO3 (stoichiometry)."""
    water = dosed(PURE, {key: np.array([per_ppm * 40])})
    assert float(getattr(water, measure)[0]) == pytest.approx(40, rel=0.003)


def test_grams_for_a_batch_allow_for_purity() -> None:
    recipe = batch(
        (
            Dose(salt="sodium_bicarbonate", mg_L=50, purity=0.99),
            Dose(salt="calcium_chloride_dihydrate", mg_L=30),
        ),
        litres=20,
    )
    assert [round(b.grams, 3) for b in recipe] == [1.010, 0.600]
    assert recipe[0].gains["sodium_mg_L"] == pytest.approx(50 / 84.007 * 22.98977)
    assert recipe[0].gains["alkalinity_mg_L_as_CaCO3"] == pytest.approx(29.79, abs=0.01)
    assert recipe[1].gains["chloride_mg_L"] == pytest.approx(30 / 147.015 * 2 * 35.453)
    assert recipe[1].gains["hardness_mg_L_as_CaCO3"] == pytest.approx(30 / 147.015 * 100.0869)


def test_tenfold_entry_is_blocked_with_the_likely_value() -> None:
    stage = Stage(name="minerals", medium="mineral_dose", doses=(Dose(salt="sodium_bicarbonate", mg_L=500),))
    with pytest.raises(InputError, match=r"500 mg/L.*240 mg/L of NaHCO3.*50 mg/L may be meant"):
        apply(stage, PURE, settings_for(stage, Draws(1)))
    with pytest.raises(InputError, match="may be meant"):
        batch(stage.doses, 10)
    with pytest.raises(InputError, match=r"doses\.sodium_bicarbonate"):
        dosed(PURE, {"sodium_bicarbonate": np.array([10.0, -1.0])})


def test_bad_salt_batch_and_purity_are_named() -> None:
    with pytest.raises(InputError, match=r"salt: 'bath salt'.*potassium_bicarbonate"):
        batch((Dose(salt="bath salt", mg_L=1),), 1)
    with pytest.raises(InputError, match="batch litres: 0"):
        batch((), 0)
    with pytest.raises(ValidationError):
        Dose(salt="sodium_bicarbonate", mg_L=10, purity=0)


def test_doses_of_the_settings_come_before_the_stages_and_broadcast() -> None:
    stage = Stage(
        name="minerals",
        medium="mineral_dose",
        doses=(Dose(salt="sodium_chloride", mg_L=10, purity=0.5), Dose(salt="sodium_chloride", mg_L=5)),
    )
    own = apply(stage, PURE, settings_for(stage, Draws(1)))
    assert float(own.outlet.chloride_mg_L[0]) == pytest.approx(15 * 35.453 / 58.443)
    tried = apply(
        stage, PURE, settings_for(stage, Draws(1), doses={"potassium_bicarbonate": np.array([[0.0], [50.0]])})
    )
    np.testing.assert_allclose(tried.outlet.chloride_mg_L, 0)
    np.testing.assert_allclose(tried.outlet.alkalinity_mg_L_as_CaCO3[:, 0], [0, 50 / 100.115 * 50.04345], rtol=1e-9)
    np.testing.assert_allclose(tried.load.consumed_g[:, 0], [0, 0.05])
