"""Service stop: one change, step by step, on a phone in the trailer; each caution inside its step."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_html as html
from brewwater.escape import for_markdown
from brewwater.log.entry import make_reading
from brewwater.output.answer import Answer, StageLine
from brewwater.output.drawing import H2, SCREEN, caution, number, strip
from brewwater.output.numbers import Kind
from brewwater.output.sheet.pages import tree_of
from brewwater.plumbing import change
from brewwater.web import keeping, planning
from brewwater.web.pages import first
from brewwater.web.state import desk
from brewwater.web.widgets import fields, show

FIELDS: tuple[tuple[str, str, Kind], ...] = (
    ("meter_gal", "Meter", "volume"),
    ("pressure_in_psi", "Pressure in", "pressure"),
    ("pressure_out_psi", "Pressure out", "pressure"),
)


def page() -> None:
    """The next change, its steps with their cautions, what to read and type."""
    plan = planning.current()
    if plan is None:
        return
    told = first.told(plan)
    mine = [s for s in told.stages if s.bought and s.stage not in plan.candidate.idle]
    if not mine:
        st.info("There is no filter in this plan to change.")
        return
    due = told.next.number if told.next else mine[0].number
    numbers = [s.number for s in mine]
    chosen = st.segmented_control(
        "Which stage",
        numbers,
        default=due if due in numbers else numbers[0],
        key="service_stage",
        format_func=lambda n: for_markdown(f"{n} {told.stages[n - 1].name}"),
    )
    stage = told.stages[(chosen or due) - 1]
    _head(told, stage)
    steps = change(tree_of(plan), stage.stage.name, plan.candidate.stages)
    done = 0
    for i, step in enumerate(steps):
        done += st.checkbox(for_markdown(step.text), key=f"service_{stage.number}_{i}")
        if step.caution:
            show.raw(f'<div class="bw bw-answer">{caution([step.caution], SCREEN)}</div>')
    st.caption(f"{done} of {len(steps)} steps done.")
    _log(stage)


def _head(told: Answer, stage: StageLine) -> None:
    when = f"Due {told.day(stage.changes[0].date)}." if stage.changes else "Not due in this plan."
    show.raw(
        f'<div class="bw bw-answer">{H2}{number(stage, SCREEN, 34)} Change the {html(stage.part)}</div>'
        f'<div class="bw-note">{html(when)}</div>{strip(told, SCREEN)}</div>'
    )


def _log(stage: StageLine) -> None:
    """What is read and typed at the stop, and the change itself as a line of the log."""
    on = desk()
    words = on.words
    st.subheader("Read and type", anchor=False)
    if on.ref is None:
        st.info("Save this plan first: the log belongs to a saved truck.", icon=":material/save:")
        return
    columns = st.columns(len(FIELDS))
    for column, (kind, label, unit) in zip(columns, FIELDS, strict=True):
        column.number_input(
            f"{label} ({words.unit(unit)})", value=None, key=f"service_{kind}", placeholder="not read", format="%g"
        )
    st.button(
        "Done: log this change", key="service_done", type="primary", on_click=_write, args=(stage,), width="stretch"
    )
    if "service_fault" in on.extra:
        st.error(for_markdown(on.extra["service_fault"]), icon=":material/edit_off:")
    fields.done("service_done")


def _write(stage: StageLine) -> None:
    on = desk()
    on.extra.pop("service_fault", None)
    today = dt.date.today()
    try:
        lines = [make_reading({"date": today, "kind": "changed_cartridge", "where": stage.stage.name})]
        for kind, _, unit in FIELDS:
            value = st.session_state.get(f"service_{kind}")
            if value is not None:
                lines.append(make_reading({"date": today, "kind": kind, "value": value, "unit": on.words.unit(unit)}))
        keeping.place().add_readings(str(on.ref), lines)
    except BrewwaterError as error:
        on.extra["service_fault"] = str(error)
        return
    for key in [k for k in st.session_state if str(k).startswith("service_") and k != "service_stage"]:
        del st.session_state[key]
    on.done["service_done"] = f"The change of the {stage.part} is in the log."
