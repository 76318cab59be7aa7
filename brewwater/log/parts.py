"""What the readings become: evidence in rows, flags on lines that cannot be used, diagnoses."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.changes import InService
from brewwater.demand import DAYS_PER_YEAR, Demand, DemandInput, demand, months_later
from brewwater.ensemble import Draws
from brewwater.plumbing import Branch
from brewwater.supply.tank_days import TankDays
from brewwater.treatment import Stage

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# More rows than this of one kind are merged or thinned: a long log must not make the page slow.
MOST_ROWS = 32
# Readings older than this before the start of the plan are kept, but not used.
MONTHS_BACK = 36


@dataclass(frozen=True, slots=True)
class Flag:
    """Why a line of the log is not used, or used with care. The line itself is never changed."""

    reading_id: str
    code: str
    message: str
    used: bool = False


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the readings say that the plan did not: ``causes`` with the likeliest first, and the ``next_check``
    that tells them apart."""

    code: str
    message: str
    causes: tuple[str, ...]
    next_check: str
    reading_ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Timeline:
    """Running sums of the demand's curves from before the start of the plan to its end.

    sums : shape (day + 1, term); open_days : shape (day + 1,), service days before each day
    start : index of the plan's first day
    """

    first: dt.date
    start: int
    sums: FloatArray
    open_days: IntArray

    @property
    def last(self) -> dt.date:
        """The last day."""
        return self.first + dt.timedelta(days=len(self.sums) - 2)

    def at(self, day: dt.date) -> int:
        """Index of a day, inside the timeline."""
        return (day - self.first).days

    def holds(self, day: dt.date) -> bool:
        """True for a day of the timeline."""
        return 0 <= self.at(day) < len(self.sums) - 1


def timeline(inputs: DemandInput, plan: Demand, earliest: dt.date) -> Timeline:
    """The days of the plan, and the three years before it where a reading is from before the start."""
    calendar = inputs.calendar
    curves, is_open, first = plan.curves, plan.open, calendar.start
    if earliest < first:
        start = months_later(first, -MONTHS_BACK)
        back = inputs.model_copy(
            update={"calendar": calendar.model_copy(update={"start": start, "months": MONTHS_BACK})}
        )
        days = (first - start).days
        past = demand(back, plan.branches, Draws(1))
        old = past.curves[:, :days].copy()
        old[1] -= old[0] * days / DAYS_PER_YEAR  # growth counts from the start of the plan
        curves, is_open, first = np.hstack([old, curves]), np.r_[past.open[:days], is_open], start
    sums = np.zeros((curves.shape[1] + 1, len(curves)))
    np.cumsum(curves.T, axis=0, out=sums[1:])
    return Timeline(first, (calendar.start - first).days, sums, np.r_[0, np.cumsum(is_open)])


@dataclass(frozen=True, slots=True)
class Metered:
    """Gallons between readings of one meter.

    branches : those it counts; ``sums``: of the timeline over each interval, shape (row, term)
    gal, service_days : shape (row,)
    first, last : index into the timeline
    lean : median of the factor by which its draws differ from the plan, before it is read
    """

    where: str
    branches: tuple[str, ...]
    sums: FloatArray
    gal: FloatArray
    service_days: FloatArray
    first: IntArray
    last: IntArray
    ids: tuple[str, ...]
    lean: float = 1.0


@dataclass(frozen=True, slots=True)
class Counted:
    """Drinks sold on the days they were counted, added up in months."""

    sums: FloatArray
    drinks: FloatArray
    service_days: FloatArray
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tested:
    """Tests of one analyte at one place by one method.

    place : ``source`` (the tank), ``supply`` (a supply's own tap) or ``served``; ``name``: supply or branch
    day : index of the day in the plan, shape (row,); ``phase``: whose water is in the tank
    value, sd : shape (row,), plan units; ``date`` of the last
    """

    place: str
    name: str
    analyte: str
    method: str
    day: IntArray
    phase: IntArray
    value: FloatArray
    sd: FloatArray
    date: dt.date
    ids: tuple[str, ...]


# Pressure lost over the train on one day, its readings averaged: date, psi in, psi out, ids.
Drop = tuple[dt.date, float, float, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Sorted:
    """The log, sorted: what can be used, and flags on what cannot.

    changed : days on which a cartridge was changed, by stage, in order
    drops : pressure lost over the train, by day
    tastes : taste notes that stand, as (date, note, id)
    """

    meters: tuple[Metered, ...] = ()
    counts: tuple[Counted, ...] = ()
    tests: tuple[Tested, ...] = ()
    changed: Mapping[str, tuple[dt.date, ...]] = ()  # type: ignore[assignment]  # empty mapping
    drops: tuple[Drop, ...] = ()
    tastes: tuple[tuple[dt.date, str, str], ...] = ()
    flags: tuple[Flag, ...] = ()

    @property
    def informs(self) -> bool:
        """True where anything can move the draws or the dates."""
        return bool(self.meters or self.counts or self.tests or self.changed)


def thinned(count: int, most: int) -> Sequence[int]:
    """Indices of at most ``most`` of ``count`` rows, first and last among them, evenly spread."""
    if count <= most:
        return range(count)
    return [int(i) for i in np.unique(np.linspace(0, count - 1, most).round().astype(int))]


# Where a meter or a gauge stands that counts what passes the filters.
FILTERED = ("", "served")


@dataclass(frozen=True, slots=True)
class Scene:
    """What the log is read against: the plan's days, its water by day, its train as it stands (``train_known``:
    whether the plan says so)."""

    line: Timeline
    plan: Demand
    tank: TankDays
    stages: tuple[Stage, ...]
    train_known: bool
    branches: tuple[Branch, ...]
    main_branch: str
    in_service: tuple[InService, ...]
    start: dt.date

    def behind(self, where: str) -> tuple[str, ...] | None:
        """Branches that a meter at a place counts, by name; none where no filtered branch is behind it; None where
        the place is not of this unit."""
        filtered = tuple(sorted(b.name for b in self.branches if b.filtered))
        if where in FILTERED:
            return filtered
        if where == "source":
            return tuple(sorted(b.name for b in self.branches))
        if any(b.name == where for b in self.branches):
            return (where,)
        stage = next((s for s in self.stages if s.name == where), None)
        if stage is None:
            return None
        return tuple(name for name in filtered if stage.branch in (None, name))
