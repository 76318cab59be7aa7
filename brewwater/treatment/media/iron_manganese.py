"""Media that take iron and manganese: they oxidise them on a grain coated with manganese dioxide and hold the flakes.

It wants a backwash several times as fast as its service flow, and so mains and a drain: at base, never aboard. The
grain needs a pH of its own (``reference/order_limits.csv``); what it uses of oxygen and alkalinity is too little to
be tracked (1 mg/L of iron: 0.14 of oxygen, 1.8 of alkalinity as CaCO3).
"""

from __future__ import annotations

from brewwater.treatment.medium import Medium, StageSettings, volume_only
from brewwater.treatment.stage import Stage
from brewwater.water import Water


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """Water through the bed (no bypass)."""
    drawn = settings.performance
    return water.with_(
        iron_mg_L=water.iron_mg_L * (1 - drawn["iron_removed"]),
        manganese_mg_L=water.manganese_mg_L * (1 - drawn["manganese_removed"]),
    )


MEDIUM = Medium("iron_manganese", treat, volume_only, frozenset({"volume", "time", "pressure"}))
