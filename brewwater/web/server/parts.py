"""What ``app.py`` hands to Streamlit's ASGI application, made from the settings of this process."""

from __future__ import annotations

import asyncio
import os
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import streamlit as st
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

import brewwater
from brewwater import store
from brewwater.errors import BrewwaterError, InputError
from brewwater.store import access
from brewwater.web import journal
from brewwater.web.server import feed, leaving
from brewwater.web.server.door import FrontDoor
from brewwater.web.server.phone import Code, Phones, hours_of
from brewwater.web.server.phone_page import own_address, pairing, welcome
from brewwater.web.server.policy import PAIRING, DoorRules
from brewwater.web.server.stop import StopDesk
from brewwater.web.server.who import Doorman

PHONE = "BREWWATER_PHONE_HOURS"
HOSTS = "BREWWATER_HOSTS"
HEALTH, KEEPS_S = "/health", 5.0


def secrets_kept() -> dict[str, Any]:
    """Streamlit's secrets, empty where there are none or they cannot be read."""
    try:
        return dict(st.secrets)
    except (FileNotFoundError, st.errors.StreamlitSecretNotFoundError):
        return {}


def policy(secrets: dict[str, Any], hosts: str = "", phone: bool = False) -> DoorRules:
    """The rules for these settings; the database is the one that the environment names.

    Raises
    ------
    InputError : sign-in is set up, and it cannot work as it is
    """
    shut = None
    try:
        access.check_alone(store.database_url().get_backend_name(), secrets)
    except InputError as error:
        shut = str(error)
    except BrewwaterError:
        pass  # an address that names no database: the pages say so
    signed = access.sign_in_configured(secrets)
    if signed:
        access.check_libraries()
        access.session_hours(secrets)
    return DoorRules(signed, shut, access.hosts_named(secrets, hosts), phone and not signed, feed.is_feed)


class Health:
    """Whether the server is up and its store opens: 200, or 503. Looked at no oftener than every ``KEEPS_S``, since
    anyone may ask."""

    def __init__(self) -> None:
        self._turn, self._until, self._well = asyncio.Lock(), 0.0, False

    async def __call__(self, request: Request) -> Response:
        """Answer a request."""
        async with self._turn:
            if time.monotonic() >= self._until:
                self._well = await run_in_threadpool(_store_opens)
                self._until = time.monotonic() + KEEPS_S
        said = {"status": "ok" if self._well else "store", "version": brewwater.__version__}
        return JSONResponse(said, 200 if self._well else 503, {"cache-control": "no-store"})


def _store_opens() -> bool:
    try:
        with store.Store.open_default() as place:
            place.units()
    except BrewwaterError as error:
        journal.fault("health", error)
        return False
    return True


def _script_fault(error: Exception) -> None:
    journal.fault("page", error)


def _show(code: str) -> None:
    print(f"Code: {code[:4]} {code[4:]}", file=sys.stdout, flush=True)


def parts() -> dict[str, Any]:
    """Keyword arguments for Streamlit's ``App``.

    Raises
    ------
    InputError : a setting that cannot be used
    """
    journal.open_journal()
    asked = os.environ.get(PHONE, "").strip()
    hours = hours_of(asked, PHONE) if asked else 0
    rules = policy(secrets_kept(), os.environ.get(HOSTS, ""), hours > 0)
    doorman = Doorman(secrets_kept, rules.hosts)
    routes = [
        Route(HEALTH, Health().__call__, methods=["GET"]),
        Route(feed.PATH, feed.Feed(doorman).__call__, methods=["GET"]),
        leaving.route(),
        *StopDesk(doorman).routes(),
    ]
    phones = code = None
    if rules.phone:
        phones, code = Phones(store.data_folder()), Code(_show)
        routes.append(Route(PAIRING, pairing(code, phones, hours), methods=["GET", "POST"]))

    @asynccontextmanager
    async def life(app: Any) -> AsyncIterator[None]:
        port = int(st.get_option("server.port"))
        journal.note("start", version=brewwater.__version__, sign_in=int(rules.sign_in), phone=int(rules.phone))
        if code is not None:
            scheme = "https" if st.get_option("server.sslCertFile") else "http"
            print(welcome(f"{scheme}://{own_address()}:{port}", hours), flush=True)
            code.offer()
        yield
        journal.note("stop")

    upload_bytes = int(st.get_option("server.maxUploadSize")) * 1_000_000
    return {
        "middleware": [Middleware(FrontDoor, policy=rules, phones=phones, upload_bytes=upload_bytes)],
        "routes": routes,
        "lifespan": life,
        "on_script_error": _script_fault,
    }
