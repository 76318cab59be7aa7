"""Taking hardness out in proportion: shared by the resins that hold calcium and magnesium."""

from __future__ import annotations

import numpy as np

from brewwater.treatment.medium import FloatArray
from brewwater.water import CACO3_G_PER_EQ, Water


def eq_L(mg_L_as_CaCO3: FloatArray | float) -> FloatArray:
    """mg/L as CaCO3 to eq/L."""
    return np.asarray(mg_L_as_CaCO3, dtype=np.float64) / 1000 / CACO3_G_PER_EQ


def hardness_eq(water: Water) -> FloatArray:
    """Calcium and magnesium, eq/L."""
    return 2 * (water.totals.calcium + water.totals.magnesium)


def proportional(water: Water, removed_eq: FloatArray) -> dict[str, FloatArray]:
    """The changes of calcium and magnesium (mol/L, negative) that take ``removed_eq`` out in proportion."""
    total = hardness_eq(water)
    share = np.divide(
        removed_eq, total, out=np.zeros(np.broadcast_shapes(removed_eq.shape, total.shape)), where=total > 0
    )
    return {"calcium": -share * water.totals.calcium, "magnesium": -share * water.totals.magnesium}
