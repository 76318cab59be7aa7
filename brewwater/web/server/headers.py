"""The headers of every answer: nothing is loaded from another host, no page elsewhere holds ours in a frame."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from functools import cache
from importlib import resources

from brewwater.store import access
from brewwater.web.server.policy import DoorRequest

_INLINE = re.compile(r"<script>(.*?)</script>", re.DOTALL)


@cache
def _inline_scripts() -> str:
    """The fingerprints of the scripts that stand in Streamlit's own page, so that no other inline script runs."""
    page = (resources.files("streamlit") / "static" / "index.html").read_text(encoding="utf-8")
    found = (base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in _INLINE.findall(page))
    return " ".join(f"'sha256-{one}'" for one in found)


def content_policy(host: str) -> str:
    """The content security policy of a page served at ``host`` (name and port, checked).

    Streamlit styles its elements inline, and draws trees with a module of WebAssembly; no text becomes a script. The
    open connection is named with its scheme for browsers to which ``self`` does not cover it.
    """
    return "; ".join(
        (
            "default-src 'self'",
            f"script-src 'self' 'wasm-unsafe-eval' {_inline_scripts()}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "media-src 'self' data: blob:",
            f"connect-src 'self' ws://{host} wss://{host} data: blob:",
            "worker-src 'self' blob:",
            "frame-src 'self' blob:",
            "frame-ancestors 'self'",
            "form-action 'self'",
            "base-uri 'self'",
            "object-src 'none'",
        )
    )


def safe_headers(given: Iterable[tuple[bytes, bytes]], visit: DoorRequest) -> list[tuple[bytes, bytes]]:
    """An answer's headers with ours in place of any of the same name."""
    host = visit.headers.get("host", "")
    ours = {
        "content-security-policy": content_policy(host if access.host_name(host) else "127.0.0.1"),
        "x-frame-options": "SAMEORIGIN",
        "x-content-type-options": "nosniff",
        "referrer-policy": "same-origin",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    }
    kept = [(k, v) for k, v in given if k.decode("latin-1").lower() not in ours]
    return kept + [(k.encode(), v.encode()) for k, v in ours.items()]
