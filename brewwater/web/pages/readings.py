"""Readings: the log, and what it does to the dates. Lines are only added; a mistake is taken back by a new line."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.log import Diagnosis
from brewwater.log.entry import ANALYTE_OF, EVENTS, KINDS, Reading, make_reading, reading_from_text, standing_readings
from brewwater.output.charts import worth_of_tests
from brewwater.output.sheet.record import record_files
from brewwater.output.vocabulary import LOG, METHODS
from brewwater.plan import Plan
from brewwater.units import PLAN_UNITS
from brewwater.web import keeping, planning
from brewwater.web.state import desk, hand
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.facts import change_figure
from brewwater.web.widgets.show import Figure
from brewwater.web.widgets.words import Words, date


def name_of(kind: str) -> str:
    """A kind of reading in plain words."""
    return LOG.label(kind)


def usual_unit(kind: str, words: Words) -> str:
    """The unit that stands in the field at first."""
    if kind == "meter_gal":
        return "L" if words.metric else "gal"
    if kind.startswith("pressure"):
        return "kPa" if words.metric else "psi"
    if kind == "hardness":
        return fields.unit_of("hardness", words.metric)
    if kind in ANALYTE_OF:
        return PLAN_UNITS.get(ANALYTE_OF[kind], "")
    return "drinks" if kind == "drinks_sold" else ""


def page() -> None:
    """A form for one reading, the dates, the log."""
    on = desk()
    plan = planning.current()
    if on.ref is None:
        st.info("Readings belong to a saved unit. Save the plan first; its log starts then.")
        st.button("Save the plan", key="readings_save", on_click=keeping.save, icon=":material/save:")
        if plan is not None:
            show.figures([change_figure(plan)])
            _worth(plan, on.words)
            planning.search(plan)
        return
    left, right = st.columns(2, gap="large")
    with left:
        _form(on.words)
    with right:
        if plan is not None:
            show.figures([change_figure(plan)])
            for found in plan.diagnoses:
                _diagnosis(found)
    if plan is not None:
        _effect(plan)
    _log(on.words)
    if plan is not None:
        _worth(plan, on.words)
        planning.search(plan)
    show.cautions(
        [
            "A meter far from the plan (over 1.3 or under 0.7 times) asks for a cause: a rinser behind the filter, a "
            "leak, a stuck fill valve.",
            "A meter tells what has passed, not what a cartridge still holds: only a test of the served water does.",
            "Strips for free chlorine read zero on chloramine: test total chlorine.",
            "Dissolved solids hardly change over a softener: test hardness.",
        ]
    )


def _add() -> None:
    on, state = desk(), st.session_state
    on.extra.pop("reading_fault", None)
    on.done.pop("reading_add", None)
    try:
        reading = reading_from_text(
            state["reading_date"].isoformat(),
            state["reading_kind"],
            state["reading_value"],
            state["reading_unit"],
            state["reading_note"],
            where=state["reading_where"],
            method=state["reading_method"],
        )
        keeping.place().add_readings(str(on.ref), [reading])
    except BrewwaterError as error:
        on.extra["reading_fault"] = str(error)
        return
    state["reading_value"], state["reading_note"] = "", ""
    on.done["reading_add"] = f"{name_of(reading.kind)} of {reading.date:%d %b %Y} is in the log."


def _form(words: Words) -> None:
    on = desk()
    st.subheader("Add a reading", anchor=False)
    kinds = [k for k in KINDS if k != "withdrawn"]
    kind = st.selectbox("What", kinds, key="reading_kind", format_func=name_of)
    st.date_input("When", value=dt.date.today(), key="reading_date", format="YYYY-MM-DD")
    unit = usual_unit(kind, words)
    if on.extra.get("reading_kind_seen") != (kind, words.metric):
        on.extra["reading_kind_seen"] = (kind, words.metric)
        st.session_state["reading_unit"] = unit
    hand("reading_unit", st.session_state.get("reading_unit", unit))
    columns = st.columns(2)
    columns[0].text_input("Value" if kind not in EVENTS else "Which, or what was done", key="reading_value")
    columns[1].text_input("Unit", key="reading_unit")
    if "reading_fault" in on.extra:
        st.error(for_markdown(on.extra["reading_fault"]), icon=":material/edit_off:")
    places = ["", "source", "served", *(b.name for b in on.typed.branches)]
    places += [s.name for s in (on.typed.train or on.train)]
    fields.pick("Where", list(dict.fromkeys(places)), key="reading_where", format_func=lambda w: w or "not said")
    if kind == "meter_gal":
        st.caption(
            "A meter counts what is drawn at a branch, or by all branches behind a filter. Ahead of a membrane it "
            "would count the reject too: read it behind the membrane."
        )
    st.selectbox(
        "How",
        ["typed", "drop_kit", "meter", "strip", "lab", "unknown"],
        key="reading_method",
        format_func=METHODS.label,
    )
    st.text_input("Note", key="reading_note", max_chars=400)
    st.button("Add to the log", key="reading_add", on_click=_add, icon=":material/add:", type="primary")
    fields.done("reading_add")


def _diagnosis(found: Diagnosis) -> None:
    """What the readings say that the plan did not: what happened, the likeliest causes, the next check."""
    st.warning(
        f"**{for_markdown(found.message)}**\n\nLikeliest first:\n"
        + "\n".join(f"1. {for_markdown(cause)}" for cause in found.causes)
        + f"\n\n**Next check:** {for_markdown(found.next_check)}",
        icon=":material/troubleshoot:",
    )


def _effect(plan: Plan) -> None:
    """What the readings do to the plan: dates before and after, and lines not used."""
    if plan.moved:
        st.subheader("What the readings moved", anchor=False)
        why = {one.why for one in plan.moved} - {"unchanged"}
        if len(why) == 1:
            show.say(next(iter(why)))
        rows = []
        for one in plan.moved:
            early, expected, late = one.after
            row = [one.name, date(one.before[1]), date(expected), f"{date(early)} to {date(late)}", _shift(one.days)]
            rows.append([*row, one.why] if len(why) > 1 else row)
        heads = ["Cartridge", "Planned", "With the readings", "Range", "Shift", *(["Why"] if len(why) > 1 else [])]
        show.table(heads, rows, label="What the readings moved", long=(5,))
        policy = plan.document.policy
        if policy.risk is not None or policy.group_days:
            st.caption(
                "When each falls due by itself. Grouped, or chosen by risk, the dates stand on the Changes page."
            )
    unused = [flag for flag in plan.reading_flags if not flag.used]
    if unused:
        with st.expander(f"Lines not used ({len(unused)})", icon=":material/rule:", key="box_unused"):
            reasons = Counter(flag.message for flag in unused)
            show.table(["Why", "Lines"], [[text, str(n)] for text, n in reasons.items()], (1,), label="Lines not used")


def _value(reading: Reading, words: Words) -> str:
    return "" if reading.value is None else f"{words.number(reading.value, 4)} {reading.unit}".strip()


def _shift(days: int | None) -> str:
    if days is None:
        return "not known"
    return f"{abs(days)} days {'later' if days > 0 else 'earlier'}" if days else "same day"


def _take_back(line: Reading) -> None:
    on = desk()
    back = make_reading({"date": dt.date.today(), "kind": "withdrawn", "corrects": line.id})
    try:
        keeping.place().add_readings(str(on.ref), [back])
    except BrewwaterError as error:
        on.extra["reading_fault"] = str(error)


def _capital(text: str) -> str:
    """A label with a capital, unless it begins with a sign of its own such as pH."""
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def _worth(plan: Plan, words: Words) -> None:
    """Which test matters: what each would save, so that the next one is the one that pays."""
    st.subheader("Which test matters", anchor=False)
    if not planning.searched(plan):
        st.caption("What a test is worth is worked out with the search for a better treatment.")
        return
    tests = [t for t in plan.next_tests if t.test != "none"]
    if not tests:
        show.say(next((t.because for t in plan.next_tests), "No single test would change what you buy."))
        return
    currency = plan.document.money.currency
    names = [f"{_capital(t.label)}, {t.supply}" for t in tests]
    worth = [words.money(t.value, currency) if t.value >= 0.5 else "settles a verdict" for t in tests]
    if any(t.value >= 0.5 for t in tests):
        st.altair_chart(
            worth_of_tests(
                [(name, t.value) for name, t in zip(names, tests, strict=True)],
                f"Expected saving, {currency} a year",
                planning.colours(),
                worth,
            ),
            width="stretch",
            key="worth_of_tests",
        )
    show.figures(
        [
            Figure(
                name,
                f"{told} a year" if t.value >= 0.5 else told,
                f"{t.because} Costs about {words.number(t.price, 2)} USD, takes {words.number(t.minutes, 2)} min.",
            )
            for name, told, t in zip(names, worth, tests, strict=True)
        ]
    )
    st.caption(
        "Worth: how much less a year costs on average, spoiled cups and worn machines counted, when one decides after "
        "the test. Prices and minutes of the tests are placeholders without source."
    )


def _log(words: Words) -> None:
    on = desk()
    st.subheader("The log", anchor=False)
    try:
        lines = keeping.place().readings(str(on.ref))
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    if not lines:
        st.caption("Nothing in it yet.")
        return
    standing = standing_readings(lines)
    counts = {line.id for line in standing}
    rows = [
        [
            date(r.date),
            name_of(r.kind),
            _value(r, words),
            r.where,
            r.note,
            "counts" if r.id in counts else "taken back",
        ]
        for r in sorted(lines, key=lambda r: r.date, reverse=True)
    ]
    show.table(["Date", "What", "Value", "Where", "Note", "State"], rows, label="Log of readings")
    with st.container(horizontal=True, vertical_alignment="bottom"):
        if standing:
            pick = st.selectbox(
                "A line typed wrong",
                range(len(standing)),
                key="reading_pick",
                format_func=lambda i: (
                    f"{date(standing[i].date)}, {name_of(standing[i].kind)} {_value(standing[i], words)}".strip()
                ),
            )
            st.button(
                "Take it back", key="reading_back", on_click=_take_back, args=(standing[pick],), icon=":material/undo:"
            )
        st.download_button(
            "The log as CSV",
            keeping.place().export_log(str(on.ref)),
            f"{on.ref}-log.csv",
            "text/csv",
            key="log_csv",
            icon=":material/download:",
        )
        if st.button("Make the log as PDF", key="log_pdf_make", icon=":material/print:"):
            paper = "letter" if on.typed.units == "us" else "A4"
            made = record_files(on.typed.name, lines, paper)["record.pdf"]
            st.download_button("Save the PDF", made, f"{on.ref}-log.pdf", "application/pdf", key="log_pdf")
    with st.expander("Add lines from a CSV file", icon=":material/upload:"):
        st.caption("In the form of the log as CSV; a line that is there already is left alone.")
        st.file_uploader("A log as CSV", type=["csv"], key="log_up")
        st.button("Add its lines", key="log_up_add", on_click=_add_lines)


def _add_lines() -> None:
    """Add the lines of the file that was given, all or none."""
    on, file = desk(), st.session_state.get("log_up")
    if file is None:
        return
    try:
        keeping.place().import_log(str(on.ref), file.getvalue())
    except BrewwaterError as error:
        on.extra["problem"] = str(error)
