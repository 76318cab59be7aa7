"""Print and files: the sheet, the calendar, the tables, and the document itself, down and up."""

from __future__ import annotations

import streamlit as st

from brewwater.errors import BrewwaterError, InputError
from brewwater.escape import for_markdown
from brewwater.output.result import plan_result
from brewwater.output.sheet.files import files, sheet_files
from brewwater.output.sheet.fill_day import Advice, fill_advice
from brewwater.output.sheet.pages import pages
from brewwater.plan import Plan
from brewwater.store import read_document
from brewwater.web import journal, keeping, planning
from brewwater.web.pages.papers import papers
from brewwater.web.state import desk, replace
from brewwater.web.widgets import show

KINDS = {
    "html": "text/html",
    "pdf": "application/pdf",
    "ics": "text/calendar",
    "csv": "text/csv",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
NAMES = {
    "plan.pdf": ("The plan on one page (PDF)", "print"),
    "plan.html": ("The plan on one page (HTML)", "article"),
    "changes.ics": ("The calendar of changes (iCalendar)", "event"),
    "tables.xlsx": ("All tables (spreadsheet)", "table"),
}


def page() -> None:
    """Everything that leaves the program, and what comes back in."""
    plan = planning.current()
    left, right = st.columns(2, gap="large")
    with left:
        if plan is not None:
            _sheet(plan)
            papers(plan)
    with right:
        _document(plan)
        _bundle()
    if plan is not None:
        _fill_day(plan)
        planning.search(plan)


@st.cache_resource(max_entries=8, show_spinner=False)
def _files(stamp: str, name: str, metric: bool, searched: bool, _plan: Plan) -> dict[str, bytes]:
    return files(planning.in_full(_plan))


def _sheet(plan: Plan) -> None:
    on = desk()
    st.subheader("Take it with you", anchor=False)
    wanted = on.extra.get("sheet_of")
    if wanted != plan.stamp:
        st.button(
            "Make the plan, the sheets and the tables",
            key="make_files",
            icon=":material/print:",
            on_click=lambda: on.extra.update(sheet_of=plan.stamp),
            type="primary",
        )
        st.caption("One page with the plan, cards for filling, changing and the inspector; dates as calendar entries.")
        return
    with st.spinner("Writing the sheet…", show_time=True):
        made = _files(plan.stamp, plan.document.name, on.words.metric, planning.searched(plan), plan)
    for name, (label, icon) in NAMES.items():
        if name in made:
            st.download_button(
                label,
                made[name],
                f"{on.ref or 'brewwater'}-{name}",
                KINDS[name.rsplit(".", 1)[-1]],
                key=f"take_{name}",
                icon=f":material/{icon}:",
                on_click="ignore",
            )
    _chosen_sheets(plan)
    with st.expander("Single tables (CSV)", icon=":material/table_rows:"):
        for name, data in made.items():
            if name.endswith(".csv"):
                st.download_button(
                    name.removesuffix(".csv").replace("_", " ").capitalize(),
                    data,
                    name,
                    "text/csv",
                    key=f"take_{name}",
                    on_click="ignore",
                )
    with st.expander("Look at the sheet here", icon=":material/visibility:"):
        st.iframe(made["plan.html"].decode(), height=900)


def _chosen_sheets(plan: Plan) -> None:
    """The other sheets, by tick, as one file to print."""
    all_ = {p.key: p for p in pages(plan)}
    keys = st.pills(
        "Other sheets",
        list(all_),
        default=["inspector"],
        selection_mode="multi",
        key="sheets",
        format_func=lambda key: all_[key].title,
    )
    if keys:
        made = sheet_files(plan, [all_[key] for key in all_ if key in keys], "sheets")
        st.download_button(
            f"{len(keys)} sheet{'s' if len(keys) > 1 else ''} (PDF)",
            made["sheets.pdf"],
            f"{desk().ref or 'brewwater'}-sheets.pdf",
            "application/pdf",
            key="take_sheets.pdf",
            icon=":material/print:",
            on_click="ignore",
        )


def _take_document() -> None:
    on = desk()
    on.extra.pop("upload_fault", None)
    given = st.session_state["document_up"]
    if given is None:
        return
    try:
        replace(read_document(given.getvalue()))
    except InputError as error:
        on.extra["upload_fault"] = str(error)


def _document(plan: Plan | None) -> None:
    on = desk()
    st.subheader("The plan document", anchor=False)
    st.caption("Everything the plan is made from, as one file that you can keep, send and edit.")
    st.download_button(
        "The document (JSON)",
        on.typed.to_json(),
        f"{on.ref or 'brewwater'}.json",
        "application/json",
        key="document_down",
        icon=":material/download:",
        on_click="ignore",
    )
    if plan is not None and st.toggle("Offer the results too", key="results_wanted"):
        st.download_button(
            "The results (JSON)",
            plan_result(plan).model_dump_json(indent=2),
            f"{on.ref or 'brewwater'}-results.json",
            "application/json",
            key="results_down",
            icon=":material/download:",
            on_click="ignore",
        )
    st.file_uploader(
        "Open a document here",
        type=["json"],
        key="document_up",
        on_change=_take_document,
        help="It takes the place of what is on the desk; that stays one undo away.",
    )
    if "upload_fault" in on.extra:
        st.error(for_markdown(on.extra["upload_fault"]), icon=":material/edit_off:")


def _restore() -> None:
    on = desk()
    on.extra.pop("bundle_fault", None)
    given = st.session_state["bundle_up"]
    if given is None:
        return
    try:
        keeping.open_unit(keeping.place().restore_unit(given.getvalue()))
        journal.note("restored")
    except BrewwaterError as error:
        desk().extra["bundle_fault"] = str(error)


def _bundle() -> None:
    on = desk()
    st.subheader("The whole unit", anchor=False)
    if on.ref is not None:
        try:
            text = keeping.place().export_unit(on.ref)
            st.download_button(
                "Plan, history and log as one file",
                text,
                f"{on.ref}-unit.json",
                "application/json",
                key="bundle_down",
                icon=":material/inventory_2:",
                on_click="ignore",
            )
        except BrewwaterError as error:
            st.error(for_markdown(error))
    else:
        st.caption("Save the plan as a unit to take it along with its history and its log.")
    st.file_uploader("Bring a whole unit back", type=["json"], key="bundle_up", on_change=_restore)
    if "bundle_fault" in on.extra:
        st.error(for_markdown(on.extra["bundle_fault"]), icon=":material/edit_off:")


def _fill_day(plan: Plan) -> None:
    st.subheader("Fill-day card", anchor=False)
    with st.spinner("Trying each water…", show_time=True):
        advice = _advice(plan.stamp, plan.document.name, plan)
    show.table(
        ["Water", "Do", "Why"],
        [
            [a.supply, a.decision if a.bypass in ("", "none") else f"{a.decision}; set {a.bypass}", a.why]
            for a in advice
        ],
        label="Fill-day card",
        long=(2,),
    )


@st.cache_resource(max_entries=8, show_spinner=False)
def _advice(stamp: str, key: str, _plan: Plan) -> tuple[Advice, ...]:
    return fill_advice(_plan)
