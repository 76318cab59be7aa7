"""From values to a verdict: severity of each draw, shares, status, and the sentence that says so.

The rule of status stands here and nowhere else (common practice, no source: how much doubt one acts on).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import mean, percentiles
from brewwater.verdicts import sentences
from brewwater.verdicts.goals import Goal, Severity
from brewwater.verdicts.measure import Measure, Role, Status, Subject

if TYPE_CHECKING:
    from brewwater.verdicts.readings import Failing

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

RANK: dict[Status, int] = {"ok": 0, "unknown": 1, "watch": 2, "act": 3, "stop": 4}

ACT_RED_SHARE = 0.5  # act where at least this share of the waters is red
ACT_MANUAL_SHARE = 0.2  # or this share passes a limit of the machine's manual
WATCH_OUT_SHARE = 0.2  # watch where at least this share is out of goal
WATCH_RED_SHARE = 0.1  # or this share is red
NAMED_OUT_SHARE = 0.05  # a measure is named as a reason from this share out of goal
BEYOND = 1e6  # stands for an infinite index when it is shown


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer on one subject for one water.

    ``share`` (0 to 1) of the waters that the report allows are in goal in every measure judged; None where
    nothing can be said. ``why`` is one sentence with the figures. ``flip_test`` is the cheapest test that
    could change the answer and ``flip`` says which reading would. ``phase`` names the water that decided,
    where several reach the tank. ``failed``: readings of this water that stand out of its goals.
    """

    water: Role
    subject: Subject
    status: Status
    share: float | None
    why: str
    source: str
    branch: str | None = None
    flip_test: str | None = None
    flip: str | None = None
    phase: str | None = None
    measures: tuple[Measure, ...] = ()
    failed: tuple[Failing, ...] = ()


@dataclass(frozen=True)
class Judged:
    """A measure on its way to a verdict: values of shape ``(phase, draw)``, or draw 1, and its goal.

    ``known`` says that the report decides it; ``manual`` that the goal is the machine's own limit; ``cap`` is
    the worst severity it may reach; ``severity`` replaces the goal's own judgement where two measures must be
    read together.
    """

    name: str
    label: str
    unit: str
    values: FloatArray
    goal: Goal
    known: bool = True
    manual: bool = False
    cap: int = 2
    severity: Severity | None = None
    note: str = ""

    def severities(self) -> Severity:
        """0 in goal, 1 amber, 2 red, after the cap."""
        found = self.goal.severity(self.values) if self.severity is None else self.severity
        return np.minimum(found, self.cap).astype(np.int8)

    @property
    def informs_only(self) -> bool:
        """True for a measure that is shown but has no bound."""
        return self.severity is None and self.goal.unbound

    @cached_property
    def solved(self) -> bool:
        """False where the chemistry could not be solved in more than 5 % of the waters."""
        return bool(np.count_nonzero(np.isnan(self.values)) <= 0.05 * self.values.size)


@dataclass(frozen=True, slots=True)
class Shares:
    """Weighted shares of the waters of one phase: out of goal, red, past the manual's limit."""

    out: float
    red: float
    manual: float

    @property
    def status(self) -> Status:
        """The rule of status."""
        if self.red >= ACT_RED_SHARE or self.manual >= ACT_MANUAL_SHARE:
            return "act"
        if self.out >= WATCH_OUT_SHARE or self.red >= WATCH_RED_SHARE:
            return "watch"
        return "ok"

    @property
    def rank(self) -> tuple[int, float, float]:
        """Order from best to worst."""
        return RANK[self.status], self.red + self.manual, self.out


def shares_of(severity: Severity, manual: BoolArray, weights: FloatArray) -> list[Shares]:
    """Shares of many at once: ``severity`` and ``manual`` have shape ``(many, draw)``."""
    flags = np.stack([severity > 0, severity > 1, manual])
    return [Shares(*(float(x) for x in column)) for column in mean(flags.astype(np.float64), weights).T]


