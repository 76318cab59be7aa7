"""Deposits in the boiler: hardness, temporary hardness, calcite and gypsum at the machine's temperature."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from brewwater import chemistry
from brewwater.reference import cite
from brewwater.treatment.media.scale_inhibitor import held_back
from brewwater.units import plain
from brewwater.verdicts.case import CACO3, MG, Case, FloatArray, at_most, grid, usual
from brewwater.verdicts.goals import Goal, Severity
from brewwater.verdicts.machine import MachineProfile
from brewwater.verdicts.measure import rule
from brewwater.verdicts.state import State
from brewwater.verdicts.verdict import Judged
from brewwater.water import CACO3_G_PER_MOL, MOLAR_MASS_G

SULFATE_AS_CACO3 = CACO3_G_PER_MOL / MOLAR_MASS_G["sulfate"]


def laid_down_mg_L(state: State, machine: MachineProfile) -> FloatArray:
    """Scale that a litre of feed lays down in a machine, mg as CaCO3, not negative: the shape of the water.

    Where a share of the water leaves as steam the rest is stronger and has lost CO2 (``chemistry.steam_scale``)."""
    if not machine.steam_fraction:
        falls = state.machine_ccpp_mg_L_as_CaCO3
    else:
        falls = chemistry.steam_scale(state.water.totals, machine.steam_fraction, machine.temperature_C)[2]
    return np.maximum(np.nan_to_num(falls), 0)


def scale(case: Case) -> list[Judged]:
    """The measures of scale. Boilers shed CO2: temporary hardness outranks the indices of closed heating.

    Where an inhibitor holds scale back, what heat would throw down is not out of goal; hardness itself is as
    it was."""
    w, s, m, goals = case.water, case.state, case.machine, usual("scale_limits")
    hardness, alkalinity = w.hardness_mg_L_as_CaCO3, w.alkalinity_mg_L_as_CaCO3
    permanent = np.maximum(hardness - np.maximum(alkalinity, 0), 0)
    temporary = np.maximum(np.minimum(hardness, alkalinity), 0)
    both = ["total_hardness", "alkalinity"]
    at = f"at {plain(s.machine_temperature_C, 6)} °C, closed"
    note = "Extrapolated: the constants hold to 90 °C." if s.extrapolated else ""
    goal, manual = at_most(m.hardness_max_mg_L_as_CaCO3, case.goals["total_hardness"].upper_only())
    foaming = plain(rule("foam_sodium_alkalinity_mg_L"), 6)
    foam = f"Above about {foaming} a steam boiler is prone to foam (common practice)."
    up_to = np.asarray(case.inhibited_up_to_mg_L_as_CaCO3, dtype=np.float64)
    held = held_back(w, up_to, steam_boiler=m.makes_steam)
    held_note = ""
    if np.any(up_to > 0):
        held_note = (
            "Heat undoes a scale inhibitor where steam is made: none of it is counted."
            if m.makes_steam
            else f"A scale inhibitor is judged to hold back up to {np.median(up_to):.0f} mg/L (common practice); "
            "water that stands hot for hours escapes it."
        )

    def unless_held(values: Callable[[], FloatArray], goal: Goal) -> Callable[[], Severity] | None:
        return (lambda: np.where(held, 0, goal.severity(grid(values()))).astype(np.int8)) if held.any() else None

    def falls() -> FloatArray:
        return s.machine_ccpp_mg_L_as_CaCO3

    shown, by_chemistry = Goal(source=cite("definition")), Goal(source=cite("plummer_busenberg_1982"))
    found = [
        case.measure("total_hardness", "hardness", CACO3, hardness, goal, ["total_hardness"], manual=manual),
        case.measure(
            "temporary_hardness",
            "temporary hardness",
            CACO3,
            temporary,
            goals["temporary_hardness"],
            both,
            note=held_note,
            severity=unless_held(lambda: temporary, goals["temporary_hardness"]),
        ),
        case.measure(
            "hot_ccpp",
            f"calcite that drops out {at}",
            CACO3,
            falls,
            goals["hot_ccpp"],
            [*both, "ph"],
            note=f"{note} {held_note}".strip(),
            severity=unless_held(falls, goals["hot_ccpp"]),
        ),
        case.measure(
            "hot_index", f"calcite index {at}", "1", lambda: s.machine_index, by_chemistry, [*both, "ph"], note=note
        ),
        case.measure(
            "gypsum_index",
            f"gypsum index {at}",
            "1",
            lambda: s.machine_gypsum_index,
            goals["gypsum_index"],
            ["total_hardness", "sulfate"],
            note=note,
        ),
        case.measure("permanent_hardness", "permanent hardness", CACO3, permanent, shown, both),
        case.measure(
            "sulfate_hardness",
            "sulfate hardness",
            CACO3,
            np.minimum(permanent, w.ion_mg_L("sulfate") * SULFATE_AS_CACO3),
            goals["sulfate_hardness"],
            [*both, "sulfate"],
            note="Hard scale where water is boiled away or rejected.",
        ),
        case.measure(
            "sodium_alkalinity",
            "sodium alkalinity",
            CACO3,
            np.maximum(alkalinity - hardness, 0),
            shown,
            both,
            note=foam,
        ),
    ]
    if m.steam_fraction and not case.decided_only:
        closed, vented, between = chemistry.steam_scale(w.totals, m.steam_fraction, m.temperature_C)
        ends = f"{_middle(closed)} with all CO2 kept, {_middle(vented)} with it gone"
        found.append(
            case.measure(
                "steam_scale",
                "scale from a litre fed to the steam boiler",
                CACO3,
                between,
                shown,
                both,
                note=f"At {m.cycles:.1f} times the feed; {ends}: steam carries most of it away.",
            )
        )
    for name, label, unit, values, limit in (
        ("alkalinity", "alkalinity", CACO3, alkalinity, m.alkalinity_max_mg_L_as_CaCO3),
        ("total_dissolved_solids", "dissolved solids", MG, s.tds_mg_L, m.tds_max_mg_L),
    ):
        if limit is not None:
            goal, manual = at_most(limit, shown)
            found.append(case.measure(name, label, unit, values, goal, [name], manual=manual))
    return found


def _middle(values: FloatArray) -> str:
    """The median of what is solved, in words."""
    solved = values[np.isfinite(values)]
    return f"{np.median(solved):.0f}" if len(solved) else "not known"
