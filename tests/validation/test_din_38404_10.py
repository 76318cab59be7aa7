"""DIN 38404-10:1995, table 6: calcite saturation of five waters, as reprinted (aqion.de)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals

Check = Callable[..., None]
CACO3_MG = 100.0869


def pure(**amounts: float) -> Totals:
    names = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity", "dic")
    return Totals(*(np.array(amounts.get(n, 0.0)) for n in names))


DIN = {  # no.: pH and T, judged at, DIC, Ca, Mg, Na, K, Cl, NO3, SO4 mmol/L; printed pH, SI, dissolving capacity
    1: (6.90, 20, 10, 6.680, 3.50, 0.75, 2.05, 0.15, 2.50, 0.50, 1.20, 6.98, -0.15, 0.20),
    2: (8.20, 15, 11, 1.661, 1.24, 0.41, 0.90, 0.07, 0.90, 0.55, 0.58, 8.25, 0.27, -0.03),
    3: (7.90, 20, 5.5, 2.456, 1.22, 0.35, 0.15, 0.05, 0.16, 0.07, 0.35, 8.05, 0.17, -0.03),
    4: (8.40, 17, 12, 0.941, 0.57, 0.10, 0.21, 0.02, 0.34, 0.08, 0.10, 8.47, 0.01, 0.0),
    5: (8.90, 20, 10, 0.329, 0.30, 0.15, 0.30, 0.05, 0.30, 0.20, 0.20, 9.08, -0.15, 0.01),
}


AT_CALCITE = {1: 7.07, 2: 8.00, 3: 7.90, 4: 8.46, 5: 9.22}  # pHC: after calcite has dissolved or dropped out


@pytest.mark.parametrize("number", DIN)
def test_table_6(printed: Check, number: int) -> None:
    """pH measured at one temperature, water judged at another; alkalinity closes the charge."""
    ph, at, judged_at, dic, ca, mg, na, k, cl, no3, so4, then_ph, index, dissolves = DIN[number]
    alkalinity = 2 * (ca + mg - so4) + na + k - cl - no3
    totals = pure(
        calcium=ca / 1000,
        magnesium=mg / 1000,
        sodium=na / 1000,
        potassium=k / 1000,
        chloride=cl / 1000,
        nitrate=no3 / 1000,
        sulfate=so4 / 1000,
        alkalinity=alkalinity / 1000,
    )
    totals = replace(totals, dic=chemistry.dic_from_ph(totals, ph, at))
    then = chemistry.speciate(totals, judged_at)
    source, why = f"DIN 38404-10:1995, table 6, water {number} (aqion.de)", "DIN's own constants and activities"
    printed(source, "DIC, mmol/L", float(totals.dic) * 1000, dic, 0.01, why=why)
    printed(source, f"pH at {judged_at} °C", float(then.ph), then_ph, 0.03, why=why)
    printed(source, "calcite index", float(then.calcite_saturation_index), index, 0.03, why=why)
    settled = chemistry.precipitate(totals, then.ccpp_mg_L_as_CaCO3)
    ours = float(chemistry.solve_ph(settled, judged_at))
    printed(source, "pH in balance with calcite", ours, AT_CALCITE[number], 0.03, why=why)
    printed(source, "dissolving capacity, mmol/L", -float(then.ccpp_mg_L_as_CaCO3) / CACO3_MG, dissolves, 0.04, why=why)
