"""Days and drinks: what is served, when, what is filled where; the year at a glance and one busy day."""

from __future__ import annotations

import datetime as dt
from functools import partial

import numpy as np
import streamlit as st

from brewwater.demand import WEEKDAYS
from brewwater.ensemble import mean, percentiles
from brewwater.output.charts import demand_year, tank_day
from brewwater.output.vocabulary import DRINKS
from brewwater.plan import Plan
from brewwater.plumbing.parts import known
from brewwater.reference import table
from brewwater.units import GAL_L
from brewwater.web import planning
from brewwater.web.pages import year
from brewwater.web.state import Document, desk
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.words import Words


def page() -> None:
    """Drinks, calendar, fills, and their pictures."""
    plan = planning.current()
    left, right = st.columns(2, gap="large")
    with left:
        _drinks()
        _uses()
    with right:
        year.calendar()
        _fills()
    if plan is not None:
        _year(plan, desk().words)
        _tanks(plan, desk().words)
        planning.search(plan)
    show.cautions(
        [
            "Empty a tank weekly, and drain it when idle (common practice). Never store dechlorinated water long.",
            "Half-full tanks slosh: mind axle and tongue weight.",
        ]
    )


# -- drinks -------------------------------------------------------------------------------------------------


def _usual_names() -> dict[str, str]:
    return {row["key"]: DRINKS.inside(row["key"]) for row in table("drink_water")}


def _drinks() -> None:
    on = desk()
    st.subheader("Drinks", anchor=False)
    demand = on.typed.demand
    fields.span(
        "Drinks on a service day",
        "drinks_span",
        ("demand", "drinks_per_service_day"),
        unit="drinks",
        optional=bool(demand.drinks),
        placeholder="as listed below",
    )
    usual = _usual_names()
    for i, drink in enumerate(demand.drinks):
        with st.container(border=True):
            fields.text("Drink", f"drink_name_{i}", ("demand", "drinks", i, "name"))
            columns = st.columns(2)
            with columns[0]:
                fields.span("A day", f"drink_count_{i}", ("demand", "drinks", i, "per_service_day"), optional=False)
            with columns[1]:
                fields.span(
                    "Water",
                    f"drink_oz_{i}",
                    ("demand", "drinks", i, "fl_oz"),
                    kind="drink",
                    placeholder="usual" if drink.name in usual else "needed",
                )
            fields.act(
                "Take out",
                f"drink_out_{i}",
                partial(year.pop, ("demand", "drinks"), i),
                icon=":material/delete:",
                disabled=len(demand.drinks) == 1 and demand.drinks_per_service_day is None,
            )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        key = st.selectbox("Add a drink", list(usual), key="drink_new", format_func=usual.__getitem__)
        fields.act("Add", "drink_add", partial(_add_drink, key), icon=":material/add:")
    listed = {drink.name for drink in demand.drinks}
    for row in table("drink_water"):
        if row["key"] in listed and row["note"]:
            st.caption(f"{usual[row['key']]}: {row['note']}.")
    if not demand.drinks:
        st.caption("No list: the usual mix of drinks stands in (common practice, no source).")


def _add_drink(key: str, document: Document) -> None:
    demand = document["demand"]
    demand["mix"] = {}
    demand["drinks"].append({"name": key, "per_service_day": 10.0})


def _uses() -> None:
    on = desk()
    branches = [b.name for b in on.typed.branches]
    with st.expander("Rinses, flushes and other water", icon=":material/water_drop:", key="box_uses"):
        for i, use in enumerate(on.typed.demand.uses_per_drink):
            fields.choice(
                f"{use.name}: on branch", f"use_branch_{i}", branches, ("demand", "uses_per_drink", i, "branch")
            )
            columns = st.columns(2)
            with columns[0]:
                fields.span(
                    "Each", f"use_oz_{i}", ("demand", "uses_per_drink", i, "fl_oz"), kind="drink", optional=False
                )
            with columns[1]:
                fields.number(
                    "Times a drink",
                    f"use_times_{i}",
                    ("demand", "uses_per_drink", i, "per_drink"),
                    step=0.1,
                    optional=False,
                )
        for i, fixed in enumerate(on.typed.demand.fixed):
            columns = st.columns(2)
            with columns[0]:
                fields.choice(
                    f"{fixed.name.replace('_', ' ')}: on branch",
                    f"fixed_branch_{i}",
                    branches,
                    ("demand", "fixed", i, "branch"),
                )
            with columns[1]:
                fields.span(
                    "On a service day", f"fixed_gal_{i}", ("demand", "fixed", i, "gal_per_service_day"), kind="volume"
                )
        st.caption("Water per drink and fixed uses: common practice, no source; your own measurement goes before.")


# -- fills --------------------------------------------------------------------------------------------------


