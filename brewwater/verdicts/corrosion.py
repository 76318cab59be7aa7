"""Metal: chloride, Larson-Skold, the line's undegassed pH with alkalinity and CO2, level probes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from brewwater.reference import cite, table
from brewwater.verdicts.case import CACO3, MG, Case, at_least, at_most, grid, usual
from brewwater.verdicts.goals import Goal
from brewwater.verdicts.verdict import Judged

FloatArray = NDArray[np.float64]


def corrosion(case: Case) -> list[Judged]:
    """The measures of corrosion. Low pH is red only on copper and brass; the Larson-Skold ratio, made for
    steel mains, only beside chloride that is itself out of goal."""
    w, s, m, goals = case.water, case.state, case.machine, usual("corrosion_limits")
    chloride, alkalinity = w.chloride_mg_L, w.alkalinity_mg_L_as_CaCO3
    goal, manual = at_most(m.chloride_max_mg_L, case.goals["chloride"])
    out_of_goal = case.goals["chloride"].severity(grid(chloride)) > 0
    larson = np.minimum(goals["larson_ratio"].severity(grid(s.larson_ratio)), 1 + out_of_goal)
    copper = m.wetted_metal == "copper_brass"
    cap = 2 if copper else 1
    capped = "" if copper else " At most amber: the wetted parts are not given as copper or brass."
    found = [
        case.measure("chloride", "chloride", MG, chloride, goal, ["chloride"], manual=manual),
        case.measure(
            "line_ph",
            "pH in the line",
            "1",
            lambda: s.line_ph,
            goals["line_ph"],
            ["ph"],
            cap=cap,
            note=f"Before CO2 is lost.{capped}",
        ),
        case.measure(
            "line_alkalinity", "alkalinity", CACO3, alkalinity, goals["line_alkalinity"], ["alkalinity"], cap=cap
        ),
        case.measure(
            "line_co2",
            "CO2 in the line",
            "mg/L as CO2",
            lambda: s.line_co2_mg_L,
            goals["line_co2"],
            ["ph", "alkalinity"],
            cap=cap,
        ),
        case.measure(
            "larson_ratio",
            "Larson-Skold ratio",
            "1",
            s.larson_ratio,
            goals["larson_ratio"],
            ["chloride", "sulfate", "alkalinity"],
            severity=larson.astype(np.int8),
            note="Devised for steel mains; read beside absolute chloride.",
        ),
        *_boiler_chloride(case, chloride),
    ]
    probe = m.limit("minimum_conductivity_uS_cm")
    if probe is not None:
        red_below = probe.value if probe.from_manual else None
        found.append(
            case.measure(
                "conductivity",
                "conductivity",
                "µS/cm",
                lambda: s.conductivity_uS_cm,
                Goal(low=probe.value, red_below=red_below, source=probe.source),
                ["total_dissolved_solids"],
                manual=probe.from_manual,
                note="Below it, level probes go blind.",
            )
        )
    for name, label, values, limit in (
        ("total_hardness", "hardness", w.hardness_mg_L_as_CaCO3, m.hardness_min_mg_L_as_CaCO3),
        ("alkalinity", "alkalinity", alkalinity, m.alkalinity_min_mg_L_as_CaCO3),
    ):
        if limit is not None:
            found.append(case.measure(name, label, CACO3, values, at_least(limit), [name], manual=True))
    return found


def _boiler_chloride(case: Case, chloride: FloatArray) -> list[Judged]:
    """Chloride in the boiler's own water, against what the stainless grade bears at its temperature."""
    m = case.machine
    stainless = m.wetted_metal == "stainless"
    if not stainless and m.steam_fraction is None:
        return []
    cycles = 1 / (1 - (m.steam_fraction or 0.0))
    notes = []
    if m.steam_fraction is not None:
        notes.append(f"Steam leaves salts behind: {cycles:.1f} times the feed; draw or drain as the manual says.")
    goal = Goal(source=cite("definition"))
    if stainless:
        low, source, beyond = stainless_chloride_max_mg_L("304", m.temperature_C)
        high = stainless_chloride_max_mg_L("316", m.temperature_C)[0]
        first, last = {"304": (low, low), "316": (high, high), "unknown": (low, high)}[m.stainless_grade]
        goal = Goal(high=first, red_above=last, source=source)
        if first != last:
            notes.append("The grade is unknown: over what 304 bears is amber, over what 316 bears red.")
        if beyond:
            notes.append("The table ends at 120 °C; its last value stands for hotter.")
    label, note = "chloride in the boiler", " ".join(notes)
    return [case.measure("boiler_chloride", label, MG, chloride * cycles, goal, ["chloride"], note=note)]


def stainless_chloride_max_mg_L(grade: str, temperature_C: float) -> tuple[float, str, bool]:
    """Chloride, mg/L, that a stainless grade ("304", "316") bears at a temperature without crevice attack.

    Linear between the rows of ``reference/stainless_chloride.csv`` (20 to 120 °C); colder than the first row
    its value holds. Returns the figure, its citation and whether the temperature is beyond the table's end.
    """
    rows = sorted(
        (float(r["temperature_C"]), float(r["chloride_max_mg_L"]), r["source"])
        for r in table("stainless_chloride")
        if r["grade"] == grade
    )
    if not rows:
        raise ValueError(f"no stainless grade {grade!r}")
    value = np.interp(temperature_C, [r[0] for r in rows], [r[1] for r in rows])
    source = "; ".join(cite(key) for key in dict.fromkeys(r[2] for r in rows))
    return float(value), source, temperature_C > rows[-1][0]
