"""The first screen: the answer first, then the numbers it rests on."""

from __future__ import annotations

import datetime as dt
from functools import partial

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.output.answer import Answer, answer
from brewwater.output.drawing import SCREEN, answer_html
from brewwater.output.vocabulary import METHODS
from brewwater.plan import Plan
from brewwater.web import keeping, planning
from brewwater.web.pages import start
from brewwater.web.state import Document, desk
from brewwater.web.widgets import facts, fields, show
from brewwater.web.widgets.words import Kind

NUMBERS: tuple[tuple[str, str, str, Kind, str], ...] = (
    (
        "hardness",
        "total_hardness",
        "Hardness",
        "hardness",
        "Total hardness. One grain a gallon is 17.1 ppm as CaCO3. Leave empty where you do not know it: the plan then "
        "carries every value that fits the rest.",
    ),
    (
        "alkalinity",
        "alkalinity",
        "Alkalinity",
        "amount",
        "Alkalinity as CaCO3. City reports often leave it out: a drop kit tells it in five minutes.",
    ),
    (
        "tds",
        "total_dissolved_solids",
        "Dissolved solids",
        "amount",
        "Total dissolved solids, from the report or a meter.",
    ),
)


def set_measure(analyte: str, supply: int, unit: str, document: Document, value: float | None) -> None:
    """Write a typed number over a supply's measurement, in the unit it was typed in; None takes it away."""
    analysis = document["supplies"][supply]["analysis"]
    if value is None:
        analysis.pop(analyte, None)
    else:
        analysis[analyte] = {"value": value, "unit": unit, "method": "typed"}


def set_drinks(document: Document, value: float | None) -> None:
    """Drinks of an ordinary service day; a list of drinks is scaled to it."""
    document["demand"]["drinks_per_service_day"] = value


def set_filtered(index: int, document: Document, value: bool) -> None:
    """Move a branch behind the filters, or before them."""
    document["branches"][index]["filtered"] = value


def chosen_supply() -> int:
    """Which supply the three numbers belong to."""
    names = [s.name for s in desk().typed.supplies]
    wanted = desk().extra.get("supply", names[0])
    return names.index(wanted) if wanted in names else 0


def _choose_supply() -> None:
    desk().extra["supply"] = st.session_state["supply"]
    for key, *_ in NUMBERS:
        desk().faults.pop(key, None)


def told(plan: Plan) -> Answer:
    """The answer of the plan on the desk, in the reader's measures, for today."""
    on = desk()
    seeking = on.typed.train is None and not planning.searched(plan)
    return answer(plan, on.words, dt.date.today(), searching=seeking)


def page() -> None:
    """The answer, then the numbers."""
    on = desk()
    if start.form():
        return
    stamp = st.container(key="plan_stamp")
    plan = planning.current()
    stamp.caption(f"Plan {plan.stamp}" if plan else "No plan yet")
    if plan is not None:
        shown = told(plan)
        show.raw(answer_html(shown, on.typed.demand.calendar, SCREEN))
        _moved(plan)
        planning.search(plan)
        with st.container(horizontal=True, key="next_steps"):
            show.page_link("readings", "Enter a reading", "edit_note")
            show.page_link("treatment", "What else was tried", "compare_arrows")
    _inputs()
    if plan is not None:
        _behind(plan)
    start.offer_below()


def _moved(plan: Plan) -> None:
    """Which dates of the saved unit moved by new rules since they were last told, until it is seen."""
    on = desk()
    if on.ref is None or on.document != on.saved or not planning.searched(plan):
        return
    try:
        if on.extra.get("dates_told") != plan.stamp:
            on.extra["dates_moved"] = keeping.place().dates_moved(on.ref, plan)
            on.extra["dates_told"] = plan.stamp
    except BrewwaterError:
        return  # the store's own trouble is told where it is opened
    moved = on.extra.get("dates_moved")
    if moved is not None:
        with st.container(key="dates_moved"):
            st.info(for_markdown(moved.sentence), icon=":material/event:")
            st.button("Seen", key="dates_seen", on_click=_seen, args=(plan,), icon=":material/check:")


def _seen(plan: Plan) -> None:
    on = desk()
    on.extra["dates_moved"] = None
    try:
        keeping.place().tell(str(on.ref), plan)
    except BrewwaterError as error:
        on.extra["problem"] = str(error)


def _inputs() -> None:
    """The numbers that the answer rests on, in the order in which they matter."""
    on = desk()
    typed = on.typed
    st.subheader("My numbers", anchor="my-numbers")
    names = [s.name for s in typed.supplies]
    at = chosen_supply()
    water, day, behind = st.columns(3, gap="large")
    with water:
        if len(names) > 1:
            fields.seed("supply", names[at])
            fields.pick(
                "Which water",
                names,
                key="supply",
                on_change=_choose_supply,
                help="The three numbers belong to this water; the plan is made for all of them.",
            )
        for key, analyte, label, kind, help_text in NUMBERS:
            _number(key, analyte, label, kind, help_text, at)
    with day:
        drinks = typed.demand.drinks_per_service_day
        listed = sum(d.per_service_day.middle for d in typed.demand.drinks)
        fields.number(
            "Drinks on a service day",
            "drinks",
            value=drinks.middle if drinks else listed,
            write=set_drinks,
            step=10,
            high=20000,
            whole=True,
            optional=False,
            help=f"An ordinary day. Service days: {', '.join(w.capitalize() for w in typed.demand.calendar.weekdays)}.",
        )
    with behind:
        for i, branch in enumerate(typed.branches):
            fields.switch(
                branch.name,
                f"filtered_{i}",
                value=branch.filtered,
                write=partial(set_filtered, i),
                help="On: this branch is fed with treated water. Rinse and sink lines seldom need it.",
            )


def _number(key: str, analyte: str, label: str, kind: Kind, help_text: str, at: int) -> None:
    """One of the three numbers, in the unit that was typed where one was, else in the reader's."""
    on = desk()
    found = on.typed.supplies[at].analysis.get(analyte)
    unit = fields.unit_of(kind, on.words.metric, found)
    name = on.words.unit(kind) if unit in ("gpg", "mg/L") else unit
    now = None if found is None else fields.in_unit(found, analyte, unit)
    fields.number(
        label,
        key,
        value=None if found is None else fields.middle_in_unit(found, analyte, unit),
        write=partial(set_measure, analyte, at, unit),
        unit=name,
        help=help_text,
        step=1.0 if kind == "hardness" and not on.words.metric else 5.0,
        high=20000 if unit == "mg/L" else 1200,
    )
    if now is not None and found is not None and not now.certain:
        st.caption(
            f"{on.words.span([now.low, now.high], digits=3)} {name} "
            f"({METHODS.inside(found.method)}); a number typed here replaces the range."
        )


def _behind(plan: Plan) -> None:
    """How the figures came about, and what was assumed on the way."""
    on = desk()
    with st.expander("How the date, the year's cost and the gallons came about", icon=":material/calculate:"):
        show.figures(
            [facts.change_figure(plan), facts.cost_figure(plan, on.words), facts.filtered_figure(plan, on.words)]
        )
    if plan.warnings:
        with st.expander(f"What was assumed ({len(plan.warnings)})", icon=":material/info:", key="assumed"):
            show.table(["Assumed or not known"], [[w.message] for w in plan.warnings], label="Assumptions")
    show.small(
        "Dates and amounts are estimates: verify by test. Not a potability tool. The machine's manual, the data sheet "
        "and local code go before anything here."
    )
