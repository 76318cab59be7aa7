"""The front end itself refuses to serve other machines without sign-in, however Streamlit was started."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit import config
from streamlit.testing.v1 import AppTest

APP = Path(__file__).resolve().parents[2] / "app.py"


def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, address: str | None) -> AppTest:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    monkeypatch.delenv("BREWWATER_DATABASE_URL", raising=False)
    before = config.get_option("server.address")
    config.set_option("server.address", address)
    try:
        return AppTest.from_file(str(APP), default_timeout=60).run()
    finally:
        config.set_option("server.address", before)


@pytest.mark.parametrize("address", ["0.0.0.0", "192.168.1.2", "::", None])
def test_refused_with_one_line_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, address: str | None
) -> None:
    at = opened(tmp_path, monkeypatch, address)
    assert not at.exception
    assert [e.value for e in at.error if "--server.address" in e.value and "no sign-in is configured" in e.value]
    assert len(at.error) == 1
    assert not at.number_input
    assert not at.text_input
    assert not at.button
    assert not list(tmp_path.rglob("*.sqlite3*"))  # not even the store was opened


def test_open_on_this_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    at = opened(tmp_path, monkeypatch, "127.0.0.1")
    assert not at.exception
    assert not at.error
    assert at.button
