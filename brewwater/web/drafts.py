"""What is typed and not saved, kept for each browser: a reload or a lost connection loses nothing."""

from __future__ import annotations

import re

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.planning.document import demo_document, load_document
from brewwater.web import keeping
from brewwater.web.server.browser import BROWSER
from brewwater.web.state import as_document, desk, new_desk, set_desk

_NUMBER = re.compile(r"[0-9a-f]{32}")


def _browser() -> str:
    """This browser's number, by which its drafts are found; empty where it sends none."""
    found = str(st.context.cookies.get(BROWSER, ""))
    return found if _NUMBER.fullmatch(found) else ""


def take_up(*, named: bool) -> None:
    """At the first run of a session, after the desk is set: go on where this browser left off. ``named``: the address
    says which unit; else a plan that was never saved goes before the unit saved last."""
    browser = _browser()
    if not browser:
        return
    try:
        place = keeping.place()
        found = None if named else place.draft(browser, None)
        if found is not None and desk().ref is not None:
            set_desk(new_desk(demo_document()))
            st.query_params.pop("unit", None)
        on = desk()
        found = found or place.draft(browser, on.ref)
        typed = load_document(found.document) if found is not None else None
    except BrewwaterError:
        return  # of a form that is no longer read; the store's own trouble is told where something is kept in it
    if found is None or typed is None:
        return
    document = as_document(typed)
    if document == on.document:
        return
    on.past.append(on.document)
    on.document, on.typed, on.version = document, typed, found.version
    on.extra["draft"], on.extra["drafted"] = found.kept_at, document


def keep() -> None:
    """Keep what is on the desk where it is not saved, and forget the draft where it is. Costs nothing where nothing
    changed since."""
    on, browser = desk(), _browser()
    unsaved = on.unsaved and bool(on.past)
    last = on.extra.get("drafted")
    if not browser or (last is on.document if unsaved else last is None):
        return
    try:
        place = keeping.place()
        if unsaved:
            place.keep_draft(browser, on.ref, on.document, on.version)
            on.extra["drafted"] = on.document
        else:
            place.drop_draft(browser, on.ref)
            place.drop_draft(browser, None)  # a plan that has just been saved for the first time
            on.extra["drafted"] = None
            on.extra.pop("draft", None)
    except BrewwaterError as error:
        on.extra["draft_problem"] = str(error)
        return
    on.extra.pop("draft_problem", None)


def notice() -> None:
    """That unsaved changes were taken up, with the way to drop them; that they cannot be kept, where that is so."""
    on = desk()
    if "draft_problem" in on.extra:
        said = f"What you type is not kept until you save: {on.extra['draft_problem']}"
        st.warning(for_markdown(said), icon=":material/report:")
    since = on.extra.get("draft")
    if since and on.unsaved:
        with st.container(horizontal=True, vertical_alignment="center", key="draft_taken_up"):
            when = f"{since[:10]}, {since[11:16]} UTC"
            said = f"Your changes of {when} were not saved; they are here again."
            st.info(for_markdown(said), icon=":material/history:")
            st.button("Drop them", key="draft_drop", on_click=_drop, icon=":material/delete:")


def _drop() -> None:
    """Back to what was there before; the changes stay one undo away."""
    on = desk()
    on.extra.pop("draft", None)
    before = on.saved if on.saved is not None else on.past[0]
    on.past.append(on.document)
    on.document, on.typed, on.faults, on.done = before, load_document(before), {}, {}
    on.stop_search()
    try:
        keeping.place().drop_draft(_browser(), on.ref)
        on.extra["drafted"] = on.document if on.unsaved else None
    except BrewwaterError as error:
        on.extra["problem"] = str(error)
