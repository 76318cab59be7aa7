"""What the forecast reads of the plan document, and what the calendar imposes on cartridges and dates."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from brewwater.changes.wear import Governs, IntArray
from brewwater.demand import WEEKDAYS, Calendar, Weekday
from brewwater.records import Finite, Fraction, Name, Part, Span

MARGIN = 0.8


class InService(Part):
    """A cartridge already in place at the start: when it went in, and the share of it used by then."""

    stage: Name
    installed: dt.date
    used: Span = Span(low=0, typical=0, high=0)


class Policy(Part):
    """How dates are chosen from the forecast.

    ``margin``: share of the capacity that is planned with, applied once (common practice, no source).
    ``before_events``: a change that would fall inside an event is made on the day before it.
    ``visit_weekday`` and ``visit_every_weeks``: changes are made at the last visit before they fall due.
    ``risk``: with a value, dates are those at which the full capacity has run out with this probability.
    ``group_days``: a change due within so many days after another is made with it (``schedule``).
    ``lead_days`` and ``buffer_days``: how long an order takes and how early it should be in hand (two weeks:
    common practice, no source). ``shelf_months``: how long a sealed cartridge may be kept before it goes in.
    """

    margin: Annotated[Finite, Field(gt=0, le=1)] = MARGIN
    before_events: bool = True
    visit_weekday: Weekday | None = None
    visit_every_weeks: Annotated[int, Field(ge=1, le=52)] = 1
    risk: Fraction | None = None
    group_days: Annotated[int, Field(ge=0, le=90)] = 0
    lead_days: Annotated[int, Field(ge=0, le=365)] = 7
    buffer_days: Annotated[int, Field(ge=0, le=365)] = 14
    shelf_months: Annotated[int, Field(ge=1, le=120)] = 24

    def order_by(self, change: dt.date) -> dt.date:
        """The day to order a cartridge that is to go in on ``change``."""
        return change - dt.timedelta(days=self.lead_days + self.buffer_days)


@dataclass(frozen=True, slots=True)
class Standstill:
    """Days without service that end a wet cartridge: out before day ``out``, a new one in on day ``back``."""

    out: int
    back: int
    governs: Governs


def stops_of(calendar: Calendar) -> tuple[Standstill, ...]:
    """What the calendar imposes on wet cartridges, in order; pass none of it to a stage that is kept dry.

    A lay-up throws the cartridge away at its start. Freezing with the cartridge left in and not drained ends
    it. A suspension keeps it until the notice is lifted and then replaces it.
    """
    found: list[Standstill] = []
    for closure in calendar.stops:
        at = calendar.span_of(closure)
        if closure.start >= calendar.end or closure.end < calendar.start:
            continue
        if closure.frozen and not closure.drained:
            found.append(Standstill(at.start, at.stop, "freeze"))
        elif closure.kind == "stored":
            found.append(Standstill(at.start, at.stop, "lay-up"))
    for notice in calendar.suspensions:
        at = calendar.span_of(notice)
        if notice.replace_cartridges and notice.start < calendar.end and notice.end >= calendar.start:
            found.append(Standstill(at.stop, at.stop, "notice"))
    found.sort(key=lambda s: (s.out, s.back))
    merged: list[Standstill] = []
    for stop in found:
        if merged and stop.out <= merged[-1].back:
            last = merged.pop()
            stop = Standstill(last.out, max(last.back, stop.back), last.governs)
        merged.append(stop)
    return tuple(merged)


def moves_of(calendar: Calendar, policy: Policy) -> IntArray:
    """The day on which a change that falls due on each day is made under the policy, shape (day,)."""
    count = len(calendar.days)
    moved = np.arange(count)
    if policy.before_events:
        outside = np.ones(count, dtype=bool)
        for event in calendar.busy:
            outside[calendar.span_of(event)] = False
        # the last day before the events that follow each other; nothing lies before those that open the plan
        free = np.maximum.accumulate(np.where(outside, moved, -1)) if count else moved
        moved = np.where(free >= 0, free, moved)
    if policy.visit_weekday is not None:
        first = (WEEKDAYS.index(policy.visit_weekday) - calendar.start.weekday()) % 7
        every = 7 * policy.visit_every_weeks
        visit = moved - (moved - first) % every
        moved = np.where(visit >= 0, visit, moved)
    return moved
