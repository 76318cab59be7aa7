"""Changes: when each cartridge comes out, what governs it, when to order the next one."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from brewwater.charts import capacity_left, remaining
from brewwater.ensemble import mean
from brewwater.plan import Plan
from brewwater.ui import facts, fields, planning, show
from brewwater.ui.state import desk
from brewwater.ui.views import first
from brewwater.ui.words import GOVERNS_WORD, Words, date

BUFFER_DAYS = 14  # common practice, no source


def page() -> None:
    """The schedule with its doubt, and the picture of what is left."""
    on = desk()
    plan = planning.current()
    if plan is None:
        return
    if not plan.outcome.cartridges:
        first.treatment(plan, on.words)
        planning.search(plan)
        return
    show.figures([facts.change_figure(plan), facts.filtered_figure(plan, on.words), facts.cost_figure(plan, on.words)])
    st.subheader("Schedule", anchor=False)
    _schedule(plan)
    st.subheader("What one cartridge bears", anchor=False)
    _bears(plan, on.words)
    st.subheader("What is left, day by day", anchor=False)
    curves = [remaining(c, plan.given.weights) for c in plan.outcome.cartridges]
    for i, curve in enumerate(curves):
        st.altair_chart(capacity_left(curve, planning.colours()), width="stretch", key=f"left_{i}")
    st.caption(
        "Line: the middle of all cases. Band: eight of ten cases. Dashed line and ▼: change expected. "
        "Capacity or time limit, whichever is nearer its end."
    )
    with st.expander("How dates are chosen", icon=":material/tune:"):
        fields.number(
            "Share of the capacity to plan with",
            "margin",
            ("policy", "margin"),
            unit="0 to 1",
            step=0.05,
            low=0.01,
            high=1,
            optional=False,
            help="Taken off once. 0.8 is common practice, without a source.",
        )
        fields.switch(
            "Move a change before an event that it would fall into", "before_events", ("policy", "before_events")
        )
        fields.number(
            "Make changes together that fall due within",
            "group_days",
            ("policy", "group_days"),
            unit="days",
            whole=True,
            high=90,
            optional=False,
        )
    show.cautions(
        [
            "Power off and cool down first; close the valve; relieve the pressure; then open the housing.",
            "Flush a new cartridge as its sheet says and test before serving.",
            "Sanitise with the cartridges bypassed or out. Never mix bleach with acid descaler.",
            "A cartridge that froze wet may look whole and bypass: discard it.",
            "Every date is an estimate: verify by test.",
        ]
    )
    planning.search(plan)


def order_by(expected: dt.date | None, early: dt.date | None, lead_days: int) -> dt.date | None:
    """The day to order: the early date less lead time and buffer."""
    first = early or expected
    return None if first is None else first - dt.timedelta(days=lead_days + BUFFER_DAYS)


def _schedule(plan: Plan) -> None:
    if "lead_days" not in st.session_state:
        st.session_state["lead_days"] = desk().extra.get("lead_days", 7)
    lead = st.number_input(
        "Delivery takes (days)",
        0,
        365,
        key="lead_days",
        step=1,
        help="Order = early date less delivery and two weeks of buffer (common practice).",
    )
    desk().extra["lead_days"] = lead
    rows: list[tuple[dt.date, list[str]]] = []
    for one in plan.outcome.cartridges:
        governs = GOVERNS_WORD[one.changes.governed_by(plan.given.weights)]
        for number, (early, expected, late) in enumerate(one.changes.dates(plan.given.weights)):
            order = order_by(expected, early, int(lead))
            why = governs if number == 0 else ""
            rows.append(
                (
                    expected or early or dt.date.max,
                    [one.stage.name, date(early), date(expected), date(late), date(order), why],
                )
            )
    if not rows:
        st.info("No cartridge comes due within the plan.")
        return
    rows.sort(key=lambda r: r[0])
    show.table(
        ["Cartridge", "Early", "Expected", "Late", "Order by", "Governs the first"],
        [r for _, r in rows],
        label="Change schedule",
    )


def _bears(plan: Plan, words: Words) -> None:
    rows = []
    for one in plan.outcome.cartridges:
        year = float(mean(one.changes.bought(0, plan.given.book.year), plan.given.weights))
        warned = "; ".join(w.message for w in one.capacity.warnings)
        rows.append(
            [
                one.stage.name,
                facts.capacity_span(one, plan, words),
                GOVERNS_WORD[one.changes.governed_by(plan.given.weights)],
                words.number(year, 2),
                warned or "data sheet",
            ]
        )
    show.table(
        ["Cartridge", "Passes before it is changed", "Governed by", "Bought in a year", "Rests on"],
        rows,
        numeric=(3,),
        label="Cartridges",
        long=(4,),
    )
    with st.expander("How this is computed", icon=":material/function:"):
        st.markdown(
            "- **Gallons** = capacity × margin ÷ what a gallon of *this* water uses. A rating is moved from the "
            "sheet's reference water to yours, on both sides of the bypass.\n"
            "- **Exchange** counts equivalents taken up, town by town; **chlorine** counts grams on the carbon; "
            "**time** counts calendar days, closed ones too.\n"
            "- The earliest of all of them governs, in every one of the plan's draws; dates are the 10th, 50th, 90th "
            "percentile.\n"
            "- Where no data sheet is entered the usual range of the class stands in (common practice, no source)."
        )
