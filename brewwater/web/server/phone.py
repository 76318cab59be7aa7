"""The owner's phone: a one-time code that stands on the computer's screen, and the cookie that it is traded for.

The code is short and used once; five wrong ones close the door for a quarter of an hour, whoever typed them, and a new
code is shown. The cookie is signed, runs out, and is good only while its phone stands in the list beside the store,
so that taking the phone off the list shuts it out at once, also where a page is open.
"""

from __future__ import annotations

import hmac
import json
import os
import secrets
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Literal

from itsdangerous import BadData, URLSafeSerializer

from brewwater.errors import InputError, StoreError

COOKIE = "brewwater_phone"
FILE_NAME = "phones.json"
HOURS, MOST_HOURS = 12, 168
DIGITS = 8
CODE_LIVES_S, MOST_WRONG, SHUT_S = 600.0, 5, 900.0
MOST_PHONES = 50

Answer = Literal["right", "wrong", "shut"]


def hours_of(text: str, field: str) -> int:
    """How long a pairing lasts, 1 to ``MOST_HOURS`` hours.

    Raises
    ------
    InputError : not a whole number in that range
    """
    if not (text.isascii() and text.isdigit() and len(text) <= 4 and 1 <= int(text) <= MOST_HOURS):
        raise InputError(field, text, f"a whole number of hours from 1 to {MOST_HOURS} is needed", "Such as 12.")
    return int(text)


class Code:
    """The code on the screen. ``show`` puts a new one there; ``now`` gives seconds."""

    def __init__(self, show: Callable[[str], None], now: Callable[[], float] = time.monotonic) -> None:
        self._show, self._now = show, now
        self._code: str | None = None
        self._until = self._shut_until = 0.0
        self._wrong = 0

    def offer(self) -> bool:
        """Make sure that a code stands on the screen; False while the door is closed after wrong ones."""
        now = self._now()
        if now < self._shut_until:
            return False
        if self._code is None or now >= self._until:
            self._code = "".join(secrets.choice("0123456789") for _ in range(DIGITS))
            self._until = now + CODE_LIVES_S
            self._show(self._code)
        return True

    def try_code(self, typed: str) -> Answer:
        """Whether the typed code is the one on the screen; a right one is used up, five wrong ones close the door."""
        now = self._now()
        if now < self._shut_until:
            return "shut"
        bare = "".join(typed.split()).replace("-", "")
        code = self._code if now < self._until else None
        if code is not None and hmac.compare_digest(bare.encode(), code.encode()):
            self._code, self._wrong = None, 0
            return "right"
        self._wrong += 1
        if self._wrong < MOST_WRONG:
            return "wrong"
        self._code, self._wrong, self._shut_until = None, 0, now + SHUT_S
        return "shut"

    @property
    def left(self) -> int:
        """Wrong codes until the door closes."""
        return MOST_WRONG - self._wrong


class Phones:
    """The list of paired phones, in a file that only the user may read: the signing key, and until when each is let in.

    The list is read again whenever the file has changed, so that another process may take a phone off it.
    """

    def __init__(self, folder: Path, now: Callable[[], float] = time.time) -> None:
        self._path, self._now = folder / FILE_NAME, now
        self._seen: tuple[int, int, int] | None = None
        self._key = ""
        self._until: dict[str, float] = {}

    def pair(self, hours: int) -> str:
        """Let a phone in for so many hours; gives its cookie.

        Raises
        ------
        StoreError : the list cannot be written
        """
        self._read()
        now = self._now()
        living = sorted(((u, i) for i, u in self._until.items() if u > now), reverse=True)[: MOST_PHONES - 1]
        one = secrets.token_urlsafe(16)
        self._write(self._key or secrets.token_hex(32), {i: u for u, i in living} | {one: now + 3600 * hours})
        return str(self._signer().dumps(one))

    def holds(self, cookie: str | None) -> bool:
        """Whether a cookie is ours, has not run out, and its phone is still on the list."""
        if not cookie or len(cookie) > 500:
            return False
        self._read()
        if not self._key:
            return False
        try:
            said = self._signer().loads(cookie)
        except BadData:
            return False
        return isinstance(said, str) and self._now() < self._until.get(said, 0.0)

    def forget(self) -> int:
        """Take every phone off the list, and make a new key; gives how many were on it and had not run out.

        Raises
        ------
        StoreError : the list cannot be written
        """
        self._read()
        now = self._now()
        living = sum(until > now for until in self._until.values())
        if self._path.exists():
            self._write(secrets.token_hex(32), {})
        return living

    def _signer(self) -> URLSafeSerializer:
        return URLSafeSerializer(self._key, salt="brewwater-phone")

    def _read(self) -> None:
        try:
            found = os.stat(self._path)
            seen = (found.st_mtime_ns, found.st_size, found.st_ino)
            if seen == self._seen:
                return
            kept: Any = json.loads(self._path.read_text(encoding="utf-8")) if found.st_size < 100_000 else None
            key, until = str(kept["key"]), {str(i): float(u) for i, u in kept["phones"].items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            seen, key, until = None, "", {}  # no list, or one that cannot be read: nobody is on it
        self._seen, self._key, self._until = seen, key if len(key) >= 32 else "", until

    def _write(self, key: str, until: Mapping[str, float]) -> None:
        beside = self._path.with_name(f"{FILE_NAME}.{os.getpid()}")
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            with suppress(FileNotFoundError):
                beside.unlink()
            with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as out:
                json.dump({"key": key, "phones": dict(until)}, out)
            os.replace(beside, self._path)
        except OSError as error:
            raise StoreError(
                f"phones: {self._path} cannot be written ({error.strerror}). "
                "Give write permission, or name another folder in BREWWATER_DATA."
            ) from None
        self._seen = None
        self._read()
