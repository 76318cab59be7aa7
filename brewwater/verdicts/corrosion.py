"""Metal, by the metal that is there: chloride, the line's undegassed pH with alkalinity and CO2, level probes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from brewwater.reference import cite, table
from brewwater.verdicts.case import CACO3, MG, Case, at_least, at_most, grid, usual
from brewwater.verdicts.goals import Goal, Severity
from brewwater.verdicts.verdict import Judged

FloatArray = NDArray[np.float64]


def corrosion(case: Case) -> list[Judged]:
    """The measures of corrosion, each held against the metal that is there.

    Acid and CO2 are red only where the line is metal (or where they do not leave with the air); a line that is
    not asks for no more than to stay so. The Larson-Skold ratio, made for steel mains, judges only steel."""
    w, s, m, goals = case.water, case.state, case.machine, usual("corrosion_limits")
    alkalinity = w.alkalinity_mg_L_as_CaCO3
    copper = "copper_brass" in (m.wetted_metal, m.line_material)
    shown = Goal(source=cite("definition"))
    line = goals["line_ph"]
    of_line = (
        "Before CO2 is lost. The line is metal: it wants another, approved for drinking water."
        if m.metal_line
        else "Before CO2 is lost. Keep the line from filter to machine non-metallic, and parts lead-free."
    )

    def line_severity() -> Severity:
        """Red on a metal line, and where the air does not mend it; else amber."""
        found = line.severity(grid(s.line_ph))
        if m.metal_line or not (found > 1).any():
            return found
        stays = grid(s.air_ph) < (line.red_below or 0.0)
        return np.minimum(found, np.where(stays, 2, 1)).astype(np.int8)

    found = [
        *_inlet_chloride(case),
        case.measure(
            "line_ph", "pH in the line", "1", lambda: s.line_ph, line, ["ph"], note=of_line, severity=line_severity
        ),
        case.measure(
            "line_alkalinity",
            "alkalinity",
            CACO3,
            alkalinity,
            goals["line_alkalinity"],
            ["alkalinity"],
            cap=2 if copper else 1,
        ),
        case.measure(
            "line_co2",
            "CO2 in the line",
            "mg/L as CO2",
            lambda: s.line_co2_mg_L,
            goals["line_co2"],
            ["ph", "alkalinity"],
            cap=2 if m.metal_line else 1,
        ),
        case.measure(
            "larson_ratio",
            "Larson-Skold ratio",
            "1",
            s.larson_ratio,
            goals["larson_ratio"] if m.rusts else shown,
            ["chloride", "sulfate", "alkalinity"],
            note="Devised for steel mains" + ("." if m.rusts else ": shown, and no steel is wetted here."),
        ),
        *_beside_sulfate(case),
        *_boiler_chloride(case, w.chloride_mg_L),
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


def _inlet_chloride(case: Case) -> list[Judged]:
    """Chloride of the water that goes in, against the manual's limit there, else the usual goal; and the manual's
    limit of boiler water, where it is that."""
    m, chloride = case.machine, case.water.chloride_mg_L
    of_boiler = m.chloride_limit_at == "boiler" and m.chloride_max_mg_L is not None
    goal, manual = at_most(None if of_boiler else m.chloride_max_mg_L, case.goals["chloride"])
    found = [case.measure("chloride", "chloride", MG, chloride, goal, ["chloride"], manual=manual)]
    if of_boiler:
        goal, manual = at_most(m.chloride_max_mg_L, goal)
        found.append(
            case.measure(
                "boiler_chloride_limit",
                "chloride in the boiler's water",
                MG,
                chloride * m.cycles,
                goal,
                ["chloride"],
                manual=manual,
            )
        )
    return found


def _beside_sulfate(case: Case) -> list[Judged]:
    """Chloride to sulfate by mass, where brass may hold lead: a note, no judgement."""
    if not case.machine.lead_bearing_brass:
        return []
    sulfate = case.water.ion_mg_L("sulfate")
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(sulfate > 0, case.water.chloride_mg_L / sulfate, np.inf)
    known = usual("corrosion_limits")["chloride_to_sulfate"]
    note = f"Above {known.high:g} by mass more lead leaves brass and solder: have the tap tested for lead."
    goal = Goal(source=known.source)
    return [
        case.measure(
            "chloride_to_sulfate", "chloride to sulfate by mass", "1", ratio, goal, ["chloride", "sulfate"], note=note
        )
    ]


def _boiler_chloride(case: Case, chloride: FloatArray) -> list[Judged]:
    """Chloride in the boiler's own water, against what the stainless grade bears at its temperature."""
    m = case.machine
    stainless = m.wetted_metal == "stainless"
    if not stainless and m.steam_fraction is None:
        return []
    cycles = m.cycles
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
