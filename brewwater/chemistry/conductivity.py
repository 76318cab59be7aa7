"""Electrical conductivity from ions, to be held against the figure a report or a meter gives."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.activity import log_gamma_davies
from brewwater.chemistry.constants import KELVIN, debye_hueckel
from brewwater.chemistry.speciation import species_at
from brewwater.chemistry.totals import Totals
from brewwater.reference import keyed

FloatArray = NDArray[np.float64]

_FARADAY_C_MOL = 96485.33212
_R_J_MOL_K = 8.314462618


def conductivity_uS_cm(totals: Totals) -> FloatArray:
    """Conductivity at 25 °C, µS/cm, of waters of any broadcastable shape; NaN where unsolved.

    Each ion, pairs apart, carries ``z^2 D F^2/(R T) m`` with its tracer diffusion coefficient, lessened by
    ``gamma^alpha`` with Davies' gamma, ``alpha = 0.6/sqrt|z|`` where ``I < 0.36 |z|``. Valid to an ionic
    strength of 0.1 mol/L; within 2 % of 0.01 M potassium chloride's 1413 µS/cm.

    Source: phreeqc_dat (diffusion), appelo_conductivity (the exponent).
    """
    m, strength = species_at(totals, 25.0)
    davies = log_gamma_davies(1, strength, debye_hueckel(25.0)[0])
    factor = _FARADAY_C_MOL**2 / (_R_J_MOL_K * (KELVIN + 25)) * 1e7  # S m2/mol -> µS/cm per mol/L
    total = np.zeros(np.shape(strength))
    for row in keyed("ion_diffusion", "ion").values():
        z = abs(int(row["charge"]))
        total = total + z * z * float(row["diffusion_m2_s_25C"]) * m[row["ion"]] * 10.0 ** (
            0.6 / np.sqrt(z) * z * z * davies
        )
    return np.asarray(total * factor, dtype=np.float64)


def conductivity_at_25C(measured_uS_cm: ArrayLike, temperature_C: ArrayLike) -> FloatArray:
    """A reading of a meter without compensation brought to 25 °C: 1.91 % per °C, 20 to 27 °C.

    Source: epa_120_1 (worked from its table of 0.01 M potassium chloride).
    """
    measured = np.asarray(measured_uS_cm, dtype=np.float64)
    return measured / (1 + 0.0191 * (np.asarray(temperature_C, dtype=np.float64) - 25))
