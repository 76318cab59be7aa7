"""Strong-base anion exchange in the chloride form: bicarbonate, sulfate and nitrate for chloride.

The chloride it adds attacks boilers: what it mends in the cup it may cost in the metal. Bicarbonate leaves
with its carbon, CO2 stays, so the pH moves little.
"""

from __future__ import annotations

import numpy as np

from brewwater.treatment.medium import Load, Medium, StageSettings, changed
from brewwater.treatment.stage import Stage
from brewwater.water import Water


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """Water through the bed (no bypass)."""
    drawn = settings.performance
    totals = water.totals
    alkalinity = np.maximum(totals.alkalinity, 0) * drawn["alkalinity_removed"]
    sulfate = totals.sulfate * drawn["sulfate_removed"]
    nitrate = totals.nitrate * drawn["nitrate_removed"]
    # of the carbon, what is bicarbonate goes; above pH 8.3 alkalinity exceeds the carbon there is
    carbon = np.minimum(alkalinity, totals.dic * drawn["alkalinity_removed"])
    return changed(
        water,
        alkalinity=-alkalinity,
        dic=-carbon,
        sulfate=-sulfate,
        nitrate=-nitrate,
        chloride=alkalinity + 2 * sulfate + nitrate,
    )


def load(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """Litres and the equivalents of chloride given off."""
    return Load(exchange_eq=treated.totals.chloride - inlet.totals.chloride)


MEDIUM = Medium("chloride_anion", treat, load, frozenset({"exchange", "time"}))
