"""What the measures of cup, scale and corrosion read, and the small steps that they share."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from brewwater.reference import keyed
from brewwater.verdicts.goals import Goal, Severity, goal_of
from brewwater.verdicts.machine import MANUAL, MachineProfile
from brewwater.verdicts.measure import Role
from brewwater.verdicts.state import State
from brewwater.verdicts.verdict import Judged
from brewwater.water import Water

FloatArray = NDArray[np.float64]

MG = "mg/L"
CACO3 = "mg/L as CaCO3"
MAIN_IONS = frozenset({"total_hardness", "alkalinity", "chloride", "sulfate"})


@dataclass(frozen=True, slots=True)
class Case:
    """A water, its solved state, what the report measured, the machine and the goals.

    ``known`` is ``measured`` and what follows from it; ``chlorine`` stands in it where the disinfectant's
    kind or amount was reported. ``inhibited_up_to``: temporary hardness, mg/L as CaCO3, up to which a scale
    inhibitor ahead of the machine holds scale back; 0 without one. ``decided_only``: what is not known is left
    out, unsolved, because nobody reads it.
    """

    water: Water
    state: State
    measured: frozenset[str]
    known: frozenset[str]
    machine: MachineProfile
    goals: Mapping[str, Goal]
    role: Role
    inhibited_up_to_mg_L_as_CaCO3: FloatArray | float = 0.0
    decided_only: bool = False

    def has(self, *analytes: str) -> bool:
        """True where every analyte was measured or follows from what was."""
        return all(a in self.known for a in analytes)

    def measure(
        self,
        name: str,
        label: str,
        unit: str,
        values: FloatArray | Callable[[], FloatArray],
        goal: Goal,
        needs: Sequence[str],
        *,
        manual: bool = False,
        cap: int = 2,
        severity: Severity | Callable[[], Severity] | None = None,
        note: str = "",
    ) -> Judged:
        """A measure of this water: ``values`` of its shape, decided where all of ``needs`` is known.

        What takes solving is given as a function, and not called where nobody reads it."""
        known = self.has(*needs)
        if self.decided_only and (not known or (severity is None and goal.unbound)):
            values, severity = _UNREAD, None
        if callable(values):
            values = values()
        if callable(severity):
            severity = severity()
        return Judged(name, label, unit, grid(values), goal, known, manual, cap, severity, note, tuple(needs))


_UNREAD: FloatArray = np.zeros(1)


def grid(values: FloatArray) -> FloatArray:
    """Values as ``(phase, draw)``, or ``(setting, phase, draw)`` in a search; each axis may be 1."""
    return np.atleast_2d(np.asarray(values, dtype=np.float64))


def widen(measured: frozenset[str]) -> frozenset[str]:
    """What was measured, and what follows from it without a guess.

    Hardness from calcium and magnesium, alkalinity from bicarbonate, dissolved solids from conductivity or
    the main ions, sodium from the charge balance where it alone is missing.
    """
    found = set(measured)
    if {"calcium", "magnesium"} <= found:
        found.add("total_hardness")
    if "bicarbonate" in found:
        found.add("alkalinity")
    if found >= MAIN_IONS:
        found |= {"sodium", "total_dissolved_solids"}
    if "conductivity" in found:
        found.add("total_dissolved_solids")
    if found & {"free_chlorine", "total_chlorine", "chloramine"}:
        found.add("chlorine")
    return frozenset(found)


@cache
def usual(table_name: str) -> Mapping[str, Goal]:
    """The goals of a table of ``reference/``, by measure."""
    return {measure: goal_of(row) for measure, row in keyed(table_name, "measure").items()}


def at_most(limit: float | None, otherwise: Goal) -> tuple[Goal, bool]:
    """The manual's maximum where there is one, else the usual goal; and whether it is the manual's."""
    if limit is None:
        return otherwise, False
    return Goal(high=limit, red_above=limit, source=MANUAL), True


def at_least(limit: float) -> Goal:
    """The manual's minimum as a goal."""
    return Goal(low=limit, red_below=limit, source=MANUAL)
