"""PHREEQC with wateq4f.dat on five waters: our own runs of it, so answers are ``derived``."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater import chemistry
from brewwater.water import Water

Check = Callable[..., None]


WATERS = {  # pH, T, alk, Ca, Mg, Na, SO4, Cl; I, SI, SM-form SI, CCPP at own T, 60, 90, 93 °C
    "A": (7.0, 25, 40, 27.2, 0, 10, 0, 35.21, 0.00246, -1.239, -1.234, -15.9, -13.6, -8.5, -7.8),
    "B": (7.6, 20, 120, 45, 10, 20, 40, 25.09, 0.00560, -0.095, -0.066, -2.3, 8.7, 24.8, 26.7),
    "C": (7.5, 15, 250, 90, 20, 25, 60, 34.73, 0.01022, 0.290, 0.327, 20.4, 57.7, 95.9, 99.9),
    "D": (8.0, 25, 200, 40, 0, 0, 0, 0, 0.00388, 0.570, 0.600, 17.4, 32.8, 53.4, 55.6),
    "E": (6.85, 25, 80, 32, 0, 0, 0, 0, 0.00237, -1.019, -1.010, -36.0, -25.3, -8.7, -6.6),
}


@pytest.mark.parametrize("name", WATERS)
def test_phreeqc_with_wateq4f(printed: Check, name: str) -> None:
    ph, at, alk, ca, mg, na, so4, cl, strength, index, form, *ccpp = WATERS[name]
    water = Water(
        pH=ph,
        temperature_C=at,
        alkalinity_mg_L_as_CaCO3=alk,
        calcium_mg_L=ca,
        magnesium_mg_L=mg,
        sodium_mg_L=na,
        sulfate_mg_L=so4,
        chloride_mg_L=cl,
    )
    s = chemistry.speciate(water.totals, at)
    source, why = f"PHREEQC with wateq4f.dat, water {name}", "ion pairs of sulfate differ between the databases"
    printed(source, "ionic strength", float(s.ionic_strength_mol_L), strength, 3e-5, kind="derived", why=why)
    printed(source, "calcite index", float(s.calcite_saturation_index), index, 0.003, kind="derived", why=why)
    sm = chemistry.langelier_index(ph, water.totals, at, s.ionic_strength_mol_L)
    printed(
        "Standard Methods 2330 B (from memory), worked apart",
        f"Langelier index, water {name}",
        float(sm),
        form,
        0.001,
        kind="derived",
        why="three decimals",
    )
    for temperature, value in zip((at, 60, 90, 93), ccpp, strict=True):
        ours = float(chemistry.ccpp(water.totals, temperature))
        printed(
            source,
            f"CCPP at {temperature} °C, mg/L",
            ours,
            value,
            max(0.3, 0.005 * abs(value)),
            kind="derived",
            why=why,
        )
