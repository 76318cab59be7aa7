"""EPA Method 120.1 (1982): conductivity of 0.01 M potassium chloride by temperature."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from brewwater import chemistry
from brewwater.chemistry import Totals

Check = Callable[..., None]


def pure(**amounts: float) -> Totals:
    names = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity", "dic")
    return Totals(*(np.array(amounts.get(n, 0.0)) for n in names))


def test_potassium_chloride_standard(printed: Check) -> None:
    ours = float(chemistry.conductivity_uS_cm(pure(potassium=0.01, chloride=0.01)))
    printed("EPA Method 120.1 (1982)", "0.01 M KCl at 25 °C, µS/cm", ours, 1413, 14, why="1 %, the model's own limit")
    for temperature, value in ((21, 1305), (22, 1332), (23, 1359), (24, 1386), (26, 1441)):
        printed(
            "EPA Method 120.1 (1982)",
            f"a reading at {temperature} °C brought to 25 °C",
            float(chemistry.conductivity_at_25C(value, temperature)),
            1413,
            2,
            kind="derived",
            why="the slope of 1.91 % per °C was worked from this table",
        )
