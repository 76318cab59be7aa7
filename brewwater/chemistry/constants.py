"""Equilibrium constants and activity parameters; ``reference/`` is the only place that holds them.

``log10 K = a + b T + c/T + d log10 T + e/T^2 + f T^2`` with T in kelvin; where only log K at 25 °C and an
enthalpy are published, the van 't Hoff form. The carbonate constants are those of Plummer and Busenberg
(1982), valid 0 to 90 °C; above, they are extrapolated. Over 100 °C water stands under the pressure of its
steam, which moves log K by ``per_atm`` for each atmosphere above one (read off PHREEQC at 120 °C).
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
_GAS_CONSTANT_KCAL = 8.3147e-3 / 4.184  # kcal/(mol K); R as PHREEQC rounds it, with its enthalpies
_POWERS = ("a", "b_per_K", "c_K", "d", "e_K2", "f_per_K2")


@cache
def _coefficients() -> dict[str, tuple[float, ...]]:
    """Factors of (1, T, 1/T, log10 T, 1/T^2, T^2, atmospheres above one)."""
    found: dict[str, tuple[float, ...]] = {}
    for key, row in keyed("equilibrium_constants").items():
        if row["log_k_25C"]:
            slope = -float(row["delta_h_kcal_mol"]) / (_GAS_CONSTANT_KCAL * LN10)
            at_zero = float(row["log_k_25C"]) - slope / (KELVIN + 25)
            powers: tuple[float, ...] = (at_zero, 0.0, slope, 0.0, 0.0, 0.0)
        else:
            powers = tuple(float(row[name]) for name in _POWERS)
        found[key] = (*powers, float(row["per_atm"]))
    return found


@cache
def activity_parameters() -> dict[str, tuple[float, float]]:
    """WATEQ ion size in angstrom and b in kg/mol, by ion."""
    return {
        key: (float(row["ion_size_angstrom"]), float(row["b_kg_mol"]))
        for key, row in keyed("activity_parameters").items()
    }


def log_ks(names: tuple[str, ...], temperature_C: ArrayLike) -> list[FloatArray]:
    """log10 of equilibrium constants of ``reference/equilibrium_constants.csv``, each of the shape given.

    Parameters
    ----------
    names : their keys
    temperature_C : °C, 0 to 90 (to 130 extrapolated), any shape
    """
    kelvin = np.asarray(temperature_C, dtype=np.float64) + KELVIN
    inverse = 1 / kelvin
    terms = [kelvin, inverse, np.log10(kelvin), inverse * inverse, kelvin * kelvin]
    if np.any(kelvin > KELVIN + 100):
        # pressure of saturated steam, atm, as PHREEQC 3 has it
        terms.append(np.maximum(np.exp(11.6702 - 3816.44 / (kelvin - 46.13)) - 1, 0))
    found = []
    for name in names:
        first, *factors = _coefficients()[name]
        total = np.full(kelvin.shape, first)
        for factor, term in zip(factors, terms, strict=False):
            if factor:
                total += factor * term
        found.append(total)
    return found


def log_k(name: str, temperature_C: ArrayLike) -> FloatArray:
    """log10 of one equilibrium constant; see ``log_ks``."""
    return log_ks((name,), temperature_C)[0]


def dielectric_constant_bradley_pitzer_1979(temperature_C: ArrayLike) -> FloatArray:
    """Relative permittivity of water at 1 atm; 0 to 350 °C. Source: bradley_pitzer_1979."""
    kelvin = np.asarray(temperature_C, dtype=np.float64) + KELVIN
    at_1000_bar = 342.79 * np.exp(kelvin * (-5.0866e-3 + 9.469e-7 * kelvin))
    c = -2.0525 + 3115.9 / (kelvin - 182.89)
    b = -8032.5 + 4.2142e6 / kelvin + 2.1417 * kelvin
    return np.asarray(at_1000_bar + c * np.log((b + 1.01325) / (b + 1000.0)), dtype=np.float64)


def density_kg_L_wagner_pruss_1993(temperature_C: ArrayLike) -> FloatArray:
    """Density of saturated liquid water, kg/L; 0 to 350 °C. Source: wagner_pruss_1993."""
    # powers of (1 - T/Tc)^(1/3); an exponential costs a tenth of a cube root
    x = np.exp(np.log(1 - (np.asarray(temperature_C, dtype=np.float64) + KELVIN) / 647.096) / 3)
    x2 = x * x
    x5 = x2 * x2 * x
    x16 = x5 * x5 * x5 * x
    x27, x67 = x16 * x5 * x5 * x, x16 * x16 * x16 * x16 * x2 * x
    high = x16 * (-1.75493479 + x27 * (-45.5170352 - 6.7469445e5 * x67))
    return np.asarray(0.322 * (1 + 1.99274064 * x + 1.09965342 * x2 - 0.510839303 * x5 + high), dtype=np.float64)


def debye_hueckel(temperature_C: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Debye-Hückel A, (kg/mol)^0.5 on log10, and B, (kg/mol)^0.5 per angstrom."""
    kelvin = np.asarray(temperature_C, dtype=np.float64) + KELVIN
    # Bjerrum length e^2/(eps kT) in cm; the number is e^2/k in esu^2 K/erg
    bjerrum = 1.671008e-3 / (dielectric_constant_bradley_pitzer_1979(temperature_C) * kelvin)
    kappa = np.sqrt(8 * np.pi * 6.02214076e20 * bjerrum * density_kg_L_wagner_pruss_1993(temperature_C))
    a, b = kappa * bjerrum / (2 * LN10), kappa * 1e-8
    return np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
