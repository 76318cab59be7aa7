"""Blending: mixes some of the train's inlet water back in; ``bypass_percent`` is the share of that water.

The mixing itself is done by the train, which knows the inlet water. Blend water carries its chlorine with it.
"""

from __future__ import annotations

import numpy as np

from brewwater.treatment.medium import FloatArray, Medium, same, volume_only

MEDIUM = Medium("blend", same, volume_only, frozenset())


def raw_share(raw: FloatArray | float, treated: FloatArray | float, target: FloatArray | float) -> FloatArray:
    """Share of raw water that brings a mixed amount (an ion, hardness, alkalinity, TDS) to ``target``.

    ``(target - treated) / (raw - treated)``; all three in the same unit and basis, any broadcastable shape.
    NaN where no share from 0 to 1 does it. pH is no amount and cannot be aimed at in this way.
    """
    raw, treated, target = (np.asarray(x, dtype=np.float64) for x in (raw, treated, target))
    gap = raw - treated
    share = np.divide(
        target - treated,
        gap,
        out=np.full(np.broadcast_shapes(gap.shape, target.shape), np.nan),
        where=gap != 0,
    )
    return np.asarray(np.where((share >= 0) & (share <= 1), share, np.nan), dtype=np.float64)
