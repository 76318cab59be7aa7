"""An engineering note on the permeate of a membrane."""

from __future__ import annotations

from collections.abc import Callable

from brewwater import chemistry
from brewwater.water import Water

Check = Callable[..., None]


def test_permeate(printed: Check) -> None:
    water = Water(
        pH=7.68, temperature_C=25, calcium_mg_L=2, alkalinity_mg_L_as_CaCO3=12.6, sodium_mg_L=12, chloride_mg_L=12
    )
    s = chemistry.speciate(water.totals, 25.0)
    source, why = "an engineering note on reverse osmosis permeate", "its temperature is not stated"
    printed(source, "calcite index", float(s.calcite_saturation_index), -2.23, 0.1, why=why)
    printed(source, "CCPP, mg/L", float(s.ccpp_mg_L_as_CaCO3), -6.9, 0.8, why=why)
