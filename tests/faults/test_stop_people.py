"""The stop and the feed at the door: whose they are, what they take, what they refuse; two people on both databases.

A server listens on loopback; that a request came from elsewhere is played by the layer around it.
"""

from __future__ import annotations

import datetime as dt
import http.client
import io
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import icalendar
import pytest
import uvicorn
import vobject
from fleet import fleet, keep
from ical.calendar_stream import IcsCalendarStream
from PIL import Image
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.routing import Route
from streamlit.web.server.starlette import starlette_auth_routes, starlette_websocket
from streamlit.web.server.starlette.starlette_app_utils import create_signed_value

from brewwater.store import Store, make_engine
from brewwater.web.server import feed
from brewwater.web.server.door import SMALL_BYTES, FrontDoor
from brewwater.web.server.policy import DoorRules
from brewwater.web.server.stop import HEADER, StopDesk
from brewwater.web.server.who import Doorman

ANN, BEA = "ann@example.org", "bea@example.org"
SECRET = "s" * 40
SECRETS = {
    "auth": {
        "redirect_uri": "http://127.0.0.1/oauth2callback",
        "cookie_secret": SECRET,
        "client_id": "brew",
        "client_secret": "x",
        "server_metadata_url": "http://127.0.0.1:9/none",
    }
}
SENT = {HEADER: "1", "content-type": "application/json"}


class Clock:
    def __init__(self) -> None:
        self.at = time.monotonic()

    def __call__(self) -> float:
        return self.at


class Served:
    """A server, the store behind it, and how it is asked."""

    def __init__(self, port: int, url: str, clock: Clock) -> None:
        self.port, self.url, self.clock = port, url, clock

    def store(self, person: str) -> Store:
        return Store(make_engine(self.url), person)

    def ask(self, path: str, body: bytes | None = None, **headers: str) -> tuple[int, bytes]:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        names = {name.replace("_", "-"): value for name, value in headers.items()}
        line.request("GET" if body is None else "POST", path, body, names)
        answer = line.getresponse()
        found = answer.status, answer.read()
        line.close()
        return found

    def cookie(self, person: str, **more: Any) -> str:
        """What Streamlit gives a browser whose person has signed in here."""
        said = {"origin": f"http://127.0.0.1:{self.port}", "is_logged_in": True, "email": person}
        said |= {"email_verified": True, "iat": int(time.time()), **more}
        return f"_streamlit_user={create_signed_value(SECRET, '_streamlit_user', json.dumps(said)).decode()}"

    def round(self, person: str) -> list[str]:
        status, body = self.ask("/stop/round", cookie=self.cookie(person))
        assert status == 200, body
        return [unit["ref"] for unit in json.loads(body)["units"]]


