"""Weak-acid cation exchange in the hydrogen form: takes hardness tied to alkalinity, and gives CO2 for it.

It takes the smaller of hardness and alkalinity down to the leakage, calcium and magnesium in proportion
(a fresh bed prefers calcium; proportion is the plain assumption). Each equivalent of alkalinity becomes CO2:
alkalinity falls, inorganic carbon stays, so the pH dips until the CO2 leaves. Chloride, sulfate, sodium and
permanent hardness pass.
"""

from __future__ import annotations

import numpy as np

from brewwater.treatment.hardness import eq_L, hardness_eq, proportional
from brewwater.treatment.medium import FloatArray, Load, Medium, StageSettings, changed
from brewwater.treatment.stage import Stage
from brewwater.water import CO2_G_PER_MOL, Water


def carbon_dioxide_released_mg_L(inlet: Water, outlet: Water) -> FloatArray:
    """CO2 that the alkalinity lost between two waters became, mg/L: one mole for each equivalent."""
    return (inlet.totals.alkalinity - outlet.totals.alkalinity) * CO2_G_PER_MOL * 1000


def removed_eq(water: Water, leakage_mg_L_as_CaCO3: FloatArray) -> FloatArray:
    """Equivalents taken from each litre through the bed."""
    smaller = np.minimum(hardness_eq(water), water.totals.alkalinity)
    return np.maximum(smaller - eq_L(leakage_mg_L_as_CaCO3), 0)


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """Water through the bed (no bypass)."""
    taken = removed_eq(water, settings.performance["leakage_mg_L_as_CaCO3"])
    return changed(water, alkalinity=-taken, **proportional(water, taken))


def load(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """Litres and the equivalents of hardness taken."""
    return Load(exchange_eq=hardness_eq(inlet) - hardness_eq(treated))


MEDIUM = Medium("weak_acid", treat, load, frozenset({"exchange", "time"}))
