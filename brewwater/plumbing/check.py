"""One check of the fit, and how its value is read from the draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import percentiles

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Check:
    """One check. ``part`` names the branch, stage or tank where there are several; ``unit`` of a ratio: 1."""

    check: str
    value: float | None
    limit: float | None
    unit: str
    ok: bool | None
    source: str
    why: str
    part: str = ""


class Judge:
    """Reads the unfavourable side of the draws."""

    def __init__(self, weights: FloatArray) -> None:
        self.weights = weights

    def low(self, values: FloatArray) -> float:
        """What nine draws of ten reach."""
        return float(percentiles(values, self.weights, (0.1,))[0])

    def high(self, values: FloatArray) -> float:
        """What nine draws of ten stay under."""
        return float(percentiles(values, self.weights, (0.9,))[0])

    def middle(self, values: FloatArray) -> float:
        """The median."""
        return float(percentiles(values, self.weights, (0.5,))[0])


def at_least(value: float, least: float) -> bool:
    """True where a value reaches a limit, to rounding."""
    return value >= least * (1 - 1e-9) - 1e-12


def because(how: str, missing: Sequence[str]) -> str:
    """The reason, or what is missing for a verdict."""
    if not missing:
        return how + "."
    return f"No verdict: not given: {', '.join(missing)}. With the usual figure: {how}."
