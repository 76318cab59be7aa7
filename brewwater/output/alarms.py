"""Alarms: readings of the served water past a limit by more than their own error, which no later one has cleared."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from brewwater.plan import Plan


@dataclass(frozen=True, slots=True)
class WaterAlarm:
    """One reading that fails its limit.

    branch : where it was read
    since : the day of the first of the readings in a row that fail alike
    text : what was read, what it is past, what to do, in one line
    """

    branch: str
    since: dt.date
    text: str


def alarms(plan: Plan) -> tuple[WaterAlarm, ...]:
    """The alarms of a plan, the oldest first; a reading that several verdicts rest on is told once."""
    failing = {
        (f.reading.branch, f.reading.analyte, f.reading.date): f
        for verdict in plan.candidate.verdicts
        for f in verdict.failed
        if f.status in ("act", "stop")
    }
    return tuple(
        WaterAlarm(f.reading.branch, f.since, f.said) for f in sorted(failing.values(), key=lambda f: (f.since, f.said))
    )
