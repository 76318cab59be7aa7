"""The owner's phone: guessing, replaying, running out and being shut out, with clocks and at the socket.

A phone in the network is played on loopback: the layer around the server says that the connection came from another
machine, as it would have.
"""

from __future__ import annotations

import http.client
import io
import re
import socket
import stat
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect

from brewwater.cli import main
from brewwater.errors import InputError, StoreError
from brewwater.web.server.door import FrontDoor
from brewwater.web.server.phone import (
    CODE_LIVES_S,
    COOKIE,
    DIGITS,
    FILE_NAME,
    MOST_PHONES,
    MOST_WRONG,
    SHUT_S,
    Code,
    Phones,
    hours_of,
)
from brewwater.web.server.phone_page import pairing, welcome
from brewwater.web.server.policy import DoorRules


class Clock:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.at = time.time()

    def __call__(self) -> float:
        return self.at


def a_code() -> tuple[Code, list[str], Clock]:
    shown: list[str] = []
    clock = Clock()
    return Code(shown.append, clock), shown, clock


def other(code: str) -> str:
    return f"{(int(code) + 1) % 10**DIGITS:0{DIGITS}d}"


class TestCode:
    def test_a_code_is_used_once(self) -> None:
        code, shown, _ = a_code()
        assert code.offer()
        assert re.fullmatch(r"[0-9]{8}", shown[0])
        assert code.try_code(f" {shown[0][:4]} {shown[0][4:]} ") == "right"
        assert code.try_code(shown[0]) == "wrong"  # replayed
        assert code.offer()
        assert len(shown) == 2
        assert code.try_code(shown[0]) == "wrong"

    def test_five_wrong_ones_close_the_door_for_everybody(self) -> None:
        code, shown, clock = a_code()
        code.offer()
        first = shown[0]
        said = [code.try_code(other(first)) for _ in range(MOST_WRONG)]
        assert said == ["wrong"] * (MOST_WRONG - 1) + ["shut"]
        clock.at += SHUT_S - 1
        assert code.try_code(first) == "shut"  # not even the right one
        assert not code.offer()
        assert len(shown) == 1
        clock.at += 2
        assert code.try_code(first) == "wrong"  # it died with the fifth
        assert code.offer()
        assert code.try_code(shown[-1]) == "right"

    def test_a_right_one_begins_the_count_anew(self) -> None:
        code, shown, _ = a_code()
        for _ in range(3):
            code.offer()
            assert [code.try_code("1") for _ in range(MOST_WRONG - 1)] == ["wrong"] * (MOST_WRONG - 1)
            assert code.try_code(shown[-1]) == "right"

    def test_a_code_runs_out(self) -> None:
        code, shown, clock = a_code()
        code.offer()
        clock.at += CODE_LIVES_S
        assert code.try_code(shown[0]) == "wrong"
        code.offer()
        assert len(shown) == 2
        assert code.try_code(shown[1]) == "right"

    @pytest.mark.parametrize("typed", ["", " ", "0", "९" * 8, "\x00", "1" * 10_000])
    def test_what_is_no_code_is_wrong(self, typed: str) -> None:
        code, _, _ = a_code()
        assert code.try_code(typed) == "wrong"  # no code stands on the screen yet
        code.offer()
        assert code.try_code(typed) == "wrong"

    def test_what_a_guesser_gets_in_a_day(self) -> None:
        """So many guesses as the door takes in a day; the chance that one is right stays under one in 100,000."""
        code, _, clock = a_code()
        tried, end = 0, clock.at + 86_400
        while clock.at < end:
            code.offer()
            tried += 1
            if code.try_code("no") == "shut":
                while code.try_code("no") == "shut":  # knocks at the closed door until it opens
                    clock.at += 1
                tried += 1
        assert tried / 10**DIGITS < 1e-5


