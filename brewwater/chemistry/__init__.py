"""Water chemistry on arrays: species, activity, carbonate equilibrium, saturation, corrosion indices.

Pure functions in mol/L, eq/L and °C; they know no report, no coffee and no money.
"""

from brewwater.chemistry.conductivity import conductivity_at_25C, conductivity_uS_cm
from brewwater.chemistry.indices import (
    langelier_index,
    langelier_index_simplified,
    larson_skold_ratio,
    puckorius_index,
    ryznar_index,
    saturation_ph_simplified,
)
from brewwater.chemistry.series import AtTemperature, JudgedSeries, judge
from brewwater.chemistry.speciation import (
    Speciation,
    calcite_saturation_index,
    ccpp,
    degas,
    degassed_ph,
    dic_from_ph,
    mix,
    precipitate,
    solve_ph,
    speciate,
)
from brewwater.chemistry.steam import SteamBoiler, steam_boiler, steam_scale
from brewwater.chemistry.totals import Totals

__all__ = [
    "AtTemperature",
    "JudgedSeries",
    "Speciation",
    "SteamBoiler",
    "Totals",
    "calcite_saturation_index",
    "ccpp",
    "conductivity_at_25C",
    "conductivity_uS_cm",
    "degas",
    "degassed_ph",
    "dic_from_ph",
    "judge",
    "langelier_index",
    "langelier_index_simplified",
    "larson_skold_ratio",
    "mix",
    "precipitate",
    "puckorius_index",
    "ryznar_index",
    "saturation_ph_simplified",
    "solve_ph",
    "speciate",
    "steam_boiler",
    "steam_scale",
]