@contextmanager
def serving(url: str, rules: DoorRules, secrets: dict[str, Any], client: str = "127.0.0.1") -> Iterator[Served]:
    clock = Clock()
    doorman = Doorman(lambda: secrets)
    routes = [*StopDesk(doorman).routes(), Route(feed.PATH, feed.Feed(doorman, feed.Guesses(clock)).__call__)]
    inner = Starlette(routes=routes, middleware=[Middleware(FrontDoor, policy=rules)])

    async def app(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            scope = {**scope, "client": (client, 1)}
        await inner(scope, receive, send)

    server = uvicorn.Server(
        uvicorn.Config(app, host="127.0.0.1", port=0, log_level="error", proxy_headers=False, lifespan="off")
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    try:
        yield Served(server.servers[0].sockets[0].getsockname()[1], url, clock)
    finally:
        server.should_exit = server.force_exit = True
        thread.join(20)


@pytest.fixture
def signed(store_url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """With sign-in: two people, a unit each."""
    monkeypatch.setenv("BREWWATER_DATABASE_URL", store_url)
    for module in (starlette_websocket, starlette_auth_routes):
        monkeypatch.setattr(module, "get_cookie_secret", lambda: SECRET)
    with serving(store_url, DoorRules(sign_in=True, feed=feed.is_feed), SECRETS) as found:
        for person, seed in ((ANN, 1), (BEA, 2)):
            keep(found.store(person), fleet(2, seed=seed)[seed - 1 :][:1])
        yield found


def entry(unit: str, **more: str) -> bytes:
    line = {"id": "ab" * 16, "date": "2026-12-01", "kind": "visited", "note": "ok", **more}
    return json.dumps({"unit": unit, "lines": [line]}).encode()


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (64, 64)).save(out, "JPEG")
    return out.getvalue()


def test_two_people_each_see_their_own(signed: Served) -> None:
    mine, theirs = "amber-barge-1", "blue-barge-2"
    assert signed.round(ANN) == [mine]
    assert signed.round(BEA) == [theirs]
    ann, bea = signed.cookie(ANN), signed.cookie(BEA)
    refused = (401, 303)
    for cookie in (
        "",
        "_streamlit_user=forged",
        signed.cookie(ANN, email_verified=False),
        signed.cookie(ANN, origin="http://elsewhere.example"),
        signed.cookie(ANN, is_logged_in=False),
        signed.cookie(ANN, iat=int(time.time()) - 13 * 3600),
    ):
        assert signed.ask("/stop/round", cookie=cookie)[0] in refused
        assert signed.ask("/stop", cookie=cookie)[0] in refused
        assert signed.ask("/stop/entry", entry(mine), cookie=cookie, **SENT)[0] in refused
    # an entry goes into the log of whoever sent it, once
    assert signed.ask("/stop/entry", entry(mine), cookie=ann, **SENT) == (200, b'{"new":1}')
    assert signed.ask("/stop/entry", entry(mine), cookie=ann, **SENT) == (200, b'{"new":0}')
    for ref in (mine, f"{mine}@{ANN}"):
        status, said = signed.ask("/stop/entry", entry(ref), cookie=bea, **SENT)
        assert status == 422 and b"not among the units you may open" in said
        status, said = signed.ask(
            f"/stop/photo?unit={ref}&line={'ab' * 16}&id={'cd' * 16}", picture(), cookie=bea, **SENT
        )
        assert status == 422 and b"not among the units you may open" in said
        assert signed.ask("/stop/order", json.dumps({"order": [ref]}).encode(), cookie=bea, **SENT)[0] == 422
    assert (
        signed.ask(f"/stop/photo?unit={mine}&line={'ab' * 16}&id={'cd' * 16}", picture(), cookie=ann, **SENT)[0] == 200
    )
    assert len(signed.store(ANN).photos(mine)) == 1
    assert [r.note for r in signed.store(ANN).readings(mine) if r.kind == "visited"] == ["ok"]
    assert signed.store(ANN).readings(mine)[-1].recorded_by == ANN
    assert not [r for r in signed.store(BEA).readings(theirs) if r.kind == "visited"]
    # shared for reading: it is on the round, and nothing can be sent to it
    signed.store(ANN).share(mine, BEA, False)
    assert set(signed.round(BEA)) == {theirs, f"{mine}@{ANN}"}
    assert signed.ask("/stop/entry", entry(f"{mine}@{ANN}", id="ef" * 16), cookie=bea, **SENT)[0] == 422
    signed.store(ANN).share(mine, BEA, None)
    # the feed of each tells of their own; shut out by the keeper, nothing any more
    paths = {person: f"/feed/{signed.store(person).make_feed().text}.ics" for person in (ANN, BEA)}
    assert b"Amber" in signed.ask(paths[ANN])[1] and b"Blue" not in signed.ask(paths[ANN])[1]
    assert b"Blue" in signed.ask(paths[BEA])[1] and b"Amber" not in signed.ask(paths[BEA])[1]
    signed.store(ANN).shut_out(ANN)
    assert signed.ask("/stop/round", cookie=ann)[0] == 401
    assert signed.ask("/stop/entry", entry(mine, id="ef" * 16), cookie=ann, **SENT)[0] == 401
    assert signed.ask(paths[ANN])[0] == 404
    assert signed.ask(paths[BEA])[0] == 200


@pytest.fixture
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """Without sign-in, asked from this machine."""
    url = f"sqlite:///{tmp_path / 's.sqlite3'}"
    monkeypatch.setenv("BREWWATER_DATABASE_URL", url)
    with serving(url, DoorRules(feed=feed.is_feed), {}) as found:
        keep(found.store("local"), fleet(1))
        yield found


REF = "amber-barge-1"


def test_nobody_else_sends_and_nothing_else_is_taken(alone: Served) -> None:
    own = {"origin": f"http://127.0.0.1:{alone.port}", **SENT}
    assert alone.ask("/stop/entry", entry(REF), **own)[0] == 200
    bad: list[tuple[str, bytes, dict[str, str], int]] = [
        ("/stop/entry", entry(REF), {**SENT, "origin": "http://elsewhere.example"}, 403),
        ("/stop/entry", entry(REF), {"content-type": "text/plain"}, 403),  # as a form elsewhere would send it
        ("/stop/entry", b"{}" + b" " * SMALL_BYTES, own, 413),
        ("/stop/order", b"[]" + b" " * SMALL_BYTES, own, 413),
        ("/stop/photo", b"x", {**own, "content-length": "12000001"}, 413),
        ("/stop/photo", b"no picture", own, 422),
        ("/stop/entry", b"[" * 40_000, own, 422),
        ("/stop/entry", b"\xff", own, 422),
        ("/stop/entry", json.dumps({"unit": REF, "lines": []}).encode(), own, 422),
        ("/stop/entry", json.dumps({"unit": REF, "lines": [{}] * 61}).encode(), own, 422),
        ("/stop/entry", json.dumps({"unit": [REF], "lines": [{"x": 1}]}).encode(), own, 422),
        ("/stop/entry", entry(REF, recorded_by="somebody"), own, 422),
        ("/stop/entry", entry(REF, corrects="0" * 32), own, 422),
        ("/stop/entry", entry(REF, id="1"), own, 422),
        ("/stop/entry", entry(REF, kind="withdrawn"), own, 422),
        ("/stop/entry", entry(REF, kind="ph", value="seven"), own, 422),
        ("/stop/entry", entry(REF, note="another"), own, 422),  # the id stands for another line
        ("/stop/entry", entry("no such"), own, 422),
        ("/stop/order", b'{"order":["no such"]}', own, 422),
        ("/stop/order", b'{"order":[["a"]]}', own, 422),
    ]
    for path, body, headers, status in bad:
        found, said = alone.ask(path, body, **headers)
        assert found == status, (path, body[:80], said)
        assert b"Traceback" not in said and said.count(b"\n") <= 1
    assert len([r for r in alone.store("local").readings(REF) if r.kind == "visited"]) == 1


def test_a_feed_is_read_by_other_libraries_and_keeps_its_ids(alone: Served) -> None:
    path = f"/feed/{alone.store('local').make_feed().text}.ics"
    status, data = alone.ask(path)
    assert status == 200
    told = {str(e["uid"]): e for e in icalendar.Calendar.from_ical(data).walk("VEVENT")}
    assert any("Amber barge 1: change" in str(e["summary"]) for e in told.values())
    calendar = vobject.readOne(data.decode())
    assert {e.uid.value for e in calendar.vevent_list} == set(told)
    other = {e.uid: e for e in IcsCalendarStream.calendar_from_ics(data.decode()).events}
    assert {uid: e.dtstart for uid, e in other.items()} == {uid: e["dtstart"].dt for uid, e in told.items()}
    changed = {"kind": "changed_cartridge", "where": "carbon", "id": "cd" * 16, "date": dt.date.today().isoformat()}
    assert alone.ask("/stop/entry", entry(REF, **changed), **SENT)[0] == 200
    later = {str(e["uid"]): e for e in icalendar.Calendar.from_ical(alone.ask(path)[1]).walk("VEVENT")}
    moved = [uid for uid in set(told) & set(later) if told[uid]["dtstart"].dt != later[uid]["dtstart"].dt]
    assert moved, "the change moves its event and does not make another"


def test_wrong_secrets_are_few(alone: Served) -> None:
    right = alone.store("local").make_feed().text
    wrong = f"{right[:-4]}AAAA" if not right.endswith("AAAA") else f"{right[:-4]}BBBB"
    said = [alone.ask(f"/feed/{wrong}.ics")[0] for _ in range(feed.MOST_WRONG + 2)]
    assert said == [404] * feed.MOST_WRONG + [429] * 2
    assert alone.ask(f"/feed/{right}.ics")[0] == 429  # not even the right one
    elsewhere = [alone.ask(f"/feed/{'0' * 16}-{right[17:]}.ics")[0] for _ in range(feed.MOST_WRONG + 1)]
    assert elsewhere == [404] * feed.MOST_WRONG + [429]
    alone.clock.at += feed.FORGOTTEN_S + 1
    assert alone.ask(f"/feed/{right}.ics")[0] == 200
    for odd in ("/feed/x.ics", "/feed/.ics", f"/feed/{right}", f"/feed/{right}.ics/more", f"/feed/{right.upper()}.ics"):
        assert alone.ask(odd)[0] == 404
    alone.store("local").revoke_feed()
    assert alone.ask(f"/feed/{right}.ics")[0] == 404


def test_from_elsewhere_only_the_feed_is_open(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    url = f"sqlite:///{tmp_path / 's.sqlite3'}"
    monkeypatch.setenv("BREWWATER_DATABASE_URL", url)
    with serving(url, DoorRules(feed=feed.is_feed), {}, client="192.0.2.7") as found:
        keep(found.store("local"), fleet(1))
        path = f"/feed/{found.store('local').make_feed().text}.ics"
        assert found.ask(path)[0] == 200
        assert found.ask(path, b"", **SENT)[0] == 403
        assert found.ask(path, via="1.1 proxy")[0] == 403
        for shut in ("/stop", "/stop/round", "/stop/stop.js", "/stop/worker.js", "/feed/x.ics", "/"):
            assert found.ask(shut)[0] == 403
        assert found.ask("/stop/entry", entry(REF), **SENT)[0] == 403
        assert not [r for r in found.store("local").readings(REF) if r.kind == "visited"]
