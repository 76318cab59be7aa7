"""Mixed-bed deionisation: takes nearly everything ionic, CO2 and silica too.

A small share of every ion leaks, the same share for all, so the charge stays balanced. Deionised water needs
minerals before it is served, and leaches metal until it has them.
"""

from __future__ import annotations

import numpy as np

from brewwater.treatment.medium import Load, Medium, StageSettings
from brewwater.treatment.stage import Stage
from brewwater.water import Water

SILICA_G_PER_MOL = 60.0843


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """Water through the bed (no bypass)."""
    leak = settings.performance["leak"]
    return water.with_(
        totals=water.totals.map(lambda amount: amount * leak),
        iron_mg_L=water.iron_mg_L * leak,
        manganese_mg_L=water.manganese_mg_L * leak,
        silica_mg_L=water.silica_mg_L * leak,
        phosphate_mg_L=water.phosphate_mg_L * leak,
    )


def load(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """Litres, and the equivalents of whichever resin works harder: cations, or anions with CO2 and silica."""

    def anions(w: Water) -> np.ndarray:
        t = w.totals
        return t.chloride + 2 * t.sulfate + t.nitrate + t.dic + w.silica_mg_L / 1000 / SILICA_G_PER_MOL

    cations = inlet.totals.cation_charge - treated.totals.cation_charge
    return Load(exchange_eq=np.maximum(cations, anions(inlet) - anions(treated)))


MEDIUM = Medium("mixed_bed", treat, load, frozenset({"exchange", "time"}))
