"""Treated waters against PHREEQC doing the same exchange, mix, dose or dissolution with its own chemistry.

Each medium's stoichiometry is written here once more, plainly, water by water, as reagents for PHREEQC;
bypass is PHREEQC's own mixing. Only the medium's drawn figures (leakage, rejection) are shared.
"""

from __future__ import annotations

import runpy
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.ensemble import Draws
from brewwater.treatment import Dose, Stage, apply, settings_for
from brewwater.water import Water

ENGINE = runpy.run_path(str(Path(__file__).parents[1] / "validation" / "phreeqc_engine.py"))
CASES = 240
CACO3 = 100.0869
IONS = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity")


@cache
def raw() -> tuple[dict[str, np.ndarray], Water]:
    """Random drinking waters at 4 to 40 °C, pH 6.3 to 8.8, and the same as ``Water``."""
    w = ENGINE["random_waters"](CASES, seed=5, ph=(6.3, 8.8))
    rng = np.random.default_rng(6)
    w["temperature_C"] = rng.uniform(4, 40, CASES)
    w["bypass"] = np.where(rng.random(CASES) < 0.25, 0.0, rng.uniform(0.05, 0.7, CASES))
    w["chlorine"] = rng.uniform(0.2, 4, CASES)
    bare = Totals(**{ion: w[ion] for ion in IONS}, dic=np.zeros(CASES))
    dic = chemistry.dic_from_ph(bare, w["ph"], w["temperature_C"])
    totals = Totals(**{ion: w[ion] for ion in IONS}, dic=dic)
    return w, Water.of(totals, w["temperature_C"], free_chlorine_mg_L=w["chlorine"])


def hardness_out(w: dict[str, float], eq: float, gives: str) -> dict[str, float]:
    """Calcium and magnesium out in proportion, twice their amount of a chloride in."""
    total = 2 * (w["calcium"] + w["magnesium"])
    share = eq / total if total else 0.0
    return {"CaCl2": -share * w["calcium"], "MgCl2": -share * w["magnesium"], gives: eq}


def weak_acid(w: dict[str, float], f: dict[str, float]) -> dict[str, float]:
    left = f["leakage_mg_L_as_CaCO3"] / 1000 / (CACO3 / 2)
    eq = max(min(2 * (w["calcium"] + w["magnesium"]), w["alkalinity"]) - left, 0)
    return hardness_out(w, eq, "HCl")


def softening(w: dict[str, float], f: dict[str, float]) -> dict[str, float]:
    left = f["leakage_mg_L_as_CaCO3"] / 1000 / (CACO3 / 2)
    return hardness_out(w, max(2 * (w["calcium"] + w["magnesium"]) - left, 0), "NaCl")


def calcium_to_magnesium(w: dict[str, float], f: dict[str, float]) -> dict[str, float]:
    swapped = w["calcium"] * f["calcium_exchanged"]
    return {"CaCl2": -swapped, "MgCl2": swapped}


def chloride_anion(w: dict[str, float], f: dict[str, float]) -> dict[str, float]:
    bicarbonate = w["alkalinity"] * f["alkalinity_removed"]
    carbon = min(bicarbonate, w["dic"] * f["alkalinity_removed"])
    sulfate, nitrate = w["sulfate"] * f["sulfate_removed"], w["nitrate"] * f["nitrate_removed"]
    return {
        "CO2": -carbon,
        "NaOH": -bicarbonate,
        "Na2SO4": -sulfate,
        "NaNitrate": -nitrate,
        "NaCl": bicarbonate + 2 * sulfate + nitrate,
    }


def carbon(w: dict[str, float], f: dict[str, float]) -> dict[str, float]:
    return {"HCl": w["chlorine"] * f["free_chlorine_removed"] / 1000 / 70.906}


def mineral_dose(w: dict[str, float], f: dict[str, float]) -> dict[str, float]:
    return {"NaHCO3": 0.040 / 84.007, "MgSO4": 0.060 / 246.474, "CaCl2": 0.050 / 147.015}


RECIPES: dict[str, Callable[..., dict[str, float]]] = {
    "weak_acid": weak_acid,
    "softening": softening,
    "calcium_to_magnesium": calcium_to_magnesium,
    "chloride_anion": chloride_anion,
    "carbon": carbon,
    "mineral_dose": mineral_dose,
}


def stage_of(medium: str) -> Stage:
    doses = (
        Dose(salt="sodium_bicarbonate", mg_L=40),
        Dose(salt="magnesium_sulfate_heptahydrate", mg_L=60),
        Dose(salt="calcium_chloride_dihydrate", mg_L=50),
    )
    return Stage(name="tested", medium=medium, doses=doses if medium == "mineral_dose" else ())


def ours(medium: str) -> tuple[np.ndarray, np.ndarray, dict[str, float]]:
    w, water = raw()
    stage = stage_of(medium)
    settings = settings_for(stage, Draws(1), bypass=w["bypass"])
    found = chemistry.speciate(apply(stage, water, settings).outlet.totals, w["temperature_C"])
    return found.ph, found.calcite_saturation_index, {k: float(v[0]) for k, v in settings.performance.items()}


