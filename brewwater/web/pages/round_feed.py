"""The address at which a calendar program subscribes to the whole round: made, shown once, revoked."""

from __future__ import annotations

from urllib.parse import urlsplit

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.web import journal, keeping
from brewwater.web.server.feed import PATH

SHOWN = "feed_shown"


def feed_address() -> None:
    """Whether there is an address, the new one where it was just made, and the two presses."""
    try:
        made = keeping.place().feed_made()
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    with st.expander("All trucks in your own calendar", key="round_feed"):
        st.caption(
            "A calendar program that subscribes to this address shows every change of every truck, and follows as "
            "dates move. Whoever has the address can read the dates: treat it as a key, and make a new one if it "
            "got about."
        )
        shown = st.session_state.get(SHOWN)
        if made and shown:
            st.code(shown, language=None)
            st.caption("It is shown only now: copy it into the calendar program.")
        elif made:
            st.caption(f"An address was made on {made[:10]}. It cannot be shown again; a new one ends the old.")
        with st.container(horizontal=True):
            label = "Make a new address" if made else "Make an address"
            st.button(label, key="feed_make", on_click=_make, icon=":material/link:")
            if made:
                st.button("Revoke it", key="feed_revoke", on_click=_revoke, icon=":material/link_off:")


def _make() -> None:
    at = urlsplit(st.context.url or "")
    try:
        secret = keeping.place().make_feed().text
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    journal.note("feed", made=True)
    host = f"{at.scheme}://{at.netloc}" if at.netloc else ""
    st.session_state[SHOWN] = host + PATH.format(secret=secret)


def _revoke() -> None:
    st.session_state.pop(SHOWN, None)
    try:
        keeping.place().revoke_feed()
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    journal.note("feed", made=False)
