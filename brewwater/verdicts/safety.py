"""The potability gate: legal limits, notices, violations and wells. Never a reason to sell a filter.

The gate stops a plan, warns, or says that the report does not tell. It never calls water safe unless the
report covers the analytes of ``reference/potability_gate.csv``, and even then only within the report.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Literal

from brewwater.errors import InputError
from brewwater.reference import Row, cite, table
from brewwater.reports.analysis import Measurement, Supply
from brewwater.units import plain, to_plan_units
from brewwater.verdicts.measure import Measure, Role, Status
from brewwater.verdicts.verdict import RANK, Verdict

Law = Literal["us_federal", "eu", "who"]
Level = Literal["stop", "watch", "note"]

CALL = "Do not use it; call the water authority or the health department. No filter in this plan mends that"
LAW_NAME = {"us_federal": "US federal", "eu": "EU", "who": "WHO", "any": "usual"}
KIND_NAME = {
    "health": "limit",
    "action_level": "action level",
    "disinfectant": "disinfectant limit",
    "secondary": "secondary (taste and stain) limit",
    "germ": "limit",
}
# Judged and referred: treatable, but not by a taste filter chosen here.
REFERRED = frozenset({"iron", "manganese", "hydrogen_sulfide"})
# Only a report or a laboratory covers an analyte of the gate.
COVERING = frozenset({"report", "lab"})
LEGAL = frozenset({"health", "action_level", "disinfectant"})
GERMS = {"e_coli": "E. coli", "fecal_coliform": "Fecal coliform", "total_coliform": "Coliform"}


@dataclass(frozen=True, slots=True)
class GateFinding:
    """One thing the gate found: ``stop`` ends the plan, ``watch`` warns, ``note`` is only shown."""

    level: Level
    analyte: str | None
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class Potability:
    """The safety verdict, everything found, and the analytes of the gate that the report does not cover."""

    verdict: Verdict
    findings: tuple[GateFinding, ...]
    uncovered: tuple[str, ...]


def potability(
    supply: Supply,
    *,
    law: Law = "us_federal",
    on: date | None = None,
    role: Role = "source",
    branch: str | None = None,
) -> Potability:
    """Judge a supply against legal limits and what is reported of it.

    Parameters
    ----------
    supply : its measurements, kind, notice and reported violations
    law : whose limits stop the plan; over another law's limit it warns
    on : the day whose limits hold; by default the day the tables were read, so that a plan repeats

    Returns
    -------
    Potability : status ``stop``, ``watch``, ``unknown`` (a gate analyte is not covered) or ``ok``

    Source: reference/legal_limits.csv, reference/potability_gate.csv.
    """
    day = on or date.fromisoformat(table("legal_limits")[0]["as_of"])
    entries = supply.analysis
    covered = _covered(entries, law, day)
    uncovered = _lacking(covered, table("potability_gate"))
    found = [*_facts(supply, covered), *_over_limits(entries, law, day), *_nitrogen_sum(entries, law)]
    if supply.violation_reported is False:
        found += _germs(supply, entries)
    order = {"stop": 0, "watch": 1, "note": 2}
    found.sort(key=lambda f: order[f.level])
    return Potability(_verdict(supply, found, uncovered, role, branch), tuple(found), uncovered)


def worst_safety(found: Sequence[Potability]) -> Verdict:
    """The worst of several supplies' safety verdicts."""
    return max((p.verdict for p in found), key=lambda v: RANK[v.status])


def _covered(entries: Mapping[str, Measurement], law: Law, day: date) -> frozenset[str]:
    """Analytes that a report or a laboratory gives in a form that the law's limit can be held against."""
    rows = [r for r in table("legal_limits") if r["law"] == law and r["kind"] in LEGAL and _holds(r, day)]
    return frozenset(
        analyte
        for analyte, entry in entries.items()
        if entry.method in COVERING and all(_tells(row, entry) for row in rows if row["analyte"] == analyte)
    )


def _tells(row: Row, entry: Measurement) -> bool:
    """False where the unit cannot be compared, or where the detection limit is above the legal limit."""
    try:
        over = _passed(row, entry)
    except InputError:
        return False
    return over is None or not entry.below_detection


