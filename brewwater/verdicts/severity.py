"""How far out of goal each draw is: what the search and the value of a test weigh."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brewwater.reports.analysis import Supply
from brewwater.verdicts.case import Case, grid, usual
from brewwater.verdicts.goals import Severity, TargetChoice, goals
from brewwater.verdicts.judge import MEASURES, case_of
from brewwater.verdicts.machine import MachineProfile
from brewwater.verdicts.measure import Role
from brewwater.verdicts.state import Bounded, State
from brewwater.verdicts.verdict import Judged
from brewwater.water import Water

FloatArray = NDArray[np.float64]

Weighed = Literal["cup", "scale", "corrosion"]
SUBJECTS: tuple[Weighed, ...] = ("cup", "scale", "corrosion")
# Part of the worth of a subject that one measure takes away in goal, amber and red (common practice, no source).
LOSS = np.array([0.0, 0.15, 1.0])
# Share of a goal's bound past which amber counts in full (common practice, no source: half a kit's error).
NEAR = 0.05
COMPOSITION = frozenset({"total_hardness", "alkalinity", "temporary_hardness", "total_dissolved_solids", "sodium"})
# Acid that leaves with its CO2 harms only the line, and an approved non-metallic line mends that.
OF_THE_LINE = frozenset({"line_ph", "line_co2"})


def bounded(water: Water, machine: MachineProfile, targets: TargetChoice) -> Bounded:
    """A state that solves only what ``severity`` can read."""
    ph, gypsum = goals(targets)["ph"], usual("scale_limits")["gypsum_index"]
    line = usual("corrosion_limits")["line_ph"]
    red_line = line.red_below
    low = max(x for x in (ph.low, red_line, -np.inf) if x is not None)
    high = np.inf if ph.high is None else ph.high
    others = [x for x in (ph.low, ph.red_below, ph.red_above, red_line) if x is not None]
    co2 = usual("corrosion_limits")["line_co2"].high
    probe = machine.limit("minimum_conductivity_uS_cm")
    return Bounded(
        water,
        machine.temperature_C,
        (low, high, *others),
        line.low,
        np.inf if co2 is None else co2,
        -np.inf if gypsum.high is None else gypsum.high,
        -np.inf if probe is None else probe.value,
    )


def severity(
    water: Water,
    state: State,
    *,
    known: frozenset[str],
    machine: MachineProfile,
    targets: TargetChoice,
    supplies: Sequence[Supply],
    role: Role = "served",
    measured_only: bool = True,
    inhibited_up_to_mg_L_as_CaCO3: FloatArray | float = 0.0,
) -> dict[Weighed, FloatArray]:
    """Part of each subject's worth that is lost, 0 to 1, in each draw on its worst water.

    Every measure out of goal takes its part (``LOSS``) of what the others leave, so a second fault still
    counts. Shape ``(draw,)``, ``(1,)``, or with the axes that stand before the phases.

    Parameters
    ----------
    water, state : shape ``(draw,)``, ``(phase, draw)`` or ``(setting, phase, draw)``
    measured_only : leave out what the report did not measure, chlorine apart: a tap carries a residual unless
        its supply is known to have none. With False the draws of the priors count too (what a test would find)
    inhibited_up_to_mg_L_as_CaCO3 : as for ``judge``
    """
    case = replace(
        case_of(water, state, known, machine, targets, supplies, role),
        inhibited_up_to_mg_L_as_CaCO3=inhibited_up_to_mg_L_as_CaCO3,
    )
    case = replace(case, known=case.known | {"chlorine"}, decided_only=measured_only)
    found: dict[Weighed, FloatArray] = {}
    for subject in SUBJECTS:
        kept: FloatArray = np.ones((1, 1))
        of_line = np.zeros((1, 1), np.int8)
        for judged in MEASURES[subject](case):
            if judged.informs_only or (measured_only and not judged.known):
                continue
            if judged.name in OF_THE_LINE:  # one acid, said twice
                of_line = np.maximum(of_line, _weighed(judged, case))
            else:
                kept = kept * (1 - _lost(judged, case))
        kept = kept * (1 - LOSS[of_line])
        found[subject] = 1 - kept.min(axis=-2)
    return found


def _lost(judged: Judged, case: Case) -> FloatArray:
    """The part lost by one measure. A composition barely past its goal is barely worse: the amber part grows
    from nothing at the goal's bound to all of it at ``NEAR`` beyond, so that no stage is bought for a hair."""
    severity = _weighed(judged, case)
    lost = LOSS[severity]
    if judged.name not in COMPOSITION or judged.severity is not None or not (severity == 1).any():
        return lost
    past = np.zeros(judged.values.shape)
    for bound, sign in ((judged.goal.low, -1.0), (judged.goal.high, 1.0)):
        if bound is not None and bound > 0:
            past = np.maximum(past, sign * (judged.values - bound) / (NEAR * bound))
    return np.where(severity == 1, lost * np.clip(past, 0.0, 1.0), lost)


def _weighed(judged: Judged, case: Case) -> Severity:
    """The severity as it is weighed: acid that leaves with the CO2 is amber at most, and the Larson-Skold
    ratio, made for steel mains, counts only beside chloride that is itself out of goal."""
    found = judged.severities()
    if judged.name == "larson_ratio":
        chloride = case.goals["chloride"].severity(grid(case.water.chloride_mg_L))
        return np.where(chloride > 0, found, 0).astype(np.int8)
    if judged.name not in OF_THE_LINE or not (found > 1).any():
        return found
    stays = grid(case.state.air_ph) < (judged.goal.red_below or 0.0) if judged.name == "line_ph" else False
    return np.minimum(found, np.where(stays, 2, 1)).astype(np.int8)
