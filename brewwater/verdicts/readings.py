"""What was read of the served water against the limits of its verdict: a reading outranks what the plan expects.

A reading past a limit by more than its own error makes the verdict *act*, from the day of the first such reading in a
row; one past it within its error, or out of goal by more than its error, makes it *watch*. The last reading of an
analyte is the one that counts, so a later one clears it; a change of the cartridge that answers for it does too, which
the caller knows.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brewwater.units import plain
from brewwater.verdicts.goals import Goal
from brewwater.verdicts.measure import Status, rule
from brewwater.verdicts.sentences import bounds
from brewwater.verdicts.verdict import RANK, Judged, Verdict

# A free chlorine is judged as the total that it is part of.
_JUDGED_AS = {"free_chlorine": "total_chlorine"}


@dataclass(frozen=True, slots=True)
class ServedReading:
    """A test of the water at a branch: ``value`` and its standard deviation in the plan's unit of the analyte.

    ``after``: the part that answers for the analyte there, in words, or empty: what is changed if the reading stands.
    """

    branch: str
    analyte: str
    value: float
    sd: float
    date: dt.date
    after: str = ""


@dataclass(frozen=True, slots=True)
class Failing:
    """A reading that a verdict rests on. ``since``: the day of the first of the readings in a row that fail alike;
    ``limit``: the bound it is past. ``said``: the same in one sentence, with what to do."""

    reading: ServedReading
    status: Status
    since: dt.date
    limit: float | None
    said: str = ""


def with_readings(verdict: Verdict, judged: Sequence[Judged], readings: Iterable[ServedReading]) -> Verdict:
    """The verdict, with what was read at its branch.

    Parameters
    ----------
    verdict : as the plan's waters have it
    judged : its measures, with the goals that bind here
    readings : those that no change has cleared
    """
    found: list[tuple[Failing, Judged]] = []
    mine = [r for r in readings if r.branch == verdict.branch]
    for one in judged:
        if one.goal.unbound:
            continue
        history = sorted((r for r in mine if _JUDGED_AS.get(r.analyte, r.analyte) == one.name), key=lambda r: r.date)
        failing = _standing(history, one.goal)
        if failing is not None:
            found.append((replace(failing, said=_said(failing, one)), one))
    if not found:
        return verdict
    found.sort(key=lambda pair: -RANK[pair[0].status])
    said = " ".join(failing.said for failing, _ in found)
    worst = found[0][0].status
    status = max(verdict.status, worst, key=RANK.__getitem__)
    failed = tuple(failing for failing, _ in found)
    if status != worst:
        return replace(verdict, failed=failed)
    goal = found[0][1].goal
    low, high = (goal.red_below, goal.red_above) if worst == "act" else (goal.low, goal.high)
    flip = f"Test again: {found[0][1].label} {bounds(low, high)} would clear this."
    share = verdict.share if status == verdict.status else None
    why = f"{said} {verdict.why}"
    return replace(verdict, status=status, share=share, why=why, flip=flip, failed=failed, assumed=False)


def _standing(history: Sequence[ServedReading], goal: Goal) -> Failing | None:
    """What the last reading says, since when the ones before it say it too; None where it is in goal."""
    if not history:
        return None
    graded = [_graded(r, goal) for r in history]
    if graded[-1] == "ok":
        return None
    first = len(history) - 1
    while first > 0 and graded[first - 1] == graded[-1]:
        first -= 1
    last = history[-1]
    high = goal.red_above if _severity(last.value, goal) > 1 and goal.red_above is not None else goal.high
    low = goal.red_below if _severity(last.value, goal) > 1 and goal.red_below is not None else goal.low
    limit = high if high is not None and last.value >= high else low
    return Failing(last, graded[-1], history[first].date, limit)


def _severity(value: float, goal: Goal) -> int:
    return int(goal.severity(np.array([value]))[0])


def _graded(reading: ServedReading, goal: Goal) -> Status:
    """Past a limit in the reading and in all that its error allows, past it in the reading alone, or neither."""
    error = rule("reading_errors") * reading.sd
    sure = min(_severity(x, goal) for x in (reading.value - error, reading.value, reading.value + error))
    if sure > 1:
        return "act"
    return "watch" if sure == 1 or _severity(reading.value, goal) > 1 else "ok"


def _said(failing: Failing, one: Judged) -> str:
    reading, unit = failing.reading, "" if one.unit == "1" else f" {one.unit}"
    label = one.label[:1].upper() + one.label[1:]
    red = _severity(reading.value, one.goal) > 1
    limit = "" if failing.limit is None else f" of {plain(failing.limit)}"
    text = f"{label} read {plain(reading.value)}{unit} on {reading.date}, "
    if failing.status == "act":
        change = f", then change {reading.after}: due since {failing.since}" if reading.after else ""
        check = "the bypass and the source may be to blame" if reading.after else "the source or a bypass is to blame"
        return f"{text}past the limit{limit} by more than its own error: test again ({check}){change}."
    if red:
        error = plain(rule("reading_errors") * reading.sd)
        return f"{text}past the limit{limit}, but within its own error (±{error}): test again."
    return f"{text}out of goal ({bounds(one.goal.low, one.goal.high)}) by more than its own error."
