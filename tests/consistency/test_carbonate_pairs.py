"""The carbonate system solved again from every pair of what it found: each way back gives the same water."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.water import Water

TEMPERATURES = (5.0, 25.0, 60.0, 93.0)
WATERS = Water(
    pH=np.array([6.6, 7.2, 7.8, 8.6]),
    calcium_mg_L=np.array([8.0, 60, 110, 20]),
    magnesium_mg_L=np.array([2.0, 12, 30, 5]),
    sodium_mg_L=np.array([5.0, 20, 60, 40]),
    chloride_mg_L=np.array([6.0, 30, 120, 10]),
    sulfate_mg_L=np.array([4.0, 40, 150, 12]),
    alkalinity_mg_L_as_CaCO3=np.array([22.0, 150, 260, 120]),
).totals


def alkalinity_from(water: Totals, at: float, ph: float, **held: float) -> float:
    """Alkalinity at which the water has this pH, by bisection on the solver run forwards."""

    def off(alkalinity: float) -> float:
        return float(chemistry.solve_ph(replace(water, alkalinity=np.array(alkalinity), **held), at)) - ph

    return float(brentq(off, -1e-3, 2e-2, xtol=1e-12))  # type: ignore[arg-type]


def one(totals: Totals, i: int) -> Totals:
    return totals.map(lambda a: np.array(np.broadcast_to(a, (4,))[i]))


@pytest.mark.parametrize("at", TEMPERATURES)
def test_every_pair_gives_the_same_water(at: float) -> None:
    first = chemistry.speciate(WATERS, at)
    ph, dic, pco2 = first.ph, WATERS.dic, first.log_pco2
    # (alkalinity, DIC) gave pH and pCO2; (pH, alkalinity) gives DIC back
    np.testing.assert_allclose(chemistry.dic_from_ph(WATERS, ph, at), dic, rtol=5e-4)
    # (alkalinity, pCO2) gives DIC and pH back
    air = chemistry.degas(replace(WATERS, dic=np.zeros(())), at, pco2)
    np.testing.assert_allclose(air.dic, dic, rtol=1e-3)
    np.testing.assert_allclose(chemistry.solve_ph(air, at), ph, atol=1e-3)
    for i in range(4):
        # (pH, DIC) gives alkalinity back: the ions other than H, OH and carbonate do not enter
        water = one(WATERS, i)
        again = alkalinity_from(water, at, float(ph[i]))
        np.testing.assert_allclose(again, float(water.alkalinity), rtol=1e-3, atol=1e-6)


@pytest.mark.parametrize("at", TEMPERATURES)
def test_ph_and_pco2_give_the_same_water(at: float) -> None:
    """(pH, pCO2): alkalinity by bisection on the open system, and its DIC."""
    first = chemistry.speciate(WATERS, at)
    for i in range(4):
        water, ph, pco2 = one(WATERS, i), float(first.ph[i]), float(first.log_pco2[i])

        def off(alkalinity: float, water: Totals = water, ph: float = ph, pco2: float = pco2) -> float:
            opened = chemistry.degas(replace(water, alkalinity=np.array(alkalinity)), at, pco2)
            return float(chemistry.solve_ph(opened, at)) - ph

        again = float(brentq(off, 1e-5, 2e-2, xtol=1e-12))  # type: ignore[arg-type]
        np.testing.assert_allclose(again, float(water.alkalinity), rtol=5e-3)
        opened = chemistry.degas(replace(water, alkalinity=np.array(again)), at, pco2)
        np.testing.assert_allclose(float(opened.dic), float(water.dic), rtol=5e-3)
