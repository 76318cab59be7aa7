"""``judge``: the verdicts on cup, scale, corrosion and safety for one water at one machine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import percentiles
from brewwater.reports.analysis import Supply
from brewwater.units import plain
from brewwater.verdicts.case import Case, grid, widen
from brewwater.verdicts.corrosion import corrosion
from brewwater.verdicts.cup import cup
from brewwater.verdicts.goals import TargetChoice, goals
from brewwater.verdicts.machine import MachineProfile
from brewwater.verdicts.measure import Role, Subject
from brewwater.verdicts.readings import ServedReading, with_readings
from brewwater.verdicts.safety import potability, worst_safety
from brewwater.verdicts.scale import scale
from brewwater.verdicts.state import State, describe
from brewwater.verdicts.verdict import Judged, Verdict, conclude
from brewwater.water import Water

FloatArray = NDArray[np.float64]

# What must be measured before a subject can be called anything but unknown (or, by the rest, act).
REQUIRED: dict[Subject, tuple[str, ...]] = {
    "cup": ("total_hardness", "alkalinity"),
    "scale": ("total_hardness", "alkalinity"),
    "corrosion": ("chloride", "ph", "alkalinity"),
}
MEASURES: dict[Subject, Callable[[Case], list[Judged]]] = {
    "cup": cup,
    "scale": scale,
    "corrosion": corrosion,
}


def judge(
    water: Water,
    state: State | None = None,
    *,
    known: frozenset[str],
    weights: FloatArray,
    role: Role = "source",
    machine: MachineProfile | None = None,
    targets: TargetChoice | None = None,
    supplies: Sequence[Supply] = (),
    branch: str | None = None,
    phase_names: Sequence[str] = (),
    on: date | None = None,
    inhibited_up_to_mg_L_as_CaCO3: FloatArray | float = 0.0,
    readings: Sequence[ServedReading] = (),
) -> tuple[Verdict, ...]:
    """Judge a water at a machine: cup, scale, corrosion, safety, in that order.

    Parameters
    ----------
    water : shape ``(draw,)`` or ``(phase, draw)``; a phase is one of the waters that reach the tank. The
        worst phase decides each subject, never the average, and is named
    state : ``describe(water, machine.temperature_C)``, where the caller already has it
    known : the analytes that were measured; what rests on others is ``unknown``, never assumed
    weights : shape ``(draw,)``
    role : ``source``, or ``served`` for the water after treatment
    machine, targets : defaults: an espresso machine with no manual, the trade's goals
    supplies : the supplies behind the water, for safety and for the disinfectant; none: safety is unknown
    phase_names : one name for each phase
    on : the day whose legal limits hold
    inhibited_up_to_mg_L_as_CaCO3 : temporary hardness up to which a scale inhibitor ahead of the machine holds
        scale back (``TrainResult`` has it), shape ``(draw,)``; 0 without one
    readings : tests of this water that no change has cleared

    Returns
    -------
    tuple of four ``Verdict``
    """
    machine, targets = machine or MachineProfile(), targets or TargetChoice()
    solved = describe(water, machine.temperature_C) if state is None else state
    case = replace(
        case_of(water, solved, known, machine, targets, supplies, role),
        inhibited_up_to_mg_L_as_CaCO3=inhibited_up_to_mg_L_as_CaCO3,
    )
    judged = {subject: measures(case) for subject, measures in MEASURES.items()}
    found = tuple(
        with_readings(
            conclude(
                subject,
                measures,
                [a for a in REQUIRED[subject] if not case.has(a)],
                weights,
                role=role,
                branch=branch,
                phase_names=phase_names,
                note=_without_ph(case, weights, subject),
            ),
            measures,
            readings,
        )
        for subject, measures in judged.items()
    )
    gates = [
        potability(s, law=targets.law, on=on, role=role, branch=branch)
        for s in supplies or (Supply(name="This water"),)
    ]
    safety = worst_safety(gates)
    if len(gates) > 1:
        safety = replace(
            safety, phase=next(s.name for s, g in zip(supplies, gates, strict=True) if g.verdict is safety)
        )
    return (*found, safety)


def case_of(
    water: Water,
    state: State,
    known: frozenset[str],
    machine: MachineProfile,
    targets: TargetChoice,
    supplies: Sequence[Supply],
    role: Role,
) -> Case:
    """What the measures read; arguments as for ``judge``."""
    named = bool(supplies) and all(s.disinfectant != "unknown" for s in supplies)
    decided = widen(known) | ({"chlorine"} if named else frozenset())
    return Case(water, state, known, decided, machine, goals(targets), role)


def _without_ph(case: Case, weights: FloatArray, subject: Subject) -> str:
    """Without a measured pH the calcite index is a range, never one figure at a guessed pH."""
    if case.has("ph") or not case.has("total_hardness", "alkalinity") or subject == "cup":
        return ""
    index, where = case.state.cold_index, "of the cold water"
    if subject == "scale":
        index, where = case.state.machine_index, f"at {plain(case.state.machine_temperature_C, 6)} °C, closed"
    if not np.isfinite(index).all():
        return ""
    shown = percentiles(grid(index), weights)
    spread = f"{shown.min():+.1f} to {shown.max():+.1f}"
    return f" Without a pH the calcite index {where} is anywhere from {spread}."
