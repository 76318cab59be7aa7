"""Calcite bed: marble that dissolves into hungry water until it is near saturation.

The calcite that water can dissolve is its negative CCPP at its own temperature; the bed's contact brings it
the usual share of the way. Hardness and alkalinity rise together, CO2 is used up. It never precipitates.
"""

from __future__ import annotations

import numpy as np

from brewwater.treatment.medium import Load, Medium, StageSettings, changed
from brewwater.treatment.solved import calcite_potential_mg_L_as_CaCO3
from brewwater.treatment.stage import Stage
from brewwater.water import CACO3_G_PER_MOL, Water


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """Water through the bed (no bypass)."""
    room = np.maximum(-calcite_potential_mg_L_as_CaCO3(water), 0)
    dissolved = room * settings.performance["approach"] / 1000 / CACO3_G_PER_MOL
    return changed(water, calcium=dissolved, alkalinity=2 * dissolved, dic=dissolved)


def load(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """Litres, and the grams of calcite that dissolve."""
    return Load(consumed_g=(treated.totals.calcium - inlet.totals.calcium) * CACO3_G_PER_MOL)


MEDIUM = Medium("calcite", treat, load, frozenset({"consumed", "time"}))
