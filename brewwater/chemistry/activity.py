"""Activity coefficients, and the constants as they apply to concentrations."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.constants import LN10, activity_parameters
from brewwater.chemistry.rows import (
    BY_C,
    BY_HS,
    BY_OH,
    BY_S,
    CAHSO4,
    CAOH,
    CO2,
    GAMMA,
    HCO3,
    METAL_HC,
    METAL_OH,
    OH,
    PAIR,
    Constants,
    H,
    Workspace,
)

FloatArray = NDArray[np.float64]


@cache
def _sizes() -> tuple[FloatArray, list[tuple[int, float]]]:
    parameters = activity_parameters()
    size = np.array([[parameters[name][0]] for name in GAMMA])
    slopes = [(i, LN10 * parameters[name][1]) for i, name in enumerate(GAMMA) if parameters[name][1]]
    return size, slopes


def condition(k: Constants, strength: FloatArray, ln_aw: FloatArray, w: Workspace) -> FloatArray:
    """Fill ``w.k`` with the constants on concentrations (activity for H+); return calcite's, a row of ``w``.

    WATEQ extended Debye-Hückel; Davies for ions without parameters; 10^(0.1 I) for neutral species.
    """
    size, slopes = _sizes()
    root, width, top, davies, neutral, four = w.rows[:6]
    np.sqrt(strength, out=root)
    np.multiply(k.b, root, out=width)
    np.multiply(-k.a, root, out=top)
    g = w.gamma
    np.multiply(size, width, out=g)
    np.add(g, 1.0, out=g)
    np.divide(top, g, out=g)
    g[:2] *= 4.0
    g[4] *= 4.0
    for row, slope in slopes:
        np.multiply(strength, slope, out=width)
        g[row] += width
    root += 1.0
    np.divide(top, root, out=davies)
    np.multiply(strength, 0.3 * k.a, out=width)
    davies += width
    np.multiply(strength, 0.1 * LN10, out=neutral)
    np.multiply(g[7], 4.0, out=four)  # ln gamma of carbonate

    x = w.k
    np.add(k.species[BY_C], g[:3], out=x[BY_C])
    np.add(k.species[METAL_HC], g[:3], out=x[METAL_HC])
    x[HCO3] = k.species[HCO3]
    x[:7] += four
    x[:2] -= neutral
    x[2] -= davies
    x[3:5] -= g[5:7]
    x[5] -= neutral
    x[HCO3] -= g[7]
    np.add(k.species[BY_S], g[:4], out=x[BY_S])
    x[BY_S] += g[4]
    x[7:9] -= neutral
    x[9:11] -= g[7]
    np.subtract(g[4], davies, out=width)
    np.add(k.species[BY_HS], width, out=x[BY_HS])
    x[CAHSO4] += g[0]
    np.add(k.species[METAL_OH], g[:2], out=x[METAL_OH])
    x[CAOH] -= davies
    x[14] -= g[8]
    np.subtract(k.species[OH], g[9], out=x[OH])
    x[BY_OH] += ln_aw
    np.negative(g[10], out=x[H])
    np.subtract(four, neutral, out=width)
    width -= ln_aw
    np.add(k.species[CO2], width, out=x[CO2])
    np.add(k.species[PAIR], neutral, out=x[PAIR])
    calcite: FloatArray = w.more[0]
    four += g[0]
    np.subtract(k.calcite, four, out=calcite)
    np.exp(calcite, out=calcite)
    np.exp(x, out=x)
    return calcite


def ln_gamma(ion: str, charge: int, strength: FloatArray, k: Constants) -> FloatArray:
    """ln of an ion's activity coefficient (WATEQ form), by its key in ``activity_parameters.csv``."""
    size, slope = activity_parameters()[ion]
    root = np.sqrt(strength)
    return np.asarray(
        -charge * charge * k.a * root / (1 + size * k.b * root) + slope * LN10 * strength, dtype=np.float64
    )


def log_gamma_davies(charge: int, strength: ArrayLike, a: ArrayLike) -> FloatArray:
    """log10 of an activity coefficient by Davies: ``-A z^2 (sqrt I / (1 + sqrt I) - 0.3 I)``, I to 0.5 mol/L.

    Parameters
    ----------
    charge : of the ion
    strength : ionic strength, mol/L
    a : Debye-Hückel A on log10, (kg/mol)^0.5

    Source: parkhurst_appelo_1999.
    """
    ionic = np.asarray(strength, dtype=np.float64)
    root = np.sqrt(ionic)
    return np.asarray(-np.asarray(a) * charge * charge * (root / (1 + root) - 0.3 * ionic), dtype=np.float64)
