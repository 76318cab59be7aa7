"""The sentences of a verdict: why, and which test could change it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from brewwater.reference import keyed
from brewwater.units import percent, plain
from brewwater.verdicts.goals import Goal
from brewwater.verdicts.measure import Measure, Status, Subject, assumed_words, rule


class MeasureShares(Protocol):
    """Shares of the waters out of goal, red and past the manual's limit in one measure, and its status."""

    @property
    def out(self) -> float: ...
    @property
    def red(self) -> float: ...
    @property
    def manual(self) -> float: ...
    @property
    def status(self) -> Status: ...


# A measure, its shares, and whether its bound is the machine's manual.
Shown = tuple[Measure, MeasureShares, bool]


def figure(m: Measure) -> str:
    """``hardness 290 (262 to 318) mg/L as CaCO3``: the middle, and the range where it has one."""
    if m.p10 is None or m.p50 is None or m.p90 is None:
        return m.label
    unit = "" if m.unit == "1" else f" {m.unit}"
    narrow = abs(m.p90 - m.p10) <= rule("narrow") * abs(m.p50) or plain(m.p10) == plain(m.p90)
    return f"{m.label} {plain(m.p50)}" + ("" if narrow else f" ({plain(m.p10)} to {plain(m.p90)})") + unit


def bounds(low: float | None, high: float | None) -> str:
    """``50 to 120``, ``up to 120`` or ``from 50``."""
    if low is not None and high is not None:
        return f"{plain(low)} to {plain(high)}"
    if high is not None:
        return f"up to {plain(high)}"
    return f"from {plain(low)}" if low is not None else "none"


def _against(m: Measure, manual: bool) -> str:
    return f"{'manual' if manual else 'goal'} {bounds(*m.goal)}"


def _out(m: Measure, shares: MeasureShares, manual: bool) -> str:
    """Out of goal or past the limit, by the rule that gives the status: what makes it *act* is past the limit."""
    past = shares.status == "act"
    share = max(shares.red, shares.manual) if past else shares.out
    often = "" if share > rule("nearly_all") else f" in {percent(share)} of them"
    return f"{figure(m)} is {'past the limit' if past else 'out of goal'}{often} ({_against(m, manual)})"


def _capital(text: str) -> str:
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def decided(
    status: Status,
    counted: Sequence[tuple[Measure, MeasureShares]],
    leading: Sequence[Shown],
    more: int,
    phase: str | None,
    share: float,
    note: str,
) -> str:
    """Why a verdict is ``ok``, ``watch`` or ``act``: the governing figures against their bounds."""
    where = f" in {phase}" if phase else ""
    if status == "ok":
        said = [f"{figure(m)} ({_against(m, False)})" for m, _ in counted][:3]
    else:
        said = [_out(*one) for one in leading]
        said += [f"and {more} more"] if more else []
    reasons = _capital(", ".join(said))
    return f"{reasons}{where}; {percent(max(share, 0.0))} of the waters the report allows are in range.{note}"


def named(missing: Sequence[str]) -> str:
    """What was not measured, in words."""
    return ", ".join("pH" if name == "ph" else name.replace("_", " ") for name in dict.fromkeys(missing))


def on_assumed(holds: bool, missing: Sequence[str], why: str) -> str:
    """A reason that rests on what was not measured."""
    return f"{assumed_words(holds)} (not measured: {named(missing)}): {why}"


def undecided(
    subject: Subject,
    missing: Sequence[str],
    measures: Sequence[Measure],
    leading: Sequence[Shown],
    note: str,
) -> str:
    """Why a verdict is ``unknown``: what was not measured, what that leaves open, what is known anyway."""
    text = f"{_capital(subject)} is undecided without: {named(missing)}."
    bound = [m for m in measures if m.goal != (None, None)]
    left_open = [m for m in bound if m.status == "unknown" and m.p50 is not None]
    if left_open:
        text += f" The report leaves open {', '.join(figure(m) for m in left_open[:2])}."
    if leading:
        known = ", ".join(f"{figure(m)} ({_against(m, manual)})" for m, _, manual in leading)
        text += f" Known: {known}."
    return text + note


def missing_test(analyte: str) -> tuple[str, str]:
    """The test for what is missing, and what to do with it."""
    row = keyed("flip_tests", "measure")[analyte]
    return row["test"], f"First {row['label']}: without it nothing can be said."


def flipping_test(status: Status, m: Measure, goal: Goal, also: Sequence[str]) -> tuple[str, str]:
    """The cheapest test on the governing measure, and the reading that would change the verdict.

    ``also`` names the measures that would hold the verdict by themselves.
    """
    row = keyed("flip_tests", "measure")[m.name]
    unit = "" if m.unit == "1" else f" {m.unit}"
    low, high = (goal.red_below, goal.red_above) if status == "act" else (goal.low, goal.high)
    if low is None and high is None:
        low, high = goal.low, goal.high
    if status == "ok":
        sides = [f"under {plain(low)}"] if low is not None else []
        sides += [f"over {plain(high)}"] if high is not None else []
        change = f"{' or '.join(sides)}{unit} would change this"
    else:
        change = f"{bounds(low, high)}{unit} would ease this"
        change += f", but not with {' and '.join(also)} still out" if also else ""
    return row["test"], f"{_capital(row['label'])}: {m.label} {change}."
