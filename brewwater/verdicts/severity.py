"""How far out of goal each draw is: what the search and the value of a test weigh."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brewwater.reports.analysis import Supply
from brewwater.verdicts.case import usual
from brewwater.verdicts.goals import TargetChoice, goals, weighing
from brewwater.verdicts.judge import MEASURES, case_of
from brewwater.verdicts.machine import MachineProfile
from brewwater.verdicts.measure import Role
from brewwater.verdicts.state import Bounded, State
from brewwater.verdicts.verdict import Judged
from brewwater.water import Water

FloatArray = NDArray[np.float64]

Weighed = Literal["cup", "chlorine", "scale", "corrosion"]
SUBJECTS: tuple[Literal["cup", "scale", "corrosion"], ...] = ("cup", "scale", "corrosion")
# Chlorine is weighed apart from the rest of the cup: that it may pass says nothing on whether minerals are needed.
WEIGHED: tuple[Weighed, ...] = ("cup", "chlorine", "scale", "corrosion")
CHLORINE = "total_chlorine"
# Acid that leaves with its CO2 harms only a metal line, and a line that is not metal mends that at the price of a
# hose: it is judged and told, and never weighed against a medium.
OF_THE_LINE = frozenset({"line_ph", "line_co2"})
SUM = "total_dissolved_solids"


@dataclass(frozen=True, slots=True)
class Lost:
    """How far out of goal, 0 to 1, each shape ``(draw,)``, ``(1,)`` or with the axes that stand before the phases.

    cup, corrosion, scale : by subject; ``chlorine`` : that part of the cup, apart from its rest
    limit : the machine's own limits that are passed, counted under their subject too
    faults : how many measures are out of goal, 0 or more; dissolved solids (a sum of the others)
        and scale (hardness and alkalinity again) aside
    """

    cup: FloatArray
    chlorine: FloatArray
    scale: FloatArray
    corrosion: FloatArray
    limit: FloatArray
    faults: FloatArray

    def __getitem__(self, subject: Weighed) -> FloatArray:
        found: FloatArray = getattr(self, subject)
        return found


def bounded(water: Water, machine: MachineProfile, targets: TargetChoice) -> Bounded:
    """A state that solves only what ``severity`` can read."""
    ph, gypsum = goals(targets)["ph"], usual("scale_limits")["gypsum_index"]
    low = -np.inf if ph.low is None else ph.low
    high = np.inf if ph.high is None else ph.high
    probe = machine.limit("minimum_conductivity_uS_cm")
    return Bounded(
        water,
        machine.temperature_C,
        (low, high),
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
) -> Lost:
    """How far out of goal each draw is, 0 to 1, on its worst water.

    Every measure out of goal takes its part (``Goal.depth``) of what the others leave, so a second fault still
    counts.

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
    found: dict[str, FloatArray] = {}
    chlorine: FloatArray = np.ones((1, 1))
    within: FloatArray = np.ones((1, 1))
    faults: FloatArray = np.zeros((1, 1))
    for subject in SUBJECTS:
        kept: FloatArray = np.ones((1, 1))
        for judged in MEASURES[subject](case):
            if judged.informs_only or judged.name in OF_THE_LINE or (measured_only and not judged.known):
                continue
            part = 1 - _lost(judged)
            if judged.name == CHLORINE:
                chlorine = part
            else:
                kept = kept * part
            if judged.name != SUM and subject != "scale":
                faults = faults + (part < 1)
            if judged.manual and subject == "scale":  # chloride's own limit counts with the metal already
                within = within * part
        found[subject] = 1 - kept.min(axis=-2)
    return Lost(
        cup=found["cup"],
        chlorine=1 - chlorine.min(axis=-2),
        scale=found["scale"],
        corrosion=found["corrosion"],
        limit=1 - within.min(axis=-2),
        faults=faults.max(axis=-2),
    )


def _lost(judged: Judged) -> FloatArray:
    """The part lost by one measure: what it is held out of, or capped to amber, counts less."""
    lost = judged.goal.depth(judged.values)
    if judged.name == SUM:
        lost = 1 - (1 - lost) ** weighing()["weight_of_dissolved_solids"]
    if judged.cap < 2:
        lost = np.minimum(lost, weighing()["most_of_a_cap"])
    return lost if judged.severity is None else np.where(judged.severity > 0, lost, 0.0)
