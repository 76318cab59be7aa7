"""Hem's range of dissolved solids to conductivity in natural waters, 0.55 to 0.75 (high where sulfate leads)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.water import Water

TAP = Water(
    pH=7.6,
    alkalinity_mg_L_as_CaCO3=120,
    calcium_mg_L=45,
    magnesium_mg_L=10,
    sodium_mg_L=20,
    sulfate_mg_L=40,
    chloride_mg_L=25.09,
)
HARD = Water(
    pH=7.5,
    alkalinity_mg_L_as_CaCO3=250,
    calcium_mg_L=90,
    magnesium_mg_L=20,
    sodium_mg_L=25,
    sulfate_mg_L=60,
    chloride_mg_L=34.73,
)
SULFATE = Water(
    pH=7.5,
    alkalinity_mg_L_as_CaCO3=100,
    calcium_mg_L=120,
    magnesium_mg_L=24,
    sodium_mg_L=23,
    sulfate_mg_L=337,
    chloride_mg_L=0,
)


@pytest.mark.parametrize(("name", "water"), [("tap water", TAP), ("hard water", HARD), ("sulfate water", SULFATE)])
def test_ratio(name: str, water: Water, printed: Callable[..., None]) -> None:
    ratio = float(np.squeeze(water.tds_mg_L / chemistry.conductivity_uS_cm(water.totals)))
    printed(
        "Hem's range of solids to conductivity (watercenter.org)",
        f"mg/L per µS/cm, {name}",
        ratio,
        0.65,
        0.11,
        why="the tolerance is the printed range, 0.55 to 0.75, and a hundredth",
    )
