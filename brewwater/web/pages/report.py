"""A water report: read, shown beside its page, a supply chosen, taken into the plan."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pdfplumber
import streamlit as st

from brewwater import reports as intake
from brewwater.errors import InputError
from brewwater.output.escape import for_markdown
from brewwater.output.report_result import report_result
from brewwater.output.result_schema import ReportResult, RowResult
from brewwater.output.vocabulary import analyte as plain
from brewwater.output.vocabulary import analyte_inside as inline
from brewwater.verdicts import REQUIRED
from brewwater.web.state import Document, change, desk
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.words import Words

KINDS = ["pdf", "csv", "xlsx", "html", "txt", "md"]
MOST_OPEN = 5  # so many doubts are shown unfolded
Rename = Callable[[int, Document, str], None]


@st.cache_data(max_entries=4, show_spinner=False)
def _read(name: str, data: bytes) -> dict[str | None, ReportResult]:
    """What a report says, by each supply it names; under None where it names none."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"report{Path(name).suffix.lower()}"
        path.write_bytes(data)
        found = intake.read_report(path)
    return {supply: report_result(found, supply) for supply in found.supplies or (None,)}


def _supply_of(name: str, data: bytes, supply: str | None) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"report{Path(name).suffix.lower()}"
        path.write_bytes(data)
        found = intake.read_report(path).supply(supply)
    return dict(found.model_dump(mode="json"))


def section(at: int, rename: Rename) -> None:
    """Drop a report, look at what was read, use one supply of it for the plan's water ``at``."""
    on = desk()
    st.subheader("From a water report", anchor=False)
    scenario = st.file_uploader("Drop a report here: PDF, CSV, spreadsheet, HTML or text", type=KINDS, key="report")
    if scenario is not None:
        on.extra["report"] = (scenario.name, scenario.getvalue())
    if "report" not in on.extra:
        return
    name, data = on.extra["report"]
    st.button("Put the report away", key="report_away", on_click=lambda: on.extra.pop("report", None))
    try:
        with st.spinner("Reading the report…", show_time=True):
            results = _read(name, data)
    except InputError as error:
        st.error(for_markdown(error), icon=":material/report:")
        return
    supplies = [s for s in results if s is not None]
    picked = fields.pick("Supply in the report", supplies, key="report_supply") if supplies else None
    result = results[picked]
    rows = [r for r in result.rows if r.supply in (None, picked)] if picked else result.rows
    left, right = st.columns([1, 1], gap="medium")
    with left:
        st.markdown(f"**{len(rows)} values read**")
        show.table(
            ["Measure", "As printed", "Page"],
            [[plain(r.analyte), printed(r, on.words), str(r.page or "")] for r in rows],
            label="Values read",
        )
    with right:
        _beside(name, data, rows)
    _doubts(result)
    if result.missing:
        st.caption("Not in the report: " + ", ".join(for_markdown(inline(a)) for a in result.missing) + ".")
    st.button(
        "Use these values for this water",
        key="report_use",
        icon=":material/check:",
        on_click=_use,
        args=(at, name, data, picked, rename),
        type="primary",
    )
    fields.fault("report_use")


def _doubts(result: ReportResult) -> None:
    """What to look at on the page before the values are used, the ones that verdicts rest on first."""
    if not result.problems:
        return
    needed = {a for group in REQUIRED.values() for a in group}
    found = dict.fromkeys(p.message for p in sorted(result.problems, key=lambda p: p.field not in needed))
    title = f"Look at these on the page first ({len(found)})"
    with st.expander(title, icon=":material/rule:", expanded=len(found) <= MOST_OPEN):
        show.table(["How it was read"], [[message] for message in found], label="How the report was read")


def printed(row: RowResult, words: Words) -> str:
    """A value as it stands in the report."""
    tail = " ".join(
        filter(None, (row.unit, row.basis and f"as {row.basis}" if row.basis not in (row.unit, None) else ""))
    )
    if row.below_detection:
        return f"below {words.number(row.high)} {tail}".strip() if row.high else f"not detected {tail}".strip()
    ends = [x for x in (row.low, row.high) if x is not None]
    text = words.span(ends) if ends else words.number(row.typical)
    if ends and row.typical is not None and row.low != row.high:
        text += f" (typical {words.number(row.typical)})"
    return f"{text} {tail}".strip()


def _beside(name: str, data: bytes, rows: list[RowResult]) -> None:
    pages = sorted({r.page for r in rows if r.page})
    if name.lower().endswith(".pdf") and pages:
        page_number = st.selectbox("Page of the report", pages, key="report_page")
        picture = _page_picture(data, page_number)
        if picture is not None:
            st.image(picture, caption=f"Page {page_number}")
            return
    texts = list(dict.fromkeys(r.text for r in rows if r.text))
    with st.container(height=320):
        st.markdown("**Where it stands**")
        st.text("\n".join(texts[:80]) or "The report gives no text for these values.")


@st.cache_data(max_entries=8, show_spinner=False)
def _page_picture(data: bytes, number: int) -> Any:
    try:
        with pdfplumber.open(io.BytesIO(data)) as pdf:
            return pdf.pages[number - 1].to_image(resolution=90).original
    except Exception:  # a page that cannot be drawn is shown as text instead
        return None


def _use(at: int, name: str, data: bytes, picked: str | None, rename: Rename) -> None:
    def write(document: Document) -> None:
        found = _supply_of(name, data, picked)
        old = document["supplies"][at]
        taken = {s["name"] for i, s in enumerate(document["supplies"]) if i != at}
        title = str(found["name"])
        while title in taken:
            title += " (report)"
        keep = {k: old[k] for k in ("kind", "notice", "water_price_per_1000_gal") if k in old}
        disinfectant = found["disinfectant"] if found["disinfectant"] != "unknown" else old["disinfectant"]
        document["supplies"][at] = {**found, **keep, "disinfectant": disinfectant, "name": old["name"]}
        rename(at, document, title)

    if change("report_use", write):
        desk().extra.pop("report", None)
