"""Change dates: for each cartridge and each draw, the day it must come out, and what makes it so.

A cartridge serves while the day's use still fits what is left of it (the margin taken off once), and no
longer than its time limit; a change is made before service on its day. A lay-up, freezing and a boil-water
notice end a wet cartridge on their own date. There is no loop over days or draws: as the load is a sum of few
curves (``capacity.Wear``), each change is found for all draws at once by bisection on their running sums.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.changes.policy import MARGIN, Standstill
from brewwater.changes.wear import CURRENCIES, Currency, Governs, IntArray, Ledger, Wear, WearLimits, product
from brewwater.demand import DayArray, months_later
from brewwater.errors import InputError
from brewwater.units import GAL_L, plain

FloatArray = NDArray[np.float64]

GOVERNS: tuple[Governs, ...] = (
    "volume",
    "exchange",
    "chlorine",
    "time",
    "pressure",
    "lay-up",
    "freeze",
    "reading",
    "notice",
)
_NAME: dict[Currency, Governs] = {
    "volume_L": "volume",
    "exchange_eq": "exchange",
    "chlorine_g": "chlorine",
    "consumed_g": "volume",
}
TIME = GOVERNS.index("time")
_NEVER = 2**40


@dataclass(frozen=True, slots=True)
class Changes:
    """Every change of one cartridge's place, per draw.

    day : shape (change, draw): index of the day the cartridge comes out; ``len(days)`` past the horizon
    back : shape (change, draw): the day its successor goes in (later than ``day`` over a lay-up)
    governs : shape (change, draw): index into ``GOVERNS``
    left : shape (change, draw): share of the full capacity not used on that day, 0 to 1
    first_day : the day the first cartridge of the plan goes in
    first_served_gal : shape (draw,): US gallons served by the first cartridge; NaN past the horizon
    used_up : shape (draw,): cartridges used up in the first year, the last one in part
    """

    days: DayArray
    day: IntArray
    back: IntArray
    governs: IntArray
    left: FloatArray
    first_day: int
    first_served_gal: FloatArray
    used_up: FloatArray

    def bought(self, first: int = 0, last: int | None = None) -> FloatArray:
        """Whole cartridges that go in over the days ``first`` up to ``last``, the first set not counted;
        shape (draw,)."""
        end = len(self.days) if last is None else min(last, len(self.days))
        return np.asarray(((self.back >= first) & (self.back < end)).sum(axis=0), dtype=np.float64)

    def year_days(self, year: int) -> tuple[int, int]:
        """First day of the plan's ``year``-th twelve months (1: the first), and the first day after them.

        Raises
        ------
        InputError : the year is not wholly inside the plan
        """
        start = self.days[0].astype(dt.date)
        first, last = ((months_later(start, 12 * y) - start).days for y in (year - 1, year))
        if year < 1 or last > len(self.days):
            limit = f"the plan has {len(self.days)} days"
            raise InputError("year", year, limit, "Ask for a year inside the plan.")
        return first, last

    def dates(self, weights: FloatArray) -> list[tuple[dt.date | None, dt.date | None, dt.date | None]]:
        """Early, expected and late date (10th, 50th and 90th percentile) of each change.

        None past the horizon; changes that no percentile brings inside it are left out.
        """
        found = [quantile_days(row, weights) for row in self.day]
        return [
            (self._date(early), self._date(expected), self._date(late))
            for early, expected, late in found
            if early < len(self.days)
        ]

    def governed_by(self, weights: FloatArray) -> Governs:
        """What most often governs the first change."""
        row = np.broadcast_to(self.governs[0], weights.shape)
        return GOVERNS[int(np.argmax(np.bincount(row, weights, minlength=len(GOVERNS))))]

    def _date(self, index: int) -> dt.date | None:
        return self.days[index].astype(dt.date) if index < len(self.days) else None


def quantile_days(row: IntArray, weights: FloatArray, at: Sequence[float] = (0.1, 0.5, 0.9)) -> list[int]:
    """Weighted quantiles of whole days, each a day that a draw gives (no interpolation)."""
    if len(row) == 1:
        return [int(row[0])] * len(at)
    order = np.argsort(row)
    mass = np.cumsum(weights[order])
    picks = np.searchsorted(mass, np.asarray(at) * mass[-1] * (1 - 1e-12))
    return [int(x) for x in row[order][np.minimum(picks, len(row) - 1)]]


def changes(
    on: Wear,
    capacity: Callable[[int], WearLimits],
    *,
    margin: float = MARGIN,
    stops: Sequence[Standstill] = (),
    moves: IntArray | None = None,
    in_service: tuple[float, FloatArray] | None = None,
    made: Sequence[int] = (),
) -> Changes:
    """Every change over the plan, in every draw.

    Parameters
    ----------
    on : the load on the cartridge
    capacity : the drawn capacity of the cartridge with a number (0: the first)
    margin : share of the capacity planned with, over 0 to 1, applied here and nowhere else
    stops : from ``stops_of``; none for a stage that is kept dry
    moves : from ``moves_of``; None: changes are made on the day they fall due
    in_service : age in days and used share (shape (draw,) or (1,)) of the cartridge in place at the start;
        None: a new one on the first service day
    made : days, in order, on which the first changes were made, as the log has it; the forecast goes on from
        the last of them

    Returns
    -------
    Changes : the time limit counts calendar days, in a lay-up too

    Raises
    ------
    InputError : the cartridge in place has a negative age
    """
    book = on.ledger
    horizon = len(book.days)
    calendar = StopDays(stops, horizon)
    shift = np.arange(horizon) if moves is None else moves
    age, used = in_service or (0.0, np.zeros(1))
    if age < 0:
        raise InputError(
            "installed",
            f"{plain(-age, 6)} days after the start",
            "it went in before the plan starts",
            "Correct the date, or move the start of the plan.",
        )
    open_from = next_open(book)
    first = int(open_from[0]) if in_service is None else 0
    bears = capacity(0)
    on = spread(on, bears, used)
    installed = np.full(on.n, first, dtype=np.int64)
    rows: list[tuple[IntArray, IntArray, IntArray, FloatArray]] = []
    served, used_up = np.full(on.n, np.nan), np.zeros(on.n)
    while True:
        before = on.sums_before(installed)
        if len(rows) < len(made):
            out = back = np.full(on.n, made[len(rows)], dtype=np.int64)
            why = np.full(on.n, GOVERNS.index("reading"))
        else:
            due, why = end_of_life(on, bears, installed, before, margin, age, used)
            moved = np.where(due < horizon, shift[np.minimum(due, horizon - 1)], due)
            out = np.where(moved > installed, moved, due)
            out, back, why = calendar.impose(
                installed, out, open_from[np.minimum(out, horizon)], why, in_place=bool(not rows and in_service)
            )
        load = on.sums_before(out) - before
        rows.append((out, back, why, np.maximum(1 - share_used(on, bears, load, used), 0)))
        if len(rows) == 1:
            served = np.where(out < horizon, on.served(load) / GAL_L, np.nan)
        used_up += used_up_in_year(on, bears, installed, out, margin, age, used)
        if np.all(back >= horizon):
            break
        installed, age, used = back, 0.0, np.zeros(1)
        bears = capacity(len(rows))
    day, back, why, left = (np.array(x) for x in zip(*rows, strict=True))
    return Changes(book.days, day, back, why, left, first, served, used_up)


class StopDays:
    """Stops as arrays, with an end mark that no day reaches."""

    def __init__(self, stops: Sequence[Standstill], horizon: int) -> None:
        self.out = np.array([s.out for s in stops] + [_NEVER])
        self.back = np.array([s.back for s in stops] + [_NEVER])
        self.governs = np.array([GOVERNS.index(s.governs) for s in stops] + [TIME])
        self.horizon = horizon

    def impose(
        self, installed: IntArray, out: IntArray, back: IntArray, why: IntArray, in_place: bool
    ) -> tuple[IntArray, IntArray, IntArray]:
        """A stop that comes no later than a change takes its place; a cartridge already ``in_place`` at the
        start also meets a stop on its first day."""
        which = np.searchsorted(self.out, installed, side="left" if in_place else "right")
        stopped = self.out[which] <= out
        return (
            np.minimum(np.where(stopped, self.out[which], out), self.horizon),
            np.minimum(np.where(stopped, self.back[which], back), self.horizon),
            np.where(stopped, self.governs[which], why),
        )


def next_open(book: Ledger) -> IntArray:
    """For each day, the one past the horizon included, the first service day on or after it."""
    horizon = len(book.days)
    index = np.where(book.open, np.arange(horizon), horizon)
    return np.append(np.minimum.accumulate(index[::-1])[::-1], horizon)


def spread(on: Wear, capacity: WearLimits, used: FloatArray) -> Wear:
    """The load with as many draws as the capacity or the share used at the start has."""
    n = max(on.n, np.size(used), np.size(capacity.days), *(np.size(getattr(capacity, c)) for c in CURRENCIES))
    if n == on.n:
        return on

    def wide(rate: FloatArray) -> FloatArray:
        return np.ascontiguousarray(np.broadcast_to(rate, (n, rate.shape[1])))

    return Wear(on.ledger, {c: wide(r) for c, r in on.rates.items()}, wide(on.served_L))


def end_of_life(
    on: Wear, capacity: WearLimits, installed: IntArray, before: FloatArray, margin: float, age: float, used: FloatArray
) -> tuple[IntArray, IntArray]:
    """First day a cartridge cannot serve in full any more, and what governs that, before any policy.

    Parameters
    ----------
    installed, before : the day it went in, shape (draw,), and ``on.sums_before`` it
    margin : share of the capacity counted on
    age, used : days in place and share of the capacity used before ``installed``

    Returns
    -------
    day, later than ``installed``, ``len(days)`` or more past the horizon; index into ``GOVERNS``
    """
    horizon = len(on.ledger.days)
    limit = np.floor(np.minimum(np.asarray(capacity.days, dtype=np.float64), 1e8) - age)
    due = np.maximum(installed + limit.astype(np.int64), installed + 1)
    governs = np.full(on.n, TIME)
    timed = limit < 1e7
    furthest = np.zeros(on.n)
    for currency, rate in on.rates.items():
        bears = np.asarray(getattr(capacity, currency), dtype=np.float64)
        if not np.isfinite(bears).any():
            continue
        name = GOVERNS.index(_NAME[currency])
        target = on.use(currency, before) + bears * np.maximum(margin - used, 0)
        day = _first_over(on.ledger.sums, rate, installed, np.minimum(due, horizon), target)
        sooner = day < np.minimum(due, horizon)
        due, governs = np.where(sooner, day, due), np.where(sooner, name, governs)
        if not timed.all():  # past the horizon, name the currency that is furthest on
            share = _part(on.use(currency, on.ledger.sums[-1] - before), bears)
            ahead = ~timed & (due >= horizon) & (share > furthest)
            governs, furthest = np.where(ahead, name, governs), np.where(ahead, share, furthest)
    return due, governs


def _first_over(
    sums: FloatArray, rate: FloatArray, installed: IntArray, latest: IntArray, target: FloatArray
) -> IntArray:
    """First day, after ``installed``, whose use takes the running sum over the target; ``latest`` (or the day
    after ``installed``) where none before it does. Bisection for all draws at once."""
    low, high = installed + 1, np.maximum(latest, installed + 1)
    target = target * (1 + 1e-12) + 1e-12  # a use that fits exactly still fits
    for _ in range(int((high - low).max()).bit_length()):
        middle = (low + high) // 2
        over = product(sums.take(np.minimum(middle + 1, len(sums) - 1), axis=0), rate) > target
        high = np.where(over, middle, high)
        low = np.where(over, low, np.minimum(middle + 1, high))
    return high


def _part(use: FloatArray, bears: FloatArray) -> FloatArray:
    """Use over capacity; any use of a capacity of nothing is without end, none of it is none."""
    none = bears <= 0
    if not none.any():
        return use / bears
    return np.where(none, np.where(use > 0, np.inf, 0.0), use / np.where(none, 1.0, bears))


def share_used(on: Wear, capacity: WearLimits, load: FloatArray, used: FloatArray) -> FloatArray:
    """Share of the full capacity used by a load (sums) in the currency that is furthest on, shape (draw,)."""
    share = np.zeros(on.n)
    for currency in on.rates:
        bears = np.asarray(getattr(capacity, currency), dtype=np.float64)
        if np.isfinite(bears).any():
            share = np.maximum(share, _part(on.use(currency, load), bears))
    return np.asarray(share + used, dtype=np.float64)


def used_up_in_year(
    on: Wear, capacity: WearLimits, installed: IntArray, out: IntArray, margin: float, age: float, used: FloatArray
) -> FloatArray:
    """Cartridges used up in the first twelve months: 1 for one that came out, a share for one in place."""
    year = on.ledger.year
    life = np.asarray(capacity.days, dtype=np.float64)
    at_start = np.minimum(np.maximum(used / margin, age / life), 1.0)
    at_end = np.ones(on.n)
    if np.any((installed < year) & (out >= year)):
        until = np.full_like(installed, year)
        load = on.sums_before(until) - on.sums_before(np.minimum(installed, until))
        part = np.maximum(share_used(on, capacity, load, used) / margin, (until - installed + age) / life)
        at_end = np.where(out < year, 1.0, np.minimum(part, 1.0))
    return np.asarray(np.where(installed < year, at_end - at_start, 0.0), dtype=np.float64)