def conclude(
    subject: Subject,
    judged: Sequence[Judged],
    missing: Sequence[str],
    weights: FloatArray,
    *,
    role: Role,
    branch: str | None = None,
    phase_names: Sequence[str] = (),
    note: str = "",
) -> Verdict:
    """Put the measures of a subject together on its worst phase, never on the average.

    Parameters
    ----------
    judged : the measures, each of shape ``(phase, draw)``
    missing : the analytes that the subject needs and the report lacks; then the verdict is ``unknown``,
        unless the rest already says ``act``
    weights : shape ``(draw,)``
    note : a sentence to add to the reasons
    """
    known = [j for j in judged if j.known and j.solved and not j.informs_only]
    lacking = [*missing, *(j.name for j in judged if j.known and not j.solved and not j.informs_only)]
    phases = max(j.values.shape[0] for j in judged)
    severity = np.zeros((len(known) + 1, phases, len(weights)), np.int8)  # the last row stands where none is known
    for row, j in zip(severity, known, strict=False):
        row[:] = j.severities()
    past_manual = (severity > 1) & np.array([*(j.manual for j in known), False])[:, None, None]
    joint = shares_of(severity.max(axis=0), past_manual.any(axis=0), weights)
    worst = max(range(phases), key=lambda p: joint[p].rank)
    total = joint[worst]
    each = shares_of(severity[:-1, worst], past_manual[:-1, worst], weights)
    alone = {j.name: shares for j, shares in zip(known, each, strict=True)}
    status: Status = "unknown" if lacking and total.status != "act" else total.status
    phase = phase_names[worst] if phases > 1 and worst < len(phase_names) else None
    measures = {j.name: _measure(j, worst, weights, alone.get(j.name)) for j in judged}
    leading = [j for j in known if alone[j.name].out >= NAMED_OUT_SHARE]
    leading.sort(key=lambda j: alone[j.name].rank, reverse=True)
    shown = [(measures[j.name], alone[j.name].red >= WATCH_RED_SHARE, j.manual) for j in leading[:2]]
    if status == "unknown":
        why = sentences.undecided(subject, lacking, list(measures.values()), shown, note)
        test, flip = sentences.missing_test(lacking[0])
    else:
        decisive = leading[0] if leading else _nearest(known, measures)
        more = len(leading) - len(shown)
        why = sentences.decided(status, list(measures.values()), shown, more, phase, 1 - total.out, note)
        also = [j.label for j in leading if j is not decisive and RANK[alone[j.name].status] >= RANK[status]]
        test, flip = sentences.flipping_test(status, measures[decisive.name], decisive.goal, also)
    cited = [j.goal.source for j in (leading[:2] or known)] or [j.goal.source for j in judged[:1]]
    share = None if status == "unknown" else min(1.0, max(0.0, round(1 - total.out, 6)))
    source = "; ".join(dict.fromkeys(cited))
    shown_all = tuple(measures.values())
    return Verdict(role, subject, status, share, why, source, branch, test, flip, phase, shown_all)


def _measure(j: Judged, phase: int, weights: FloatArray, alone: Shares | None) -> Measure:
    row = j.values[phase if len(j.values) > 1 else 0]
    p10 = p50 = p90 = None
    if j.solved:
        # an index is infinite where its ion is absent; an unsolved draw takes the middle of the others
        unsolved = np.isnan(row)
        row = np.clip(row, -BEYOND, BEYOND)
        if unsolved.any():
            row = np.where(unsolved, np.nanmedian(row), row)
        p10, p50, p90 = (float(p) for p in percentiles(row, weights))
    if j.informs_only:
        status: Status = "ok" if j.known else "unknown"
    else:
        status = alone.status if alone else "unknown"
    note = j.note if j.solved else f"{j.note} Could not be solved for these waters.".strip()
    share = round(1 - alone.out, 6) if alone else None
    goal = (j.goal.low, j.goal.high)
    return Measure(j.name, j.label, j.unit, p10, p50, p90, goal, status, share, j.goal.source, note)


def _nearest(known: Sequence[Judged], measures: Mapping[str, Measure]) -> Judged:
    """The measure whose spread comes nearest to a bound of its goal, by share of the bound."""

    def gap(j: Judged) -> float:
        m, low, high = measures[j.name], j.goal.low, j.goal.high
        gaps = [np.inf]
        if low is not None and m.p10 is not None:
            gaps.append((m.p10 - low) / max(abs(low), 1e-9))
        if high is not None and m.p90 is not None:
            gaps.append((high - m.p90) / max(abs(high), 1e-9))
        return min(gaps)

    return min(known, key=gap)
