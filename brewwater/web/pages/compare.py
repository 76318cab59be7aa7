"""Side by side: two towns under one treatment or each under its own best, or two treatments of one water."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import streamlit as st

from brewwater.cost import compare
from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.output.charts import two_costs
from brewwater.output.charts.beside import Cloud, cup_beside
from brewwater.output.vocabulary import SUBJECT, WATER
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument
from brewwater.treatment import Stage
from brewwater.verdicts import goals
from brewwater.web import planning
from brewwater.web.pages import cost
from brewwater.web.search_service import aside
from brewwater.web.search_service.search_child import COARSE_DRAWS
from brewwater.web.state import Document, desk, hand
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.beside import (
    Side,
    cost_rows,
    shared,
    side_of,
    town_alone,
    train_text,
    verdict_rows,
    water_heads,
    water_rows,
)
from brewwater.web.widgets.words import Words

BEFORE, AFTER = WATER.label("source").lower(), WATER.label("served").lower()
TOWNS, TREATMENTS = "Two towns", "Two treatments"


def page() -> None:
    """Two of them, their table, their pictures."""
    on = desk()
    plan = planning.current()
    if plan is None:
        return
    kinds = [TOWNS, TREATMENTS] if len(on.typed.supplies) > 1 else [TREATMENTS, TOWNS]
    kind = _pick("What to put side by side", kinds, "beside_what", radio=True)
    if kind == TOWNS:
        _towns(plan, on.words)
    else:
        _treatments(plan, on.words)
    planning.search(plan)


def _pick(label: str, options: Sequence[Any], key: str, *, radio: bool = False, at: int = 0, names: Any = str) -> Any:
    """One of a few, remembered when the page is left."""
    fallen = options[min(at, len(options) - 1)]
    kept = st.session_state.get(key, desk().extra.get(key))
    hand(key, kept if kept in options else fallen)

    def keep() -> None:
        desk().extra[key] = st.session_state[key]

    if radio:
        return st.radio(
            for_markdown(label),
            options,
            key=key,
            horizontal=True,
            on_change=keep,
            format_func=lambda one: for_markdown(names(one)),
        )
    return fields.pick(label, options, key=key, on_change=keep, format_func=names)


# -- towns --------------------------------------------------------------------------------------------------


def _towns(plan: Plan, words: Words) -> None:
    names = [s.name for s in plan.document.supplies]
    if len(names) < 2:
        show.say("This plan knows one water. Add another on the Water page (under Supplies), then compare them here.")
        return
    left, right = st.columns(2)
    with left:
        first = _pick("First water", names, "beside_town_0")
    with right:
        second = _pick("Second water", names, "beside_town_1", at=1)
    if first == second:
        show.say("Choose two different waters.")
        return
    each = st.toggle(
        "Each with its own best treatment",
        key="beside_each",
        help="Off: both run through the treatment of this plan. On: the search is made for each town alone.",
    )
    made = _searched(plan, [first, second]) if each else _same(plan, [first, second])
    if made is None:
        return
    st.caption(
        "As if every fill of the year came from one of them: same drinks, branches and prices. From what is known of "
        "each water; readings of the log are left out, since they tell of the mixture in the tank."
    )
    _both([side_of(name, p) for name, p in zip((first, second), made, strict=True)], words)


def _same(plan: Plan, towns: list[str]) -> list[Plan] | None:
    try:
        return [
            _planned(typed.fingerprint(), typed)
            for typed in (town_alone(plan.document, t, plan.candidate.stages, planning.LIVE_DRAWS) for t in towns)
        ]
    except BrewwaterError as error:
        st.error(for_markdown(error), icon=":material/report:")
        return None


@st.cache_resource(max_entries=12, show_spinner=False)
def _planned(key: str, _typed: PlanDocument) -> Plan:
    return make_plan(_typed, search=False)


def _searched(plan: Plan, towns: list[str]) -> list[Plan] | None:
    alone = {t: town_alone(plan.document, t, None, COARSE_DRAWS) for t in towns}
    keys = {t: (t, typed.fingerprint()) for t, typed in alone.items()}
    found = aside.several("towns", {keys[t]: typed for t, typed in alone.items()}, {keys[t]: t for t in towns})
    out: list[Plan] = []
    for town in towns:
        one = found.get(keys[town])
        if isinstance(one, BrewwaterError):
            st.error(for_markdown(f"{town}: {one}"), icon=":material/report:")
        elif one is not None:
            out.append(one)
    return out if len(out) == len(towns) else None


# -- treatments ---------------------------------------------------------------------------------------------


def _treatments(plan: Plan, words: Words) -> None:
    choices: dict[str, Side] = {}
    present = train_text(plan.candidate.stages, words)
    choices[f"Present: {present}"] = side_of("Present", plan)
    for other in plan.alternatives:
        if other.candidate.stages != plan.candidate.stages:
            choices.setdefault(train_text(other.candidate.stages, words), side_of("", plan, other.candidate))
    if len(choices) < 2:
        show.say("The search brings the other treatments; they can be chosen here as soon as it is done.")
        return
    names = list(choices)
    if st.session_state.get("beside_all", desk().extra.get("beside_all", False)):
        first = _pick("First treatment", names, "beside_train_0")
        second = _pick("Second treatment", names, "beside_train_1", at=1)
    else:  # the two that rank next: a choice of two, not two lists of all
        first, second = names[0], _pick("Compare this plan with", names[1:3], "beside_train_1")
    if len(names) > 3:
        hand("beside_all", bool(desk().extra.get("beside_all", False)))
        st.toggle(f"Choose any two of the {len(names)} that were tried", key="beside_all", on_change=_keep_all)
    if first == second:
        show.say("Choose two different treatments.")
        return
    both = [choices[first], choices[second]]
    titles = ["Present" if name == names[0] else word for name, word in ((first, "First"), (second, "Second"))]
    _both(
        [
            Side(t, s.scenario, s.source_state, s.source_verdicts, s.candidate)
            for t, s in zip(titles, both, strict=True)
        ],
        words,
    )
    ours, theirs = (s.candidate.cost for s in both)
    show.say(
        cost.paid_back(
            ours,
            theirs,
            plan.scenario.weights,
            words,
            (f"The {titles[0].lower()} treatment", f"The {titles[1].lower()} treatment"),
        )
    )
    for name, title, side in zip((first, second), titles, both, strict=True):
        if name != names[0]:
            fields.act(
                f"Take the {title.lower()} as my own",
                f"beside_take_{title.lower()}",
                partial(_take, side.candidate.stages),
                icon=":material/check:",
            )


def _keep_all() -> None:
    desk().extra["beside_all"] = st.session_state["beside_all"]


def _take(stages: Sequence[Stage], document: Document) -> None:
    document["train"] = [s.model_dump(mode="json") for s in stages]


# -- both ---------------------------------------------------------------------------------------------------


def _both(sides: Sequence[Side], words: Words) -> None:
    heads = water_heads(sides)
    cells = tuple(range(1, len(heads)))
    st.subheader("What the water does", anchor=False)
    show.table(heads, verdict_rows(sides), label="Verdicts side by side", raw=cells, pin=True)
    for side in sides:
        for verdict in side.served:
            if verdict.status in ("act", "stop"):
                show.say(f"{side.title}, {AFTER}: {SUBJECT.inside(verdict.subject)}. {verdict.why}")
    st.subheader("Cartridges and money", anchor=False)
    show.table(
        ["", *(s.title for s in sides)],
        cost_rows(sides, words),
        label="Cartridges and money side by side",
        long=tuple(range(1, len(sides) + 1)),
        pin=True,
    )
    st.subheader("The water", anchor=False)
    show.table(heads, water_rows(sides, words), label="Water side by side", raw=cells, pin=True)
    first, second = sides
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("In the cup", anchor=False)
        goal = goals(first.scenario.document.targets)
        hard, alk = goal["total_hardness"], goal["alkalinity"]
        st.altair_chart(
            cup_beside(_clouds(first, second), ((hard.low, hard.high), (alk.low, alk.high)), planning.colours()),
            width="stretch",
            key="beside_cloud",
        )
        st.caption("Each mark is one water that fits what is known: open before treatment, filled after.")
    with right:
        st.subheader("In a year", anchor=False)
        st.altair_chart(
            two_costs(
                first.title,
                second.title,
                [
                    (p.name.removeprefix("Cartridges: "), float(p.first), float(p.second))
                    for p in compare(first.candidate.cost, second.candidate.cost)
                ],
                first.candidate.cost.currency,
                planning.colours(),
            ),
            width="stretch",
            key="beside_costs",
        )
    st.caption(
        "Days count from the first day of the plan on which a new cartridge goes in; estimates, verify by test. Not a "
        "potability tool."
    )


def _clouds(first: Side, second: Side) -> list[Cloud]:
    found = []
    if shared([first, second]):  # one water, two treatments: it comes only once
        for at, side in ((True, first), (False, second)):
            found.append(Cloud(f"{side.title}, {AFTER}", side.scenario, side.candidate.main.water, at, True))
        return found
    for at, side in ((True, first), (False, second)):
        found.append(Cloud(f"{side.title}, {BEFORE}", side.scenario, side.scenario.waters, at, False))
        found.append(Cloud(f"{side.title}, {AFTER}", side.scenario, side.candidate.main.water, at, True))
    return found
