"""Random waters, and the same waters through PHREEQC (phreeqpython, its bundled ``phreeqc.dat``).

Not a test: read with ``runpy`` by the tests and the benchmark that hold our solver against PHREEQC.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from phreeqpython import PhreeqPython

CACO3_MG_PER_MMOL = 100.0869
ELEMENTS = {
    "calcium": "Ca",
    "magnesium": "Mg",
    "sodium": "Na",
    "potassium": "K",
    "chloride": "Cl",
    "sulfate": "S(6)",
    "nitrate": "Nitrate",
    "alkalinity": "Alkalinity",
}

RANGES = {
    "calcium": (1e-5, 1e-2),
    "magnesium": (5e-6, 8e-3),
    "sodium": (2e-5, 3e-2),
    "potassium": (5e-6, 2e-3),
    "chloride": (2e-5, 4e-2),
    "sulfate": (5e-6, 1.2e-2),
    "nitrate": (2e-6, 2e-3),
    "alkalinity": (1e-4, 1.2e-2),
}


def _log_uniform(rng: np.random.Generator, low: float, high: float, n: int) -> np.ndarray:
    return 10 ** rng.uniform(np.log10(low), np.log10(high), n)


def random_waters(n: int, seed: int, ph: tuple[float, float] = (4.5, 11.0)) -> dict[str, np.ndarray]:
    """``n`` electroneutral waters at 5 to 95 °C with ionic strength (ions as analysed) 0.5 to 60 mmol/L.

    Amounts in mol/kg of water, alkalinity in eq/kg; ``ph`` at ``temperature_C``. Shares of the ions are
    random, sodium or chloride closes the charge.
    """
    rng = np.random.default_rng(seed)
    found: dict[str, list[np.ndarray]] = {}
    have = 0
    while have < n:
        w = {name: _log_uniform(rng, *limits, 4 * n) for name, limits in RANGES.items()}
        # some waters lack an ion altogether
        for name in ("calcium", "magnesium", "potassium", "sulfate", "nitrate"):
            w[name][rng.random(4 * n) < 0.03] = 0.0
        gap = (
            2 * (w["calcium"] + w["magnesium"] - w["sulfate"])
            + w["sodium"]
            + w["potassium"]
            - w["chloride"]
            - w["nitrate"]
            - w["alkalinity"]
        )
        w["chloride"] += np.maximum(gap, 0)
        w["sodium"] += np.maximum(-gap, 0)
        strength = 0.5 * (
            4 * (w["calcium"] + w["magnesium"] + w["sulfate"])
            + w["sodium"]
            + w["potassium"]
            + w["chloride"]
            + w["nitrate"]
            + w["alkalinity"]
        )
        w["temperature_C"] = rng.uniform(5, 95, 4 * n)
        w["ph"] = rng.uniform(*ph, 4 * n)
        keep = (strength > 0.5e-3) & (strength < 60e-3)
        for key, value in w.items():
            found.setdefault(key, []).append(value[keep])
        have += int(keep.sum())
    return {key: np.concatenate(value)[:n] for key, value in found.items()}


def composition(w: dict[str, np.ndarray], i: int) -> dict[str, Any]:
    """Water ``i`` as phreeqpython takes it."""
    made: dict[str, Any] = {"units": "mol/kgw", "temp": float(w["temperature_C"][i]), "pH": float(w["ph"][i])}
    for name, element in ELEMENTS.items():
        if w[name][i] != 0:
            made[element] = repr(float(w[name][i]))
    return made


def engine() -> PhreeqPython:
    """PHREEQC with the database that is bundled with phreeqpython.

    Nitrate is declared apart, with its own activity parameters: left to itself PHREEQC lets nitrate
    decompose into nitrogen and oxygen at equilibrium, which in acid waters takes up acid (pH +0.008 at
    120 °C) and which no kettle does.
    """
    pp = PhreeqPython(database="phreeqc.dat")
    pp.ip.run_string(
        "SOLUTION_MASTER_SPECIES\nNitrate Nitrate- 0 62.0049 62.0049\n"
        "SOLUTION_SPECIES\nNitrate- = Nitrate-\n-gamma 3.0 0\nEND\n"
    )
    return pp


def judged(pp: PhreeqPython, w: dict[str, np.ndarray], i: int, heat_to: Sequence[float]) -> Iterator[tuple[float, ...]]:
    """(pH, SI, CCPP in mg/L as CaCO3, DIC in mol) at the water's temperature, then heated closed.

    Raises whatever PHREEQC raises where it cannot solve the water.
    """
    water = pp.add_solution(composition(w, i))
    try:
        for temperature in (None, *heat_to):
            if temperature is not None:
                water.change_temperature(temperature)
            index = water.si("Calcite") if w["calcium"][i] else float("nan")
            ph, dic, before = water.pH, water.total_element("C", "mol"), water.total_element("Ca", "mol")
            other = water.copy()
            other.equalize("Calcite", 0)
            ccpp = (before - other.total_element("Ca", "mol")) * 1000 * CACO3_MG_PER_MMOL
            other.forget()
            yield ph, index, ccpp, dic
    finally:
        water.forget()
