"""The first screen: three numbers, drinks a day, which branches are filtered, and the answer beside them."""

from __future__ import annotations

from functools import partial

import streamlit as st

from brewwater.output.charts import cup_sketch
from brewwater.output.escape import for_markdown
from brewwater.plan import Plan
from brewwater.verdicts import goals
from brewwater.web import planning
from brewwater.web.pages import start
from brewwater.web.state import Document, desk
from brewwater.web.widgets import facts, fields, show
from brewwater.web.widgets.words import Words

NUMBERS = (
    (
        "hardness",
        "total_hardness",
        "Hardness",
        "mg/L as CaCO3",
        "Total hardness, ppm as CaCO3. One grain a gallon is 17.1 ppm. Leave empty where you do not know it: the plan "
        "then carries every value that fits the rest.",
    ),
    (
        "alkalinity",
        "alkalinity",
        "Alkalinity",
        "mg/L as CaCO3",
        "Alkalinity, ppm as CaCO3. City reports often leave it out: a drop kit tells it in five minutes.",
    ),
    (
        "tds",
        "total_dissolved_solids",
        "Dissolved solids",
        "mg/L",
        "Total dissolved solids, ppm, from the report or a meter.",
    ),
)


def set_measure(analyte: str, supply: int, document: Document, value: float | None) -> None:
    """Write a typed number over a supply's measurement; None takes it away."""
    analysis = document["supplies"][supply]["analysis"]
    if value is None:
        analysis.pop(analyte, None)
    else:
        analysis[analyte] = {"value": value, "unit": "mg/L", "method": "typed"}


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


def page() -> None:
    """Inputs on one side, the answer on the other."""
    on = desk()
    if start.form():
        return
    start.offer()
    left, right = st.columns([1, 2], gap="large")
    with left:
        _inputs()
    with right:
        stamp = st.container(key="plan_stamp")
        plan = planning.current()
        stamp.caption(f"Plan {plan.stamp}" if plan else "No plan yet")
        if plan is not None:
            _answer(plan, on.words)
    start.offer_below()


def _inputs() -> None:
    on = desk()
    typed = on.typed
    names = [s.name for s in typed.supplies]
    at = chosen_supply()
    st.subheader("Your water", anchor=False)
    if len(names) > 1:
        fields.seed("supply", names[at])
        fields.pick(
            "Which water",
            names,
            key="supply",
            on_change=_choose_supply,
            help="The three numbers belong to this water; the plan is made for all of them.",
        )
    for key, analyte, label, unit, help_text in NUMBERS:
        found = typed.supplies[at].analysis.get(analyte)
        now = None if found is None else found.in_plan_units(analyte)
        fields.number(
            label,
            key,
            value=None if now is None else now.middle,
            write=partial(set_measure, analyte, at),
            unit=unit,
            help=help_text,
            step=5.0,
            high=20000,
        )
        if now is not None and found is not None and not now.certain:
            span, method = on.words.span([now.low, now.high]), found.method.replace("_", " ")
            st.caption(for_markdown(f"{span} {unit} ({method}); a number typed here replaces the range."))
    st.subheader("Your day", anchor=False)
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
        help=f"An ordinary day. Service days: {', '.join(typed.demand.calendar.weekdays)}.",
    )
    st.subheader("Behind the filters", anchor=False)
    for i, branch in enumerate(typed.branches):
        fields.switch(
            branch.name,
            f"filtered_{i}",
            value=branch.filtered,
            write=partial(set_filtered, i),
            help="On: this branch is fed with filtered water. Rinse and sink lines seldom need it.",
        )


def _answer(plan: Plan, words: Words) -> None:
    main = plan.candidate.main.branch.name
    served = [v for v in plan.candidate.verdicts if v.branch == main]
    treatment(plan, words)
    planning.search(plan)
    show.figures([facts.change_figure(plan), facts.cost_figure(plan, words), facts.filtered_figure(plan, words)])
    with show.together():
        show.heading("What the water does")
        show.verdicts(plan.source_verdicts, served, words.share)
        if any(v.subject == "safety" and v.status in ("stop", "act") for v in plan.source_verdicts):
            show.cautions(["This plan cannot make unsafe water safe. Stop, and call the water authority."], "Stop")
        if plan.next_tests:
            best = plan.next_tests[0]
            what = "" if best.test == "none" else f"{best.label}, {best.supply}. "
            show.say(f"Next test: {what}{best.because}")
    with show.together():
        _picture(plan, words)
        show.small(
            "Each mark is one water that fits what is known: squares as it comes, dots as served. Their figures: on "
            "the Water page."
        )
    _notes(plan)


def treatment(plan: Plan, words: Words) -> None:
    """The train that is shown, and what it is."""
    title, line = planning.headline(plan)
    with show.together():
        show.heading(title)
        if plan.candidate.stages or not line.startswith("Everything"):
            show.train(facts.train_names(plan.candidate.stages, words))
        if line:
            show.small(line)


def _picture(plan: Plan, words: Words) -> None:
    goal = goals(plan.document.targets)
    hard, alk = goal["total_hardness"], goal["alkalinity"]
    wanted = ((hard.low, hard.high), (alk.low, alk.high))
    show.drawn(cup_sketch(plan.scenario, plan.candidate.main.water, wanted, planning.colours(), words.number))


def _notes(plan: Plan) -> None:
    """What the plan assumed on the way."""
    if plan.warnings:
        with st.expander(f"What was assumed ({len(plan.warnings)})", icon=":material/info:", key="assumed"):
            show.table(["Assumed or not known"], [[w.message] for w in plan.warnings], label="Assumptions")
    show.small(
        "Dates and amounts are estimates: verify by test. Not a potability tool. The machine's manual, the data sheet "
        "and local code go before anything here."
    )
