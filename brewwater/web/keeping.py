"""Saved units in the front end: whose they are, opening, saving, and what happens when two people save."""

from __future__ import annotations

from typing import Any

import streamlit as st
from sqlalchemy import Engine

from brewwater import store
from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.planning.document import demo_document, load_document, new_unit
from brewwater.store import StaleSave, Store, access
from brewwater.treatment.shelf import ShelfItem
from brewwater.web import journal
from brewwater.web.server.door import MARK, word
from brewwater.web.server.parts import secrets_kept
from brewwater.web.state import as_document, desk, new_desk, set_desk


@st.cache_resource(show_spinner=False)
def _engine(url: str) -> Engine:
    return store.make_engine()


def _checked(document: dict[str, Any]) -> dict[str, Any]:
    return as_document(load_document(document))


def only_here() -> None:
    """Go no further where nobody stands at the door: on a server that other machines can reach, or on a database that
    others use, while no sign-in is set up. What the front door let in (``server``) has been judged there."""
    if st.context.headers.get(MARK) == word():
        return
    try:
        access.check_address(
            str(st.get_option("server.address") or "0.0.0.0"), secrets_kept(), field="--server.address"
        )
        access.check_alone(store.database_url().get_backend_name(), secrets_kept())
    except BrewwaterError as error:
        st.error(for_markdown(error), icon=":material/lock:")
        st.stop()


def person() -> str:
    """Whose units these are; where sign-in is set up, nobody goes on without it."""
    if not access.sign_in_configured(secrets_kept()):
        return access.LOCAL
    if not st.user.is_logged_in:
        st.title("brewwater", anchor=False)
        st.button("Sign in", on_click=st.login, key="sign_in")
        st.stop()
    found = access.person_id(st.user.get("email"), verified=st.user.get("email_verified"))
    if not st.session_state.get("signed_in"):
        st.session_state["signed_in"] = True
        journal.note("sign-in")
    return found


def place() -> Store:
    """The store, for the person at the screen."""
    return Store(_engine(str(store.database_url())), person(), validate=_checked)


SHELF = "kept_shelf"


def shelf() -> tuple[ShelfItem, ...]:
    """The person's shelf, read once a session; the page of the shelf renews it."""
    if SHELF not in st.session_state:
        try:
            st.session_state[SHELF] = place().shelf().items
        except BrewwaterError:
            st.session_state[SHELF] = ()  # the store's own trouble is told where it is opened
    found: tuple[ShelfItem, ...] = st.session_state[SHELF]
    return found


def start() -> None:
    """At the first run of a session: the unit named in the address, else the one saved last, else the demo."""
    if "desk" in st.session_state:
        return
    set_desk(new_desk(demo_document()))
    try:
        kept = place()
        wanted = st.query_params.get("unit")
        units = kept.units()
        if wanted is None and units:
            wanted = max(units, key=lambda u: next((h.saved_at for h in kept.history(u.ref)), "")).ref
        if wanted is not None:
            open_unit(wanted)
    except BrewwaterError as error:
        desk().extra["problem"] = str(error)


def open_unit(ref: str) -> None:
    """Put the latest saved plan of a unit on the desk; a plain plan where only a log was kept in it so far.

    Raises
    ------
    BrewwaterError : there is no such unit
    """
    kept = place()
    found = kept.plan(ref)
    if found is None:
        made = new_desk(new_unit().model_copy(update={"name": kept.unit(ref).name}), ref)
        made.saved = None
        made.extra["log_only"] = True
    else:
        made = new_desk(load_document(found.document), ref, found.version)
    set_desk(made)
    st.query_params["unit"] = ref


def save(*, on_top: bool = False) -> None:
    """Save the document as the next version; a new unit where it has none. ``on_top``: over a version that
    someone else saved meanwhile (theirs stays in the history)."""
    on = desk()
    try:
        kept = place()
        if on.ref is None:
            on.ref, on.version = kept.create_unit(on.typed.name).ref, 0
        if on_top:
            latest = kept.plan(on.ref)
            on.version = latest.version if latest else 0
        done = kept.save_plan(on.ref, on.document, on.version)
        on.version, on.saved = done.version, on.document
        if kept.unit(on.ref).name != on.typed.name:  # the list of trucks has the name that the plan has
            kept.rename_unit(on.ref, on.typed.name)
    except StaleSave as error:
        on.extra["stale"] = str(error)
        return
    except BrewwaterError as error:
        on.extra["problem"] = str(error)
        return
    journal.note("saved", version=done.version)
    on.extra.pop("stale", None)
    on.extra.pop("problem", None)
    st.query_params["unit"] = on.ref


def save_as_new() -> None:
    """Save as a new unit."""
    on = desk()
    on.ref, on.version, on.saved = None, 0, None
    save()


def take_theirs() -> None:
    """Open what the other person saved; one's own stays one undo away."""
    on = desk()
    mine, past, ref = on.document, on.past, on.ref
    if ref is None:
        return
    open_unit(ref)
    desk().past = [*past, mine]


def trouble() -> None:
    """What went wrong with keeping, where something did, and the ways out."""
    on = desk()
    if "stale" in on.extra:
        st.warning(for_markdown(on.extra["stale"]), icon=":material/group:")
        with st.container(horizontal=True):
            st.button("Open theirs (mine is one undo away)", key="take_theirs", on_click=take_theirs)
            st.button("Save mine on top", key="save_on_top", on_click=save, kwargs={"on_top": True})
    if "problem" in on.extra:
        st.error(for_markdown(on.extra["problem"]), icon=":material/report:")
    if on.extra.get("log_only") and on.version == 0:
        st.info(
            "Nothing is saved in this unit yet but its log, so a plain plan stands here. Give your water and your "
            "day, then save: the readings of the log count at once.",
            icon=":material/edit_note:",
        )
