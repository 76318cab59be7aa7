"""From values to a verdict: severity of each draw, shares, status, and the sentence that says so.

The rule of status stands here and nowhere else, its figures in ``reference/verdict_rule.csv``: how much doubt one
acts on.
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
from brewwater.verdicts.measure import Measure, Role, Status, Subject, rule

if TYPE_CHECKING:
    from brewwater.verdicts.readings import Failing

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

RANK: dict[Status, int] = {"ok": 0, "unknown": 1, "watch": 2, "act": 3, "stop": 4}

BEYOND = 1e6  # stands for an infinite index when it is shown


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer on one subject for one water.

    ``share`` (0 to 1) of the waters that the report allows are in goal in every measure judged; None where
    nothing can be said. ``why`` is one sentence with the figures. ``flip_test`` is the cheapest test that
    could change the answer and ``flip`` says which reading would. ``phase`` names the water that decided,
    where several reach the tank. ``failed``: readings of this water that stand out of its goals.
    ``assumed``: something that the subject needs was not measured, and nine of ten
    waters that the report allows agree all the same: it holds or fails on assumed values. Where they do not agree
    the status is ``unknown``, unless what was measured says *act* by itself.
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
    assumed: bool = False


@dataclass(frozen=True)
class Judged:
    """A measure on its way to a verdict: values of shape ``(phase, draw)``, or draw 1, and its goal.

    ``known`` says that the report decides it; ``manual`` that the goal is the machine's own limit; ``cap`` is
    the worst severity it may reach; ``severity`` replaces the goal's own judgement where two measures must be
    read together; ``needs`` are the analytes that decide it.
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
    needs: tuple[str, ...] = ()

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
        """False where the chemistry could not be solved in more of the waters than the rule bears."""
        return bool(np.count_nonzero(np.isnan(self.values)) <= rule("unsolved") * self.values.size)


@dataclass(frozen=True, slots=True)
class Shares:
    """Weighted shares of the waters of one phase: out of goal, red, past the manual's limit."""

    out: float
    red: float
    manual: float

    @property
    def status(self) -> Status:
        """The rule of status."""
        if self.red >= rule("act_red") or self.manual >= rule("act_manual"):
            return "act"
        if self.out >= rule("watch_out") or self.red >= rule("watch_red"):
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
    missing : the analytes that the subject needs and the report lacks. What rests on them decides where nine of
        ten of its draws agree (``Verdict.assumed``); else the verdict is ``unknown``, unless the rest says *act*
    weights : shape ``(draw,)``
    note : a sentence to add to the reasons
    """
    known = [j for j in judged if j.known and j.solved and not j.informs_only]
    unsolved = [j.name for j in judged if j.known and not j.solved and not j.informs_only]
    open_ = [j for j in judged if not j.known and not j.informs_only and set(missing) & set(j.needs)]
    phases = max(j.values.shape[0] for j in judged)
    phase, severity = _worst(known, phases, weights)
    alone = _alone(known, severity, phase, weights)
    total, assumed, undecided = _joint(known, severity, weights)[phase], False, bool(unsolved or missing)
    counted = known
    if missing and total.status != "act":
        # what nine draws of ten agree on, on the water where it is worst
        agreed = [j for j in open_ if j.solved and _agree(j, phases, weights)]
        undecided = bool(unsolved) or len(agreed) < len(open_) or not _covered(missing, agreed)
        with_open = [*known, *agreed]
        at, both = _worst(with_open, phases, weights)
        found = _joint(with_open, both, weights)[at]
        if found.status == "act" or not undecided:
            assumed = True
            counted, phase, total = with_open, at, found
            alone = _alone(counted, both, phase, weights)
    lacking = [*missing, *unsolved]
    status: Status = "unknown" if undecided and total.status != "act" else total.status
    name = phase_names[phase] if phases > 1 and phase < len(phase_names) else None
    measures = {j.name: _measure(j, phase, weights, alone.get(j.name) if j.known else None) for j in judged}
    leading = [j for j in counted if alone[j.name].out >= rule("named_out")]
    leading.sort(key=lambda j: alone[j.name].rank, reverse=True)
    shown = [(measures[j.name], alone[j.name], j.manual) for j in leading[:2]]
    if status == "unknown":
        why = sentences.undecided(subject, lacking, list(measures.values()), shown, note)
        test, flip = sentences.missing_test(lacking[0])
    else:
        decisive = leading[0] if leading else _nearest(counted, measures)
        more = len(leading) - len(shown)
        judged_shares = [(measures[j.name], alone[j.name]) for j in counted]
        why = sentences.decided(status, judged_shares, shown, more, name, 1 - total.out, note)
        also = [j.label for j in leading if j is not decisive and RANK[alone[j.name].status] >= RANK[status]]
        test, flip = sentences.flipping_test(status, measures[decisive.name], decisive.goal, also)
        if assumed:
            why = sentences.on_assumed(status == "ok", lacking, why)
            test, flip = sentences.missing_test(lacking[0])
    cited = [j.goal.source for j in (leading[:2] or counted)] or [j.goal.source for j in judged[:1]]
    share = None if status == "unknown" else min(1.0, max(0.0, round(1 - total.out, 6)))
    source = "; ".join(dict.fromkeys(cited))
    shown_all = tuple(measures.values())
    return Verdict(role, subject, status, share, why, source, branch, test, flip, name, shown_all, assumed=assumed)


def _severities(judged: Sequence[Judged], phases: int, weights: FloatArray) -> Severity:
    """Severity of each measure, shape (measure + 1, phase, draw); the last row stands where there is none."""
    found = np.zeros((len(judged) + 1, phases, len(weights)), np.int8)
    for row, j in zip(found, judged, strict=False):
        row[:] = j.severities()
    return found


def _past_manual(judged: Sequence[Judged], severity: Severity) -> BoolArray:
    return np.asarray((severity > 1) & np.array([*(j.manual for j in judged), False])[:, None, None])


def _joint(judged: Sequence[Judged], severity: Severity, weights: FloatArray) -> list[Shares]:
    """Shares of all measures together, by phase."""
    past = np.asarray(_past_manual(judged, severity).any(axis=0))
    return shares_of(severity.max(axis=0), past, weights)


def _worst(judged: Sequence[Judged], phases: int, weights: FloatArray) -> tuple[int, Severity]:
    """The phase that decides, and the severities."""
    severity = _severities(judged, phases, weights)
    joint = _joint(judged, severity, weights)
    return max(range(phases), key=lambda p: joint[p].rank), severity


def _alone(judged: Sequence[Judged], severity: Severity, phase: int, weights: FloatArray) -> dict[str, Shares]:
    """Shares of each measure by itself in one phase."""
    past = _past_manual(judged, severity)
    each = shares_of(severity[:-1, phase], past[:-1, phase], weights)
    return {j.name: shares for j, shares in zip(judged, each, strict=True)}


def _agree(j: Judged, phases: int, weights: FloatArray) -> bool:
    """True where nine draws of ten say the same of an unmeasured quantity in every water."""
    joint = _joint([j], _severities([j], phases, weights), weights)
    most = rule("sure") - 1e-9  # to rounding
    return all(s.out >= most or (1 - s.out >= most and s.status == "ok") for s in joint)


def _covered(missing: Sequence[str], agreed: Sequence[Judged]) -> bool:
    """True where what is missing decides nothing else than these measures."""
    return set(missing) <= {a for j in agreed for a in j.needs}


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
