"""``Water``: a complete composition as a struct of arrays, on which every room works.

Amounts are mol/L and eq/L inside; each constructor and each property carries its unit and basis in its name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater import chemistry
from brewwater.chemistry import Speciation, Totals
from brewwater.errors import InputError
from brewwater.units import plain

FloatArray = NDArray[np.float64]

MOLAR_MASS_G = {
    "calcium": 40.078,
    "magnesium": 24.305,
    "sodium": 22.98977,
    "potassium": 39.0983,
    "chloride": 35.453,
    "sulfate": 96.0626,
    "nitrate": 62.0049,
}  # IUPAC standard atomic weights, abridged
CACO3_G_PER_MOL = 100.0869
CACO3_G_PER_EQ = CACO3_G_PER_MOL / 2
HCO3_G_PER_MOL = 61.0168
CO2_G_PER_MOL = 44.0095


MINOR = (
    "iron_mg_L",
    "manganese_mg_L",
    "silica_mg_L",
    "free_chlorine_mg_L",
    "chloramine_mg_L",
    "phosphate_mg_L",
)


@dataclass(frozen=True, slots=True, init=False)
class Water:
    """Waters as arrays: any broadcastable shape, the last axis being the draw.

    ``Water(pH=..., calcium_mg_L=..., ...)`` builds one from an analysis; inside the house, treated and mixed
    waters are made with ``Water.of`` and ``with_``.

    Parameters
    ----------
    pH : measured pH at ``temperature_C``, 0 to 14; the inorganic carbon follows from it
    temperature_C : °C, 0 to 130
    calcium_mg_L, magnesium_mg_L, sodium_mg_L, potassium_mg_L, chloride_mg_L, sulfate_mg_L :
        mg/L of the ion, 0 or more
    nitrate_mg_L : mg/L as NO3, 0 or more
    alkalinity_mg_L_as_CaCO3 : mg/L as CaCO3 (negative: mineral acidity)
    iron_mg_L, manganese_mg_L, silica_mg_L : mg/L as Fe, Mn, SiO2
    free_chlorine_mg_L : mg/L as Cl2
    chloramine_mg_L : combined chlorine, mg/L as Cl2; total chlorine is the sum of both
    phosphate_mg_L : polyphosphate from a scale inhibitor, mg/L as PO4

    Raises
    ------
    InputError : an amount is negative or not finite
    """

    totals: Totals
    temperature_C: FloatArray
    iron_mg_L: FloatArray
    manganese_mg_L: FloatArray
    silica_mg_L: FloatArray
    free_chlorine_mg_L: FloatArray
    chloramine_mg_L: FloatArray
    phosphate_mg_L: FloatArray

    def __init__(
        self,
        *,
        pH: ArrayLike,
        alkalinity_mg_L_as_CaCO3: ArrayLike,
        temperature_C: ArrayLike = 20.0,
        calcium_mg_L: ArrayLike = 0.0,
        magnesium_mg_L: ArrayLike = 0.0,
        sodium_mg_L: ArrayLike = 0.0,
        potassium_mg_L: ArrayLike = 0.0,
        chloride_mg_L: ArrayLike = 0.0,
        sulfate_mg_L: ArrayLike = 0.0,
        nitrate_mg_L: ArrayLike = 0.0,
        **minor: ArrayLike,
    ) -> None:
        given = {
            "calcium": calcium_mg_L,
            "magnesium": magnesium_mg_L,
            "sodium": sodium_mg_L,
            "potassium": potassium_mg_L,
            "chloride": chloride_mg_L,
            "sulfate": sulfate_mg_L,
            "nitrate": nitrate_mg_L,
        }
        amounts = {k: _amount(f"{k}_mg_L", v) / 1000 / MOLAR_MASS_G[k] for k, v in given.items()}
        alkalinity = _amount("alkalinity_mg_L_as_CaCO3", alkalinity_mg_L_as_CaCO3, low=-np.inf)
        temperature = _amount("temperature_C", temperature_C, low=0, high=130)
        acidity = _amount("pH", pH, low=0, high=14)
        bare = Totals(**amounts, alkalinity=alkalinity / 1000 / CACO3_G_PER_EQ, dic=np.zeros(()))
        self._fill(
            replace(bare, dic=chemistry.dic_from_ph(bare, acidity, temperature)),
            temperature,
            {name: _amount(name, value) for name, value in minor.items()},
        )

    def _fill(self, totals: Totals, temperature_C: FloatArray, minor: Mapping[str, FloatArray]) -> None:
        unknown = set(minor) - set(MINOR)
        if unknown:
            raise TypeError(f"Water has no field {sorted(unknown)[0]!r}")
        object.__setattr__(self, "totals", totals)
        object.__setattr__(self, "temperature_C", temperature_C)
        for name in MINOR:
            object.__setattr__(self, name, minor.get(name, np.zeros(())))

    @classmethod
    def of(cls, totals: Totals, temperature_C: FloatArray, **minor: FloatArray) -> Water:
        """A water from its totals; ``minor`` are the fields of ``MINOR``, zero where not given."""
        made = object.__new__(cls)
        made._fill(totals, temperature_C, minor)
        return made

    def with_(
        self, *, totals: Totals | None = None, temperature_C: FloatArray | None = None, **minor: FloatArray
    ) -> Water:
        """The same water with some fields changed."""
        kept = {name: getattr(self, name) for name in MINOR} | minor
        return Water.of(
            self.totals if totals is None else totals,
            self.temperature_C if temperature_C is None else temperature_C,
            **kept,
        )

    def each(self, change: Callable[[FloatArray], FloatArray]) -> Water:
        """The same change made to every array (a selection, a reshape), totals included."""
        return Water.of(
            self.totals.map(change),
            change(self.temperature_C),
            **{name: change(getattr(self, name)) for name in MINOR},
        )

    @property
    def shape(self) -> tuple[int, ...]:
        """The broadcast shape of all arrays."""
        return np.broadcast_shapes(
            self.totals.shape, np.shape(self.temperature_C), *(np.shape(getattr(self, m)) for m in MINOR)
        )

    @property
    def hardness_mg_L_as_CaCO3(self) -> FloatArray:
        """Total hardness (calcium and magnesium), mg/L as CaCO3."""
        return (self.totals.calcium + self.totals.magnesium) * CACO3_G_PER_MOL * 1000

    @property
    def calcium_hardness_mg_L_as_CaCO3(self) -> FloatArray:
        """Calcium hardness, mg/L as CaCO3."""
        return self.totals.calcium * CACO3_G_PER_MOL * 1000

    @property
    def alkalinity_mg_L_as_CaCO3(self) -> FloatArray:
        """Titration alkalinity, mg/L as CaCO3."""
        return self.totals.alkalinity * CACO3_G_PER_EQ * 1000

    def ion_mg_L(self, name: str) -> FloatArray:
        """An ion of ``MOLAR_MASS_G`` in mg/L as itself (sulfate as SO4, nitrate as NO3)."""
        return np.asarray(getattr(self.totals, name) * MOLAR_MASS_G[name] * 1000, dtype=np.float64)

    @property
    def chloride_mg_L(self) -> FloatArray:
        """Chloride, mg/L."""
        return self.ion_mg_L("chloride")

    @property
    def sodium_mg_L(self) -> FloatArray:
        """Sodium, mg/L."""
        return self.ion_mg_L("sodium")

    @property
    def total_chlorine_mg_L(self) -> FloatArray:
        """Free chlorine and chloramine together, mg/L as Cl2."""
        return self.free_chlorine_mg_L + self.chloramine_mg_L

    @property
    def tds_mg_L(self) -> FloatArray:
        """Total dissolved solids as left by evaporation: ions with half the bicarbonate gone as CO2, and
        silica, mg/L (Hem 1985: bicarbonate x 0.4917)."""
        ions = sum((self.ion_mg_L(name) for name in MOLAR_MASS_G), start=np.zeros(()))
        return ions + 0.4917 * self.totals.alkalinity * HCO3_G_PER_MOL * 1000 + self.silica_mg_L


def mix(waters: Sequence[Water], shares: FloatArray) -> Water:
    """Mix waters by volume: every total, alkalinity and DIC included, is conserved.

    Parameters
    ----------
    waters : the waters, ``k`` of them, shapes that broadcast
    shares : shape ``(k, ...)``, volume shares that add to 1 along the first axis
    """
    if not np.allclose(np.sum(shares, axis=0), 1):
        raise InputError("shares", np.sum(shares, axis=0), "volume shares add to 1", "Correct the shares.")

    def blend(pick: Any) -> FloatArray:
        return np.asarray(sum(share * pick(w) for share, w in zip(shares, waters, strict=True)), dtype=np.float64)

    totals = Totals(*(blend(lambda w, n=f.name: getattr(w.totals, n)) for f in fields(Totals)))
    return Water.of(
        totals,
        blend(lambda w: w.temperature_C),
        **{name: blend(lambda w, n=name: getattr(w, n)) for name in MINOR},
    )


def speciate(water: Water, temperature_C: ArrayLike | None = None) -> Speciation:
    """Solve the carbonate system of waters at a temperature, heated or cooled without losing CO2.

    Parameters
    ----------
    water : waters of any broadcastable shape
    temperature_C : °C, 0 to 130 (above 90 the constants are extrapolated); the water's own by default

    Returns
    -------
    Speciation : ``ph``, ``calcite_saturation_index``, ``ccpp_mg_L_as_CaCO3`` (positive where calcite
        precipitates), ``ionic_strength_mol_L`` and more, each of the broadcast shape; NaN where unsolved

    Source: Plummer and Busenberg (1982), WATEQ activity coefficients; see ``chemistry``.
    """
    at = water.temperature_C if temperature_C is None else _amount("temperature_C", temperature_C, 0, 130)
    return chemistry.speciate(water.totals, at)


def _amount(name: str, value: ArrayLike, low: float = 0.0, high: float = np.inf) -> FloatArray:
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(name, value, "a number is needed", "Correct the value.") from None
    bad = ~np.isfinite(array) | (array < low) | (array > high)
    if bad.any():
        limit = f"a finite number from {plain(low, 6)} to {plain(high, 6)} is needed"
        raise InputError(name, float(array[bad].flat[0]), limit, "Correct the value.")
    return array
