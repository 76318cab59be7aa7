"""Two plans side by side: line by line, how soon one pays for itself, and the damage it may avoid."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from brewwater.cost.inputs import Damage
from brewwater.cost.year import Cost
from brewwater.ensemble import mean

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Difference:
    """One line of two plans side by side; ``change`` is the second less the first."""

    name: str
    first: Decimal
    second: Decimal

    @property
    def change(self) -> Decimal:
        """Positive where the second plan costs more."""
        return self.second - self.first


def compare(first: Cost, second: Cost) -> tuple[Difference, ...]:
    """Two plans line by line; the changes add up to the difference of the totals.

    Raises
    ------
    ValueError : the currencies differ
    """
    if first.currency != second.currency:
        raise ValueError(f"{first.currency} cannot be compared with {second.currency}")
    a, b = ({line.name: line.amount for line in cost.lines} for cost in (first, second))
    zero = Decimal(0)
    return tuple(Difference(n, a.get(n, zero), b.get(n, zero)) for n in dict.fromkeys([*a, *b]))


@dataclass(frozen=True, slots=True)
class Payback:
    """Months until the saving has paid for the outlay: 10th, 50th and 90th percentile, None for never;
    ``never``: share of the draws in which it never does."""

    months: tuple[float | None, float | None, float | None]
    never: float


def payback(outlay: FloatArray, yearly_before: FloatArray, yearly_after: FloatArray, weights: FloatArray) -> Payback:
    """How long a plan takes to pay for itself.

    Parameters
    ----------
    outlay : paid at the start, shape (draw,) or (1,)
    yearly_before, yearly_after : cost of a year without it and with it
    """
    saving = np.asarray(yearly_before - yearly_after, dtype=np.float64)
    never = (saving <= 0) & (outlay > 0)
    months = np.atleast_1d(np.where(never, np.inf, 12 * outlay / np.where(saving > 0, saving, np.inf)))
    low, middle, high = _quantiles(months, weights)
    return Payback((low, middle, high), float(mean(never.astype(float), weights)))


def _quantiles(values: FloatArray, weights: FloatArray) -> Iterator[float | None]:
    wide = np.broadcast_to(values, weights.shape) if len(values) == 1 else values
    order = np.argsort(wide)
    mass = np.cumsum(weights[order])
    for at in (0.1, 0.5, 0.9):
        value = float(wide[order][min(int(np.searchsorted(mass, at * mass[-1])), len(wide) - 1)])
        yield value if np.isfinite(value) else None


def avoided_damage(damages: Sequence[Damage]) -> tuple[float, float]:
    """Low and high end of what the listed damages may cost a year: a range to think with, not a saving."""
    low = sum(d.cost.low * d.times_per_year.low for d in damages)
    return low, sum(d.cost.high * d.times_per_year.high for d in damages)
