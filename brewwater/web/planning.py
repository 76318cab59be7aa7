"""The plan on the screen: at once for the present treatment, then the search for a better one."""

from __future__ import annotations

import threading
from dataclasses import replace
from functools import cache
from typing import cast

import streamlit as st

from brewwater.errors import BrewwaterError, InputError
from brewwater.escape import for_markdown
from brewwater.output.charts import DARK, LIGHT, Palette
from brewwater.plan import Plan, make_plan, stamp
from brewwater.planning.document import PlanDocument
from brewwater.treatment import Stage
from brewwater.units import percent
from brewwater.web import keeping
from brewwater.web.search_service.search_child import COARSE_DRAWS, Order
from brewwater.web.search_service.searching import Job, Searches, session
from brewwater.web.state import Desk, desk

__all__ = [
    "COARSE_DRAWS",
    "LIVE_DRAWS",
    "colours",
    "current",
    "headline",
    "in_full",
    "same_search",
    "search",
    "searched",
    "searches",
]

# The search waits a moment, so that someone who is still typing is not slowed down by it.
PATIENCE_S = 2.0
POLL_S = 1.0
# Every look draws a page anew in part, a third of what a change costs its browser: where others wait too, a page looks
# about so often until its turn is over.
LOOKS = 2
# While someone changes things the plan follows with fewer draws; the full look comes with the search.
LIVE_DRAWS = 256

# Ten threads planning at once take nearly three times the processor time each: they fight for the interpreter.
_ONE_AT_A_TIME, _FIRST = threading.Lock(), threading.Lock()


@st.cache_resource(max_entries=24, show_spinner=False)
def _made(key: str, train_key: str, _typed: PlanDocument, _train: tuple[Stage, ...]) -> Plan:
    draws = min(_typed.settings.draws, LIVE_DRAWS)
    quick = _typed.model_copy(update={"settings": _typed.settings.model_copy(update={"draws": draws})})
    with _ONE_AT_A_TIME:
        plan = make_plan(quick, search=False, train=_train)
    return replace(plan, document=_typed, stamp=stamp(_typed, plan.candidate.stages))


def in_full(plan: Plan) -> Plan:
    """The plan with all its draws, where the search has not brought it yet."""
    if searched(plan) or plan.document.settings.draws <= LIVE_DRAWS:
        return plan
    return make_plan(plan.document, search=False, train=plan.candidate.stages)


def with_log(on: Desk) -> PlanDocument:
    """The document with the person's shelf and the lines of the saved unit's log; what it brings itself stays."""
    typed = on.typed
    if not typed.shelf and keeping.shelf():
        typed = typed.model_copy(update={"shelf": keeping.shelf()})
    if on.ref is None:
        return typed
    stamp = str(keeping.place().log_stamp(on.ref))
    if on.extra.get("log_of") != (on.ref, stamp):
        on.extra["log_of"], on.extra["log"] = (on.ref, stamp), tuple(keeping.place().readings(on.ref))
    own = {line.id for line in typed.readings}
    lines = (*typed.readings, *(line for line in on.extra["log"] if line.id not in own))
    return typed.model_copy(update={"readings": lines}) if len(lines) != len(own) else typed


def _key(typed: PlanDocument) -> str:
    # words that change no figure are left out, so that changing them costs nothing
    return typed.model_copy(update={"name": "x", "note": "", "units": "us"}).fingerprint()


def same_search(typed: PlanDocument, train: tuple[Stage, ...]) -> str:
    """What makes two searches one: the whole document, and the train where readings are held against it."""
    follows = bool(typed.readings) and typed.train is None
    return f"{typed.fingerprint()} {[s.model_dump() for s in train] if follows else ''}"


def _found(on: Desk) -> dict[str, Plan]:
    return cast(dict[str, Plan], on.extra.setdefault("found", {}))


def current() -> Plan | None:
    """The plan for the document as it is now, without searching; None (and one clear line on the page) where the
    document cannot be planned."""
    on = desk()
    try:
        typed = with_log(on)
        key = on.extra["key"] = _key(typed)
        if key not in _found(on):
            _keep(on, key, searches().kept(same_search(typed, on.train)))
        plan = _found(on).get(key)
        if plan is None:
            plan = _made(key, repr([s.model_dump() for s in on.train]), typed, on.train)
    except BrewwaterError as error:
        st.error(for_markdown(error), icon=":material/report:")
        return None
    return plan if plan.document == typed else replace(plan, document=typed)


