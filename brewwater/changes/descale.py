"""Descale dates: the day on which the scale laid down in a machine reaches what it may."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.changes.forecast import Changes, changes
from brewwater.changes.wear import Ledger, wear
from brewwater.demand import Demand
from brewwater.treatment import Capacity, Load

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Descale:
    """One descale of a machine by the scale laid down: the expected day and its range (10th to 90th percentile), None
    past the plan."""

    machine: str
    number: int
    date: dt.date
    early: dt.date | None
    late: dt.date | None


def descales(machine: str, found: Changes, weights: FloatArray) -> tuple[Descale, ...]:
    """Every descale of one machine whose expected day is inside the plan; ``found`` from ``descale_dates``."""
    return tuple(
        Descale(machine, n, day, early, late)
        for n, (early, day, late) in enumerate(found.dates(weights), start=1)
        if day is not None
    )


def descale_dates(
    book: Ledger, demand: Demand, scale_g_per_L: Mapping[str, FloatArray], scale_g_per_descale: FloatArray
) -> Changes:
    """Every descale of one machine, as ``Changes`` (``day``: descale before service on that day).

    Parameters
    ----------
    book, demand : the days and the litres
    scale_g_per_L : by branch of the machine, g of calcite from one litre served in each water, not negative,
        shape broadcastable to (phase, draw)
    scale_g_per_descale : g laid down at which it is descaled, shape (draw,) or (1,), above 0

    No margin and no time limit: how often a manual asks for it regardless is the user's to add.
    """
    laid = {branch: Load(consumed_g=np.atleast_2d(grams)) for branch, grams in scale_g_per_L.items()}
    bears = Capacity(consumed_g=scale_g_per_descale)
    return changes(wear(book, demand, laid), lambda number: bears, margin=1.0)