class TestPhones:
    def test_a_cookie_runs_out(self, tmp_path: Path) -> None:
        clock = Clock()
        phones = Phones(tmp_path, clock)
        cookie = phones.pair(12)
        clock.at += 12 * 3600 - 1
        assert phones.holds(cookie)
        clock.at += 1
        assert not phones.holds(cookie)

    def test_only_ours_and_whole(self, tmp_path: Path) -> None:
        phones = Phones(tmp_path / "ours")
        cookie = phones.pair(12)
        assert phones.holds(cookie)
        assert not Phones(tmp_path / "theirs").holds(cookie)
        theirs = Phones(tmp_path / "theirs").pair(12)
        assert not phones.holds(theirs)
        assert not phones.holds(None)
        for at in range(len(cookie)):
            swapped = cookie[:at] + ("A" if cookie[at] != "A" else "B") + cookie[at + 1 :]
            # the last letter of a signature has bits that stand for nothing
            assert at == len(cookie) - 1 or not phones.holds(swapped), at
        for bad in ("", ".", "a.b", cookie + "x", cookie[1:], "é", "x" * 10_000):
            assert not phones.holds(bad)

    def test_shut_out_by_another_process(self, tmp_path: Path) -> None:
        serving, keeper = Phones(tmp_path), Phones(tmp_path)
        one, two = serving.pair(12), serving.pair(12)
        assert serving.holds(one)
        assert keeper.forget() == 2
        assert not serving.holds(one)
        assert not serving.holds(two)
        assert serving.holds(serving.pair(12))
        assert not serving.holds(one)

    @pytest.mark.parametrize(
        "text", ["", "{", "[]", '{"key": "short", "phones": {}}', '{"key": 1}', '{"phones": {"a": "b"}, "key": "k"}']
    )
    def test_a_broken_list_lets_nobody_in(self, tmp_path: Path, text: str) -> None:
        phones = Phones(tmp_path)
        cookie = phones.pair(12)
        (tmp_path / FILE_NAME).write_text(text)
        assert not phones.holds(cookie)
        assert phones.holds(phones.pair(12))  # and it mends itself

    def test_only_the_user_may_read_the_list(self, tmp_path: Path) -> None:
        Phones(tmp_path).pair(12)
        assert stat.S_IMODE((tmp_path / FILE_NAME).stat().st_mode) == 0o600
        assert [p.name for p in tmp_path.iterdir()] == [FILE_NAME]

    def test_the_list_is_bounded(self, tmp_path: Path) -> None:
        phones = Phones(tmp_path)
        cookies = [phones.pair(12) for _ in range(MOST_PHONES + 5)]
        assert sum(phones.holds(c) for c in cookies) == MOST_PHONES

    def test_a_folder_that_cannot_be_written_is_one_line(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("")
        with pytest.raises(StoreError, match="cannot be written"):
            Phones(tmp_path / "file").pair(12)

    @pytest.mark.parametrize("text", ["0", "-1", "169", "twelve", "", "1.5", "１２", "9" * 5000])
    def test_hours(self, text: str) -> None:
        with pytest.raises(InputError, match="1 to 168"):
            hours_of(text, "--phone-hours")
        assert hours_of("168", "x") == 168


class FromThePhone:
    """Says of every connection that another machine opened it."""

    def __init__(self, app: Any) -> None:
        self._app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] in ("http", "websocket"):
            scope = {**scope, "client": ("192.168.77.2", 40000), "server": ("192.168.77.1", 8501)}
        await self._app(scope, receive, send)


async def page(request: Request) -> Response:
    return PlainTextResponse("the owner's page")


async def stream(socket: WebSocket) -> None:
    await socket.accept()
    try:
        while True:
            await socket.send_text(await socket.receive_text())
    except WebSocketDisconnect:
        pass


