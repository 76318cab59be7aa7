"""Days and drinks: what is served, when, what is filled where; the year at a glance and one busy day."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import Any

import numpy as np
import streamlit as st

from brewwater.branches.parts import known
from brewwater.charts import demand_year, tank_day
from brewwater.demand import WEEKDAYS
from brewwater.ensemble import mean, percentiles
from brewwater.plan import Plan
from brewwater.reference import table
from brewwater.ui import fields, planning, show
from brewwater.ui.state import Document, desk
from brewwater.ui.words import Words
from brewwater.units import GAL_L

DAY_NAMES = {w: w.capitalize() for w in WEEKDAYS}
DATED: dict[str, tuple[str, dict[str, Any]]] = {
    "events": ("Busy days", {"name": "Event", "multiplier": 2.0}),
    "closures": ("Closures", {"name": "closed"}),
    "suspensions": ("Notices on the water", {"name": "boil-water notice"}),
}


def page() -> None:
    """Drinks, calendar, fills, and their pictures."""
    plan = planning.current()
    left, right = st.columns(2, gap="large")
    with left:
        _drinks()
        _uses()
    with right:
        _calendar()
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
    return {row["key"]: row["key"].replace("_", " ") for row in table("drink_water")}


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
            columns = st.columns([2, 1, 1])
            with columns[0]:
                fields.text("Drink", f"drink_name_{i}", ("demand", "drinks", i, "name"))
            with columns[1]:
                fields.span("A day", f"drink_count_{i}", ("demand", "drinks", i, "per_service_day"), optional=False)
            with columns[2]:
                fields.span(
                    "Water, fl oz",
                    f"drink_oz_{i}",
                    ("demand", "drinks", i, "fl_oz"),
                    placeholder="usual" if drink.name in usual else "needed",
                )
            fields.act(
                "Take out",
                f"drink_out_{i}",
                partial(_pop, ("demand", "drinks"), i),
                icon=":material/delete:",
                disabled=len(demand.drinks) == 1 and demand.drinks_per_service_day is None,
            )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        key = st.selectbox("Add a drink", list(usual), key="drink_new", format_func=usual.__getitem__)
        fields.act("Add", "drink_add", partial(_add_drink, key), icon=":material/add:")
    if not demand.drinks:
        st.caption("No list: the usual mix of drinks stands in (common practice, no source).")


def _add_drink(key: str, document: Document) -> None:
    demand = document["demand"]
    demand["mix"] = {}
    demand["drinks"].append({"name": key, "per_service_day": 10.0})


def _pop(path: tuple[str, ...], index: int, document: Document) -> None:
    at: Any = document
    for part in path:
        at = at[part]
    at.pop(index)


def _uses() -> None:
    on = desk()
    branches = [b.name for b in on.typed.branches]
    with st.expander("Rinses, flushes and other water", icon=":material/water_drop:"):
        for i, use in enumerate(on.typed.demand.uses_per_drink):
            columns = st.columns([2, 1, 1])
            with columns[0]:
                fields.choice(
                    f"{use.name}: on branch", f"use_branch_{i}", branches, ("demand", "uses_per_drink", i, "branch")
                )
            with columns[1]:
                fields.span("Each, fl oz", f"use_oz_{i}", ("demand", "uses_per_drink", i, "fl_oz"), optional=False)
            with columns[2]:
                fields.number(
                    "Times a drink",
                    f"use_times_{i}",
                    ("demand", "uses_per_drink", i, "per_drink"),
                    step=0.1,
                    optional=False,
                )
        for i, fixed in enumerate(on.typed.demand.fixed):
            columns = st.columns([2, 2])
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


# -- calendar -----------------------------------------------------------------------------------------------


def _calendar() -> None:
    on = desk()
    st.subheader("The year's calendar", anchor=False)
    fields.several(
        "Service days", "weekdays", WEEKDAYS, ("demand", "calendar", "weekdays"), names=DAY_NAMES.__getitem__
    )
    columns = st.columns(2)
    with columns[0]:
        fields.day("The plan starts", "start", ("demand", "calendar", "start"))
    with columns[1]:
        fields.number(
            "and runs for",
            "months",
            ("demand", "calendar", "months"),
            unit="months",
            whole=True,
            low=24,
            high=36,
            optional=False,
        )
    fields.span(
        "Growth a year",
        "growth",
        ("demand", "calendar", "growth_per_year"),
        unit="share",
        optional=False,
        help="0.1 is ten per cent more drinks each year.",
    )
    calendar = on.typed.demand.calendar
    for part, (title, fresh) in DATED.items():
        items = getattr(calendar, part)
        with st.expander(f"{title} ({len(items)})", icon=":material/event:", key=f"box_{part}"):
            for i, item in enumerate(items):
                _dated(part, i, item)
            fields.act("Add", f"{part}_add", partial(_add_dated, part, fresh), icon=":material/add:")


def _dated(part: str, i: int, item: Any) -> None:
    path = ("demand", "calendar", part, i)
    with st.container(border=True):
        fields.text("Name", f"{part}_name_{i}", (*path, "name"))
        columns = st.columns(2)
        with columns[0]:
            fields.day("From", f"{part}_start_{i}", value=item.start.isoformat(), write=partial(_set_start, part, i))
        with columns[1]:
            fields.day("to", f"{part}_end_{i}", (*path, "end"))
        if part == "events":
            counted = item.drinks_per_day is not None
            fields.number(
                "Drinks a day" if counted else "Times an ordinary day",
                f"event_size_{i}",
                (*path, "drinks_per_day" if counted else "multiplier"),
                step=0.5,
                optional=False,
                unit="drinks" if counted else "×",
            )
            fields.switch("Counted in drinks", f"event_counted_{i}", value=counted, write=partial(_count, i))
        if part == "closures":
            fields.choice(
                "Kind",
                f"closure_kind_{i}",
                ("closed", "stored"),
                (*path, "kind"),
                names={"closed": "closed, cartridges stay", "stored": "laid up, cartridges are discarded"}.__getitem__,
            )
            fields.switch("Drained", f"closure_drained_{i}", (*path, "drained"))
            fields.switch("May freeze", f"closure_frozen_{i}", (*path, "frozen"))
            if item.kind == "stored" or item.frozen:
                show.cautions(
                    [
                        "Discard wet cartridges at lay-up; buy new ones for the day you reopen.",
                        "Pumps, flow meters, boilers and heat exchangers hold water after draining.",
                        "Only potable antifreeze, never through cartridges, nor a machine unless its manual allows it.",
                    ],
                    "Lay-up and freezing",
                )
        fields.act(
            "Take out", f"{part}_out_{i}", partial(_pop, ("demand", "calendar", part), i), icon=":material/delete:"
        )


def _set_start(part: str, i: int, document: Document, value: str) -> None:
    item = document["demand"]["calendar"][part][i]
    item["start"] = value
    item["end"] = max(item["end"], value)


def _add_dated(part: str, fresh: dict[str, Any], document: Document) -> None:
    start = dt.date.fromisoformat(document["demand"]["calendar"]["start"]) + dt.timedelta(days=150)
    document["demand"]["calendar"][part].append(
        {**fresh, "start": start.isoformat(), "end": (start + dt.timedelta(days=2)).isoformat()}
    )


def _count(i: int, document: Document, counted: bool) -> None:
    event = document["demand"]["calendar"]["events"][i]
    event["drinks_per_day"], event["multiplier"] = (200.0, None) if counted else (None, 2.0)


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
                names=DAY_NAMES.__getitem__,
            )
            fields.act(
                "Take out",
                f"fill_out_{i}",
                partial(_pop, ("fill", "fills"), i),
                icon=":material/delete:",
                disabled=len(on.typed.fill.fills) == 1,
            )
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
    needs = plan.given.demand
    behind = [needs.branches.index(b.name) for b in plan.outcome.branches if b.filtered]
    per_term = mean(needs.amounts[:, behind].sum(axis=1), plan.given.weights) if behind else np.zeros(4)
    litres = needs.curves.T @ np.atleast_1d(per_term)
    amounts = litres * (1.0 if words.metric else 1 / GAL_L)
    days = [d.astype(dt.date) for d in needs.days]
    st.altair_chart(
        demand_year(days, amounts, needs.open, words.unit("volume"), planning.colours()),
        width="stretch",
        key="demand_year",
    )
    peak = (
        percentiles(
            needs.peak_day_litres(*(b.name for b in plan.outcome.branches if b.filtered)) / GAL_L, plan.given.weights
        )
        if behind
        else np.zeros(3)
    )
    st.caption(
        f"Squares: service days, the stronger the busier. Dots: closed. Busiest day, filtered: "
        f"{words.span([float(x) for x in peak], 'volume')}."
    )


def _tanks(plan: Plan, words: Words) -> None:
    unit = known(plan.document.unit)
    fresh_gal, waste_gal = unit.unit.fresh_tank_gal, unit.unit.waste_tank_gal
    if not plan.document.unit.has_tanks or fresh_gal is None:
        return
    st.subheader("The tanks through the busiest day", anchor=False)
    demand, weights = plan.given.demand, plan.given.weights
    use = spent = 0.0
    for branch in plan.outcome.branches:
        gallons = float(mean(demand.peak_day_litres(branch.name) / GAL_L, weights))
        reject = float(mean(plan.given.by_phase(plan.outcome.reject_L_per_L.get(branch.name, np.zeros(1))), weights))
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
