"""A water report: read, shown beside its page, a supply chosen, its doubts settled, taken into the plan."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import streamlit as st

from brewwater import reports as intake
from brewwater.errors import InputError
from brewwater.escape import for_markdown
from brewwater.output.vocabulary import analyte as plain
from brewwater.output.vocabulary import analyte_inside as inline
from brewwater.records import Span
from brewwater.reports import Measurement, Problem, Report, Row
from brewwater.reports.bounded import Watch
from brewwater.reports.readings import EITHER
from brewwater.reports.report import applies
from brewwater.web.pages.report_picture import KINDS as PICTURES
from brewwater.web.pages.report_picture import MarkedBox, beside
from brewwater.web.state import Document, change, desk
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.words import Words

KINDS = ["pdf", "csv", "xlsx", "html", "json", "txt", "md", *PICTURES]
# What a plan needs first, in the order in which it is asked for.
FIRST = (
    "total_hardness",
    "alkalinity",
    "bicarbonate",
    "ph",
    "calcium",
    "chloride",
    "total_dissolved_solids",
    "conductivity",
    "free_chlorine",
    "total_chlorine",
    "chloramine",
    "iron",
)
TESTED = frozenset({"lab", "drop_kit", "meter", "strip", "typed"})
KEEP, REPLACE, APART = "Keep what was tested, add the rest", "Replace all of it", "Make it a water of its own"
Rename = Callable[[int, Document, str], None]


@dataclass(frozen=True)
class _Shown:
    """A row as it is listed: its number on the page, whether it is used, and what is doubtful about it."""

    number: int
    row: Row
    used: bool
    doubts: tuple[str, ...]


def section(at: int, rename: Rename) -> None:
    """Drop a report, look at what was read, use one supply of it for the plan's water ``at``."""
    on = desk()
    st.subheader("From a water report", anchor=False)
    dropped = st.file_uploader(
        "Drop a report here: PDF, photo, CSV, spreadsheet, HTML or text", type=KINDS, key="report"
    )
    if dropped is not None and dropped.file_id != on.extra.get("report_done"):
        on.extra["report"] = (dropped.name, dropped.getvalue())
        on.extra["report_file"] = dropped.file_id
    if "report" not in on.extra:
        if dropped is not None:
            st.caption(f"{dropped.name} is read and put away. Its values are shown under What is in it.")
        return
    name, data = on.extra["report"]
    st.button("Put the report away", key="report_away", on_click=_away)
    try:
        report = _read(name, data)
    except InputError as error:
        st.error(for_markdown(error), icon=":material/report:")
        return
    if len(report.supplies) > 1:
        _side_by_side(report, on.words)
    picked = fields.pick("Supply in the report", report.supplies, key="report_supply") if report.supplies else None
    listed = _listed(report, picked)
    left, right = st.columns([1, 1], gap="medium")
    with left:
        beside(name, data, report, _marks(report, listed))
    with right:
        _values(listed, on.words)
        choices = _settled(listed)
        _doubts(report, picked)
        _missing(report, picked)
        tested = _tested(at)
        how = _asked(tested, on.typed.supplies[at].name) if tested else REPLACE
        count = sum(s.used for s in listed)
        title = f"Use these {count} values for {on.typed.supplies[at].name}" if count > 1 else "Use these values"
        st.button(
            title,
            key="report_use",
            icon=":material/check:",
            on_click=_use,
            args=(at, report, picked, choices, how, rename),
            type="primary",
            disabled=not count,
        )
        fields.fault("report_use")


def _away() -> None:
    """Done with this report: the file that still lies in the browser is not read again."""
    extra = desk().extra
    extra["report_done"] = extra.pop("report_file", None)
    for key in ("report", "report_read"):
        extra.pop(key, None)


def _read(name: str, data: bytes) -> Report:
    """What a report says; read once, with a sign of progress where it is a picture."""
    on = desk()
    kept = on.extra.get("report_read")
    if kept is not None and kept[0] == (name, data):
        found: Report = kept[1]
        return found
    place = st.empty()

    def far(said: dict[str, int]) -> None:
        share = said["done"] / max(said["all"], 1)
        place.progress(min(share, 1.0), f"Reading the picture: page {said['page']} of {said['of']}")

    with tempfile.TemporaryDirectory() as folder, st.spinner("Reading the report…", show_time=True):
        path = Path(folder) / (Path(name).name[-120:] or "report")  # the name of a lone supply
        path.write_bytes(data)
        report = intake.read_report(path, Watch(progress=far))
    place.empty()
    on.extra["report_read"] = ((name, data), report)
    return report


