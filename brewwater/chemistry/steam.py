"""What a steam boiler does to its water: salts stay, steam leaves."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.constants import log_k
from brewwater.chemistry.speciation import OUTDOOR_LOG_PCO2, Speciation, ccpp, degas, speciate
from brewwater.chemistry.totals import Totals
from brewwater.errors import InputError

FloatArray = NDArray[np.float64]

CHLORIDE_MG_PER_MOL = 35453.0
ALKALINITY_MG_CACO3_PER_EQ = 50043.45
CACO3_MG_PER_MOL = 100086.9
WATER_MOL_PER_KG = 55.51
VAPORISATION_K = 4890.0  # enthalpy of vaporisation over the gas constant, 40.66 kJ/mol: saturated steam's pressure
STEPS, HALVINGS = 5, 50


@dataclass(frozen=True)
class SteamBoiler:
    """The water that settles in a steam boiler.

    ``cycles``: concentration in the boiler over that in the feed. ``totals``: the boiler's water before
    anything drops out. ``closed``: solved with all CO2 kept; ``vented``: with CO2 gone to that of air; the
    truth lies between, nearer ``vented``, for steam carries CO2 away.
    """

    cycles: FloatArray
    totals: Totals
    chloride_mg_L: FloatArray
    alkalinity_mg_L_as_CaCO3: FloatArray
    closed: Speciation
    vented: Speciation


def steam_boiler(
    totals: Totals, makeup_L: ArrayLike, steam_L: ArrayLike, temperature_C: ArrayLike = 120.0
) -> SteamBoiler:
    """Water in a steam boiler at its steady state: ``cycles = makeup / (makeup - steam)``.

    Parameters
    ----------
    totals : the feed, mol/L and eq/L
    makeup_L : water fed, any period
    steam_L : of it, leaves as steam; the rest is drawn or drained as hot water; at least 0, less than makeup
    temperature_C : °C, to 130; above 90 extrapolated

    Raises
    ------
    InputError : no water is ever drawn (the concentration then grows without limit), or steam is negative
    """
    made, steam = np.asarray(makeup_L, dtype=np.float64), np.asarray(steam_L, dtype=np.float64)
    drawn = made - steam
    if not (np.all(steam >= 0) and np.all(drawn > 0)):
        raise InputError(
            "steam_L",
            float(np.max(steam)),
            "at least 0 and less than the water fed",
            "A boiler from which no water is ever drawn concentrates without limit: draw or drain some.",
        )
    cycles = made / drawn
    concentrated = totals.map(lambda a: a * cycles)
    return SteamBoiler(
        cycles,
        concentrated,
        np.asarray(concentrated.chloride * CHLORIDE_MG_PER_MOL, dtype=np.float64),
        np.asarray(concentrated.alkalinity * ALKALINITY_MG_CACO3_PER_EQ, dtype=np.float64),
        speciate(concentrated, temperature_C),
        speciate(degas(concentrated, temperature_C), temperature_C),
    )


def co2_taken(steam_fraction: ArrayLike, temperature_C: ArrayLike) -> FloatArray:
    """Part, 0 to 1, of the CO2 that comes into and forms in a boiler which leaves with the steam.

    Steam of ``steam_fraction`` of the feed in balance with the water left: CO2 stands ``55.5 / (K_H p)`` times as
    dense in a kilogram of steam as in one of water (about 3,000 at 120 °C), so that very little steam takes nearly
    all of it.
    """
    share = np.asarray(steam_fraction, dtype=np.float64)
    at = np.asarray(temperature_C, dtype=np.float64)
    atm = np.maximum(np.exp(VAPORISATION_K * (1 / 373.15 - 1 / (at + 273.15))), 1.0)
    ratio = WATER_MOL_PER_KG / (10 ** log_k("co2_gas", at) * atm)
    return np.asarray(share * ratio / (1 - share + share * ratio), dtype=np.float64)


def ccpp_vented(totals: Totals, temperature_C: ArrayLike, log_pco2: float = OUTDOOR_LOG_PCO2) -> FloatArray:
    """Calcite that falls while CO2 leaves to a held pressure, mg/L as CaCO3, not negative; NaN where unsolved.

    The other end beside ``ccpp``: calcite that falls sets CO2 free, and here that leaves too, so nearly all the
    hardness tied to alkalinity falls.
    """
    most = np.minimum(totals.calcium, np.maximum(totals.alkalinity, 0) / 2)
    most, at = np.broadcast_arrays(most, np.asarray(temperature_C, dtype=np.float64))
    fallen = np.zeros(most.shape)
    for _ in range(STEPS):
        left = replace(totals, calcium=totals.calcium - fallen, alkalinity=totals.alkalinity - 2 * fallen)
        index = speciate(degas(left, at, log_pco2), at).calcite_saturation_index
        # the index goes as calcium times the square of alkalinity; the rest changes little from step to step
        with np.errstate(invalid="ignore"):  # without calcium or alkalinity both are endless, and nothing can fall
            rest = index - _product(totals, fallen)
            fallen = np.where(most > 0, _falls_to(totals, most, rest), 0.0)
    return np.asarray(np.where(np.isfinite(fallen), fallen, np.nan) * CACO3_MG_PER_MOL, dtype=np.float64)


def _product(totals: Totals, fallen: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.log10(totals.calcium - fallen) + 2 * np.log10(totals.alkalinity - 2 * fallen)
    return np.asarray(found, dtype=np.float64)


def _falls_to(totals: Totals, most: FloatArray, rest: FloatArray) -> FloatArray:
    """What must fall for ``_product + rest`` to be 0, by halving; 0 where it is below that from the start."""
    low, high = np.zeros(most.shape), np.array(most)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        over = _product(totals, middle) + rest > 0
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    return np.where(np.isnan(rest), np.nan, np.where(_product(totals, np.zeros(most.shape)) + rest > 0, high, 0.0))


def steam_scale(
    totals: Totals, steam_fraction: float, temperature_C: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Scale that a litre of feed lays down in a boiler of which ``steam_fraction`` leaves as steam, mg as CaCO3.

    Returns
    -------
    with all CO2 kept; with CO2 gone to that of the air; and between them as the steam takes it (``co2_taken``)
    """
    cycles = 1 / (1 - steam_fraction)
    strong = totals.map(lambda a: a * cycles)
    closed = np.maximum(ccpp(strong, temperature_C), 0) / cycles
    vented = ccpp_vented(strong, temperature_C) / cycles
    share = co2_taken(steam_fraction, temperature_C)
    return closed, vented, closed + (vented - closed) * share
