"""What a steam boiler does to its water: salts stay, steam leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.speciation import Speciation, degas, speciate
from brewwater.chemistry.totals import Totals
from brewwater.errors import InputError

FloatArray = NDArray[np.float64]

CHLORIDE_MG_PER_MOL = 35453.0
ALKALINITY_MG_CACO3_PER_EQ = 50043.45


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