# --- what was read --------------------------------------------------------------------------------------------


def _listed(report: Report, picked: str | None) -> list[_Shown]:
    """The rows of a supply, what a plan needs first, each with its number and its doubts."""
    rows = [(i, r) for i, r in enumerate(report.rows) if picked is None or applies(r, picked)]
    rows.sort(key=lambda p: (FIRST.index(p[1].analyte) if p[1].analyte in FIRST else len(FIRST), p[0]))
    analysis = report.analysis(picked) if picked else {}
    out = []
    for number, (_, row) in enumerate(rows, start=1):
        said = [p.message for p in _problems(report, picked) if p.field == row.analyte]
        out.append(_Shown(number, row, row.analyte in analysis, tuple(dict.fromkeys(said))))
    return out


def _problems(report: Report, picked: str | None) -> list[Problem]:
    return [p for p in report.problems if picked is None or p.supply in (picked, None)]


def _marks(report: Report, listed: Sequence[_Shown]) -> list[MarkedBox]:
    """What is drawn on the page: rows with their numbers, lines that were not read."""
    place = {id(row): box for row, box in zip(report.rows, report.boxes, strict=False)}
    marks = []
    for one in listed:
        box = place.get(id(one.row))
        if box is not None:
            marks.append(MarkedBox(box, "doubtful" if one.doubts else "taken" if one.used else "left", one.number))
    marks += [MarkedBox(box, "unread", None) for box in report.unread_boxes if box is not None]
    return marks


def _values(listed: Sequence[_Shown], words: Words) -> None:
    first = [s for s in listed if s.row.analyte in FIRST]
    rest = [s for s in listed if s.row.analyte not in FIRST]
    st.markdown(f"**{len(listed)} values read**")

    def rows(some: Sequence[_Shown]) -> list[list[str]]:
        return [
            [
                str(s.number),
                plain(s.row.analyte),
                printed(s.row, words),
                "look" if s.doubts else "" if s.used else "left",
            ]
            for s in some
        ]

    heads = ["No.", "Measure", "As printed", ""]
    if first:
        show.table(heads, rows(first), label="Values read", tight=(0,))
    if rest:
        with st.expander(f"{len(rest)} more, which weigh less on the plan", expanded=not first):
            show.table(heads, rows(rest), label="More values read", tight=(0,))


def _said(one: _Shown) -> str:
    return "look" if one.doubts else "" if one.used else "left out"


def _side_by_side(report: Report, words: Words) -> None:
    """All supplies beside one another, before one is chosen."""
    shown = [a for a in FIRST if any(r.analyte == a for r in report.rows)][:8]

    def cell(supply: str, analyte: str) -> str:
        row = next((r for r in report.rows if r.analyte == analyte and applies(r, supply)), None)
        return printed(row, words) if row is not None else "–"

    heads = ["Measure", *report.supplies[:8]]
    body = [[plain(a), *(cell(s, a) for s in report.supplies[:8])] for a in shown]
    if body:
        show.table(heads, body, label="Supplies of the report side by side", pin=True)


def _settled(listed: Sequence[_Shown]) -> dict[str, str]:
    """For each doubtful value that the plan needs, what a person says of it; by analyte."""
    choices: dict[str, str] = {}
    for one in listed:
        row = one.row
        if not one.doubts or (row.analyte not in FIRST and row.analyte not in EITHER) or row.analyte in choices:
            continue
        bases = [f"as {b}" for b in EITHER.get(row.analyte, ())] if "basis_unclear" in row.doubts else []
        if not one.used and not bases:
            continue
        options = [*(bases or ["Use it"]), "Leave it out"]
        key = f"report_settle_{row.analyte}_{one.number}"
        st.caption(f"{one.number} · {plain(row.analyte)}: {one.doubts[0]}")
        said = st.segmented_control(plain(row.analyte), options, key=key, label_visibility="collapsed")
        if said:
            choices[row.analyte] = str(said)
    return choices


