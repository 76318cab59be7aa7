"""A coffee trade association's magazine, issue 9: alkalinity against acid rain."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from brewwater.chemistry import Totals, mix
from brewwater.water import Water


def test_a_litre_neutralises_a_hundred_litres_of_rain(printed: Callable[..., None]) -> None:
    hard = Water(pH=7.5, alkalinity_mg_L_as_CaCO3=150, sodium_mg_L=68.9).totals.map(np.squeeze)
    acid = np.array(10**-4.5)
    rain = Totals(*(np.zeros(()) for _ in range(4)), acid, *(np.zeros(()) for _ in range(2)), -acid, np.zeros(()))
    litres = float(hard.alkalinity / acid)
    neutral = mix([hard, rain], [1 / (1 + litres), litres / (1 + litres)])
    assert abs(float(neutral.alkalinity)) < 1e-12
    printed(
        "a coffee association's magazine, sca.coffee 25 issue 9",
        "litres of rain of pH 4.5 neutralised by 1 L at 150 mg/L",
        litres,
        100,
        6,
        why="printed as a round hundred",
    )
