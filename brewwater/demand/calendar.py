"""The calendar: service days, events, seasons, closures, and how busy each day is."""

from __future__ import annotations

import calendar as calendar_module
import datetime as dt
from collections.abc import Iterator
from typing import Annotated, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from brewwater.records import Name, NonNegative, Part, Span

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
DayArray = NDArray[np.datetime64]

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
TERMS = ("drinks", "drinks_growth", "event_drinks", "fixed")
DAYS_PER_YEAR = 365.25


def months_later(day: dt.date, months: int) -> dt.date:
    """The same day of the month, ``months`` later, or that month's last day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return dt.date(year, month + 1, min(day.day, calendar_module.monthrange(year, month + 1)[1]))


class Dated(Part):
    """Something that lasts from ``start`` to ``end``, both days included."""

    start: dt.date
    end: dt.date

    @model_validator(mode="after")
    def _in_order(self) -> Dated:
        if self.end < self.start:
            raise ValueError(f"ends on {self.end}, before it starts on {self.start}")
        return self


class Yearly(Dated):
    """Something dated that may come again: with ``yearly`` on the same days of every later year."""

    yearly: bool = False


class Event(Yearly):
    """Busy days: a ``multiplier`` on the ordinary day, or ``drinks_per_day`` counted. They are service days
    whatever the weekday, unless the unit is closed."""

    name: Name
    multiplier: NonNegative | None = None
    drinks_per_day: NonNegative | None = None

    @model_validator(mode="after")
    def _one_measure(self) -> Event:
        if (self.multiplier is None) == (self.drinks_per_day is None):
            raise ValueError("give either a multiplier or drinks_per_day")
        return self


class Closure(Yearly):
    """No service. ``stored`` is a lay-up: wet cartridges are thrown away at its start, new ones go in after
    it. ``frozen`` with the cartridges left in and not ``drained`` ends them too."""

    name: Name = "closed"
    kind: Literal["closed", "stored"] = "closed"
    drained: bool = False
    frozen: bool = False


class Suspension(Dated):
    """A boil-water notice or the like: no filling and no service; cartridges are replaced after it."""

    name: Name = "boil-water notice"
    replace_cartridges: bool = True


_Again = TypeVar("_Again", bound=Yearly)


class Season(Part):
    """A multiplier on ordinary days in the given months (1 to 12)."""

    months: Annotated[tuple[Annotated[int, Field(ge=1, le=12)], ...], Field(min_length=1)]
    multiplier: NonNegative


class Calendar(Part):
    """The days of the plan, from ``start`` for ``months`` calendar months.

    ``growth_per_year`` is the share by which ordinary days grow each year, as a straight line from ``start``.
    """

    start: dt.date
    months: Annotated[int, Field(ge=24, le=36)] = 24
    weekdays: Annotated[tuple[Weekday, ...], Field(min_length=1)] = WEEKDAYS[:5]
    events: tuple[Event, ...] = ()
    closures: tuple[Closure, ...] = ()
    suspensions: tuple[Suspension, ...] = ()
    seasons: tuple[Season, ...] = ()
    growth_per_year: Span = Span(low=0, typical=0, high=0)

    @property
    def end(self) -> dt.date:
        """The first day after the plan: ``start`` moved on by ``months``, or the month's last day."""
        return months_later(self.start, self.months)

    @property
    def busy(self) -> tuple[Event, ...]:
        """Every event that reaches into the plan or comes before it, those of each year apart; in the order in which a
        later one replaces an earlier one."""
        return tuple(each for event in self.events for each in self._each(event))

    @property
    def stops(self) -> tuple[Closure, ...]:
        """Every closure, those of each year apart."""
        return tuple(each for closure in self.closures for each in self._each(closure))

    def _each(self, one: _Again) -> Iterator[_Again]:
        """The first, and those of the years after as far as the plan goes: on the same day of the month, as long."""
        yield one
        days = one.end - one.start
        for months in range(12, 12 * (self.end.year - one.start.year) + 12, 12) if one.yearly else ():
            start = months_later(one.start, months)
            if self.start <= start + days and start < self.end:
                yield one.model_copy(update={"start": start, "end": start + days})

    @property
    def days(self) -> DayArray:
        """Every day of the plan, ``datetime64[D]``."""
        return np.arange(np.datetime64(self.start, "D"), np.datetime64(self.end, "D"))

    def span_of(self, dated: Dated) -> slice:
        """The days of ``dated`` as a slice of ``days`` (empty where it lies outside)."""
        last = (self.end - self.start).days
        first = min(max((dated.start - self.start).days, 0), last)
        return slice(first, max(first, min((dated.end - self.start).days + 1, last)))


def curves(calendar: Calendar) -> tuple[BoolArray, FloatArray]:
    """Service days, and the curve of each term. A later event on the same day replaces an earlier one."""
    days = calendar.days
    weekday = (days.astype("datetime64[D]").astype(int) + 3) % 7  # 1 Jan 1970 was a Thursday
    month = days.astype("datetime64[M]").astype(int) % 12 + 1
    is_open = np.isin(weekday, [WEEKDAYS.index(w) for w in calendar.weekdays])
    ordinary = np.ones(len(days))
    counted = np.zeros(len(days))
    for season in calendar.seasons:
        ordinary[np.isin(month, season.months)] *= season.multiplier
    plain = ordinary.copy()
    for event in calendar.busy:
        at = calendar.span_of(event)
        is_open[at] = True
        ordinary[at] = 0.0 if event.multiplier is None else plain[at] * event.multiplier
        counted[at] = event.drinks_per_day or 0.0
    for stop in (*calendar.stops, *calendar.suspensions):
        is_open[calendar.span_of(stop)] = False
    years = np.arange(len(days)) / DAYS_PER_YEAR
    return is_open, np.array([ordinary, ordinary * years, counted, np.ones(len(days))]) * is_open
