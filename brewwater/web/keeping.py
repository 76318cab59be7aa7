"""Saved units in the front end: whose they are, opening, saving, and what happens when two people save."""

from __future__ import annotations

import time
from typing import Any

import streamlit as st
from sqlalchemy import Engine

from brewwater import store
from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.planning.document import demo_document, load_document, new_unit
from brewwater.store import StaleSave, Store, access
from brewwater.store.faults import SignedOut
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


_REFUSED = {
    "expired": "sign-in: it was {hours} hours ago and has run out. Sign in again.",
    "ended": "sign-in: this session was ended. Sign in again.",
    "out": "sign-in: this account was shut out. Ask the keeper.",
}


def person() -> str:
    """Whose units these are. Where sign-in is set up, asked at every action: it may have run out or been revoked.

    Raises
    ------
    SignedOut : not signed in, or not any more
    BrewwaterError : the account or the settings cannot be used, or the store cannot be asked
    """
    if not access.sign_in_configured(secrets_kept()):
        return access.LOCAL
    if not st.user.is_logged_in:
        raise SignedOut("", "sign-in: nobody is signed in. Sign in.")
    sign_in, hours = access.SignIn.of(st.user.to_dict()), access.session_hours(secrets_kept())
    refused = Store(_engine(str(store.database_url())), sign_in.person).refused(sign_in, hours, time.time())
    if refused:
        raise SignedOut(refused, _REFUSED[refused].format(hours=hours))
    return sign_in.person


def signed_in() -> None:
    """Go no further where sign-in is set up and nobody is, or who was is let in no more: then that stands there, and
    the way to sign in (again)."""
    try:
        person()
    except BrewwaterError as error:
        reason = error.reason if isinstance(error, SignedOut) else "sign-in"
        if reason and st.session_state.get("refused") != reason:  # once, not at every look
            st.session_state["refused"] = reason
            journal.note("refused", reason=reason, kind="page")
        st.title("brewwater", anchor=False)
        if reason:
            st.error(for_markdown(error), icon=":material/lock:")
        for name in access.providers(secrets_kept()):
            label = f"Sign in with {name}" if name else "Sign in"
            st.button(for_markdown(label), on_click=st.login, args=(name or None,), key=f"sign_in{name}")
        st.stop()
    if not st.session_state.get("signed_in"):
        st.session_state["signed_in"] = True
        if access.sign_in_configured(secrets_kept()):
            journal.note("sign-in")


def _sign_out() -> None:
    try:
        sign_in = access.SignIn.of(st.user.to_dict())
        Store(_engine(str(store.database_url())), sign_in.person).end_session(sign_in)
    except BrewwaterError as error:
        desk().extra["problem"] = str(error)
        return
    st.logout()


SOON_MIN = 30


def account() -> None:
    """Who is signed in, when that ends where it ends soon, and the way out; nothing where nobody signs in."""
    if not access.sign_in_configured(secrets_kept()):
        return
    sign_in = access.SignIn.of(st.user.to_dict())
    left_min = (sign_in.at + 3600 * access.session_hours(secrets_kept()) - time.time()) / 60
    st.caption(for_markdown(sign_in.person))
    if left_min < SOON_MIN:
        said = f"The sign-in ends in {max(int(left_min), 1)} minutes. Save before."
        st.warning(for_markdown(said), icon=":material/timer:")
    st.button("Sign out", key="sign_out", icon=":material/logout:", on_click=_sign_out)


def place() -> Store:
    """The store, for the person at the screen.

    Raises
    ------
    SignedOut : nobody is signed in, or who was is let in no more
    """
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


def start() -> bool:
    """At the first run of a session: the unit named in the address, else the one saved last, else the demo. Returns
    whether it was the first run, and the store could be asked."""
    if "desk" in st.session_state:
        return False
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
        return False
    return True


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
