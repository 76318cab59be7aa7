"""Attacks on the running front end, at the socket, on this machine's own loopback address."""

from __future__ import annotations

import http.client
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, Path]]:
    """``streamlit run app.py`` on a free port, and its journal."""
    folder = tmp_path_factory.mktemp("door")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    settings = {k: v for k, v in os.environ.items() if not k.startswith("BREWWATER_")}
    settings |= {
        "BREWWATER_DATA": str(folder),
        "BREWWATER_LOG": str(folder / "journal"),
        "BREWWATER_HOSTS": "van.example",
    }
    process = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", "app.py", f"--server.port={port}", "--server.headless=true"],
        cwd=ROOT,
        env=settings,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        for _ in range(600):
            try:
                if ask(port, "GET", "/_stcore/health")[0] == 200:
                    break
            except OSError:
                assert process.poll() is None, "the server ended"
            time.sleep(0.1)
        yield port, folder / "journal"
    finally:
        process.terminate()
        process.wait(20)


def ask(
    port: int, method: str, path: str, headers: dict[str, str] | None = None, body: bytes | None = None
) -> tuple[int, dict[str, str], str]:
    """Status, headers in small letters and text of an answer."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        line.request(method, path, body, headers or {})
        answer = line.getresponse()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read().decode("utf-8", "replace")
    finally:
        line.close()


def stream(port: int, host: str | None = None, origin: str | None = None, **more: str) -> int:
    """The status with which a WebSocket to the pages is answered: 101 where it opens."""
    wanted = {
        "Upgrade": "websocket",
        "Connection": "Upgrade",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA==",
    }
    headers = wanted | ({"Host": host} if host else {}) | ({"Origin": origin} if origin else {}) | more
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        line.request("GET", "/_stcore/stream", headers=headers)
        return line.getresponse().status
    finally:
        line.close()


def test_the_page_comes_with_its_headers(served: tuple[int, Path]) -> None:
    status, headers, text = ask(served[0], "GET", "/")
    assert status == 200
    assert '<div id="root">' in text
    assert "frame-ancestors 'self'" in headers["content-security-policy"]
    assert headers["x-frame-options"] == "SAMEORIGIN"
    for path in ("/", "/static/js/none.js", "/media/none", "/_stcore/metrics", "/health"):
        assert ask(served[0], "GET", path)[1]["x-content-type-options"] == "nosniff"


def test_a_name_pointed_here_gets_nothing(served: tuple[int, Path]) -> None:
    port = served[0]
    evil = f"evil.example:{port}"
    for path in ("/", "/_stcore/health", "/_stcore/host-config", "/media/x", "/plan?unit=unit"):
        status, _, text = ask(port, "GET", path, {"Host": evil})
        assert status == 421
        assert len(text.splitlines()) == 1
    # the page elsewhere is of the same origin as what it asks: name and port are the same
    assert stream(port, evil, f"http://{evil}") == 403
    assert stream(port, f"van.example:{port}", f"http://van.example:{port}") == 101


def test_pages_of_other_sites_open_no_stream(served: tuple[int, Path]) -> None:
    port = served[0]
    assert stream(port, origin=f"http://127.0.0.1:{port}") == 101
    for origin in ("http://evil.example", f"http://localhost:{port}", "http://127.0.0.1:1", "null"):
        assert stream(port, origin=origin) == 403
    status, headers, _ = ask(port, "GET", "/_stcore/host-config", {"Origin": "http://evil.example"})
    assert status == 403
    assert "access-control-allow-origin" not in headers


def test_through_a_proxy_nothing_without_sign_in(served: tuple[int, Path]) -> None:
    port = served[0]
    for name in ("X-Forwarded-For", "Forwarded", "Via", "X-Real-IP", "x-forwarded-proto"):
        status, _, text = ask(port, "GET", "/", {name: "127.0.0.1"})
        assert status == 403
        assert "sign-in" in text
        assert len(text.splitlines()) == 1
        assert stream(port, origin=f"http://127.0.0.1:{port}", **{name: "127.0.0.1"}) == 403


def test_figures_are_shut_and_health_is_open(served: tuple[int, Path]) -> None:
    port = served[0]
    for path in ("/_stcore/metrics", "/plan/_stcore/metrics", "/_stcore/%6detrics", "/_stcore/agent/openapi.json"):
        status, _, text = ask(port, "GET", path)
        assert status == 404
        assert "TYPE" not in text
    assert ask(port, "POST", "/_stcore/agent/interact", body=b"{}")[0] == 404
    status, _, text = ask(port, "GET", "/health")
    assert (status, '"status":"ok"' in text) == (200, True)


def test_a_mark_from_outside_opens_nothing(served: tuple[int, Path]) -> None:
    port = served[0]
    assert stream(port, f"evil.example:{port}", **{"brewwater-door": "x"}) == 403


def test_bodies_are_bounded_told_or_not(served: tuple[int, Path]) -> None:
    port = served[0]
    large = b"x" * 100_000
    assert ask(port, "POST", "/plan", body=large)[0] == 413
    assert ask(port, "POST", "/plan", {"Content-Length": "12345678901234567890"})[0] == 413
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    line.request("PUT", "/_stcore/upload_file/a/b", headers={"Content-Length": "30000000"})
    assert line.getresponse().status == 413  # before a byte of it was sent
    line.close()


def flood(page: ClientConnection) -> None:
    page.send(b"\x00" * 9_000_000)
    for _ in range(100):
        page.recv(timeout=20)


def test_a_message_of_an_open_page_is_bounded(served: tuple[int, Path]) -> None:
    port = served[0]
    address = f"127.0.0.1:{port}"
    with connect(f"ws://{address}/_stcore/stream", origin=f"http://{address}") as page, pytest.raises(ConnectionClosed):
        flood(page)


def test_random_bytes_leave_the_server_up(served: tuple[int, Path]) -> None:
    port = served[0]
    for junk in (
        b"\x00" * 100,
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"\xff\r\n" * 50,
    ):
        with socket.create_connection(("127.0.0.1", port), timeout=5) as line:
            line.sendall(junk)
            line.settimeout(3)
            try:
                said = line.recv(2000)
            except OSError:
                said = b""
            assert b" 200 " not in said
    assert ask(port, "GET", "/health")[0] == 200


def test_the_journal_tells_events_and_no_content(served: tuple[int, Path]) -> None:
    port, journal = served
    ask(port, "GET", "/?unit=My+secret+van", {"Host": "evil.example"})
    lines = journal.read_text(encoding="utf-8").splitlines()
    assert re.fullmatch(r"\S+ INFO start version=\S+ sign_in=0 phone=0", lines[0])
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT[\d:]{8}[+-]\d{4} (INFO|ERROR) \S.*", line) for line in lines)
    assert any("refused reason=host kind=http" in line for line in lines)
    assert not any("secret" in line or "evil" in line for line in lines)
