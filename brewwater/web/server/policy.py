"""Who is let in: pure rules on what a request shows of itself, in one place and without a server."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from brewwater.store import access

PAIRING = "/phone"
PHOTO = "/stop/photo"  # takes a picture: its bodies have a bound of their own
# Of Streamlit's own addresses only these; its figures, its script check and its interface for programs stay shut.
_CORE = frozenset({"health", "host-config", "stream", "upload_file", "bidi-components"})


@dataclass(frozen=True, slots=True)
class DoorRequest:
    """What a request shows: ``client`` and ``arrived_at`` are the two ends of its connection, None where unknown;
    ``headers`` are in small letters, of one that stands twice the last."""

    kind: Literal["http", "websocket"]
    method: str
    path: str
    headers: Mapping[str, str]
    client: str | None = None
    arrived_at: str | None = None
    hosts: int = 1

    @classmethod
    def of(cls, scope: Mapping[str, Any]) -> DoorRequest:
        """The visit of an ASGI scope."""
        pairs = [(k.decode("latin-1").lower(), v.decode("latin-1")) for k, v in scope.get("headers", ())]
        client, server = scope.get("client"), scope.get("server")
        return cls(
            scope["type"],
            scope.get("method", "GET"),
            scope.get("path", ""),
            dict(pairs),
            client[0] if client else None,
            server[0] if server else None,
            sum(name == "host" for name, _ in pairs),
        )


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a visit goes no further: one line, and the word under which the journal counts it. ``to_pairing``: where a
    code can be typed instead."""

    status: int
    reason: str
    line: str
    to_pairing: bool = False


@dataclass(frozen=True, slots=True)
class DoorRules:
    """The rules of one server.

    ``sign_in``: OIDC sign-in is set up, and the pages ask for it. ``shut``: the line with which everything is refused
    (a shared database without sign-in). ``hosts``: names beside the loopback ones. ``phone``: paired phones are let
    in. ``feed``: whether a path is a calendar feed's secret address, open to whoever knows it.
    """

    sign_in: bool = False
    shut: str | None = None
    hosts: frozenset[str] = frozenset()
    phone: bool = False
    feed: Callable[[str], bool] = lambda path: False

    def refuse(self, visit: DoorRequest, paired: Callable[[], bool] = lambda: False) -> Refusal | None:
        """Why a visit is refused, or None; ``paired`` is asked only where a paired phone would be let in."""
        return self._foreign(visit) or _closed(visit.path) or self._stranger(visit, paired)

    def _foreign(self, visit: DoorRequest) -> Refusal | None:
        host, origin = visit.headers.get("host"), visit.headers.get("origin")
        if visit.hosts != 1 or not access.host_allowed(host, visit.arrived_at, self.hosts):
            return Refusal(
                421,
                "host",
                "This name is not served here. Open http://127.0.0.1 with the port, or let the keeper name the host in "
                "BREWWATER_HOSTS.",
            )
        if origin is not None and not access.origin_allowed(origin, host or "", self.hosts):
            return Refusal(403, "origin", "Pages of other sites may not ask here.")
        return None

    def _stranger(self, visit: DoorRequest, paired: Callable[[], bool]) -> Refusal | None:
        if self.sign_in:
            return None
        if self.shut is not None:
            return Refusal(403, "shared", self.shut)
        passed_on = access.forwarding(visit.headers)
        if passed_on is not None:
            return Refusal(
                403,
                "forwarded",
                f"{passed_on}: the request came through a proxy, and without sign-in everybody would be the same "
                "person. Set up [auth] in .streamlit/secrets.toml.",
            )
        if visit.client is not None and access.is_loopback(visit.client):
            return None
        if visit.method in ("GET", "HEAD") and self.feed(visit.path):
            return None
        if self.phone and (visit.path == PAIRING or paired()):
            return None
        if self.phone:
            return Refusal(403, "unpaired", f"This phone is not paired. Open {PAIRING} and type the code.", True)
        return Refusal(
            403, "elsewhere", "Only the machine that brewwater runs on is served. See brewwater app --phone."
        )


def _closed(path: str) -> Refusal | None:
    steps = [step for step in path.split("/") if step]
    for at, step in enumerate(steps):
        if step == "_stcore" and (at + 1 == len(steps) or steps[at + 1] not in _CORE):
            return Refusal(404, "closed", "There is nothing here.")
    return None
