"""Strong-acid softening in the sodium form: hardness for sodium. Alkalinity and chloride stay as they are.

Sodium rises 0.459 mg/L for each mg/L as CaCO3 taken. It is a cure for scale only: not for chloride, not for a
flat cup. Never regenerate on board, and never send brine to the ground or a storm drain.
"""

from __future__ import annotations

import numpy as np

from brewwater.treatment.hardness import eq_L, hardness_eq, proportional
from brewwater.treatment.media.weak_acid import load
from brewwater.treatment.medium import Medium, StageSettings, changed
from brewwater.treatment.stage import Stage
from brewwater.water import Water


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """Water through the bed (no bypass)."""
    taken = np.maximum(hardness_eq(water) - eq_L(settings.performance["leakage_mg_L_as_CaCO3"]), 0)
    return changed(water, sodium=taken, **proportional(water, taken))


MEDIUM = Medium("softening", treat, load, frozenset({"exchange", "time"}))
