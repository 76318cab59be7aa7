"""Units: open, save as, history; and several side by side for someone who advises others."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.output.vocabulary import SIGN, STATUS, SUBJECT, WATER
from brewwater.output.vocabulary import analyte_inside as inline
from brewwater.plan import Plan
from brewwater.planning.document import PlanDocument, demo_document, load_document, new_unit
from brewwater.store import SavedUnit
from brewwater.verdicts import REQUIRED
from brewwater.web import keeping
from brewwater.web.search_service import aside
from brewwater.web.search_service.search_child import COARSE_DRAWS
from brewwater.web.state import Document, begin, desk, hand
from brewwater.web.widgets import facts, fields, show
from brewwater.web.widgets.words import Words, date


def page() -> None:
    """The unit on the desk, the others, and all of them side by side."""
    on = desk()
    st.subheader("The unit on the desk", anchor=False)
    fields.text("Name", "unit_name", ("name",))
    fields.text("Note", "unit_note", ("note",), long=True)
    with st.container(horizontal=True):
        st.button("Save as a new unit", key="save_as_new", on_click=keeping.save_as_new, icon=":material/save_as:")
        st.button(
            "Start from a plain mobile unit",
            key="from_template",
            on_click=_fresh,
            args=("mobile",),
            icon=":material/add:",
        )
        st.button("Open the demo", key="from_demo", on_click=_fresh, args=("demo",), icon=":material/school:")
    if on.changed:
        st.caption("Opening another unit puts away a change that is not saved. Save first to keep it.")
    try:
        store = keeping.place()
        units = store.units()
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    st.subheader("Saved units", anchor=False)
    if not units:
        st.caption("None yet.")
        return
    for unit in units:
        with st.container(
            border=True,
            horizontal=True,
            vertical_alignment="center",
            horizontal_alignment="distribute",
            key=f"unit_{unit.ref}",
        ):
            here = " · open" if unit.ref == on.ref else ""
            shared = f" · shared by {unit.owner}" if "@" in unit.ref else ""
            st.text(f"{unit.name}{here}{shared}")
            st.button("Open", key=f"open_{unit.ref}", on_click=_open, args=(unit.ref,), icon=":material/folder_open:")
    _history(units)
    _side_by_side(units, on.words)


def _fresh(which: str) -> None:
    begin(demo_document() if which == "demo" else new_unit())


def _open(ref: str) -> None:
    try:
        keeping.open_unit(ref)
    except BrewwaterError as error:
        desk().extra["problem"] = str(error)


def _restore(ref: str, version: int, latest: int) -> None:
    try:
        keeping.place().restore_version(ref, version, latest)
        keeping.open_unit(ref)
    except BrewwaterError as error:
        desk().extra["problem"] = str(error)


def _history(units: list[SavedUnit]) -> None:
    on = desk()
    if on.ref is None or on.ref not in {u.ref for u in units}:
        return
    lines = keeping.place().history(on.ref)
    with st.expander(
        f"History of this unit ({len(lines)} version{'s' if len(lines) != 1 else ''})", icon=":material/history:"
    ):
        show.table(
            ["Version", "Saved (UTC)", "Note"],
            [[str(h.version), h.saved_at[:16].replace("T", " "), h.note] for h in lines],
            label="History",
        )
        older = [h.version for h in lines[1:]]
        if older:
            pick = st.selectbox("An older version", older, key="old_version")
            st.button(
                "Make it the newest",
                key="restore_version",
                on_click=_restore,
                args=(on.ref, pick, lines[0].version),
                icon=":material/restore:",
            )


# -- side by side -------------------------------------------------------------------------------------------


def _coarse(document: Document) -> PlanDocument:
    typed = load_document(document)
    draws = min(typed.settings.draws, COARSE_DRAWS)
    return typed.model_copy(update={"settings": typed.settings.model_copy(update={"draws": draws})})


def homework(plan: Plan) -> list[str]:
    """Measurements that the verdicts need and no one has made, in plain words."""
    needed = dict.fromkeys(a for group in REQUIRED.values() for a in group)
    return [inline(a) for a in needed if a not in plan.scenario.known]


def _side_by_side(units: list[SavedUnit], words: Words) -> None:
    if len(units) < 2:
        return
    st.subheader("Side by side", anchor=False)
    by_ref = {u.ref: u for u in units}
    kept = st.session_state.get("side", desk().extra.get("side", list(by_ref)[:3]))
    hand("side", [r for r in kept if r in by_ref])
    picked = st.multiselect("Units", list(by_ref), key="side", format_func=lambda r: by_ref[r].name, max_selections=6)
    desk().extra["side"] = picked
    documents: dict[Hashable, PlanDocument] = {}
    keys: dict[str, Hashable] = {}
    for ref in picked:
        try:
            found = keeping.place().plan(ref)
            if found is not None:
                keys[ref] = ref, found.version
                documents[keys[ref]] = _coarse(found.document)
            else:
                st.caption(f"{for_markdown(by_ref[ref].name)}: no plan is saved in it yet.")
        except BrewwaterError as error:
            st.error(for_markdown(f"{by_ref[ref].name}: {error}"))
    plans = aside.several("side", documents, {keys[r]: by_ref[r].name for r in keys})
    columns: dict[str, list[str]] = {}
    for ref, key in keys.items():
        plan = plans.get(key)
        if isinstance(plan, BrewwaterError):
            st.error(for_markdown(f"{by_ref[ref].name}: {plan}"))
        elif plan is not None:
            columns[ref] = _column(plan, words)
    if columns:
        st.caption(f"From a coarse look ({COARSE_DRAWS} draws); open a unit for its full plan.")
        labels = [
            *(f"{SUBJECT.label(s)}, {WATER.inside('source')}" for s in SUBJECT),
            *(f"{SUBJECT.label(s)}, {WATER.inside('served')}" for s in SUBJECT),
            "Treatment",
            "Next change",
            "A year costs",
            "A drink",
            "Homework",
        ]
        show.table(
            ["", *(by_ref[r].name for r in columns)],
            [[label, *(columns[r][i] for r in columns)] for i, label in enumerate(labels)],
            label="Units side by side",
            pin=True,
            long=tuple(range(1, len(columns) + 1)),
        )


def _column(plan: Plan, words: Words) -> list[str]:
    def word(verdicts: Any, subject: str) -> str:
        found = next((v for v in verdicts if v.subject == subject), None)
        return "not judged" if found is None else f"{SIGN[found.status]} {STATUS.label(found.status)}"

    main = plan.candidate.main.branch.name
    served = [v for v in plan.candidate.verdicts if v.branch == main]
    cost = plan.candidate.cost
    first = facts.next_change(plan)
    return [
        *(word(plan.source_verdicts, s) for s in SUBJECT),
        *(word(served, s) for s in SUBJECT),
        " → ".join(n for n, _ in facts.train_names(plan.candidate.stages, words)) or "none",
        "none in the plan" if first is None else f"{date(first.expected)} ({first.stage})",
        words.money(float(cost.expected), cost.currency),
        words.money(None if cost.per_drink is None else float(cost.per_drink), cost.currency),
        ("measure " + ", ".join(homework(plan))) if homework(plan) else "nothing missing",
    ]
