"""The indices that the trade reads beside the saturation index. None of them foretells copper or lead.

Functions on arrays of any broadcastable shape; NaN where an input is NaN.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.activity import log_gamma_davies
from brewwater.chemistry.constants import KELVIN, LN10, log_k
from brewwater.chemistry.totals import Totals

FloatArray = NDArray[np.float64]


def _log10(value: ArrayLike) -> FloatArray:
    """log10 with -inf for zero and NaN for less, without a warning: an index of no calcium is -inf."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.log10(np.asarray(value, dtype=np.float64)), dtype=np.float64)


def langelier_index(
    ph: ArrayLike, totals: Totals, temperature_C: ArrayLike, ionic_strength_mol_L: ArrayLike
) -> FloatArray:
    """Langelier index, the form of Standard Methods 2330 B: pH less pHs, no ion pairs.

    ``pHs = pK2 - pKs + p[Ca] + p[HCO3] + 5 pfm`` with the constants of Plummer and Busenberg (1982), Davies'
    ``pfm = A (sqrt I / (1 + sqrt I) - 0.3 I)``, ``A = 1.82e6 (E T)^-1.5``, ``E = 60954/(T + 116) - 68.937``.
    HCO3 is the alkalinity less carbonate, hydroxide and acid at this pH. Where calcium or bicarbonate is
    absent the index is -inf.

    Parameters
    ----------
    ph : at ``temperature_C``
    totals : mol/L and eq/L; calcium and alkalinity are read
    temperature_C : °C, 0 to 90
    ionic_strength_mol_L : mol/L

    Source: standard_methods_2330.
    """
    h = np.asarray(ph, dtype=np.float64)
    kelvin = np.asarray(temperature_C, dtype=np.float64) + KELVIN
    strength = np.asarray(ionic_strength_mol_L, dtype=np.float64)
    a = 1.82e6 * ((60954 / (kelvin + 116) - 68.937) * kelvin) ** -1.5
    pfm = -log_gamma_davies(1, strength, a)
    pk2, pkw = -log_k("k2", temperature_C), -log_k("kw", temperature_C)
    carbonate_per_bicarbonate = np.exp(LN10 * (h - pk2 + 3 * pfm))
    free = totals.alkalinity + np.exp(LN10 * (pfm - h)) - np.exp(LN10 * (h + pfm - pkw))
    bicarbonate = np.maximum(free, 0) / (1 + 2 * carbonate_per_bicarbonate)
    saturation_ph = pk2 + log_k("calcite", temperature_C) - _log10(totals.calcium) - _log10(bicarbonate) + 5 * pfm
    return np.asarray(h - saturation_ph, dtype=np.float64)


def saturation_ph_simplified(
    calcium_hardness_mg_L_as_CaCO3: ArrayLike,
    alkalinity_mg_L_as_CaCO3: ArrayLike,
    tds_mg_L: ArrayLike,
    temperature_C: ArrayLike,
) -> FloatArray:
    """pHs of the closed form in printed examples: ``(9.3 + A + B) - (C + D)``.

    ``A = (log TDS - 1)/10``, ``B = -13.12 log(T + 273) + 34.55``, ``C = log Ca - 0.4``, ``D = log Alk``.
    Printed tables of A to D depart from it by up to 0.1. +inf where calcium or alkalinity is absent.

    Source: langelier_closed_form.
    """
    a = (_log10(tds_mg_L) - 1) / 10
    b = -13.12 * _log10(np.asarray(temperature_C, dtype=np.float64) + 273) + 34.55
    c = _log10(calcium_hardness_mg_L_as_CaCO3) - 0.4
    return np.asarray((9.3 + a + b) - (c + _log10(alkalinity_mg_L_as_CaCO3)), dtype=np.float64)


def langelier_index_simplified(
    ph: ArrayLike,
    calcium_hardness_mg_L_as_CaCO3: ArrayLike,
    alkalinity_mg_L_as_CaCO3: ArrayLike,
    tds_mg_L: ArrayLike,
    temperature_C: ArrayLike,
) -> FloatArray:
    """Langelier index by ``saturation_ph_simplified``.

    It is about 0.2 away from ``langelier_index``: below when cold, above when hot.
    """
    return np.asarray(ph, dtype=np.float64) - saturation_ph_simplified(
        calcium_hardness_mg_L_as_CaCO3, alkalinity_mg_L_as_CaCO3, tds_mg_L, temperature_C
    )


def ryznar_index(ph: ArrayLike, saturation_ph: ArrayLike) -> FloatArray:
    """Ryznar stability index, ``2 pHs - pH``: under 6 tends to scale, over 7 to corrode steel.

    Source: ufc_3_240_13fn.
    """
    return 2 * np.asarray(saturation_ph, dtype=np.float64) - np.asarray(ph, dtype=np.float64)


def puckorius_index(saturation_ph: ArrayLike, alkalinity_mg_L_as_CaCO3: ArrayLike) -> FloatArray:
    """Puckorius (practical) scaling index, ``2 pHs - pHeq`` with ``pHeq = 1.465 log Alk + 4.54``.

    The UFC prints 1.485 in the text, but its own table value (7.47 at 100 mg/L) needs 1.465.

    Source: ufc_3_240_13fn.
    """
    return 2 * np.asarray(saturation_ph, dtype=np.float64) - (1.465 * _log10(alkalinity_mg_L_as_CaCO3) + 4.54)


def larson_skold_ratio(totals: Totals) -> FloatArray:
    """Larson-Skold ratio ``(Cl + SO4)/(HCO3 + CO3)`` in equivalents; alkalinity stands for the latter.

    Devised for steel mains: over 0.8 watch, over 1.2 concern. Inf where there is no alkalinity to set
    against chloride and sulfate.

    Source: roberge_larson_skold.
    """
    strong = np.asarray(totals.chloride + 2 * totals.sulfate, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(totals.alkalinity > 0, strong / totals.alkalinity, np.inf)
    return np.asarray(ratio, dtype=np.float64)
