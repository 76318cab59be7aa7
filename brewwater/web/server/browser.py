"""A number for each browser, in a cookie of its own: by it the drafts of that browser are found, and nothing else. It
opens nothing: who may see what is decided without it."""

from __future__ import annotations

import secrets

from brewwater.web.server.policy import DoorRequest

BROWSER = "brewwater-browser"
_YEAR_S = 365 * 24 * 3600


def numbered(headers: list[tuple[bytes, bytes]], visit: DoorRequest, scheme: str) -> list[tuple[bytes, bytes]]:
    """An answer's headers; with a number where a page is given to a browser that has none."""
    page = any(k.lower() == b"content-type" and v.startswith(b"text/html") for k, v in headers)
    if visit.method != "GET" or not page or BROWSER in visit.headers.get("cookie", ""):
        return headers
    secure = "; Secure" if scheme == "https" else ""
    value = f"{BROWSER}={secrets.token_hex(16)}; Max-Age={_YEAR_S}; Path=/; HttpOnly; SameSite=Lax{secure}"
    return [*headers, (b"set-cookie", value.encode())]
