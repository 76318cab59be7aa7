"""Routing: which page is shown, and the bar that stands above every page."""

from __future__ import annotations

import gc
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from importlib import resources
from typing import Literal

import streamlit as st

from brewwater.escape import for_markdown
from brewwater.web import drafts, keeping
from brewwater.web.pages import (
    branches,
    changes,
    compare,
    cost,
    day,
    fact,
    files,
    first,
    readings,
    rounds,
    service,
    shelf,
    sources,
    start,
    targets,
    treatment,
    units,
    water,
)
from brewwater.web.server.leaving import LEAVING
from brewwater.web.state import change, desk, hand, hear, put, redo, undo
from brewwater.web.widgets import facts, show
from brewwater.web.widgets.words import MARKS


@dataclass(frozen=True, slots=True)
class MenuPage:
    """A page on the way: its group, its name in the menu, its question, what draws it, its address, its sign."""

    group: str
    title: str
    question: str
    draw: Callable[[], None]
    address: str
    icon: str


# in the order of the menu; the first one opens, and says its own heading
PAGES: tuple[MenuPage, ...] = (
    MenuPage("", "Answer", "", first.page, "plan", "water_drop"),
    MenuPage("Water", "Read a report", "What does the report say?", water.report_page, "report", "upload_file"),
    MenuPage("Water", "What is in it", "What is in the water?", water.page, "water", "science"),
    MenuPage("Water", "Goals", "What should the water be?", targets.page, "targets", "target"),
    MenuPage("Treatment", "Stages", "What does each stage do?", treatment.page, "treatment", "filter_alt"),
    MenuPage("Treatment", "Compare two", "Which of two is better?", compare.page, "compare", "compare"),
    MenuPage(
        "Treatment", "Shelf", "What can be bought, and what is it on this water?", shelf.page, "shelf", "inventory_2"
    ),
    MenuPage("The unit", "Branches", "Which branches get treated water?", branches.page, "branches", "account_tree"),
    MenuPage("The unit", "Tanks and pump", "Does it fit the unit?", branches.tanks_page, "tanks", "local_shipping"),
    MenuPage("The unit", "Days and drinks", "How much water, on which days?", day.page, "days", "calendar_month"),
    MenuPage("Calendar and money", "Calendar", "What is due, and when?", changes.page, "changes", "event_repeat"),
    MenuPage("Calendar and money", "Cost", "What does a year cost?", cost.page, "cost", "payments"),
    MenuPage("Records", "Readings", "What was measured and done?", readings.page, "readings", "speed"),
    MenuPage("Records", "Plan and fact", "Did it come as planned?", fact.page, "fact", "fact_check"),
    MenuPage("Records", "Service stop", "How is a filter changed?", service.page, "service", "build"),
    MenuPage("Records", "Round", "What is due, and on which truck?", rounds.page, "round", "route"),
    MenuPage("Records", "Print", "What goes on paper?", files.page, "files", "print"),
    MenuPage("Records", "Trucks", "Which truck is this?", units.page, "units", "garage"),
    MenuPage("Trust", "How sure", "How sure is all this?", sources.sure_page, "sure", "rule"),
    MenuPage("Trust", "Sources", "Where does each figure come from?", sources.page, "sources", "menu_book"),
)


# pages that say at their head what is planned so far, or show nothing of the plan
SAY_THEMSELVES = {"plan", "treatment", "units", "round", "sources", "sure", "report"}