def _lacking(covered: frozenset[str], rows: Sequence[Row]) -> tuple[str, ...]:
    return tuple(row["group"] for row in rows if not covered & set(row["analytes"].split()))


def _facts(supply: Supply, covered: frozenset[str]) -> list[GateFinding]:
    found = []
    common = cite("common_practice")
    notice = {"boil_water": "a boil-water notice", "do_not_drink": "a do-not-drink notice"}.get(supply.notice)
    if notice:
        found.append(GateFinding("stop", None, f"There is {notice} on this supply", common))
    if supply.violation_reported:
        text = "The report names a violation of a drinking-water limit"
        found.append(GateFinding("stop", None, text, "the report"))
    if supply.kind == "well":
        must = [row for row in table("potability_gate") if row["well_must_have"] == "yes"]
        if untested := _lacking(covered, must):
            found.append(GateFinding("stop", None, f"The well is not tested for {', '.join(untested)}", common))
    return found


def _germs(supply: Supply, entries: Mapping[str, Measurement]) -> list[GateFinding]:
    found = []
    for analyte, name in GERMS.items():
        entry = entries.get(analyte)
        if entry is None or entry.below_detection or entry.value.high <= 0:
            continue
        row = next(r for r in table("legal_limits") if r["analyte"] == analyte)
        if supply.kind == "well":
            found.append(GateFinding("stop", analyte, f"{name} was found in the well", cite(row["source"])))
        else:
            shown = f" ({entry.text.strip()})" if entry.text else ""
            found.append(
                GateFinding(
                    "watch",
                    analyte,
                    f"{name} was found in a sample{shown} without a violation: lawful, but ask the "
                    "utility what was done",
                    cite(row["source"]),
                )
            )
    return found


@cache
def _limit_in_plan_units(value: str, unit: str, analyte: str, basis: str) -> float:
    return to_plan_units(float(value), unit, analyte, basis or None)


def _over_limits(entries: Mapping[str, Measurement], law: Law, day: date) -> list[GateFinding]:
    found = []
    for row in table("legal_limits"):
        entry = entries.get(row["analyte"])
        if entry is None or row["kind"] == "germ" or not _holds(row, day):
            continue
        level = _level(row, entry, law, day)
        if level is not None:
            found.append(GateFinding(level, row["analyte"], _over_text(row, entry, law, day), cite(row["source"])))
    return found


def _holds(row: Row, day: date) -> bool:
    return not row["applies_until"] or day < date.fromisoformat(row["applies_until"])


def _not_yet(row: Row, day: date) -> bool:
    return bool(row["applies_from"]) and day < date.fromisoformat(row["applies_from"])


def _level(row: Row, entry: Measurement, law: Law, day: date) -> Level | None:
    """How far a row's limit is passed: None where it is not.

    Raises
    ------
    InputError : the entry and the limit have no common unit
    """
    over = _passed(row, entry)
    if over is None:
        return None
    if row["kind"] == "secondary":
        if row["law"] not in (law, "any"):
            return None
        return "watch" if row["analyte"] in REFERRED else "note"
    if entry.below_detection:
        return "note"  # a detection limit above the legal limit decides nothing
    return "stop" if over == "certain" and row["law"] == law and not _not_yet(row, day) else "watch"


def _passed(row: Row, entry: Measurement) -> Literal["certain", "highest"] | None:
    """``certain`` where the figure that the limit speaks of is over it, ``highest`` where only the top is."""
    analyte, unit, basis = row["analyte"], row["unit"], row["basis"]
    value = entry.in_plan_units(analyte)
    high = _limit_in_plan_units(row["high"], unit, analyte, basis)
    low = _limit_in_plan_units(row["low"], unit, analyte, basis) if row["low"] else None
    judged = value.high if row["judged_on"] == "highest" else value.middle
    slack = 1 + 1e-9
    if judged > high * slack or (low is not None and judged < low):
        return "certain"
    if value.high > high * slack or (low is not None and value.low < low):
        return "highest"
    return None