def compare(medium: str, theirs: Callable[[Any, Any, dict[str, float], dict[str, float]], Any]) -> None:
    """Hold pH and calcite index of the outlet against PHREEQC's, water by water."""
    w, water = raw()
    ph, index, figures = ours(medium)
    pp = ENGINE["engine"]()
    worst_ph = worst_index = 0.0
    for i in range(CASES):
        one = {k: float(v[i]) for k, v in w.items()} | {"dic": float(water.totals.dic[i])}
        source = pp.add_solution(ENGINE["composition"](w, i))
        treated = theirs(pp, source, one, figures)
        b = one["bypass"]
        served = pp.mix_solutions({treated: 1 - b, source: b}) if b else treated
        worst_ph = max(worst_ph, abs(served.pH - ph[i]))
        if w["calcium"][i] and np.isfinite(index[i]):
            worst_index = max(worst_index, abs(served.si("Calcite") - index[i]))
    print(f"{medium}: {CASES} waters, pH within {worst_ph:.4f}, calcite index within {worst_index:.4f}")
    assert worst_ph < 0.02
    assert worst_index < 0.02


def reacted(recipe: Callable[..., dict[str, float]]) -> Callable[..., Any]:
    def theirs(pp: Any, source: Any, w: dict[str, float], f: dict[str, float]) -> Any:
        treated = source.copy()
        treated.change({k: v for k, v in recipe(w, f).items() if v}, units="mol")
        return treated

    return theirs


@pytest.mark.parametrize("medium", sorted(RECIPES))
def test_reaction_in_phreeqc(medium: str) -> None:
    compare(medium, reacted(RECIPES[medium]))


def test_mixed_bed_is_dilution_in_phreeqc() -> None:
    def theirs(pp: Any, source: Any, w: dict[str, float], f: dict[str, float]) -> Any:
        pure = pp.add_solution({"temp": w["temperature_C"], "pH": "7 charge"})
        return pp.mix_solutions({source: f["leak"], pure: 1 - f["leak"]})

    compare("mixed_bed", theirs)


def test_calcite_bed_dissolves_in_phreeqc() -> None:
    def theirs(pp: Any, source: Any, w: dict[str, float], f: dict[str, float]) -> Any:
        bed = source.copy()
        bed.equalize("Calcite", 0)
        room = bed.total_element("Ca", "mol") - source.total_element("Ca", "mol")
        treated = source.copy()
        if room > 0:
            treated.change({"CaCO3": room * f["approach"]}, units="mol")
        return treated

    compare("calcite", theirs)


def permeate(pp: Any, source: Any, w: dict[str, float], f: dict[str, float]) -> Any:
    """Permeate from pure water, hydroxides, acids and CO2, with PHREEQC's CO2 of the feed passing whole."""
    reject = {
        "calcium": 0.97,
        "magnesium": 0.97,
        "sodium": 0.95,
        "potassium": 0.92,
        "alkalinity": 0.955,
        "chloride": 0.945,
        "sulfate": 0.9925,
        "nitrate": 0.945,
    }
    passed = {ion: w[ion] * (1 - r) for ion, r in reject.items()}
    plus = 2 * passed["calcium"] + 2 * passed["magnesium"] + passed["sodium"] + passed["potassium"]
    minus = passed["alkalinity"] + passed["chloride"] + 2 * passed["sulfate"] + passed["nitrate"]
    k = (minus / plus) ** 0.5
    gas = source.molality("CO2", "mol")
    bound = (w["dic"] - gas) * passed["alkalinity"] / k / w["alkalinity"]
    made = pp.add_solution({"temp": w["temperature_C"], "pH": "7 charge"})
    made.change(
        {
            "Ca(OH)2": passed["calcium"] * k,
            "Mg(OH)2": passed["magnesium"] * k,
            "NaOH": passed["sodium"] * k,
            "KOH": passed["potassium"] * k,
            "HCl": passed["chloride"] / k,
            "H2SO4": passed["sulfate"] / k,
            "HNitrate": passed["nitrate"] / k,
            "CO2": gas + bound,
        },
        units="mol",
    )
    return made


def test_permeate_and_blend_in_phreeqc() -> None:
    compare("reverse_osmosis", permeate)


def test_charge_restored_the_rejections_stay_near_the_published_ones() -> None:
    """The permeate's charge is balanced by shifting passages: by no more than the sources differ."""
    _, water = raw()
    stage = stage_of("reverse_osmosis")
    outlet = apply(stage, water, settings_for(stage, Draws(1))).treated
    published = {
        "calcium": (0.96, 0.98),
        "sodium": (0.92, 0.98),
        "alkalinity": (0.95, 0.965),
        "chloride": (0.94, 0.95),
        "sulfate": (0.99, 0.995),
    }
    for ion, (low, high) in published.items():
        feed = getattr(water.totals, ion)
        rejected = 1 - getattr(outlet.totals, ion)[feed > 0] / feed[feed > 0]
        assert low - 0.005 < np.median(rejected) < high + 0.005, ion
        assert rejected.min() > 0.85, ion
        assert rejected.max() < 0.996, ion
