"""Whose a plain request is: the same person, by the same sign-in, as on the pages."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy import Engine
from starlette.requests import Request

from brewwater import store
from brewwater.errors import BrewwaterError
from brewwater.planning.document import load_document
from brewwater.store import Store, access
from brewwater.store.faults import SignedOut

_ASK = "sign-in: nobody is signed in, or not any more. Sign in on the first page."


def claims_of(request: Request, hosts: frozenset[str]) -> dict[str, Any]:
    """What Streamlit's own signed cookie says of who is signed in; empty where nobody is.

    The cookie names the site that it was made for; on another one it says nothing, as on the pages.
    """
    from streamlit.web.server.starlette import starlette_websocket as pages
    from streamlit.web.server.starlette.starlette_server_config import USER_COOKIE_NAME

    signed = pages._get_signed_cookie_with_chunks(dict(request.cookies), USER_COOKIE_NAME)
    if not signed:
        return {}
    import json

    try:
        said = json.loads(signed)
        origin = str(said["origin"])
    except (ValueError, KeyError, TypeError):
        return {}
    if not access.origin_allowed(origin, request.headers.get("host", ""), hosts):
        return {}
    found = pages._parse_decoded_user_cookie(signed, origin)
    return found if found.get("is_logged_in") is True else {}


class Doorman:
    """Opens the store for whoever asks. ``secrets`` are Streamlit's, ``hosts`` the names served under."""

    def __init__(self, secrets: Callable[[], Mapping[str, Any]], hosts: frozenset[str] = frozenset()) -> None:
        self._secrets, self._hosts = secrets, hosts
        self._engine: tuple[str, Engine] | None = None

    def store(self, person: str) -> Store:
        """The store for a person who was let in, or whose secret was right."""
        url = str(store.database_url())
        if self._engine is None or self._engine[0] != url:
            self._engine = url, store.make_engine()
        return Store(self._engine[1], person, validate=lambda document: load_document(document).model_dump(mode="json"))

    def place(self, request: Request) -> Store:
        """The store for the person behind a request.

        Raises
        ------
        SignedOut : sign-in is set up and nobody is, or who was is let in no more
        BrewwaterError : the store cannot be asked
        """
        secrets = self._secrets()
        if not access.sign_in_configured(secrets):
            return self.store(access.LOCAL)
        try:
            sign_in = access.SignIn.of(claims_of(request, self._hosts))
        except BrewwaterError:
            raise SignedOut("", _ASK) from None
        found = self.store(sign_in.person)
        refused = found.refused(sign_in, access.session_hours(secrets), time.time())
        if refused:
            raise SignedOut(refused, _ASK)
        return found
