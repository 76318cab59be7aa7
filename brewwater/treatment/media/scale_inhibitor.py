"""Polyphosphate scale inhibitor: removes no hardness; holds scale back up to a limit, while its conditions
hold.

Glassy polyphosphate reverts to orthophosphate at boiling within the hour (trade text), so it does nothing in
a steam boiler, and little in water that stands hot. The sodium that comes with the phosphate (under 2 mg/L)
is not tracked: charge balance is kept by leaving both out of the ions.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from brewwater.treatment.medium import FloatArray, Medium, StageSettings, volume_only
from brewwater.treatment.stage import Stage
from brewwater.water import Water


def temporary_hardness_mg_L_as_CaCO3(water: Water) -> FloatArray:
    """The smaller of hardness and alkalinity, what heat can throw down, mg/L as CaCO3."""
    return np.minimum(water.hardness_mg_L_as_CaCO3, np.maximum(water.alkalinity_mg_L_as_CaCO3, 0))


def held_back(water: Water, up_to_mg_L_as_CaCO3: FloatArray, *, steam_boiler: bool) -> NDArray[np.bool_]:
    """True where an inhibitor is judged to hold scale back (common practice): its conditions are temporary
    hardness not above ``up_to_mg_L_as_CaCO3`` (``TrainResult`` has it; 0 without an inhibitor), and no steam
    boiler. Hardness itself stays: a hold is no removal, and ends where the water stands hot for long."""
    moderate = temporary_hardness_mg_L_as_CaCO3(water) <= up_to_mg_L_as_CaCO3
    return np.asarray(moderate & (up_to_mg_L_as_CaCO3 > 0) & (not steam_boiler))


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """The same water with phosphate added, mg/L as PO4."""
    return water.with_(phosphate_mg_L=water.phosphate_mg_L + settings.performance["phosphate_mg_L"])


MEDIUM = Medium("scale_inhibitor", treat, volume_only, frozenset({"volume", "time"}))
