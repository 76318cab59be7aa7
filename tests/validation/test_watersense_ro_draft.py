"""EPA WaterSense draft P101CQSP and a trade magazine: what a small membrane unit wastes."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater.ensemble import Draws
from brewwater.treatment import Stage, apply, settings_for
from brewwater.water import Water


@pytest.mark.parametrize(
    ("source", "recovery", "reject_per_product", "tolerance"),
    [
        ("trade magazine: 5 gal wasted per gal, 16.7 % recovery", 1 / 6, 5.0, 0.05),
        ("EPA P101CQSP, draft: at most 2.3, 30.3 % recovery", 0.303, 2.3, 0.05),
    ],
)
def test_waste_of_a_small_unit(
    printed: Callable[..., None], source: str, recovery: float, reject_per_product: float, tolerance: float
) -> None:
    stage = Stage(name="membrane", medium="reverse_osmosis", recovery=recovery)
    feed = Water(pH=7.5, alkalinity_mg_L_as_CaCO3=100, sodium_mg_L=45.94)
    load = apply(stage, feed, settings_for(stage, Draws(1))).load
    printed(source, "litres wasted per litre", float(load.reject_L[0]), reject_per_product, tolerance)
