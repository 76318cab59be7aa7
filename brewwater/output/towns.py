"""Each water of the plan alone, before and after treatment: two towns are two marks, never one range.

The verdicts of the plan stand for the worst mixture that reaches the tank. What a reader compares are the waters
themselves, so each is followed through the treatment as if the tank held nothing else, at the plan's settings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brewwater.ensemble import percentiles
from brewwater.plan import Plan, source_machine
from brewwater.planning.candidate import Served, route, scale_held
from brewwater.planning.scenario import Scenario
from brewwater.verdicts import RANK, MachineProfile, State, Verdict, describe, solve_together
from brewwater.verdicts.goals import Goal
from brewwater.verdicts.judge import MEASURES, REQUIRED, case_of
from brewwater.verdicts.measure import Measure, Role, Subject
from brewwater.verdicts.safety import potability
from brewwater.verdicts.scale import laid_down_mg_L
from brewwater.verdicts.verdict import Judged, conclude
from brewwater.water import Water, mix

SUBJECTS: tuple[Subject, ...] = ("cup", "scale", "corrosion")


@dataclass(frozen=True, slots=True)
class Town:
    """One water. ``letter`` is unique in the plan; ``before`` and ``after`` its verdicts by subject at the main
    machine, each with its measures; ``safety`` the gate on it; ``solids_mg_L`` the mean dissolved solids at the inlet
    and after each stage that stands before the main machine."""

    name: str
    letter: str
    before: Mapping[Subject, Verdict]
    after: Mapping[Subject, Verdict]
    safety: Verdict
    solids_mg_L: tuple[float, ...]

    def measure(self, subject: Subject, name: str, *, after: bool) -> Measure | None:
        """One measure of a subject in this water."""
        found = (self.after if after else self.before)[subject].measures
        return next((m for m in found if m.name == name), None)


@dataclass(frozen=True, slots=True)
class Towns:
    """All waters of a plan; ``goals`` by subject and measure, as at the main machine."""

    towns: tuple[Town, ...]
    goals: Mapping[tuple[Subject, str], Goal]


def towns(plan: Plan) -> Towns:
    """The waters of a plan, each alone."""
    scenario, candidate = plan.scenario, plan.candidate
    names = tuple(s.name for s in scenario.supplies)
    raw = mix(
        [w.each(lambda a: np.broadcast_to(a, scenario.draws.n)) for w in scenario.supply_waters],
        np.eye(len(names))[:, :, None],
    )
    alone = replace(scenario, waters=raw, phase_names=names, phase_share=np.full(len(names), 1 / len(names)))
    routed = route(alone, candidate.stages, candidate.branches)
    main = candidate.main.branch
    machine = scenario.machine_of(main) or source_machine(scenario)
    served = routed.served[main.name]
    states = [describe(raw, machine.temperature_C), describe(served, machine.temperature_C)]
    solve_together(states)
    held = routed.inhibited[main.name]
    goals: dict[tuple[Subject, str], Goal] = {}
    before = _judged(plan, raw, states[0], machine, "source", 0.0, goals)
    after = _judged(plan, served, states[1], machine, "served", held, goals)
    solids = [_solids(w, len(names)) for w in routed.steps[main.name]]
    letters = _letters(names)
    found = tuple(
        Town(
            name,
            letters[i],
            before[i],
            after[i],
            potability(scenario.supplies[i], law=plan.document.targets.law).verdict,
            tuple(step[i] for step in solids),
        )
        for i, name in enumerate(names)
    )
    return Towns(found, goals)


def _judged(
    plan: Plan,
    water: Water,
    state: State,
    machine: MachineProfile,
    role: Role,
    held: object,
    goals: dict[tuple[Subject, str], Goal],
) -> list[dict[Subject, Verdict]]:
    scenario = plan.scenario
    case = case_of(water, state, scenario.known, machine, plan.document.targets, scenario.supplies, role)
    case = replace(case, inhibited_up_to_mg_L_as_CaCO3=np.asarray(held, dtype=np.float64))
    count = len(scenario.supplies)
    out: list[dict[Subject, Verdict]] = [{} for _ in range(count)]
    for subject in SUBJECTS:
        judged = MEASURES[subject](case)
        goals.update({(subject, j.name): j.goal for j in judged})
        missing = [a for a in REQUIRED[subject] if not case.has(a)]
        for at in range(count):
            mine = [_row(j, at) for j in judged]
            out[at][subject] = conclude(subject, mine, missing, scenario.weights, role=role)
    return out


def _row(judged: Judged, at: int) -> Judged:
    values = judged.values[at : at + 1] if len(judged.values) > 1 else judged.values
    severity = judged.severity
    if severity is not None and severity.ndim > 1 and len(severity) > 1:
        severity = severity[at : at + 1]
    return replace(judged, values=values, severity=severity)


def _solids(water: Water, count: int) -> list[float]:
    rows = np.atleast_2d(water.tds_mg_L)
    means = rows.mean(axis=-1)
    return [float(means[i if len(means) > 1 else 0]) for i in range(count)]


def _letters(names: Sequence[str]) -> list[str]:
    """A sign for each name: its first letter, with the next that tells it apart where two begin alike."""
    out: list[str] = []
    for number, name in enumerate(names, start=1):
        letters = [c for c in name if c.isalnum()] or [str(number)]
        tries = [letters[0].upper(), *(letters[0].upper() + c.lower() for c in letters[1:]), f"{number}"]
        out.append(next(t for t in tries if t not in out))
    return out


def worst(verdicts: Sequence[Verdict]) -> Verdict:
    """The worst of several verdicts, by status and then by share in goal."""
    return max(verdicts, key=lambda v: (RANK[v.status], -(v.share if v.share is not None else 0.0)))


def scale_g(scenario: Scenario, main: Served, state: State, *, treated: bool) -> tuple[float, float, float]:
    """Scale that can fall out in the main machine in the first year, g: 10th, 50th, 90th percentile.

    ``state`` is that of the water there, ``treated`` whether it is the water after treatment.
    """
    falls = laid_down_mg_L(state, main.machine or source_machine(scenario))
    if treated:
        falls = np.where(scale_held(main), 0.0, falls)
    litres = scenario.demand.litres(main.branch.name, 0, scenario.demand.year())
    low, middle, high = percentiles(scenario.by_phase(falls) * litres / 1000, scenario.weights)
    return float(low), float(middle), float(high)
