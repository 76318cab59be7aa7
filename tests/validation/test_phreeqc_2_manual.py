"""Parkhurst and Appelo 1999, the manual of PHREEQC version 2: gypsum in water."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from brewwater import chemistry
from brewwater.chemistry import Totals

Check = Callable[..., None]


def pure(**amounts: float) -> Totals:
    names = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity", "dic")
    return Totals(*(np.array(amounts.get(n, 0.0)) for n in names))


def test_gypsum_solubility(printed: Check) -> None:
    totals = pure(calcium=0.01564, sulfate=0.01564, alkalinity=1e-6, dic=1e-6)
    printed(
        "PHREEQC version 2 manual, gypsum at 25 °C 15.64 mmol/kg",
        "gypsum index of that water",
        float(chemistry.speciate(totals, 25.0).gypsum_saturation_index),
        0.0,
        0.03,
        why="CaSO4 pair 2.25 here, 2.30 there",
    )
