"""Exchange of calcium for magnesium: total hardness and alkalinity stay, less of the hardness is calcium."""

from __future__ import annotations

import numpy as np

from brewwater.treatment.hardness import eq_L
from brewwater.treatment.medium import Load, Medium, StageSettings, changed
from brewwater.treatment.stage import Stage
from brewwater.water import Water


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """Water through the bed (no bypass): down to ``exchange_target`` (calcium hardness, mg/L as CaCO3) where
    the stage states one, else the usual share of the calcium."""
    calcium = water.totals.calcium
    if stage.exchange_target is None:
        swapped = calcium * settings.performance["calcium_exchanged"]
    else:
        swapped = np.maximum(calcium - eq_L(stage.exchange_target) / 2, 0)
    return changed(water, calcium=-swapped, magnesium=swapped)


def load(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """Litres and the equivalents of calcium taken."""
    return Load(exchange_eq=2 * (inlet.totals.calcium - treated.totals.calcium))


MEDIUM = Medium("calcium_to_magnesium", treat, load, frozenset({"exchange", "time"}))