def main() -> None:
    """Draw the page that the reader is on."""
    _lasting()
    icon = resources.files("brewwater.web") / "assets" / "icon.svg"
    st.set_page_config("brewwater", str(icon), layout="wide", initial_sidebar_state=_menu())
    show.style()
    keeping.only_here()
    keeping.signed_in()
    hear()
    named = "unit" in st.query_params
    if keeping.start():
        drafts.take_up(named=named)
    drafts.keep()
    pages = {
        stop.address: st.Page(
            stop.draw,
            title=stop.title,
            url_path=stop.address,
            icon=f":material/{stop.icon}:",
            default=stop is PAGES[0],
        )
        for stop in PAGES
    }
    st.session_state["pages"] = pages
    # one plain list: Streamlit's headed lists are not valid lists for a screen reader; the headings are drawn over it
    chosen = st.navigation(list(pages.values()), expanded=True)
    st.html(f"<style>{headings()}</style>")
    at = next(stop for stop in PAGES if pages[stop.address] is chosen)
    on = desk()
    if on.page != chosen.url_path:
        st.session_state["menu_turns"] = st.session_state.get("menu_turns", 0) + 1
        st.set_page_config(initial_sidebar_state=_menu())
        on.page = chosen.url_path  # a fault stays at its field, and its field is gone
        on.faults, on.done = {}, {}
    _sidebar()
    _bar(at)
    _leaving()
    keeping.trouble()
    drafts.notice()
    standing = st.container(key="not_last_word")
    chosen.run()
    if at.address not in SAY_THEMSELVES:
        line = facts.not_the_last_word()
        if line:
            with standing:
                show.say(line)


def _menu() -> Literal["auto", "collapsed"]:
    """How the menu stands. On a phone it covers the page: after a choice it closes, because it is told another state
    than on the page before (both mean closed there)."""
    if "Mobi" not in str(st.context.headers.get("User-Agent", "")):
        return "auto"
    turns = st.session_state.get("menu_turns", 0)
    return "collapsed" if turns % 2 else "auto"


@cache
def headings() -> str:
    """The name of each group over its first page in the menu, as rules of style."""
    firsts: dict[str, str] = {}
    for stop in PAGES:
        firsts.setdefault(stop.group, stop.address)
    head = "display:block;font-size:.875rem;font-weight:650;color:var(--bw-second);margin:.55rem 0 .1rem"
    return "".join(
        f'[data-testid=stSidebarNavItems] li:has(a[href$="/{address}"])::before{{content:"{group}";{head}}}'
        for group, address in firsts.items()
        if group
    )


@cache
def _lasting() -> None:
    """What is loaded by now stays: a quarter of a million objects that no search for garbage need look at again."""
    gc.collect()
    gc.freeze()


def _set_units() -> None:
    change("units", lambda document: put(document, ("units",), st.session_state["units"] or "us"))


def _set_marks() -> None:
    desk().marks = st.session_state["marks"]


def _sidebar() -> None:
    on = desk()
    with st.sidebar:
        for key, now in (("units", on.typed.units), ("marks", on.marks)):
            hand(key, now)
        st.radio(
            "Measures",
            ["us", "metric"],
            key="units",
            horizontal=True,
            on_change=_set_units,
            format_func={"us": "US", "metric": "Metric"}.get,
            help="Gallons, psi, °F and grains of hardness, or litres, kPa, °C and mg/L. What was typed stays as typed.",
        )
        st.selectbox("Number marks", MARKS, key="marks", on_change=_set_marks)
        keeping.account()


def _bar(stop: MenuPage) -> None:
    on = desk()
    with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center", key="bar"):
        st.markdown(_state_of_saving(), width="content")
        with st.container(
            horizontal=True, width="content", vertical_alignment="center", gap="small", key="bar_buttons"
        ):
            start.offer()
            st.button("Undo", key="undo", icon=":material/undo:", on_click=undo, disabled=not on.past)
            st.button("Redo", key="redo", icon=":material/redo:", on_click=redo, disabled=not on.future)
            st.button(
                "Save", key="save", icon=":material/save:", on_click=partial(keeping.save), disabled=not on.unsaved
            )
    if stop.question:
        st.title(stop.question, anchor=False)


def _leaving() -> None:
    """Tell the browser whether leaving loses something: it then asks first."""
    told = "yes" if desk().changed else "no"
    with st.container(key="leaving"):
        st.html(
            f'<script src="{LEAVING}"></script><span hidden data-unsaved="{told}"></span>',
            unsafe_allow_javascript=True,
        )


def _state_of_saving() -> str:
    on = desk()
    name = f"**{for_markdown(on.typed.name)}**"
    if on.ref is None:
        return f"{name} :gray[not saved yet]"
    return f"{name} :gray[{'change not saved' if on.unsaved else f'saved, version {on.version}'}]"