def _over_text(row: Row, entry: Measurement, law: Law, day: date) -> str:
    name = row["analyte"].replace("_", " ")
    shown = _printed(entry)
    limit = f"{row['high']} {row['unit']}" + (f" as {row['basis']}" if row["basis"] else "")
    if row["low"]:
        limit = f"{row['low']} to {row['high']}"
    text = f"{name} {shown} against the {LAW_NAME[row['law']]} {KIND_NAME[row['kind']]} of {limit}"
    if _not_yet(row, day):
        text += f", which holds from {row['applies_from']}"
    elif row["law"] not in (law, "any"):
        text += f", which is not the law chosen here ({LAW_NAME[law]})"
    if row["kind"] == "action_level":
        text += "; the figure comes from sampled homes, not from this tap"
    if row["analyte"] in REFERRED:
        text += "; refer it to a treatment specialist, it is not filtered silently here"
    if row["note"] and row["kind"] in ("health", "disinfectant"):
        text += f" ({row['note']})"
    return text[:1].upper() + text[1:]


def _printed(entry: Measurement) -> str:
    v = entry.value
    spread = plain(v.high) if v.certain else f"{plain(v.low)} to {plain(v.high)}"
    return f"{spread} {entry.unit}" + (f" as {entry.basis}" if entry.basis else "")


def _nitrogen_sum(entries: Mapping[str, Measurement], law: Law) -> list[GateFinding]:
    """Nitrate/50 + nitrite/3, both as the ion, may not pass 1 (EU and WHO)."""
    if not {"nitrate", "nitrite"} <= set(entries):
        return []
    limits = {
        a: _limit_in_plan_units(v, "mg/L", a, b) for a, v, b in (("nitrate", "50", "NO3"), ("nitrite", "3", "NO2"))
    }
    try:
        parts = {a: entries[a].in_plan_units(a).high / limits[a] for a in limits}
    except InputError:
        return []
    if sum(parts.values()) <= 1 or any(entries[a].below_detection for a in parts):
        return []
    return [
        GateFinding(
            "watch" if law == "us_federal" else "stop",
            "nitrate",
            f"Nitrate/50 + nitrite/3 is {sum(parts.values()):.2f}, over 1 (EU and WHO)",
            cite("trinkwv_2001"),
        )
    ]


def _verdict(
    supply: Supply, found: list[GateFinding], uncovered: tuple[str, ...], role: Role, branch: str | None
) -> Verdict:
    status: Status = "ok"
    if any(f.level == "stop" for f in found):
        status = "stop"
    elif any(f.level == "watch" for f in found):
        status = "watch"
    elif uncovered:
        status = "unknown"
    heavy = [f for f in found if f.level == ("stop" if status == "stop" else "watch")]
    open_part = f"not reported by a laboratory or a water report: {', '.join(uncovered)}" if uncovered else ""
    said = ". ".join(f.text for f in heavy)
    if status == "stop":
        why = f"{supply.name}: {said}. {CALL}."
    elif status == "watch":
        why = f"{supply.name}: {said}." + (f" Also {open_part}." if open_part else "")
    elif status == "unknown":
        why = f"{supply.name}: {open_part}; nothing can be said on safety. This is not a potability tool."
    else:
        why = (
            f"{supply.name}: nothing reported is over the limits compared, as far as the report goes; "
            "this is not a potability tool."
        )
    flip = {
        "stop": "Only the authority's all-clear, or a laboratory's panel that it accepts, changes this.",
        "unknown": f"A certified laboratory's drinking-water panel that covers {', '.join(uncovered)}.",
        "watch": "A certified laboratory's drinking-water panel, or the utility's own answer.",
    }.get(status, "A newer report or a notice from the utility.")
    source = "; ".join(dict.fromkeys(f.source for f in heavy)) or cite(table("potability_gate")[0]["source"])
    return Verdict(role, "safety", status, None, why, source, branch, "lab_potability", flip, None, _measures(found))


def _measures(found: list[GateFinding]) -> tuple[Measure, ...]:
    """Findings as rows to show beside the other verdicts' measures."""
    status: dict[Level, Status] = {"stop": "stop", "watch": "watch", "note": "ok"}
    return tuple(
        Measure(f.analyte or "notice", f.text, "", None, None, None, (None, None), status[f.level], None, f.source)
        for f in found
    )
