"""How far out of goal each draw is: what the search and the value of a test weigh."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brewwater.intake.analysis import Supply
from brewwater.targets.case import Case
from brewwater.targets.goals import TargetChoice
from brewwater.targets.judge import MEASURES, case_of
from brewwater.targets.machine import MachineProfile
from brewwater.targets.measure import Role
from brewwater.targets.state import State
from brewwater.water import Water

FloatArray = NDArray[np.float64]

Weighed = Literal["cup", "scale", "corrosion"]
SUBJECTS: tuple[Weighed, ...] = ("cup", "scale", "corrosion")
# Part of the worth of a subject that is lost in goal, amber and red (common practice, no source).
LOSS = np.array([0.0, 0.15, 1.0])


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
) -> dict[Weighed, FloatArray]:
    """Severity of each draw on its worst water: parts of ``LOSS``; shape ``(draw,)`` or ``(1,)``.

    Parameters
    ----------
    water, state : shape ``(draw,)`` or ``(phase, draw)``, as for ``judge``
    measured_only : leave out what the report did not measure; with False the draws of the priors count too
        (what a test would find)
    """
    case: Case = case_of(water, state, known, machine, targets, supplies, role)
    found: dict[Weighed, FloatArray] = {}
    for subject in SUBJECTS:
        worst: FloatArray = np.zeros(1)
        for judged in MEASURES[subject](case):
            if judged.informs_only or (measured_only and not judged.known):
                continue
            worst = np.maximum(worst, LOSS[judged.severities()].max(axis=0))
        found[subject] = worst
    return found