def _doubts(report: Report, picked: str | None) -> None:
    """One line of what weighs on the plan; all of it folded below."""
    problems = _problems(report, picked)
    if not problems and not report.unread:
        return
    heavy = dict.fromkeys(p.field for p in problems if p.field in FIRST)
    light = len({p.field for p in problems if p.field is not None and p.field not in FIRST})
    said = []
    if heavy:
        said.append("Look at " + ", ".join(inline(a) for a in heavy if a) + " on the page before you use them")
    if light:
        said.append(f"{light} doubts are about what weighs little")
    if report.unread:
        said.append(f"{len(report.unread)} lines with a figure were not read")
    said += [p.message.rstrip(".") for p in problems if p.code == "from_picture"]
    if said:
        st.markdown(":material/rule: " + ". ".join(said) + ".")
    with st.expander("Each doubt, and each line that was not read"):
        found = dict.fromkeys(p.message for p in sorted(problems, key=lambda p: p.field not in FIRST))
        if found:
            show.table(["How it was read"], [[message] for message in found], label="How the report was read")
        if report.unread:
            lines = [[str(u.page or ""), u.text, u.why] for u in report.unread]
            show.table(["Page", "As printed", "Why"], lines, label="Lines not read", long=(1, 2))


def _missing(report: Report, picked: str | None) -> None:
    lacking = report.missing(picked)
    if lacking:
        st.caption("Not in the report: " + ", ".join(inline(a) for a in lacking) + ".")


def printed(row: Row, words: Words) -> str:
    """A value as it stands in the report."""
    tail = " ".join(
        filter(
            None,
            (
                row.unit if row.unit != "1" else "",
                row.basis and f"as {row.basis}" if row.basis not in (row.unit, None) else "",
            ),
        )
    )
    if row.below_detection:
        return f"below {words.number(row.high)} {tail}".strip() if row.high else f"not detected {tail}".strip()
    ends = [x for x in (row.low, row.high) if x is not None]
    text = words.span(ends) if ends else words.number(row.typical)
    if ends and row.typical is not None and row.low != row.high:
        text += f" (typical {words.number(row.typical)})"
    return f"{text} {tail}".strip()


# --- into the plan --------------------------------------------------------------------------------------------


def _tested(at: int) -> list[str]:
    """What of the plan's water was measured or typed, not read from a report."""
    return [a for a, m in desk().typed.supplies[at].analysis.items() if m.method in TESTED]


def _asked(tested: Sequence[str], name: str) -> str:
    """A water with measured or typed values is never overwritten without a question."""
    st.markdown(f"**{name}** has {len(tested)} values that were tested or typed. What of them?")
    said = st.radio("What of them?", [KEEP, APART, REPLACE], key="report_how", label_visibility="collapsed")
    return str(said or KEEP)


def _chosen(report: Report, picked: str | None, choices: dict[str, str]) -> dict[str, Any]:
    """The supply of a report with what a person has said of its doubts."""
    supply = report.supply(picked)
    analysis = dict(supply.analysis)
    for analyte, said in choices.items():
        if said == "Leave it out":
            analysis.pop(analyte, None)
        elif said.startswith("as "):
            row = next(r for r in report.rows if r.analyte == analyte and (picked is None or applies(r, picked)))
            analysis[analyte] = _on_basis(row, said.removeprefix("as "))
    return dict(supply.model_copy(update={"analysis": analysis}).model_dump(mode="json"))


def _on_basis(row: Row, basis: str) -> Measurement:
    ends = [x for x in (row.low, row.typical, row.high) if x is not None]
    return Measurement(
        value=Span(low=min(ends), high=max(ends), typical=row.typical),
        unit=row.unit,
        basis=basis,
        below_detection=row.below_detection,
        method="report",
        date=row.date,
        page=row.page,
        text=row.text,
    )


def _use(at: int, report: Report, picked: str | None, choices: dict[str, str], how: str, rename: Rename) -> None:
    def write(document: Document) -> None:
        found = _chosen(report, picked, choices)
        old = document["supplies"][at]
        taken = {s["name"] for i, s in enumerate(document["supplies"]) if i != at or how != REPLACE}
        title = str(found["name"])
        while title in taken:
            title += " (report)"
        if how == APART:
            document["supplies"].append({**found, "name": title})
            return
        kept = {a: m for a, m in old["analysis"].items() if m.get("method") in TESTED} if how == KEEP else {}
        same = {k: old[k] for k in ("kind", "notice", "water_price_per_1000_gal") if k in old}
        disinfectant = found["disinfectant"] if found["disinfectant"] != "unknown" else old["disinfectant"]
        analysis = {**found["analysis"], **kept}
        document["supplies"][at] = {
            **found, **same, "analysis": analysis, "disinfectant": disinfectant, "name": old["name"]
        }  # fmt: skip
        if how == REPLACE:
            rename(at, document, title)

    if change("report_use", write):
        _away()
