"""The fill calendar: whose water is in the tank on each day, what was left of the last one included."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from brewwater.demand import WEEKDAYS, Calendar, Demand, Weekday
from brewwater.records import Finite, Name, Part

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_PHASES = 32


class Fill(Part):
    """The tank is filled with ``supply`` on these ``weekdays`` (None: every service day) from ``start`` to
    ``end`` (None: no limit). Where several match a day, the last one listed holds."""

    supply: Name
    weekdays: tuple[Weekday, ...] | None = None
    start: dt.date | None = None
    end: dt.date | None = None


class FillCalendar(Part):
    """``heel``: share of the old water left in the tank at a refill, 0 to under 1; 0 for a plumbed shop."""

    fills: Annotated[tuple[Fill, ...], Field(min_length=1)]
    heel: Annotated[Finite, Field(ge=0, lt=1)] = 0.0


@dataclass(frozen=True, slots=True)
class TankDays:
    """The tank's water by day, as a few distinct mixtures.

    shares : shape (phase, supply), volume shares, each row adds to 1
    phase_of_day : shape (day,), row of ``shares``
    names : the supplies, in the order of the supply axis
    rounding : step to which the shares were rounded
    """

    shares: FloatArray
    phase_of_day: IntArray
    names: tuple[str, ...]
    rounding: float

    @property
    def phases(self) -> int:
        """How many distinct waters there are."""
        return len(self.shares)


def filled_with(fills: Sequence[Fill], demand: Demand, names: Sequence[str]) -> IntArray:
    """Index of the supply filled on each day, shape (day,); -1 on a day without a fill. Where several fills name a day,
    the last of the list counts."""
    weekday = (demand.days.astype("datetime64[D]").astype(int) + 3) % 7
    filled = np.full(len(demand.days), -1)
    for fill in fills:
        match = demand.open.copy()
        if fill.weekdays is not None:
            match &= np.isin(weekday, [WEEKDAYS.index(w) for w in fill.weekdays])
        if fill.start is not None:
            match &= demand.days >= np.datetime64(fill.start, "D")
        if fill.end is not None:
            match &= demand.days <= np.datetime64(fill.end, "D")
        filled[match] = names.index(fill.supply)
    return filled


def tank_days(inputs: FillCalendar, demand: Demand, calendar: Calendar, *, rounding: float = 0.01) -> TankDays:
    """The mixture in the tank on each day: C = heel x C_old + (1 - heel) x C_new at every fill.

    The tank starts full of the first supply filled; a lay-up, a drained closure or a suspension empties it.
    Shares are rounded to ``rounding`` (coarser, up to 0.1, while more than 32 mixtures would remain), so that
    each distinct water is computed once.

    Parameters
    ----------
    inputs : fills and heel
    demand : gives the days and the service days
    calendar : gives the closures and suspensions
    """
    names = tuple(dict.fromkeys(fill.supply for fill in inputs.fills))
    filled = filled_with(inputs.fills, demand, names)
    emptied = np.zeros(len(filled), dtype=bool)
    for stop in (*calendar.suspensions, *(c for c in calendar.stops if c.drained or c.kind == "stored")):
        emptied[calendar.span_of(stop)] = True
    first = filled[filled >= 0]
    tank = np.eye(len(names))[first[0] if len(first) else 0]
    mixture = np.empty((len(filled), len(names)))
    left = inputs.heel
    # a recursion over fills: a few hundred steps on tiny vectors, none over draws
    for day, supply in enumerate(filled):
        if emptied[day]:
            left = 0.0
        if supply >= 0:
            tank = left * tank
            tank[supply] += 1 - left
            left = inputs.heel
        mixture[day] = tank
    for step in (rounding, 0.02, 0.05, 0.1):
        if step < rounding:
            continue
        shares, phase = np.unique(_rounded(mixture, step), axis=0, return_inverse=True)
        if len(shares) <= MOST_PHASES or step >= 0.1:
            break
    return TankDays(shares, phase.reshape(-1), names, step)


def _rounded(shares: FloatArray, step: float) -> FloatArray:
    """Shares rounded to a step, still adding to 1: the largest takes the difference."""
    out = np.round(shares / step) * step
    largest = np.argmax(out, axis=1)
    rows = np.arange(len(out))
    out[rows, largest] += 1 - out.sum(axis=1)
    return np.round(out, 10)
