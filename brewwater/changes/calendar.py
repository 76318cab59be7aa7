"""The calendar: one date for each change, the only source of dates there is.

Margin or risk, visits, grouping, events, the log, the learned bed, cartridges in service, lay-ups and notices all go
in here, once; page, sheet, calendar file, JSON and money read what comes out. Every draw shares the date on the
calendar and each next cartridge is counted from it, so the risk of running over and what is thrown away can be told.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from brewwater.changes.descale import Descale
from brewwater.changes.forecast import (
    GOVERNS,
    StopDays,
    end_of_life,
    next_open,
    quantile_days,
    share_used,
    spread,
    used_up_in_year,
)
from brewwater.changes.policy import Policy, Standstill, moves_of
from brewwater.changes.wear import Governs, IntArray, Wear, WearLimits
from brewwater.demand import Calendar, DayArray, months_later
from brewwater.ensemble import mean, percentiles, share
from brewwater.errors import InputError
from brewwater.units import GAL_L, plain

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]

# A new cartridge that can go in within so many days of the old one coming out goes in with it.
WEEK = dt.timedelta(days=7)
TOGETHER = "made with another to save a visit"
ASSUMED = "reckoned from the usual range of its class, as its capacity is not known"
READ = "due since a reading past its limit: test again, then change"
MOVED = "moved to the day before an event or to a service visit"


@dataclass(frozen=True, slots=True)
class Slot:
    """Where a cartridge stands, and all that its dates follow from.

    wear : the load on it; ``capacity`` of the cartridge with a number (0: the first), margin not taken off
    stops : from ``stops_of``; none for what is kept dry
    in_service : age in days and used share (shape (draw,) or (1,)) of the cartridge in place at the start
    made : days, in order, on which changes were made, as the log has it
    assumed : its capacity is not known, and the usual range of its class stands in: told with every date
    due_since : day since which a reading past its limit asks for the next change, before the start negative;
        None where none stands
    """

    name: str
    wear: Wear
    capacity: Callable[[int], WearLimits]
    stops: Sequence[Standstill] = ()
    in_service: tuple[float, FloatArray] | None = None
    made: Sequence[int] = ()
    assumed: bool = False
    due_since: int | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """One change to come.

    number : 1 for the first cartridge of the plan that comes out, changes by the log counted
    date : the cartridge comes out
    early, late : when it falls due with the margin, 10th and 90th percentile, counted from the calendar's date for
        the change before, and ``date`` where that is sooner or later; the date itself for a lay-up, a notice or a
        reading; None past the plan
    fitted : the next one goes in, after a lay-up later than ``date``; None past the plan
    order_by : in time for the early date, or for the end of a lay-up; None where nothing is fitted
    governs : what most often makes it due; ``because``: what moved the date, in words, or empty
    left : share of the full capacity thrown away on that date, 10th, 50th and 90th percentile; ``left_mean``
    over_risk : probability that the full capacity or the time limit runs out before that date
    """

    cartridge: str
    number: int
    date: dt.date
    early: dt.date | None
    late: dt.date | None
    fitted: dt.date | None
    order_by: dt.date | None
    governs: Governs
    because: str
    left: tuple[float, float, float]
    left_mean: float
    over_risk: float


@dataclass(frozen=True, slots=True)
class Life:
    """The cartridge of a slot that is changed next, and what its slot uses up in the first year.

    gal : US gallons served by it before it falls due, shape (draw,); NaN past the plan
    days : from the day it went in, or the start of the plan, until it falls due, 10th, 50th and 90th percentile;
        None past the plan
    governs : what most often makes it due, inside the plan or after
    used_up : cartridges used up in the first twelve months, the last one in part, shape (draw,)
    earliest : 10th percentile of the day on which the first change that the calendar does not hold any more falls
        due; None where that is past the plan too
    """

    gal: FloatArray
    days: tuple[int | None, int | None, int | None]
    governs: Governs
    used_up: FloatArray
    earliest: dt.date | None = None


@dataclass(frozen=True, slots=True)
class ChangeCalendar:
    """Every date of a plan.

    start, end : the first day, and the day after the last; ``year_end`` the day twelve months after the start
    dues : every change to come inside the plan, in order of time; those grouped share a date
    made : changes made by the log inside the plan, by cartridge
    lives : by cartridge
    in_place : age in days and used share of the cartridge in place at the start, by cartridge
    descales : every descale inside the plan, in order of time
    """

    start: dt.date
    end: dt.date
    year_end: dt.date
    dues: tuple[Due, ...] = ()
    made: Mapping[str, tuple[dt.date, ...]] = field(default_factory=dict)
    lives: Mapping[str, Life] = field(default_factory=dict)
    in_place: Mapping[str, tuple[float, FloatArray]] = field(default_factory=dict)
    descales: tuple[Descale, ...] = ()

    def of(self, cartridge: str) -> tuple[Due, ...]:
        """The changes to come of one cartridge, in order of time."""
        return tuple(d for d in self.dues if d.cartridge == cartridge)

    def coming(self, today: dt.date) -> tuple[Due, ...]:
        """The changes to come as they are on a day, in order of time: the first of each cartridge even where its date
        has passed (nobody wrote it down, so it is overdue), and the others from that day on."""
        seen: set[str] = set()
        found = []
        for due in self.dues:
            if due.date >= today or due.cartridge not in seen:
                found.append(due)
            seen.add(due.cartridge)
        return tuple(found)

    def bought(self, cartridge: str) -> tuple[tuple[dt.date, float], ...]:
        """Cartridges that go in during the first twelve months, the first set not counted, those by the log counted:
        the day, and the mean share of its forerunner that was thrown away (0 to 1; not known by the log: 0)."""
        done = [(day, 0.0) for day in self.made.get(cartridge, ()) if day < self.year_end]
        coming = [(d.fitted, d.left_mean) for d in self.of(cartridge) if d.fitted and d.fitted < self.year_end]
        return (*done, *coming)

    @property
    def visits(self) -> tuple[dt.date, ...]:
        """Days of the first twelve months on which at least one cartridge goes in."""
        return tuple(sorted({day for name in self.lives for day, _ in self.bought(name)}))

    def frame(self) -> pd.DataFrame:
        """A row a change, in order of time; dates as ``datetime64``, none (``NaT``) past the plan."""
        import pandas as pd

        rows = [
            {
                "cartridge": d.cartridge,
                "change": d.number,
                "early": d.early,
                "expected": d.date,
                "late": d.late,
                "next_fitted": d.fitted,
                "order_by": d.order_by,
                "governed_by": d.governs,
                "because": d.because,
                "capacity_left_percent": 100 * d.left[1],
                "risk_of_running_over_percent": 100 * d.over_risk,
            }
            for d in self.dues
        ]
        columns = [
            *("cartridge", "change", "early", "expected", "late", "next_fitted", "order_by", "governed_by", "because"),
            *("capacity_left_percent", "risk_of_running_over_percent"),
        ]
        found = pd.DataFrame(rows, columns=columns)
        for column in ("early", "expected", "late", "next_fitted", "order_by"):
            found[column] = pd.to_datetime(found[column])
        return found


@dataclass(frozen=True, slots=True)
class _Next:
    day: int
    back: int
    due: IntArray
    governs: Governs
    because: str
    fixed: bool


class _Track:
    """One slot on its way through the plan."""

    def __init__(self, slot: Slot, policy: Policy, moves: IntArray, weights: FloatArray) -> None:
        self.slot, self.policy, self.moves, self.weights = slot, policy, moves, weights
        book = slot.wear.ledger
        self.days: DayArray = book.days
        self.horizon = len(book.days)
        self.open_from = next_open(book)
        self.stops = StopDays(slot.stops, self.horizon)
        self.age, self.used = slot.in_service or (0.0, np.zeros(1))
        if self.age < 0:
            raise InputError(
                "installed",
                f"{plain(-self.age, 6)} days after the start",
                "it went in before the plan starts",
                "Correct the date, or move the start of the plan.",
            )
        self.installed = 0 if slot.in_service else int(self.open_from[0])
        self.number = 0
        self.used_up = np.zeros(1)
        for day in slot.made:  # what the log has is past; the plan goes on from the last change
            self._place()
            self._count(day)
            self._put_in(day)
        self.since, self.asked = slot.due_since, cast(int | None, None)
        self._find()
        self.first = self._life()

    def _put_in(self, day: int) -> None:
        self.installed, self.number, self.age, self.used = day, self.number + 1, 0.0, np.zeros(1)

    def _place(self) -> None:
        """The cartridge that is in now."""
        self.bears = self.slot.capacity(self.number)
        self.on = spread(self.slot.wear, self.bears, self.used)
        self.start = np.full(self.on.n, self.installed, dtype=np.int64)
        self.before = self.on.sums_before(self.start)

    def _count(self, day: int) -> None:
        out = np.full(self.on.n, day, dtype=np.int64)
        args = (self.start, out, self.policy.margin, self.age, self.used)
        self.used_up = self.used_up + used_up_in_year(self.on, self.bears, *args)

    def _find(self) -> None:
        """Work out the next change from the day the cartridge went in."""
        self._place()
        due, why = end_of_life(self.on, self.bears, self.start, self.before, self.policy.margin, self.age, self.used)
        chosen = quantile_days(due, self.weights, [0.5])[0]
        if self.policy.risk is not None:
            full, _ = end_of_life(self.on, self.bears, self.start, self.before, 1.0, self.age, self.used)
            chosen = quantile_days(full, self.weights, [self.policy.risk])[0]
        governs = GOVERNS[int(np.argmax(np.bincount(np.broadcast_to(why, self.weights.shape), self.weights)))]
        day, because = chosen, ""
        if day < self.horizon and self.installed < self.moves[day] < day:
            day, because = int(self.moves[day]), MOVED
        back = int(self.open_from[min(day, self.horizon)])
        fixed = False
        asked = None if self.since is None else min(max(self.since, self.installed), self.horizon)
        stop = self._stop(day if asked is None else asked, back)
        if stop is not None:
            day, back, governs, fixed = *stop[:2], stop[2], True
            because = f"ended by {governs}"
        elif asked is not None:
            # what was read then was read of this cartridge: it was still in, whatever its forecast says by now
            day = back = asked
            governs, because, fixed, self.asked = "reading", READ, True, self.since
            self.since = None
        self.next = _Next(day, back, due, governs, because, fixed)

    def _stop(self, day: int, back: int) -> tuple[int, int, Governs] | None:
        """Day out, day back and kind of a lay-up, freeze or notice that comes no later than ``day``."""
        went_in, out, new, none = (np.array([x]) for x in (self.installed, day, back, -1))
        in_place = self.number == 0 and self.slot.in_service is not None
        ends, goes_in, imposed = self.stops.impose(went_in, out, new, none, in_place)
        return None if imposed[0] < 0 else (int(ends[0]), int(goes_in[0]), GOVERNS[int(imposed[0])])

    def _life(self) -> Life:
        """What becomes of the cartridge that is in now."""
        at = self.next
        out = np.full(self.on.n, at.day, dtype=np.int64) if at.fixed else at.due
        if not at.fixed:
            in_place = self.number == 0 and self.slot.in_service is not None
            out, _, _ = self.stops.impose(self.start, at.due, at.due, at.due, in_place=in_place)
        out = np.minimum(out, self.horizon)
        gal = self.on.served(self.on.sums_before(out) - self.before) / GAL_L
        days = [None if d >= self.horizon else d - self.installed for d in quantile_days(out, self.weights)]
        return Life(np.where(out < self.horizon, gal, np.nan), (days[0], days[1], days[2]), at.governs, np.zeros(1))

    def change(self, day: int) -> Due:
        """Make the next change on ``day``, that day or sooner, and go on to the one after."""
        now = self.next
        if day < now.day:
            now = replace(now, day=day, back=int(self.open_from[day]), because=TOGETHER)
        load = self.on.sums_before(np.full(self.on.n, now.day, dtype=np.int64)) - self.before
        used = share_used(self.on, self.bears, load, self.used)
        over = (used > 1 + 1e-9) | (self.installed + np.floor(np.asarray(self.bears.days) - self.age) < now.day)
        left = np.maximum(1 - used, 0)
        low, middle, high = percentiles(left, self.weights)
        early, late = (now.day, now.day) if now.fixed else quantile_days(now.due, self.weights, [0.1, 0.9])
        out = self._date(now.day)
        assert out is not None
        back = self._date(now.back)
        fitted = out if back is not None and back - out <= WEEK else back
        soon, late_on = self._date(min(early, now.day)), self._date(max(late, now.day))
        if self.asked is not None and self.asked < now.day:  # a reading before the plan: its own day
            out = soon = fitted = out - dt.timedelta(days=now.day - self.asked)
        made = Due(
            cartridge=self.slot.name,
            number=self.number + 1,
            date=out,
            early=soon,
            late=out if now.fixed else late_on,
            fitted=fitted,
            order_by=self._order_by(out, soon, fitted),
            governs=now.governs,
            because="; ".join(x for x in (now.because, ASSUMED if self.slot.assumed and not now.fixed else "") if x),
            left=(float(low), float(middle), float(high)),
            left_mean=float(mean(left, self.weights)),
            over_risk=share(over, self.weights),
        )
        self._count(now.day)
        self._put_in(now.back)
        self.asked = None
        if self.installed < self.horizon:
            self._find()
        return made

    def _order_by(self, out: dt.date, early: dt.date | None, fitted: dt.date | None) -> dt.date | None:
        """In time for the early date; after a lay-up, for the day the new one goes in."""
        if fitted is None:
            return None
        return self.policy.order_by(min(out, early or out) if fitted == out else fitted)

    def ended(self) -> Life:
        """The first life, with what the whole plan used up and when the calendar might still be added to."""
        earliest = None
        if self.installed < self.horizon:
            self._count(self.horizon)
            earliest = self._date(quantile_days(self.next.due, self.weights, [0.1])[0])
        return replace(self.first, used_up=np.broadcast_to(self.used_up, self.weights.shape), earliest=earliest)

    def _date(self, index: int) -> dt.date | None:
        return self.days[index].astype(dt.date) if index < self.horizon else None


def change_calendar(
    slots: Sequence[Slot],
    calendar: Calendar,
    policy: Policy,
    weights: FloatArray,
    *,
    moves: IntArray | None = None,
) -> ChangeCalendar:
    """The dates of every change of every cartridge.

    Parameters
    ----------
    slots : the cartridges, each with its own name
    calendar : start, end, and the events that changes are made before
    policy : margin or risk, visits, grouping. Grouping is left out where it would take more visits than it saves,
        in the first twelve months or in the whole plan
    weights : of the draws, shape (draw,)
    moves : ``moves_of`` the calendar and the policy, where they are at hand

    Raises
    ------
    InputError : a cartridge in place has a negative age
    """
    moved = moves_of(calendar, policy) if moves is None else moves
    alone = policy.model_copy(update={"group_days": 0})
    apart = joined([_walk([slot], calendar, alone, weights, moved) for slot in slots], calendar)
    return grouped(slots, calendar, policy, weights, moved, apart) if policy.group_days else apart


def grouped(
    slots: Sequence[Slot],
    calendar: Calendar,
    policy: Policy,
    weights: FloatArray,
    moves: IntArray,
    apart: ChangeCalendar,
) -> ChangeCalendar:
    """``apart``, the same slots each on its own, with the policy's grouping; or itself where that saves no visit."""
    together = _walk(slots, calendar, policy, weights, moves)
    fewer = all(few <= many for few, many in zip(_trips(together), _trips(apart), strict=True))
    return together if fewer else apart


