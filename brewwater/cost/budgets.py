"""The two purses of an installation, held apart."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from brewwater.cost.coins import decimals, rounded
from brewwater.cost.inputs import CostInput
from brewwater.ensemble import Draws, mean

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Budget:
    """One purse at installation: ``spent`` is the mean, ``over`` the share of the draws above the limit; None
    where there is no limit or nothing is known to be spent."""

    name: str
    limit: Decimal | None
    spent: Decimal | None
    over: float | None


def budgets(inputs: CostInput, first_set: FloatArray, draws: Draws, weights: FloatArray) -> tuple[Budget, Budget]:
    """The two purses of an installation, held apart: plumbing, and filtration (first set and heads).

    Parameters
    ----------
    first_set : from ``Cost.first_set_draws``, shape (draw,) or (1,)
    """
    plumbing = None if inputs.plumbing_cost is None else draws.span("plumbing cost", inputs.plumbing_cost)
    return (
        _budget("Plumbing", inputs.plumbing_budget, plumbing, inputs.currency, weights),
        _budget("Filtration", inputs.filtration_budget, first_set, inputs.currency, weights),
    )


def _budget(name: str, limit: float | None, spent: FloatArray | None, currency: str, weights: FloatArray) -> Budget:
    places = decimals(currency)
    purse = None if limit is None else rounded([limit], places)[0]
    if spent is None:
        return Budget(name, purse, None, None)
    over = None if limit is None else float(mean((spent > limit).astype(np.float64), weights))
    return Budget(name, purse, rounded([float(mean(spent, weights))], places)[0], over)
