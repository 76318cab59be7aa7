"""The schedule: one date for each change, chosen by a policy, each next cartridge counted from that date.

``changes`` lets every draw follow its own dates; here all draws share the date on the calendar, so the risk
of running over and what is thrown away can be told for it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from brewwater.changes.forecast import (
    GOVERNS,
    StopDays,
    end_of_life,
    next_open,
    quantile_days,
    share_used,
    spread,
)
from brewwater.changes.policy import Policy, Stop, moves_of
from brewwater.changes.wear import Capacity, Governs, IntArray, Wear
from brewwater.demand import Calendar, DayArray
from brewwater.ensemble import percentiles, share

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a cartridge stands: what ``changes`` takes for it, and a name."""

    name: str
    wear: Wear
    capacity: Callable[[int], Capacity]
    stops: Sequence[Stop] = ()
    in_service: tuple[float, FloatArray] | None = None
    made: Sequence[int] = ()


@dataclass(frozen=True, slots=True)
class Planned:
    """One change on the calendar.

    date : the day chosen; back : the day the successor goes in
    early, expected, late : when it falls due with the margin (10th, 50th, 90th percentile), counted from the
        date chosen for the change before; the date itself for a lay-up; None past the horizon
    governs : what most often makes it due; ``because``: what moved the date, in words, or empty
    left : share of the full capacity thrown away on that date, 10th, 50th and 90th percentile
    over_risk : probability that the full capacity or the time limit runs out before that date
    """

    place: str
    date: dt.date
    back: dt.date | None
    early: dt.date | None
    expected: dt.date | None
    late: dt.date | None
    governs: Governs
    because: str
    left: tuple[float, float, float]
    over_risk: float


@dataclass(frozen=True, slots=True)
class _Next:
    day: int
    back: int
    due: IntArray
    full: IntArray
    governs: Governs
    because: str
    fixed: bool


class _Track:
    """One place on its way through the plan."""

    def __init__(self, place: Place, policy: Policy, moves: IntArray, weights: FloatArray) -> None:
        self.place, self.policy, self.moves, self.weights = place, policy, moves, weights
        book = place.wear.ledger
        self.horizon = len(book.days)
        self.open_from = next_open(book)
        self.stops = StopDays(place.stops, self.horizon)
        self.age, self.used = place.in_service or (0.0, np.zeros(1))
        self.installed = 0 if place.in_service else int(self.open_from[0])
        self.number = len(place.made)
        if place.made:  # what the log has is past; the plan goes on from the last change
            self.installed, self.age, self.used = place.made[-1], 0.0, np.zeros(1)
        self.find()

    def find(self) -> None:
        """Work out the next change from the day the cartridge went in."""
        self.bears = self.place.capacity(self.number)
        self.on = spread(self.place.wear, self.bears, self.used)
        start = np.full(self.on.n, self.installed, dtype=np.int64)
        self.before = self.on.sums_before(start)
        ends = [
            end_of_life(self.on, self.bears, start, self.before, margin, self.age, self.used)
            for margin in (self.policy.margin, 1.0)
        ]
        (due, why), (full, _) = ends
        if self.policy.risk is None:
            chosen = quantile_days(due, self.weights, [0.5])[0]
        else:
            chosen = quantile_days(full, self.weights, [self.policy.risk])[0]
        governs = GOVERNS[int(np.argmax(np.bincount(np.broadcast_to(why, self.weights.shape), self.weights)))]
        day, because = chosen, ""
        if day < self.horizon and self.installed < self.moves[day] < day:
            day, because = int(self.moves[day]), "moved to the day before an event or to a service visit"
        back = int(self.open_from[min(day, self.horizon)])
        out, back_in, imposed = self.stops.impose(
            np.array([self.installed]),
            np.array([day]),
            np.array([back]),
            np.array([-1]),
            in_place=self.number == 0 and self.place.in_service is not None,
        )
        stopped = int(imposed[0]) >= 0
        if stopped:
            governs, because = GOVERNS[int(imposed[0])], f"ended by {GOVERNS[int(imposed[0])]}"
        self.next = _Next(int(out[0]), int(back_in[0]), due, full, governs, because, stopped)

    def change(self, day: int, with_other: bool) -> Planned:
        """Make the next change on ``day`` and go on to the one after."""
        now = self.next
        if with_other and day < now.day:
            because = "made with another to save a visit"
            now = replace(now, day=day, back=int(self.open_from[day]), because=because)
        until = np.full(self.on.n, now.day, dtype=np.int64)
        load = self.on.sums_before(until) - self.before
        used = share_used(self.on, self.bears, load, self.used)
        low, middle, high = percentiles(np.maximum(1 - used, 0), self.weights)
        days = self.on.ledger.days
        spread_of = [now.day] * 3 if now.fixed else quantile_days(now.due, self.weights)
        early, expected, late = (self._date(days, d) for d in spread_of)
        made = Planned(
            self.place.name,
            days[now.day].astype(dt.date),
            self._date(days, now.back),
            early,
            expected,
            late,
            now.governs,
            now.because,
            (float(low), float(middle), float(high)),
            share(now.full < now.day, self.weights),
        )
        self.installed, self.number, self.age, self.used = now.back, self.number + 1, 0.0, np.zeros(1)
        if self.installed < self.horizon:
            self.find()
        return made

    def _date(self, days: DayArray, index: int) -> dt.date | None:
        return days[index].astype(dt.date) if index < self.horizon else None


def schedule(places: Sequence[Place], calendar: Calendar, policy: Policy, weights: FloatArray) -> tuple[Planned, ...]:
    """The dates of every change of every cartridge, in order of time.

    Parameters
    ----------
    places : the cartridges
    calendar : gives the events that changes are made before
    policy : margin or risk, visits, grouping
    weights : of the draws, shape (draw,)

    Returns
    -------
    every change inside the plan; those grouped share a date
    """
    moves = moves_of(calendar, policy)
    tracks = [_Track(place, policy, moves, weights) for place in places]
    made: list[Planned] = []
    while True:
        running = [t for t in tracks if t.installed < t.horizon and t.next.day < t.horizon]
        if not running:
            return tuple(made)
        day = min(t.next.day for t in running)
        for track in running:
            due = track.next
            soon = track.installed < day and due.day <= day + policy.group_days and not due.fixed
            if due.day == day or soon:
                made.append(track.change(day, with_other=True))
