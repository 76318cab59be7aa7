"""Changes: when each cartridge comes out, what governs it, when to order the next one.

The dates are the plan's calendar, as everywhere.
"""

from __future__ import annotations

import streamlit as st

from brewwater.changes import Descale, Due
from brewwater.demand import WEEKDAYS
from brewwater.escape import for_markdown
from brewwater.output.charts import Remaining, capacity_left, remaining
from brewwater.output.drawing import SCREEN, calendar_html, treatment_html
from brewwater.output.sheet.content import unknown_capacities
from brewwater.output.vocabulary import governed
from brewwater.plan import Plan
from brewwater.planning.cartridges import Cartridge
from brewwater.units import percent
from brewwater.web import planning
from brewwater.web.pages import first
from brewwater.web.state import Document, desk
from brewwater.web.widgets import facts, fields, show
from brewwater.web.widgets.words import Words, date

SOON = 6  # changes that are shown at once; the rest opens
ANY_DAY = "any day"
MEAN_RISK = 0.1  # where the reader turns the risk on: one change in ten runs out before its date


def page() -> None:
    """The schedule with its doubt, and the picture of what is left."""
    on = desk()
    plan = planning.current()
    if plan is None:
        return
    if not plan.candidate.cartridges:
        title, note = planning.headline(plan)
        show.raw(treatment_html(first.told(plan), SCREEN, title, note))
        planning.search(plan)
        return
    due = plan.calendar.dues
    show.raw(calendar_html(first.told(plan), on.typed.demand.calendar, SCREEN))
    show.page_link("service", "Go to the service stop", "build")
    show.figures([facts.change_figure(plan), facts.filtered_figure(plan, on.words), facts.cost_figure(plan, on.words)])
    st.subheader("Schedule", anchor=False)
    _schedule(plan, due, on.words)
    _policy()
    st.subheader("What one cartridge bears", anchor=False)
    _bears(plan, on.words)
    st.subheader("What is left, day by day", anchor=False)
    for i, one in enumerate(plan.candidate.cartridges):
        st.altair_chart(capacity_left(_left(plan, one), planning.colours()), width="stretch", key=f"left_{i}")
    st.caption(
        "Line: the middle of all cases. Band: eight of ten cases. Dashed line and ▼: the change of the schedule. "
        "Capacity or time limit, whichever is nearer its end."
    )
    _descaling(plan.calendar.descales)
    show.cautions(["Every date is an estimate: verify by test."])
    planning.search(plan)


# -- the schedule -------------------------------------------------------------------------------------------


def _schedule(plan: Plan, due: tuple[Due, ...], words: Words) -> None:
    if not due:
        st.info("No cartridge comes due within the plan.")
        return
    unknown = unknown_capacities(plan)
    _table(due[:SOON], words, unknown)
    if len(due) > SOON:
        with st.expander(f"All {len(due)} changes of the plan", icon=":material/event_list:", key="box_all"):
            _table(due, words, unknown)
    policy = plan.document.policy
    st.caption(
        "The same dates stand on the printed sheet and in the calendar file. "
        f"{for_markdown(_chosen(plan))} Orders allow {policy.lead_days} days of delivery and "
        f"{policy.buffer_days} days in hand."
    )


def _table(due: tuple[Due, ...], words: Words, unknown: frozenset[str]) -> None:
    show.table(
        ["Change on", "Cartridge", "Order by", "Falls due", "New one in", "Governed by", "Capacity left"],
        [
            [
                date(one.date),
                f"{one.cartridge}, change {one.number}",
                "–" if one.order_by is None else date(one.order_by),
                f"{date(one.early)} to {date(one.late)}" if one.early != one.late else date(one.early),
                "same day" if one.fitted == one.date else date(one.fitted),
                governed(one.governs, one.cartridge not in unknown) + (f"; {one.because}" if one.because else ""),
                words.share(one.left[1]),
            ]
            for one in due
        ],
        numeric=(6,),
        tight=(0, 2),
        label="Change schedule",
    )


def _left(plan: Plan, one: Cartridge) -> Remaining:
    """What is left of a cartridge where it is changed on the dates of the schedule, the log's before them."""
    calendar, name = plan.calendar, one.stage.name
    swaps = [(day, day) for day in calendar.made.get(name, ())]
    swaps += [(d.date, d.fitted or calendar.end) for d in calendar.of(name)]
    return remaining(one, plan.scenario.weights, swaps, calendar.in_place.get(name))


