"""What two media must solve of their feed, remembered: a search tries many settings on one feed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import lru_cache

import numpy as np

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.treatment.medium import FloatArray
from brewwater.water import Water

Solve = Callable[[Totals, FloatArray], FloatArray]


def carbon_dioxide_share(water: Water) -> FloatArray:
    """CO2 (aq) over all inorganic carbon, 0 to 1, shape of the totals."""
    return _remembered(water, _share)


def calcite_potential_mg_L_as_CaCO3(water: Water) -> FloatArray:
    """CCPP at the water's own temperature, mg/L as CaCO3; a draw that is not solved takes the middle of the rest."""
    return _remembered(water, _potential)


def _share(totals: Totals, temperature_C: FloatArray) -> FloatArray:
    gas = chemistry.speciate(totals, temperature_C).co2_mol_L
    return np.divide(gas, totals.dic, out=np.zeros(gas.shape), where=totals.dic > 0)


def _potential(totals: Totals, temperature_C: FloatArray) -> FloatArray:
    found = chemistry.ccpp(totals, temperature_C)
    unsolved = np.isnan(found)
    return np.where(unsolved, np.nanmedian(found), found) if unsolved.any() and not unsolved.all() else found


def _remembered(water: Water, solve: Solve) -> FloatArray:
    arrays = [getattr(water.totals, f.name) for f in fields(Totals)]
    full = np.stack(np.broadcast_arrays(*arrays, water.temperature_C))
    return _solved(solve, full.tobytes(), full.shape)


@lru_cache(maxsize=8)
def _solved(solve: Solve, packed: bytes, shape: tuple[int, ...]) -> FloatArray:
    *amounts, temperature = np.frombuffer(packed).reshape(shape)
    found = solve(Totals(*amounts), temperature)
    found.flags.writeable = False
    return found
