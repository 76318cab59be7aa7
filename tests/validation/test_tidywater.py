"""Figures printed in the tests of tidywater, an open-source package; its Langelier index gates nothing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.chemistry.activity import log_gamma_davies
from brewwater.chemistry.constants import debye_hueckel
from brewwater.water import Water

Check = Callable[..., None]


def pure(**amounts: float) -> Totals:
    names = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity", "dic")
    return Totals(*(np.array(amounts.get(n, 0.0)) for n in names))


@pytest.mark.parametrize(("charge", "strength", "value"), [(1, 0.001, 0.97), (2, 0.01, 0.66)])
def test_davies(printed: Check, charge: int, strength: float, value: float) -> None:
    gamma = float(10 ** log_gamma_davies(charge, strength, debye_hueckel(25.0)[0]))
    printed(
        "tidywater test-general.R",
        f"gamma, z={charge}, I={strength}",
        gamma,
        value,
        0.0051,
        why="half the last digit, A of another dielectric equation",
    )


@pytest.mark.parametrize(("chloride", "sulfate", "ratio"), [(100, 1, 0.7), (2, 150, 0.8)])
def test_larson_skold(printed: Check, chloride: float, sulfate: float, ratio: float) -> None:
    water = Water(pH=8, alkalinity_mg_L_as_CaCO3=200, chloride_mg_L=chloride, sulfate_mg_L=sulfate)
    ours = float(chemistry.larson_skold_ratio(water.totals))
    printed("tidywater test-calculate_corrosion.R", f"Larson-Skold, Cl {chloride}, SO4 {sulfate}", ours, ratio, 0.05)


@pytest.mark.parametrize(
    ("calcium", "alkalinity", "ph", "ccpp"), [(40, 200, 8, 16), (40, 5, 8, -1.3), (20, 5, 6.9, -4), (32, 80, 6.85, -34)]
)
def test_ccpp_of_tidywater(printed: Check, calcium: float, alkalinity: float, ph: float, ccpp: float) -> None:
    """Its fifth (32/20/5 -> -328) parts from PHREEQC and from us (-400): in acid, its activities fail."""
    water = Water(pH=ph, temperature_C=25, calcium_mg_L=calcium, alkalinity_mg_L_as_CaCO3=alkalinity)
    printed(
        "tidywater test-calculate_corrosion.R",
        f"CCPP, Ca {calcium}, alk {alkalinity}, pH {ph}",
        float(chemistry.ccpp(water.totals, 25.0)),
        ccpp,
        max(2.0, 0.1 * abs(ccpp)),
        why="no ion pairs there: held to 2 mg/L or 10 % only",
    )


def test_open_to_air(printed: Check) -> None:
    totals = chemistry.degas(pure(alkalinity=10 / 50043.45), 25.0, -3.42)
    ours = float(chemistry.solve_ph(totals, 25.0))
    printed("tidywater, open system, alkalinity 10, pCO2 10^-3.42", "pH", ours, 7.5, 0.05)
