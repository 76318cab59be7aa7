"""Routing: which page is shown, and the bar that stands above every page."""

from __future__ import annotations

import gc
from collections.abc import Callable
from functools import cache, partial
from importlib import resources

import streamlit as st

from brewwater.output.escape import for_markdown
from brewwater.web import keeping
from brewwater.web.pages import (
    branches,
    changes,
    compare,
    cost,
    day,
    files,
    first,
    readings,
    sources,
    targets,
    treatment,
    units,
    water,
)
from brewwater.web.state import change, desk, hand, hear, put, redo, undo
from brewwater.web.widgets import facts, show
from brewwater.web.widgets.words import MARKS

# title, function, address, icon; the first one opens
PAGES: tuple[tuple[str, Callable[[], None], str, str], ...] = (
    ("Plan", first.page, "plan", "water_drop"),
    ("Water", water.page, "water", "description"),
    ("Targets and machines", targets.page, "targets", "target"),
    ("Treatment", treatment.page, "treatment", "filter_alt"),
    ("Side by side", compare.page, "compare", "compare"),
    ("Branches", branches.page, "branches", "account_tree"),
    ("Days and drinks", day.page, "days", "calendar_month"),
    ("Changes", changes.page, "changes", "event_repeat"),
    ("Cost", cost.page, "cost", "payments"),
    ("Readings", readings.page, "readings", "speed"),
    ("Units", units.page, "units", "local_shipping"),
    ("Print and files", files.page, "files", "print"),
    ("Trust and sources", sources.page, "sources", "menu_book"),
)


# pages that say at their head what is planned so far, or show nothing of the plan
SAY_THEMSELVES = {"plan", "treatment", "units", "sources"}


def main() -> None:
    """Draw the page that the reader is on."""
    _lasting()
    icon = resources.files("brewwater.web") / "assets" / "icon.svg"
    st.set_page_config("brewwater", str(icon), layout="wide", initial_sidebar_state="auto")
    show.style()
    keeping.only_here()
    hear()
    keeping.start()
    pages = {
        address: st.Page(
            function, title=title, url_path=address, icon=f":material/{sign}:", default=function is first.page
        )
        for title, function, address, sign in PAGES
    }
    st.session_state["pages"] = pages
    # one plain list: Streamlit's headed lists are not valid lists for a screen reader
    chosen = st.navigation(list(pages.values()), expanded=True)
    on = desk()
    if on.page != chosen.url_path:
        on.page = chosen.url_path  # a fault stays at its field, and its field is gone
        on.faults, on.done = {}, {}
    _sidebar()
    _bar(chosen.title)
    keeping.trouble()
    standing = st.container(key="not_last_word")
    chosen.run()
    if _address(chosen.title) not in SAY_THEMSELVES:
        line = facts.not_the_last_word()
        if line:
            with standing:
                show.say(line)


@cache
def _lasting() -> None:
    """What is loaded by now stays: a quarter of a million objects that no search for garbage need look at again."""
    gc.collect()
    gc.freeze()


def _address(title: str) -> str:
    return next(address for name, _, address, _ in PAGES if name == title)


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
            "Units",
            ["us", "metric"],
            key="units",
            horizontal=True,
            on_change=_set_units,
            format_func={"us": "US", "metric": "Metric"}.get,
            help="Gallons, psi and °F, or litres, kPa and °C. Hardness and alkalinity are mg/L as CaCO3 in both.",
        )
        st.selectbox("Number marks", MARKS, key="marks", on_change=_set_marks)


def _bar(title: str) -> None:
    on = desk()
    with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center", key="bar"):
        st.title(title, anchor=False)
        with st.container(horizontal=True, width="content", vertical_alignment="center", gap="small"):
            st.markdown(_state_of_saving())
            st.button("Undo", key="undo", icon=":material/undo:", on_click=undo, disabled=not on.past)
            st.button("Redo", key="redo", icon=":material/redo:", on_click=redo, disabled=not on.future)
            st.button(
                "Save", key="save", icon=":material/save:", on_click=partial(keeping.save), disabled=not on.unsaved
            )


def _state_of_saving() -> str:
    on = desk()
    if on.ref is None:
        return f"**{for_markdown(on.typed.name)}** · :yellow-badge[▲ Not saved yet]"
    if on.unsaved:
        return f"**{for_markdown(on.typed.name)}** · :yellow-badge[▲ Change not saved]"
    return f"**{for_markdown(on.typed.name)}** · :green-badge[● Saved, version {on.version}]"
