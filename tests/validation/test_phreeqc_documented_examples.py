"""PHREEQC version 3, documented example 1: the speciation of seawater (ex1.out), far beyond our stated range."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from brewwater import chemistry
from brewwater.chemistry import Totals

PPM = {  # mg per kg of solution, and g/mol
    "calcium": (412.3, 40.078),
    "magnesium": (1291.8, 24.305),
    "sodium": (10768.0, 22.98977),
    "potassium": (399.1, 39.0983),
    "chloride": (19353.0, 35.453),
    "sulfate": (2712.0, 96.06),
}
BICARBONATE_PPM = 141.682


def test_seawater(printed: Callable[..., None]) -> None:
    per_kg_water = 1 / (1 - (sum(ppm for ppm, _ in PPM.values()) + BICARBONATE_PPM) / 1e6)
    totals = Totals(
        **{name: np.array(ppm / 1000 / mass * per_kg_water) for name, (ppm, mass) in PPM.items()},
        nitrate=np.array(0.0),
        alkalinity=np.array(BICARBONATE_PPM / 61.0168 / 1000 * per_kg_water),
        dic=np.array(0.0),
    )
    totals = replace(totals, dic=chemistry.dic_from_ph(totals, 8.22, 25.0))
    found = chemistry.speciate(totals, 25.0)
    assert found.too_saline.all()  # and it says so
    source, why = "PHREEQC version 3, ex1.out, seawater", "0.67 mol/L, where 0.1 mol/L is the stated range"
    printed(source, "ionic strength, mol/kg", float(found.ionic_strength_mol_L), 0.6736, 0.002, why=why)
    printed(source, "total CO2, mol/kg", float(totals.dic), 2.240e-3, 6e-5, why=why)
    printed(source, "calcite index", float(found.calcite_saturation_index), 0.78, 0.03, why=why)
    printed(source, "gypsum index", float(found.gypsum_saturation_index), -0.72, 0.1, why=why)