def _chosen(plan: Plan) -> str:
    """In a sentence, how the dates came about."""
    policy = plan.document.policy
    margin = percent(policy.margin)
    if policy.risk is not None:
        risk = percent(policy.risk)
        text = f"Each date is the day by which the full capacity has run out in {risk} of the cases."
    else:
        text = f"Each date is the middle of the cases, with {margin} of the capacity counted on."
    if policy.group_days:
        text += f" Changes within {policy.group_days} days of each other are made at one visit."
    return text


def _policy() -> None:
    on = desk()
    policy = on.typed.policy
    with st.expander("How dates are chosen", icon=":material/tune:", key="box_policy"):
        left, right = st.columns(2, gap="large")
        with left:
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
                "Choose each date by the risk of running out",
                "by_risk",
                value=policy.risk is not None,
                write=_set_risk,
                help="The margin then no longer sets the date: the full capacity does, with the risk that you accept.",
            )
            if policy.risk is not None:
                fields.number(
                    "Risk of running out first",
                    "risk",
                    ("policy", "risk"),
                    unit="0 to 1",
                    step=0.05,
                    low=0.01,
                    high=0.99,
                    optional=False,
                )
            fields.switch("Change before a busy event, not in it", "before_events", ("policy", "before_events"))
            fields.number(
                "Make changes together that fall due within",
                "group_days",
                ("policy", "group_days"),
                unit="days",
                whole=True,
                high=90,
                optional=False,
            )
        with right:
            fields.number(
                "Delivery takes",
                "lead_days",
                ("policy", "lead_days"),
                unit="days",
                whole=True,
                high=365,
                optional=False,
                help="Order = the early date, less delivery and the days in hand.",
            )
            fields.number(
                "A new cartridge should be in hand",
                "buffer_days",
                ("policy", "buffer_days"),
                unit="days before",
                whole=True,
                high=365,
                optional=False,
                help="Two weeks is common practice, without a source.",
            )
            fields.choice(
                "Visits only on",
                "visit_weekday",
                (ANY_DAY, *WEEKDAYS),
                value=policy.visit_weekday or ANY_DAY,
                write=_set_visits,
                names=str.capitalize,
            )
            if policy.visit_weekday is not None:
                fields.number(
                    "every so many weeks",
                    "visit_every_weeks",
                    ("policy", "visit_every_weeks"),
                    unit="weeks",
                    whole=True,
                    low=1,
                    high=52,
                    optional=False,
                )


def _set_visits(document: Document, weekday: str) -> None:
    document["policy"]["visit_weekday"] = None if weekday == ANY_DAY else weekday


def _set_risk(document: Document, wanted: bool) -> None:
    document["policy"]["risk"] = MEAN_RISK if wanted else None


# -- what a cartridge bears ---------------------------------------------------------------------------------


def _bears(plan: Plan, words: Words) -> None:
    rows = []
    for one in plan.candidate.cartridges:
        warned = bool(one.capacity.warnings)
        rows.append(
            [
                one.stage.name,
                facts.capacity_span(one, plan, words),
                governed(plan.calendar.lives[one.stage.name].governs, one.capacity.known),
                str(len(plan.calendar.bought(one.stage.name))),
                "usual range of its class" if warned else "data sheet",
            ]
        )
    show.table(
        ["Cartridge", "Serves before it is changed", "Governed by", "Bought in the first year", "Rests on"],
        rows,
        numeric=(3,),
        label="Cartridges",
    )
    for message in dict.fromkeys(w.message for one in plan.candidate.cartridges for w in one.capacity.warnings):
        st.caption(for_markdown(message))
    with st.expander("How this is computed", icon=":material/function:", key="box_how"):
        st.markdown(
            f"- **{'Litres' if words.metric else 'Gallons'}** = capacity × margin ÷ what one of *this* water uses. A "
            "rating is moved from the sheet's reference water to yours, on both sides of the bypass.\n"
            "- **Exchange** counts equivalents taken up, town by town; **chlorine** counts grams on the carbon; "
            "**time** counts calendar days, closed ones too.\n"
            "- The earliest of all of them governs, in every one of the plan's draws; dates are the 10th, 50th, 90th "
            "percentile.\n"
            "- Where no data sheet is entered the usual range of the class stands in (common practice, no source)."
        )


def _descaling(found: tuple[Descale, ...]) -> None:
    if not found:
        return
    st.subheader("Descaling, by the scale laid down", anchor=False)
    show.table(
        ["Expected", "Machine", "Range"],
        [[date(d.date), d.machine, f"{date(d.early)} to {date(d.late)}"] for d in found],
        tight=(0,),
        label="Descaling",
    )
    st.caption("What the machine's manual asks for regardless of scale is not in this list.")
