"""The front door: an ASGI layer that refuses, bounds and marks before Streamlit sees a request."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from functools import cache
from http.cookies import CookieError, SimpleCookie
from typing import Any

from brewwater.log.photo import SENT_BYTES
from brewwater.web import journal
from brewwater.web.server.browser import numbered
from brewwater.web.server.headers import safe_headers
from brewwater.web.server.phone import COOKIE, Phones
from brewwater.web.server.policy import PAIRING, PHOTO, DoorRequest, DoorRules, Refusal

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MARK = "brewwater-door"
SMALL_BYTES = 64 * 1024
UPLOAD_MARGIN_BYTES = 1 << 20  # the wrapping of a file that is sent in parts
MESSAGE_BYTES = 8_000_000


class TooLarge(Exception):
    """A request's body has passed its bound."""


@cache
def word() -> str:
    """The word of this process with which the door marks what it let in; nobody outside can know it."""
    return secrets.token_hex(16)


def cookie_of(visit: DoorRequest) -> str | None:
    """The pairing cookie that a visit brought, if any."""
    try:
        found = SimpleCookie(visit.headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return found.value if found else None


class FrontDoor:
    """Lets a visit in or refuses it with one line; see ``policy`` for the rules and ``headers`` for what is added.

    ``upload_bytes`` bounds a file that is sent, ``SENT_BYTES`` a photo of a stop; every other body is bounded to
    ``SMALL_BYTES`` and a message of an open page to ``MESSAGE_BYTES``.
    """

    def __init__(
        self, app: App, policy: DoorRules, phones: Phones | None = None, upload_bytes: int = 20_000_000
    ) -> None:
        self._app, self._policy, self._phones, self._upload = app, policy, phones, upload_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or one open page."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        visit = DoorRequest.of(scope)
        cookie = cookie_of(visit)

        def refused() -> Refusal | None:
            return self._policy.refuse(visit, lambda: self._phones is not None and self._phones.holds(cookie))

        found = refused()
        if found is not None:
            journal.note("refused", reason=found.reason, kind=visit.kind)
            await _refuse(found, visit, send)
            return
        marked = [(k, v) for k, v in scope["headers"] if k.lower() != MARK.encode()]
        scope = {**scope, "headers": [*marked, (MARK.encode(), word().encode())]}
        if visit.kind == "websocket":
            # without a pairing nothing that was judged can change while the page is open
            await self._open_page(scope, receive, send, refused if cookie else lambda: None)
        else:
            await self._request(scope, receive, send, visit)

    async def _request(self, scope: Scope, receive: Receive, send: Send, visit: DoorRequest) -> None:
        most = SMALL_BYTES
        if "/_stcore/upload_file/" in visit.path:
            most = self._upload + UPLOAD_MARGIN_BYTES
        elif visit.path == PHOTO:
            most = SENT_BYTES
        too_large = Refusal(413, "size", f"At most {most} bytes are taken here.")
        told = visit.headers.get("content-length", "0")
        if not told.isdecimal() or int(told) > most:
            journal.note("refused", reason=too_large.reason, kind=visit.kind)
            await _refuse(too_large, visit, send)
            return
        begun, taken = False, 0

        async def bounded() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > most:
                raise TooLarge
            return message

        async def headed(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                safe = safe_headers(message.get("headers", ()), visit)
                message = {**message, "headers": numbered(safe, visit, str(scope.get("scheme", "http")))}
            await send(message)

        try:
            await self._app(scope, bounded, headed)
        except TooLarge:
            journal.note("refused", reason=too_large.reason, kind=visit.kind)
            if not begun:
                await _refuse(too_large, visit, send)

    async def _open_page(
        self, scope: Scope, receive: Receive, send: Send, refused: Callable[[], Refusal | None]
    ) -> None:
        shut = False

        async def bounded() -> Message:
            nonlocal shut
            message = await receive()
            if message["type"] == "websocket.receive":
                size = len(message.get("bytes") or b"") + len(message.get("text") or "")
                # a phone whose pairing has run out or was revoked is shut out at its next press
                if size > MESSAGE_BYTES or refused() is not None:
                    journal.note("refused", reason="size" if size > MESSAGE_BYTES else "revoked", kind="websocket")
                    await close()
                    return {"type": "websocket.disconnect", "code": 1008}
            return message

        async def close() -> None:
            nonlocal shut
            if not shut:
                shut = True
                await send({"type": "websocket.close", "code": 1008})

        async def watched(message: Message) -> None:
            if shut:
                return
            if message["type"] == "websocket.send" and refused() is not None:
                journal.note("refused", reason="revoked", kind="websocket")
                await close()
                return
            await send(message)

        await self._app(scope, bounded, watched)


async def _refuse(refusal: Refusal, visit: DoorRequest, send: Send) -> None:
    if visit.kind == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"cache-control", b"no-store")]
    status, body = refusal.status, (refusal.line + "\n").encode()
    if refusal.to_pairing and visit.method in ("GET", "HEAD"):
        status = 303
        headers.append((b"location", PAIRING.encode()))
    headers += [(b"content-length", str(len(body)).encode()), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": status, "headers": safe_headers(headers, visit)})
    await send({"type": "http.response.body", "body": b"" if visit.method == "HEAD" else body})
