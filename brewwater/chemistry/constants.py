"""Equilibrium constants and activity parameters, from ``reference/``; the only place that holds them is there.

``log10 K = a + b T + c/T + d log10 T + e/T^2 + f T^2`` with T in kelvin; where only log K at 25 °C and an
enthalpy are published, the van 't Hoff form. The carbonate constants are those of Plummer and Busenberg
(1982), valid 0 to 90 °C; above, they are extrapolated.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.reference import keyed

FloatArray = NDArray[np.float64]

KELVIN = 273.15
LN10 = float(np.log(10.0))
VALID_TO_C = 90.0
EXTRAPOLATED_TO_C = 130.0
VALID_TO_IONIC_STRENGTH_MOL_L = 0.1
_GAS_CONSTANT_KCAL = 1.98720425864e-3  # exact R of the SI in kcal/(mol K), kcal = 4.184 kJ


@cache
def _coefficients() -> dict[str, tuple[float, ...]]:
    found = {}
    for key, row in keyed("equilibrium_constants").items():
        if row["log_k_25C"]:
            slope = -float(row["delta_h_kcal_mol"]) / (_GAS_CONSTANT_KCAL * LN10)
            found[key] = (float(row["log_k_25C"]) - slope / (KELVIN + 25), 0.0, slope, 0.0, 0.0, 0.0)
        else:
            found[key] = tuple(float(row[c]) for c in ("a", "b_per_K", "c_K", "d", "e_K2", "f_per_K2"))
    return found


@cache
def activity_parameters() -> dict[str, tuple[float, float]]:
    """WATEQ ion size in angstrom and b in kg/mol, by ion."""
    return {
        key: (float(row["ion_size_angstrom"]), float(row["b_kg_mol"]))
        for key, row in keyed("activity_parameters").items()
    }


def log_k(name: str, temperature_C: ArrayLike) -> FloatArray:
    """log10 of an equilibrium constant of ``reference/equilibrium_constants.csv``.

    Parameters
    ----------
    name : its key
    temperature_C : °C, 0 to 90 (to 130 extrapolated), any shape
    """
    a, b, c, d, e, f = _coefficients()[name]
    kelvin = np.asarray(temperature_C, dtype=np.float64) + KELVIN
    return np.asarray(
        a + kelvin * (b + f * kelvin) + (c + e / kelvin) / kelvin + d * np.log10(kelvin), dtype=np.float64
    )


def dielectric_constant_bradley_pitzer_1979(temperature_C: ArrayLike) -> FloatArray:
    """Relative permittivity of water at 1 atm; 0 to 350 °C. Source: bradley_pitzer_1979."""
    kelvin = np.asarray(temperature_C, dtype=np.float64) + KELVIN
    at_1000_bar = 342.79 * np.exp(kelvin * (-5.0866e-3 + 9.469e-7 * kelvin))
    c = -2.0525 + 3115.9 / (kelvin - 182.89)
    b = -8032.5 + 4.2142e6 / kelvin + 2.1417 * kelvin
    return np.asarray(at_1000_bar + c * np.log((b + 1.01325) / (b + 1000.0)), dtype=np.float64)


def density_kg_L_wagner_pruss_1993(temperature_C: ArrayLike) -> FloatArray:
    """Density of saturated liquid water, kg/L; 0 to 350 °C. Source: wagner_pruss_1993."""
    x = np.cbrt(1 - (np.asarray(temperature_C, dtype=np.float64) + KELVIN) / 647.096)
    x2 = x * x
    x5 = x2 * x2 * x
    x16 = x5 * x5 * x5 * x
    x27, x67 = x16 * x5 * x5 * x, x16 * x16 * x16 * x16 * x2 * x
    high = x16 * (-1.75493479 + x27 * (-45.5170352 - 6.7469445e5 * x67))
    return np.asarray(
        0.322 * (1 + 1.99274064 * x + 1.09965342 * x2 - 0.510839303 * x5 + high), dtype=np.float64
    )


def debye_hueckel(temperature_C: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Debye-Hückel A, (kg/mol)^0.5 on log10, and B, (kg/mol)^0.5 per angstrom."""
    kelvin = np.asarray(temperature_C, dtype=np.float64) + KELVIN
    # Bjerrum length e^2/(eps kT) in cm; the number is e^2/k in esu^2 K/erg
    bjerrum = 1.671008e-3 / (dielectric_constant_bradley_pitzer_1979(temperature_C) * kelvin)
    kappa = np.sqrt(8 * np.pi * 6.02214076e20 * bjerrum * density_kg_L_wagner_pruss_1993(temperature_C))
    return np.asarray(kappa * bjerrum / (2 * LN10), dtype=np.float64), np.asarray(kappa * 1e-8, dtype=np.float64)
