"""Taste: hardness, alkalinity, solids, pH as CO2 leaves, chlorine, metals, sodium."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
from numpy.typing import NDArray

from brewwater.reference import cite, table
from brewwater.verdicts.case import CACO3, MG, Case, grid
from brewwater.verdicts.goals import Goal, TargetChoice, goals
from brewwater.verdicts.state import State
from brewwater.verdicts.verdict import Judged

FloatArray = NDArray[np.float64]


def cup(case: Case) -> list[Judged]:
    """The measures of the cup."""
    w, s, g = case.water, case.state, case.goals
    path = ""
    if not case.decided_only:
        path = (
            f"From {np.nanmedian(s.line_ph):.1f} in the line to {np.nanmedian(s.air_ph):.1f} once CO2 has "
            "settled with the air; judged where that path comes nearest to the goal."
        )
    source = case.role == "source"
    inferred = case.has("sodium") and "sodium" not in case.measured
    found = [
        case.measure(
            "total_hardness", "hardness", CACO3, w.hardness_mg_L_as_CaCO3, g["total_hardness"], ["total_hardness"]
        ),
        case.measure("alkalinity", "alkalinity", CACO3, w.alkalinity_mg_L_as_CaCO3, g["alkalinity"], ["alkalinity"]),
        case.measure(
            "total_dissolved_solids",
            "dissolved solids",
            MG,
            s.tds_mg_L,
            g["total_dissolved_solids"],
            ["total_dissolved_solids"],
        ),
        case.measure(
            "ph",
            "pH in the cup",
            "1",
            lambda: nearest_ph(grid(s.line_ph), grid(s.air_ph), g["ph"]),
            g["ph"],
            ["ph"],
            note=path,
        ),
        case.measure(
            "total_chlorine",
            "total chlorine",
            "mg/L as Cl2",
            w.total_chlorine_mg_L,
            g["total_chlorine"],
            ["chlorine"],
            cap=1 if source else 2,
            note="The goal is for filtered water; a tap needs its residual." if source else "",
        ),
        case.measure("iron", "iron", MG, w.iron_mg_L, g["iron"], ["iron"]),
        case.measure("manganese", "manganese", MG, w.manganese_mg_L, g["manganese"], ["manganese"]),
        case.measure(
            "sodium",
            "sodium",
            MG,
            w.sodium_mg_L,
            g["sodium"],
            ["sodium"],
            note="Inferred from the charge balance." if inferred else "",
        ),
    ]
    if "calcium_hardness" in g:
        found.insert(
            1,
            case.measure(
                "calcium_hardness",
                "calcium hardness",
                CACO3,
                w.calcium_hardness_mg_L_as_CaCO3,
                g["calcium_hardness"],
                ["calcium" if case.has("calcium") else "total_hardness"],
            ),
        )
    found += [
        case.measure(f"{ion}_taste", f"{ion} (taste)", MG, w.ion_mg_L(ion), goal, [ion])
        for ion, goal in _taste_goals().items()
    ]
    return found


def ph_in_cup(state: State, targets: TargetChoice) -> FloatArray:
    """The pH that the cup is judged at and that is printed for it: ``nearest_ph`` of the way from the line to the
    air, whether or not a pH was measured; the shape of the water."""
    return nearest_ph(state.line_ph, state.air_ph, goals(targets)["ph"])


def nearest_ph(line: FloatArray, airy: FloatArray, goal: Goal) -> FloatArray:
    """The pH, between the line's and the air's, that lies nearest to the goal; where several are in goal, the first
    on the way from the line.

    Water on its way to the cup passes every pH from that of the line to that of balance with the air, and the
    brewer may or may not let CO2 leave. A weak-acid bed's pH 6 with CO2 to lose is no fault of the cup, nor is the
    air's 8.2 of a water served at 7.5; only a path that never comes near the goal is.
    """
    low, high = (-np.inf if goal.low is None else goal.low), (np.inf if goal.high is None else goal.high)
    return np.asarray(np.clip(np.clip(line, low, high), np.minimum(line, airy), np.maximum(line, airy)))


@cache
def _taste_goals() -> Mapping[str, Goal]:
    """The US secondary limits of chloride and sulfate, beyond which they are tasted."""
    wanted = {("us_federal", "secondary", ion) for ion in ("chloride", "sulfate")}
    return {
        row["analyte"]: Goal(high=float(row["high"]), source=cite(row["source"]))
        for row in table("legal_limits")
        if (row["law"], row["kind"], row["analyte"]) in wanted
    }