@dataclass
class Served:
    port: int
    phones: Phones
    shown: list[str]
    code_clock: Clock
    clock: Clock
    cookie: str | None = field(default=None)
    host: str = "192.168.77.1:8501"

    def ask(self, method: str, path: str, code: str | None = None, **headers: str) -> tuple[int, Any, str]:
        """Status, headers and text; a cookie that is given is kept, as a phone would."""
        body = None if code is None else urlencode({"code": code})
        sent = {"Host": self.host} | ({"Cookie": f"{COOKIE}={self.cookie}"} if self.cookie else {})
        if code is not None:
            sent |= {"Content-Type": "application/x-www-form-urlencoded", "Origin": f"http://{self.host}"}
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            line.request(method, path, body, sent | headers)
            answer = line.getresponse()
            return answer.status, answer.headers, answer.read().decode()
        finally:
            line.close()

    def pair(self) -> str:
        """Type the code on the screen; gives the cookie."""
        self.ask("GET", "/phone")
        status, headers, _ = self.ask("POST", "/phone", self.shown[-1])
        assert status == 303
        found = re.match(rf"{COOKIE}=([^;]+); (.*)", headers["set-cookie"])
        assert found
        for part in ("HttpOnly", "Max-Age=43200", "Path=/", "SameSite=lax"):
            assert part in found[2]
        self.cookie = found[1]
        return found[1]

    @contextmanager
    def open_page(self) -> Iterator[ClientConnection]:
        with (
            socket.create_connection(("127.0.0.1", self.port)) as line,
            connect(
                f"ws://{self.host}/stream",
                sock=line,
                origin=f"http://{self.host}",  # type: ignore[arg-type]
                additional_headers={"Cookie": f"{COOKIE}={self.cookie}"},
            ) as found,
        ):
            yield found


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    shown: list[str] = []
    code_clock, clock = Clock(), Clock()
    code, phones = Code(shown.append, code_clock), Phones(tmp_path, clock)
    app = Starlette(
        routes=[
            Route("/", page),
            Route("/phone", pairing(code, phones, 12), methods=["GET", "POST"]),
            WebSocketRoute("/stream", stream),
        ],
        middleware=[Middleware(FromThePhone), Middleware(FrontDoor, policy=DoorRules(phone=True), phones=phones)],
    )
    with socket.socket() as place:
        place.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app, log_level="critical", ws="websockets-sansio"))
        thread = threading.Thread(target=server.run, args=([place],), daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield Served(place.getsockname()[1], phones, shown, code_clock, clock)
        server.should_exit = True
        thread.join(10)


class TestAtTheSocket:
    def test_unpaired_sees_the_door_and_nothing_else(self, served: Served) -> None:
        status, headers, text = served.ask("GET", "/")
        assert (status, headers["location"]) == (303, "/phone")
        assert "owner" not in text
        assert served.ask("POST", "/", "x")[0] == 403
        with pytest.raises(Exception, match="403"), served.open_page():
            pass
        status, headers, text = served.ask("GET", "/phone")
        assert status == 200
        assert "not encrypted" in text
        assert "frame-ancestors 'self'" in headers["content-security-policy"]
        assert served.shown[0] not in text

    def test_paired_it_sees_the_pages(self, served: Served) -> None:
        served.pair()
        assert served.ask("GET", "/")[2] == "the owner's page"
        with served.open_page() as found:
            found.send("hello")
            assert found.recv(timeout=10) == "hello"

    def test_guessing(self, served: Served) -> None:
        served.ask("GET", "/phone")
        wrong = other(served.shown[0])
        assert [served.ask("POST", "/phone", wrong)[0] for _ in range(MOST_WRONG + 2)] == [403] * 4 + [429] * 3
        status, headers, _ = served.ask("POST", "/phone", served.shown[0])
        assert (status, headers["set-cookie"]) == (429, None)
        assert served.ask("GET", "/phone")[0] == 429
        served.code_clock.at += SHUT_S + 1
        served.pair()

    def test_the_code_replayed(self, served: Served) -> None:
        served.pair()
        used = served.shown[0]
        served.cookie = None
        assert served.ask("POST", "/phone", used)[0] == 403
        assert served.ask("GET", "/")[0] == 303

    def test_a_page_elsewhere_cannot_type_for_the_phone(self, served: Served) -> None:
        served.ask("GET", "/phone")
        status, headers, _ = served.ask("POST", "/phone", served.shown[0], Origin="http://evil.example")
        assert (status, headers["set-cookie"]) == (403, None)
        assert served.ask("POST", "/phone", served.shown[0])[0] == 303  # the code was not used up by it

    def test_running_out_shuts_the_open_page(self, served: Served) -> None:
        served.pair()
        with served.open_page() as found:
            served.clock.at += 12 * 3600
            found.send("hello")
            with pytest.raises(ConnectionClosed):
                found.recv(timeout=10)
        assert served.ask("GET", "/")[0] == 303

    def test_forgotten_phones_are_out_at_once(
        self, served: Served, monkeypatch: pytest.MonkeyPatch, capsys: Any
    ) -> None:
        served.pair()
        folder = served.phones._path.parent
        monkeypatch.setenv("BREWWATER_DATA", str(folder))
        with served.open_page() as found:
            assert main(["app", "--forget-phones"]) == 0
            assert capsys.readouterr().out == "Phones shut out: 1\n"
            found.send("hello")
            with pytest.raises(ConnectionClosed):
                found.recv(timeout=10)
        assert served.ask("GET", "/")[0] == 303

    def test_a_large_form_is_refused(self, served: Served) -> None:
        assert served.ask("POST", "/phone", "1" * 200_000)[0] == 413


def test_what_stands_on_the_screen() -> None:
    said = welcome("http://192.168.77.1:8501", 12)
    assert "http://192.168.77.1:8501" in said
    assert "CAUTION" in said
    assert "█" in said or "▀" in said
    assert "CAUTION" not in welcome("https://192.168.77.1:8501", 12)
    assert len(io.StringIO(said).readlines()) < 24
