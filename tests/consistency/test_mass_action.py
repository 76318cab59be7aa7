"""Every equilibrium of the solved water, held against its constant: activities by formulas written out here.

The constants and ion sizes are read from ``reference/`` and put through the published forms (log K in T, WATEQ's
extended Debye-Hückel, Davies, 10^(0.1 I) for neutral species) a second time, one species at a time.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.chemistry.constants import debye_hueckel
from brewwater.chemistry.speciation import species_at

REFERENCE = Path(__file__).parents[2] / "reference"
# calcium, magnesium, sodium, potassium, chloride, sulfate, nitrate, alkalinity, dic; mmol and meq per litre
WATERS = {
    "tap": (2.0, 0.5, 1.0, 0.1, 0.6, 0.8, 0.1, 3.8, 4.2),
    "salty": (6.0, 3.0, 20.0, 1.0, 25.0, 5.0, 0.5, 3.5, 3.6),
    "gypsum": (12.0, 4.0, 2.0, 0.5, 1.5, 15.0, 0.1, 2.9, 3.5),
    "soda": (0.1, 0.1, 12.0, 0.2, 1.0, 0.6, 0.0, 10.4, 9.0),
    "acid": (0.5, 0.2, 1.0, 0.3, 1.2, 1.3, 0.1, -1.2, 0.8),
    "caustic": (0.4, 0.3, 6.0, 0.2, 0.5, 0.4, 0.1, 6.2, 1.5),
}
TEMPERATURES = (5.0, 25.0, 60.0, 93.0, 120.0)
CHARGES = {
    "h": 1,
    "oh": 1,
    "calcium": 2,
    "magnesium": 2,
    "sodium": 1,
    "potassium": 1,
    "sulfate": 2,
    "cahco3": 1,
    "mghco3": 1,
    "mgoh": 1,
}
AS_CARBONATE = {"carbonate": 2, "hco3": 1, "naso4": 1, "kso4": 1}  # the ion size of carbonate serves these
DAVIES = ("naco3", "hso4", "cahso4", "caoh")
NEUTRAL = ("co2", "co2_pair", "caco3", "mgco3", "nahco3", "caso4", "mgso4")
# what each reaction makes over what it is made of
REACTIONS = {
    "k1": (("h", "hco3"), ("co2", "water")),
    "k2": (("h", "carbonate"), ("hco3",)),
    "kw": (("h", "oh"), ("water",)),
    "co2_pair": (("co2_pair",), ("co2", "co2")),
    "cahco3": (("cahco3",), ("calcium", "hco3")),
    "caco3": (("caco3",), ("calcium", "carbonate")),
    "hso4": (("hso4",), ("h", "sulfate")),
    "caoh": (("caoh", "h"), ("calcium", "water")),
    "caso4": (("caso4",), ("calcium", "sulfate")),
    "cahso4": (("cahso4",), ("calcium", "hso4")),
    "mgoh": (("mgoh", "h"), ("magnesium", "water")),
    "mgco3": (("mgco3",), ("magnesium", "carbonate")),
    "mghco3": (("mghco3",), ("magnesium", "h", "carbonate")),
    "mgso4": (("mgso4",), ("magnesium", "sulfate")),
    "naco3": (("naco3",), ("sodium", "carbonate")),
    "nahco3": (("nahco3",), ("sodium", "hco3")),
    "naso4": (("naso4",), ("sodium", "sulfate")),
    "kso4": (("kso4",), ("potassium", "sulfate")),
}


def table(name: str) -> dict[str, dict[str, str]]:
    with (REFERENCE / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
        return {row["key"]: row for row in csv.DictReader(handle)}


CONSTANTS, IONS = table("equilibrium_constants"), table("activity_parameters")


def log_constant(key: str, celsius: float) -> float:
    row, t = CONSTANTS[key], celsius + 273.15
    steam = max(math.exp(11.6702 - 3816.44 / (t - 46.13)) - 1, 0) if celsius > 100 else 0
    pressure = float(row["per_atm"]) * steam
    if row["log_k_25C"]:
        heat = float(row["delta_h_kcal_mol"]) * 4.184 / 8.3147e-3 / math.log(10)
        return float(row["log_k_25C"]) - heat * (1 / t - 1 / 298.15) + pressure
    a, b, c, d, e, f = (float(row[n]) for n in ("a", "b_per_K", "c_K", "d", "e_K2", "f_per_K2"))
    return a + b * t + c / t + d * math.log10(t) + e / t**2 + f * t**2 + pressure


def log_gammas(strength: float, celsius: float) -> dict[str, float]:
    a, b = (float(x) for x in debye_hueckel(celsius))
    root = math.sqrt(strength)

    def extended(key: str, charge: int) -> float:
        size, slope = float(IONS[key]["ion_size_angstrom"]), float(IONS[key]["b_kg_mol"])
        return -a * charge**2 * root / (1 + b * size * root) + slope * strength

    found = {name: extended(name, charge) for name, charge in CHARGES.items()}
    found |= {name: extended("carbonate", charge) for name, charge in AS_CARBONATE.items()}
    found |= dict.fromkeys(DAVIES, -a * (root / (1 + root) - 0.3 * strength))
    return found | dict.fromkeys(NEUTRAL, 0.1 * strength)


def totals(name: str) -> Totals:
    return Totals(*(np.array([1e-3 * x]) for x in WATERS[name]))


def log_activities(name: str, celsius: float) -> tuple[dict[str, float], float]:
    found, strength = species_at(totals(name), celsius)
    gammas = log_gammas(float(strength[0]), celsius)
    logs = {key: math.log10(float(found[key][0])) + gammas[key] for key in gammas}
    solutes = sum(float(v[0]) for v in found.values()) - float(found["h"][0])
    # as the solver counts solutes: all but H+, which is dear to follow and negligible
    return logs | {"water": math.log10(1 - 0.017 * solutes)}, solutes


@pytest.mark.parametrize("celsius", TEMPERATURES)
@pytest.mark.parametrize("name", WATERS)
def test_every_species_obeys_its_constant(name: str, celsius: float) -> None:
    logs, _ = log_activities(name, celsius)
    for key, (made, of) in REACTIONS.items():
        found = sum(logs[s] for s in made) - sum(logs[s] for s in of)
        assert found == pytest.approx(log_constant(key, celsius), abs=2e-5), key


@pytest.mark.parametrize("many", [1, 100])
@pytest.mark.parametrize("celsius", TEMPERATURES)
@pytest.mark.parametrize("name", WATERS)
def test_what_is_told_of_a_water_follows_from_its_species(name: str, celsius: float, many: int) -> None:
    logs, _ = log_activities(name, celsius)
    found, strength = species_at(totals(name), celsius)
    told = chemistry.speciate(totals(name).map(lambda a: np.repeat(a, many)), celsius)
    assert told.converged.all()
    for row in (0, many - 1):
        assert told.ph[row] == pytest.approx(-logs["h"], abs=3e-4)
        index = logs["calcium"] + logs["carbonate"] - log_constant("calcite", celsius)
        assert told.calcite_saturation_index[row] == pytest.approx(index, abs=3e-4)
        gypsum = logs["calcium"] + logs["sulfate"] + 2 * logs["water"] - log_constant("gypsum", celsius)
        assert told.gypsum_saturation_index[row] == pytest.approx(gypsum, abs=3e-4)
        assert told.log_pco2[row] == pytest.approx(logs["co2"] - log_constant("co2_gas", celsius), abs=6e-4)
        for field, key in (("co2_mol_L", "co2"), ("bicarbonate_mol_L", "hco3"), ("carbonate_mol_L", "carbonate")):
            assert getattr(told, field)[row] == pytest.approx(float(found[key][0]), rel=1e-3), field
        assert told.ionic_strength_mol_L[row] == pytest.approx(float(strength[0]), rel=1e-4)


@pytest.mark.parametrize("name", WATERS)
def test_water_at_its_ccpp_is_in_balance_with_calcite_at_the_index_told(name: str) -> None:
    for celsius in TEMPERATURES:
        many = totals(name).map(lambda a: np.repeat(a, 100))
        one, hundred = chemistry.ccpp(totals(name), celsius), chemistry.ccpp(many, celsius)
        np.testing.assert_allclose(hundred, one[0], rtol=1e-4, atol=0.005)
        after = chemistry.precipitate(totals(name), one)
        assert chemistry.calcite_saturation_index(after, celsius) == pytest.approx(0, abs=1e-4)


@pytest.mark.parametrize("celsius", TEMPERATURES)
@pytest.mark.parametrize("alkalinity", [-2e-3, 1e-3, 2.5e-3])
def test_buffering_with_bisulfate_is_the_slope_of_a_titration(celsius: float, alkalinity: float) -> None:
    # sodium sulfate with acid, where H+ moves between sulfate and carbonate
    def ph(added: float) -> float:
        acid = max(-(alkalinity + added), 0)
        base = max(alkalinity + added, 0)
        water = Totals(
            *(np.array(x) for x in (0, 1e-5, 4e-2 + base, 0, acid + 2e-5, 2e-2, 0, alkalinity + added, 3e-3))
        )
        return float(chemistry.solve_ph(water, celsius))

    base = max(alkalinity, 0)
    here = Totals(
        *(np.array(x) for x in (0, 1e-5, 4e-2 + base, 0, max(-alkalinity, 0) + 2e-5, 2e-2, 0, alkalinity, 3e-3))
    )
    capacity = float(chemistry.speciate(here, celsius).buffer_capacity_eq_L)
    step = 0.05 * capacity
    assert 2 * step / (ph(step) - ph(-step)) == pytest.approx(capacity, rel=0.02)
