"""The calendar of a person's whole round at an address with a secret, for a calendar program to subscribe to."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from brewwater.errors import BrewwaterError
from brewwater.output.calendar_file import round_calendar
from brewwater.output.round_keeping import round_of
from brewwater.store import access
from brewwater.web import journal
from brewwater.web.server.who import Doorman

PATH = "/feed/{secret}.ics"
_PATH = re.compile(r"/feed/(?P<one>[0-9a-f]{16})-(?P<secret>[A-Za-z0-9_-]{43})\.ics")
MOST_WRONG, FORGOTTEN_S = 10, 900.0
_NONE = "There is no such calendar. Make its address anew on the page of the round."


def is_feed(path: str) -> bool:
    """Whether a path has the form of a feed's secret address."""
    return _PATH.fullmatch(path) is not None


class Guesses:
    """Wrong secrets, by the feed that they were tried on; those on no feed at all are counted together."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now, self._turn = now, threading.Lock()
        self._wrong: dict[str, list[float]] = {}

    def full(self, one: str) -> bool:
        """Whether no more are looked at for now, right or wrong."""
        with self._turn:
            recent = [at for at in self._wrong.get(one, ()) if self._now() - at < FORGOTTEN_S]
            self._wrong[one] = recent
            if not recent:
                del self._wrong[one]
            return len(recent) >= MOST_WRONG

    def count(self, one: str) -> None:
        """A wrong one."""
        with self._turn:
            self._wrong.setdefault(one, []).append(self._now())


class Feed:
    """Answers at the secret address of a person's feed."""

    def __init__(self, doorman: Doorman, guesses: Guesses | None = None) -> None:
        self._doorman, self._guesses = doorman, guesses or Guesses()
        self._turn = threading.Lock()  # units that changed are planned here: one calendar at a time

    async def __call__(self, request: Request) -> Response:
        """One request."""
        return await run_in_threadpool(self._answer, request.url.path)

    def _answer(self, path: str) -> Response:
        found = _PATH.fullmatch(path)
        if found is None:
            return _plain(_NONE, 404)
        try:
            return self._of(found["one"], found["secret"])
        except BrewwaterError as error:
            journal.fault("feed", error)
            return _plain("The calendar cannot be read now. Try again later.", 503)

    def _of(self, one: str, secret: str) -> Response:
        with self._turn:
            asked = self._doorman.store(access.LOCAL)
            there, person = asked.feed_person(one, secret)
            tried = one if there else ""
            if self._guesses.full(tried):
                return _plain("Too many wrong addresses were tried. Try again in a quarter of an hour.", 429)
            if person is None or asked.is_out(person):
                self._guesses.count(tried)
                journal.note("refused", reason="feed", kind="http")
                return _plain(_NONE, 404)
            changes, _ = round_of(self._doorman.store(person))
            return Response(round_calendar(changes), 200, {"cache-control": "no-store"}, "text/calendar")


def _plain(line: str, status: int) -> Response:
    return PlainTextResponse(line + "\n", status, {"cache-control": "no-store"})
