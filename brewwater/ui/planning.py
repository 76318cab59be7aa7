"""The plan on the screen: at once for the present treatment, then the search for a better one."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import cast

import streamlit as st

from brewwater.charts import DARK, LIGHT, Palette
from brewwater.errors import InputError
from brewwater.inputs import PlanDocument
from brewwater.plan import Plan, find_better, make_plan
from brewwater.treatment import Stage
from brewwater.ui.state import Desk, desk

MOST_KEPT = 12
# The search waits a moment, so that someone who is still typing is not slowed down by it.
PATIENCE_S = 0.6


@st.cache_resource(max_entries=24, show_spinner=False)
def _made(key: str, train_key: str, _typed: PlanDocument, _train: tuple[Stage, ...]) -> Plan:
    return make_plan(_typed, search=False, train=_train)


def _key(on: Desk) -> str:
    # words that change no figure are left out, so that changing them costs nothing
    plain = on.typed.model_copy(update={"name": "x", "note": "", "units": "us"})
    return plain.fingerprint()


def _found(on: Desk) -> dict[str, Plan]:
    return cast(dict[str, Plan], on.extra.setdefault("found", {}))


def current() -> Plan | None:
    """The plan for the document as it is now, without searching; None (and one clear line on the page) where the
    document cannot be planned."""
    on = desk()
    key = _key(on)
    plan = _found(on).get(key)
    try:
        if plan is None:
            plan = _made(key, repr([s.model_dump() for s in on.train]), on.typed, on.train)
    except InputError as error:
        st.error(str(error), icon=":material/report:")
        return None
    return plan if plan.document == on.typed else replace(plan, document=on.typed)


def searched(plan: Plan) -> bool:
    """Whether the search has been made for this plan."""
    return _key(desk()) in _found(desk())


def _stop(key: str) -> None:
    desk().extra["stopped"] = key


def _again() -> None:
    desk().extra.pop("stopped", None)


@st.fragment
def search(plan: Plan) -> None:
    """Look for a better treatment, with its own progress, able to be abandoned; the page redraws when done."""
    on = desk()
    key = _key(on)
    if key in _found(on):
        return
    if on.extra.get("stopped") == key:
        st.caption("The search for a better treatment was stopped. What is shown follows the treatment above.")
        st.button("Search again", key="search_again", on_click=_again, icon=":material/refresh:")
        return
    box = st.container(key="search_strip")
    bar = box.progress(0.0, text="Looking for a better treatment…")
    box.button("Stop the search", key="search_stop", on_click=_stop, args=(key,), icon=":material/stop:")
    began = time.monotonic()
    while time.monotonic() - began < on.extra.get("patience", PATIENCE_S):
        time.sleep(0.04)
        bar.progress(0.0, text="Looking for a better treatment…")
    last = 0.0

    def progress(share: float) -> None:
        nonlocal last
        if time.monotonic() - last > 0.05:  # a change made meanwhile is taken up here
            last = time.monotonic()
            bar.progress(min(max(share, 0.0), 1.0), text=f"Looking for a better treatment… {share:.0%}")

    try:
        better = find_better(plan, progress)
    except InputError as error:
        bar.empty()
        st.error(str(error))
        _stop(key)
        return
    found = _found(on)
    found[key] = better
    while len(found) > MOST_KEPT:
        found.pop(next(iter(found)))
    if better.recommended:
        on.train = better.outcome.stages
    st.rerun()


def colours() -> Palette:
    """The chart colours for the theme that the reader sees."""
    return DARK if st.context.theme.type == "dark" else LIGHT
