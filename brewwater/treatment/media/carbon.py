"""Activated carbon for free chlorine and taste. It changes no minerals and is no rating for chloramine.

Free chlorine leaves as chloride: C* + HOCl -> C*O + H+ + Cl- (Potwora 2009), so chloride rises and alkalinity
falls by the same amount. Combined chlorine that is removed is counted in the same way (its nitrogen leaving
as N2); the ammonium that a fresh bed releases instead is not tracked: at 4 mg/L as Cl2 the alkalinity may be
2.8 mg/L as CaCO3 higher than shown.
"""

from __future__ import annotations

import numpy as np

from brewwater.treatment.medium import CL2_G_PER_MOL, FloatArray, Load, Medium, StageSettings, changed
from brewwater.treatment.stage import Stage
from brewwater.water import Water


def left_at_flow(left: FloatArray, stage: Stage, settings: StageSettings) -> FloatArray:
    """Share of the chlorine that passes at peak flow, from the share ``left`` at the rated flow.

    First order in contact time (plug flow), so the share left is ``left ** (rated flow / flow)``. Applied
    only where both the sheet's service flow and the peak flow are known; below the rated flow the rated
    figure stands (no credit is taken for slower water).
    """
    rated = stage.sheet.service_flow_gpm
    if settings.peak_flow_gpm is None or rated is None:
        return left
    if np.all(settings.peak_flow_gpm <= rated):
        return left
    exponent = np.minimum(1.0, rated / np.maximum(settings.peak_flow_gpm, 1e-9))
    return np.asarray(left**exponent, dtype=np.float64)


def dechlorinate(water: Water, free_left: FloatArray, combined_left: FloatArray) -> Water:
    """Remove chlorine; the chloride formed and the alkalinity it uses are booked."""
    free = water.free_chlorine_mg_L * free_left
    combined = water.chloramine_mg_L * combined_left
    gone = (water.total_chlorine_mg_L - free - combined) / 1000 / CL2_G_PER_MOL
    fewer = changed(water, chloride=gone, alkalinity=-gone)
    return fewer.with_(free_chlorine_mg_L=free, chloramine_mg_L=combined)


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """Water through the carbon at peak flow (no bypass)."""
    drawn = settings.performance
    free = left_at_flow(1 - drawn["free_chlorine_removed"], stage, settings)
    combined = left_at_flow(1 - drawn["chloramine_removed"], stage, settings)
    return dechlorinate(water, free, combined)


def load(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """Litres, and all chlorine brought to the bed (g Cl2 per litre)."""
    return Load(chlorine_g=inlet.total_chlorine_mg_L / 1000)


MEDIUM = Medium("carbon", treat, load, frozenset({"volume", "chlorine", "time", "pressure"}))
