"""The script that asks before a tab with unsaved changes is left. From this server: no inline script is let run."""

from __future__ import annotations

from importlib import resources

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

LEAVING = "/leaving.js"


async def _script(request: Request) -> Response:
    data = (resources.files("brewwater.web") / "assets" / "leaving.js").read_bytes()
    return Response(data, 200, {"cache-control": "no-cache"}, "text/javascript")


def route() -> Route:
    """Where the browser finds the script."""
    return Route(LEAVING, _script, methods=["GET"])
