"""The page on which a phone types the code, and what stands on the computer's screen."""

from __future__ import annotations

import io
import socket
from collections.abc import Awaitable, Callable
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from brewwater.errors import StoreError
from brewwater.escape import for_html
from brewwater.web import journal
from brewwater.web.server.phone import COOKIE, DIGITS, SHUT_S, Code, Phones
from brewwater.web.server.policy import PAIRING

OPEN_NETWORK = (
    "The connection is not encrypted: whoever shares the network can listen in and use the phone's pairing until it "
    "runs out. Use it on your own network or the phone's hotspot, not on a stranger's."
)
_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>brewwater: pair this phone</title><style>
:root {{ color-scheme: light dark }}
body {{ font: 1.1rem/1.5 system-ui, sans-serif; max-width: 26rem; margin: 3rem auto; padding: 0 1rem }}
input {{ font-size: 1.8rem; letter-spacing: .2em; width: 100%; box-sizing: border-box; padding: .5rem }}
button {{ font-size: 1.1rem; min-height: 3rem; width: 100%; margin-top: 1rem }}
</style></head><body><main><h1>Pair this phone</h1>
<p role="status">{said}</p>
<form method="post" action="{action}"><label for="code">Code, {digits} digits</label>
<input id="code" name="code" inputmode="numeric" autocomplete="one-time-code" maxlength="20" required autofocus>
<button>Pair</button></form><p>{warning}</p></main></body></html>
"""
_ASK = "Type the code that stands on the computer's screen."
_CLOSED = f"Too many wrong codes: the door is closed for {SHUT_S / 60:.0f} minutes. Then a new code is shown."


def pairing(code: Code, phones: Phones, hours: int) -> Callable[[Request], Awaitable[Response]]:
    """The handler of the pairing page: shows the form, and trades a right code for a cookie of ``hours``."""

    async def answer(request: Request) -> Response:
        secure = request.url.scheme == "https"
        if request.method != "POST":
            return _page(_ASK, secure) if code.offer() else _page(_CLOSED, secure, 429)
        typed = parse_qs((await request.body()).decode("utf-8", "replace"), max_num_fields=4).get("code", [""])[0]
        said = code.try_code(typed)
        journal.note("pairing", answer=said)
        if said == "shut":
            return _page(_CLOSED, secure, 429)
        if said == "wrong":
            code.offer()  # the one that was meant may have run out: a new one is shown
            return _page(f"That is not the code. Tries left: {code.left}. {_ASK}", secure, 403)
        try:
            cookie = phones.pair(hours)
        except StoreError as error:
            return _page(str(error), secure, 500)
        done = RedirectResponse("/", status_code=303)
        done.set_cookie(COOKIE, cookie, max_age=3600 * hours, httponly=True, samesite="lax", secure=secure, path="/")
        return done

    return answer


def _page(said: str, secure: bool, status: int = 200) -> Response:
    text = _PAGE.format(
        said=for_html(said), action=PAIRING, digits=DIGITS, warning="" if secure else for_html(OPEN_NETWORK)
    )
    headers = {"cache-control": "no-store"} | ({"retry-after": f"{SHUT_S:.0f}"} if status == 429 else {})
    return HTMLResponse(text, status, headers)


def own_address() -> str:
    """This machine's address on its network; the loopback one where it has none. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # of the block kept for documents: only the route to it is looked up
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def drawn(address: str) -> str:
    """An address as a QR code of half blocks, for a terminal."""
    import segno

    out = io.StringIO()
    segno.make(address, error="l", micro=False).terminal(out, compact=True)
    return out.getvalue()


def welcome(address: str, hours: int) -> str:
    """What stands on the screen when the phone may be paired: where, how long, and what to beware of."""
    encrypted = address.startswith("https:")
    return (
        f"{drawn(address)}\nOn the phone, in the same network, open {address} (or scan the square) and type the code.\n"
        f"The phone is let in for {hours} hours; brewwater app --forget-phones shuts every phone out at once.\n"
        + ("" if encrypted else f"CAUTION: {OPEN_NETWORK}\n")
    )
