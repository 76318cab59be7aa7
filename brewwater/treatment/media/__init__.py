"""The registry: every medium by id. A new medium is one file, and one line here (its id in ``stage.py``)."""

from __future__ import annotations

from collections.abc import Mapping

from brewwater.treatment.media import (
    blend,
    calcite,
    calcium_to_magnesium,
    carbon,
    catalytic_carbon,
    chloride_anion,
    iron_manganese,
    mineral_dose,
    mixed_bed,
    reverse_osmosis,
    scale_inhibitor,
    sediment,
    softening,
    weak_acid,
)
from brewwater.treatment.medium import Medium

MEDIA: Mapping[str, Medium] = {
    module.MEDIUM.id: module.MEDIUM
    for module in (
        sediment,
        carbon,
        catalytic_carbon,
        scale_inhibitor,
        weak_acid,
        softening,
        calcium_to_magnesium,
        chloride_anion,
        reverse_osmosis,
        mixed_bed,
        blend,
        mineral_dose,
        calcite,
        iron_manganese,
    )
}