def searched(plan: Plan) -> bool:
    """Whether the search has been made for the plan on the screen."""
    return desk().extra.get("key") in _found(desk())


def _keep(on: Desk, key: str, plan: Plan | None) -> None:
    """Keep what a search found: the latest in the session, a few earlier ones with those of all sessions."""
    if plan is None:
        return
    on.extra["found"] = {key: plan}
    if plan.recommended:
        on.train = plan.candidate.stages


def headline(plan: Plan) -> tuple[str, str]:
    """What the train that is shown is: a title, and a line where it is not the last word yet."""
    on = desk()
    quick = min(plan.document.settings.draws, LIVE_DRAWS)
    few = f" A quick look with {quick} draws." if quick < plan.document.settings.draws else ""
    if on.typed.train is not None:
        return "Your treatment", "" if searched(plan) else few.strip()
    if searched(plan):
        return "Recommended treatment", ""
    if plan.candidate.stages and on.extra.get("coarse") == on.extra.get("key"):
        return "First pick", "From a coarse first look; the full search is under way and may change it." + few
    if plan.candidate.stages:
        return (
            "Recommended treatment",
            "Recommended before the last change; a new search says whether it still is." + few,
        )
    return (
        "No treatment yet",
        "Everything below is for the untreated water, until the search finds a treatment." + few,
    )


@cache
def _one_queue() -> Searches:
    return Searches()


def searches() -> Searches:
    """The queue of this process."""
    with _FIRST:  # two who ask at once would each make one
        return _one_queue()


def _stop(key: str) -> None:
    on = desk()
    on.extra["stopped"] = key
    job = on.extra.get("job")
    if isinstance(job, Job):
        job.abandoned.set()


def _again() -> None:
    desk().extra.pop("stopped", None)


def search(plan: Plan) -> None:
    """Look for a better treatment beside the page: its progress is shown and it can be abandoned."""
    on = desk()
    key = str(on.extra.get("key"))
    if key in _found(on):
        return
    if on.extra.get("stopped") == key:
        st.caption("The search for a better treatment was stopped. What is shown follows the treatment above.")
        st.button("Search again", key="search_again", on_click=_again, icon=":material/refresh:")
        return
    job = on.extra.get("job")
    if not isinstance(job, Job) or job.key != key or job.abandoned.is_set():
        if isinstance(job, Job):
            job.abandoned.set()
        job = on.extra["job"] = Job(key, session())
        on.extra["abandon"] = job.abandoned
        patience = float(on.extra.get("patience", PATIENCE_S if on.train else 0.2))
        searches().ask(job, same_search(plan.document, on.train), Order(plan.document, on.train), patience)
    st.fragment(run_every=max(POLL_S, searches().wait_s() / LOOKS))(_strip)(job)


def _strip(job: Job) -> None:
    on = desk()
    search = job.search
    if on.extra.get("job") is not job or search is None:
        return
    if job.abandoned.is_set():
        st.rerun()  # the whole page: it says that it was stopped, and offers to go on
    if search.first and not on.train:
        on.train = search.first
        on.extra["coarse"] = job.key
        st.rerun()
    if not search.result.done():
        ahead = searches().ahead(search)
        text = f"Looking for a better treatment… {percent(job.share)}"
        if ahead:
            text = f"The search for a better treatment waits for {ahead} other{'s' if ahead > 1 else ''} here…"
        with st.container(key="search_strip"):
            st.progress(job.share, text=text)
            st.button("Stop the search", key="search_stop", on_click=_stop, args=(job.key,), icon=":material/stop:")
        return
    try:
        better = search.result.result()
    except InputError as error:
        st.error(for_markdown(error), icon=":material/report:")
        return
    except Exception:
        _stop(job.key)  # a defect: told once, not at every look
        raise
    if better is None:  # given up while this tab was away: it asks anew
        job.abandoned.set()
    _keep(on, job.key, better)
    st.rerun()


def colours() -> Palette:
    """The chart colours for the theme that the reader sees."""
    return DARK if st.context.theme.type == "dark" else LIGHT