def _fills() -> None:
    on = desk()
    supplies = [s.name for s in on.typed.supplies]
    st.subheader("Whose water is filled", anchor=False)
    for i, fill in enumerate(on.typed.fill.fills):
        with st.container(border=True):
            fields.choice("Filled with", f"fill_supply_{i}", supplies, ("fill", "fills", i, "supply"))
            fields.several(
                "On",
                f"fill_days_{i}",
                WEEKDAYS,
                value=fill.weekdays or WEEKDAYS,
                write=partial(_fill_days, i),
                names=year.DAY_NAMES.__getitem__,
            )
            fields.act(
                "Take out",
                f"fill_out_{i}",
                partial(year.pop, ("fill", "fills"), i),
                icon=":material/delete:",
                disabled=len(on.typed.fill.fills) == 1,
            )
    if len(on.typed.fill.fills) > 1:
        st.caption("Where two name the same day, the lower one counts.")
    fields.act("Add a fill", "fill_add", partial(_add_fill, supplies[-1]), icon=":material/add:")
    fields.number(
        "Old water left at a refill",
        "heel",
        ("fill", "heel"),
        unit="share, 0 to 1",
        step=0.05,
        high=0.99,
        optional=False,
    )


def _fill_days(i: int, document: Document, days: list[str]) -> None:
    document["fill"]["fills"][i]["weekdays"] = None if len(days) == 7 or not days else days


def _add_fill(supply: str, document: Document) -> None:
    document["fill"]["fills"].append({"supply": supply, "weekdays": ["sat", "sun"]})


# -- pictures -----------------------------------------------------------------------------------------------


def _year(plan: Plan, words: Words) -> None:
    st.subheader("The year, day by day", anchor=False)
    needs = plan.scenario.demand
    behind = [needs.branches.index(b.name) for b in plan.candidate.branches if b.filtered]
    per_term = mean(needs.amounts[:, behind].sum(axis=1), plan.scenario.weights) if behind else np.zeros(4)
    litres = needs.curves.T @ np.atleast_1d(per_term)
    amounts = litres * (1.0 if words.metric else 1 / GAL_L)
    days = [d.astype(dt.date) for d in needs.days]
    calendar = plan.document.demand.calendar
    busy = np.zeros(len(days), dtype=bool)
    for event in calendar.busy:
        busy[calendar.span_of(event)] = True
    st.altair_chart(
        demand_year(days, amounts, needs.open, words.unit("volume"), planning.colours(), busy),
        width="stretch",
        key="demand_year",
    )
    peak = (
        percentiles(
            needs.peak_day_litres(*(b.name for b in plan.candidate.branches if b.filtered)) / GAL_L,
            plan.scenario.weights,
        )
        if behind
        else np.zeros(3)
    )
    st.caption(
        "Squares: service days, the stronger the busier; outlined: a busy day of the calendar. Dots: closed. "
        f"Busiest day, filtered: "
        f"{words.span([float(x) for x in peak], 'volume')}."
    )


def _tanks(plan: Plan, words: Words) -> None:
    unit = known(plan.document.unit)
    fresh_gal, waste_gal = unit.unit.fresh_tank_gal, unit.unit.waste_tank_gal
    if not plan.document.unit.has_tanks or fresh_gal is None:
        return
    st.subheader("The tanks through the busiest day", anchor=False)
    demand, weights = plan.scenario.demand, plan.scenario.weights
    use = spent = 0.0
    for branch in plan.candidate.branches:
        gallons = float(mean(demand.peak_day_litres(branch.name) / GAL_L, weights))
        reject = float(
            mean(plan.scenario.by_phase(plan.candidate.reject_L_per_L.get(branch.name, np.zeros(1))), weights)
        )
        use += gallons * (1 + reject)
        spent += gallons * (branch.waste_share + reject)
    hours_open = unit.unit.hours_per_service_day or 8.0
    hours = np.linspace(0, hours_open, 33)
    factor = GAL_L if words.metric else 1.0
    st.altair_chart(
        tank_day(
            hours.tolist(),
            (np.maximum(fresh_gal - use * hours / hours_open, 0) * factor).tolist(),
            (spent * hours / hours_open * factor).tolist(),
            (fresh_gal * factor, None if waste_gal is None else waste_gal * factor),
            words.unit("volume"),
            planning.colours(),
        ),
        width="stretch",
        key="tank_day",
    )
    assumed = unit.missing(("fresh_tank_gal", "waste_tank_gal", "hours_per_service_day"))
    st.caption(
        "Even use over the hours of service, the middle of all cases. Fresh water that runs out shows as an empty tank."
        + (f" Usual figures stand in for: {', '.join(assumed)} (enter yours on the Branches page)." if assumed else "")
    )
