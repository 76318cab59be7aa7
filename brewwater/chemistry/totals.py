"""The conservative totals of a water: what mixing, heating and exchange leave to be counted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Totals:
    """Totals in mol per kg of water (taken as mol/L), alkalinity in eq/L; each of any broadcastable shape.

    ``alkalinity`` is titration alkalinity (HCO3- + 2 CO3-- + OH- - H+ with their ion pairs), ``dic`` all
    dissolved inorganic carbon. Neither changes on heating in a closed vessel.
    """

    calcium: FloatArray
    magnesium: FloatArray
    sodium: FloatArray
    potassium: FloatArray
    chloride: FloatArray
    sulfate: FloatArray
    nitrate: FloatArray
    alkalinity: FloatArray
    dic: FloatArray

    def map(self, change: Callable[[FloatArray], FloatArray]) -> Totals:
        """The same change made to every total."""
        return Totals(*(change(getattr(self, f.name)) for f in fields(self)))

    @property
    def shape(self) -> tuple[int, ...]:
        """The broadcast shape of all totals."""
        return np.broadcast_shapes(*(np.shape(getattr(self, f.name)) for f in fields(self)))

    @property
    def cation_charge(self) -> FloatArray:
        """Charge of the metal cations, eq/L."""
        return 2 * (self.calcium + self.magnesium) + self.sodium + self.potassium

    @property
    def anion_charge(self) -> FloatArray:
        """Charge of the strong anions and of the alkalinity, eq/L."""
        return self.chloride + 2 * self.sulfate + self.nitrate + self.alkalinity

    @property
    def charge_imbalance(self) -> FloatArray:
        """Cation less anion charge, eq/L; zero for a complete analysis."""
        return self.cation_charge - self.anion_charge