def joined(parts: Sequence[ChangeCalendar], calendar: Calendar) -> ChangeCalendar:
    """Calendars of different cartridges as one."""
    return ChangeCalendar(
        start=calendar.start,
        end=calendar.end,
        year_end=months_later(calendar.start, 12),
        dues=tuple(sorted((d for p in parts for d in p.dues), key=lambda d: (d.date, d.cartridge))),
        made={name: days for p in parts for name, days in p.made.items()},
        lives={name: life for p in parts for name, life in p.lives.items()},
        in_place={name: place for p in parts for name, place in p.in_place.items()},
    )


def _trips(found: ChangeCalendar) -> tuple[int, int]:
    """Visits in the first twelve months and in the whole plan."""
    return len(found.visits), len({d.fitted for d in found.dues if d.fitted})


def _walk(
    slots: Sequence[Slot], calendar: Calendar, policy: Policy, weights: FloatArray, moves: IntArray
) -> ChangeCalendar:
    tracks = [_Track(slot, policy, moves, weights) for slot in slots]
    made: list[Due] = []
    while running := [t for t in tracks if t.installed < t.horizon and t.next.day < t.horizon]:
        day = min(t.next.day for t in running)
        for track in running:
            due = track.next
            soon = track.installed < day and due.day <= day + policy.group_days and not due.fixed
            if due.day == day or soon:
                made.append(track.change(day))
    start = calendar.start
    return ChangeCalendar(
        start=start,
        end=calendar.end,
        year_end=months_later(start, 12),
        dues=tuple(sorted(made, key=lambda d: (d.date, d.cartridge))),
        made={s.name: tuple(start + dt.timedelta(days=int(d)) for d in s.made) for s in slots if s.made},
        lives={t.slot.name: t.ended() for t in tracks},
        in_place={s.name: s.in_service for s in slots if s.in_service is not None},
    )
