"""What the verdicts read of a water, solved once: pH in the line and in the cup, hot scale, conductivity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater import chemistry
from brewwater.water import CO2_G_PER_MOL, Water, speciate

FloatArray = NDArray[np.float64]

HOT_C = 93.0
VALID_TO_C = 90.0


@dataclass(frozen=True, slots=True)
class State:
    """Solved waters; every array has the water's shape, NaN where unsolved.

    ``line_ph``, ``line_co2_mg_L`` and ``cold_index`` are at the water's own temperature with all its CO2;
    ``cup_ph`` is at the same temperature once CO2 has settled with the air. "Hot" is 93 °C, closed;
    ``machine_`` is the boiler's own temperature, closed. Indices are log10 saturation of calcite or gypsum.
    """

    line_ph: FloatArray
    cup_ph: FloatArray
    line_co2_mg_L: FloatArray
    cold_index: FloatArray
    hot_index: FloatArray
    hot_ccpp_mg_L_as_CaCO3: FloatArray
    machine_temperature_C: float
    machine_index: FloatArray
    machine_ccpp_mg_L_as_CaCO3: FloatArray
    machine_gypsum_index: FloatArray
    conductivity_uS_cm: FloatArray
    tds_mg_L: FloatArray
    larson_ratio: FloatArray

    @property
    def extrapolated(self) -> bool:
        """True where the boiler is hotter than the range of the constants (0 to 90 °C)."""
        return self.machine_temperature_C > VALID_TO_C


def describe(water: Water, machine_temperature_C: float = HOT_C) -> State:
    """Solve a water for the verdicts.

    Parameters
    ----------
    water : waters of any broadcastable shape
    machine_temperature_C : °C, 0 to 130; at 93 nothing is solved twice

    Raises
    ------
    InputError : a temperature outside 0 to 130 °C
    """
    cold, hot = speciate(water), speciate(water, HOT_C)
    boiler = hot if machine_temperature_C == HOT_C else speciate(water, machine_temperature_C)
    airy = chemistry.degas(water.totals, water.temperature_C)
    return State(
        line_ph=cold.ph,
        cup_ph=chemistry.solve_ph(airy, water.temperature_C),
        line_co2_mg_L=cold.co2_mol_L * CO2_G_PER_MOL * 1000,
        cold_index=cold.calcite_saturation_index,
        hot_index=hot.calcite_saturation_index,
        hot_ccpp_mg_L_as_CaCO3=hot.ccpp_mg_L_as_CaCO3,
        machine_temperature_C=float(machine_temperature_C),
        machine_index=boiler.calcite_saturation_index,
        machine_ccpp_mg_L_as_CaCO3=boiler.ccpp_mg_L_as_CaCO3,
        machine_gypsum_index=boiler.gypsum_saturation_index,
        conductivity_uS_cm=chemistry.conductivity_uS_cm(water.totals),
        tds_mg_L=np.asarray(water.tds_mg_L, dtype=np.float64),
        larson_ratio=chemistry.larson_skold_ratio(water.totals),
    )
