"""Who may open what, and from where."""

from __future__ import annotations

from pathlib import Path

import pytest

from brewwater.errors import InputError
from brewwater.store import access

AUTH = {
    "auth": {
        "redirect_uri": "https://x.example/oauth2callback",
        "cookie_secret": "c" * 32,
        "client_id": "i",
        "client_secret": "s",
        "server_metadata_url": "https://id.example/.well-known",
    }
}


@pytest.mark.parametrize(
    "address", ["127.0.0.1", "127.1.2.3", "::1", "[::1]", "localhost", "LOCALHOST", "::ffff:127.0.0.1"]
)
def test_loopback(address: str) -> None:
    assert access.is_loopback(address)
    access.check_address(address, {})


@pytest.mark.parametrize(
    "address",
    [
        "0.0.0.0",
        "::",
        "",
        "192.168.1.2",
        "10.0.0.1",
        "example.org",
        "127.0.0.1.example.org",
        "::ffff:10.0.0.1",
        "127.1",
    ],
)
def test_not_loopback_needs_sign_in(address: str) -> None:
    assert not access.is_loopback(address)
    with pytest.raises(InputError, match="no sign-in is configured"):
        access.check_address(address, {})


def test_sign_in_is_whole_or_not_there() -> None:
    assert access.sign_in_configured(AUTH)
    flat = AUTH["auth"]
    provider = {k: flat[k] for k in ("client_id", "client_secret", "server_metadata_url")}
    rest = {k: flat[k] for k in ("redirect_uri", "cookie_secret")}
    assert access.sign_in_configured({"auth": rest | {"google": provider}})
    assert access.providers(AUTH) == ("",)
    assert access.providers({"auth": rest | {"one": provider, "two": provider, "half": {"client_id": "i"}}}) == (
        "one",
        "two",
    )
    for key in flat:
        assert not access.sign_in_configured({"auth": {k: v for k, v in flat.items() if k != key}})
    assert not access.sign_in_configured({"auth": flat | {"cookie_secret": "short"}})
    assert not access.sign_in_configured({"auth": "yes"})


def test_sign_in_needs_its_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(InputError, match="library is not installed"):
        access.check_address("0.0.0.0", AUTH)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: object())
    access.check_address("0.0.0.0", AUTH)


def test_secrets_are_read_where_streamlit_reads_them(tmp_path: Path) -> None:
    home, here = tmp_path / "home", tmp_path / "here"
    for folder, text in (
        (home, "[auth]\ncookie_secret = 'home'\n"),
        (here, "[auth]\ncookie_secret = 'here'\n"),
    ):
        (folder / ".streamlit").mkdir(parents=True)
        (folder / ".streamlit" / "secrets.toml").write_text(text)
    assert access.read_secrets(home, here) == {"auth": {"cookie_secret": "here"}}
    (here / ".streamlit" / "secrets.toml").write_text("not toml [")
    assert access.read_secrets(home, here) == {"auth": {"cookie_secret": "home"}}
    assert access.read_secrets(tmp_path / "nowhere") == {}


def test_a_person_is_a_verified_address() -> None:
    assert access.person_id(" Ann@Example.org ") == "ann@example.org"
    for bad in (
        None,
        "",
        "ann",
        "@example.org",
        "ann@",
        "a b@example.org",
        "a\x00@example.org",
        "x" * 250 + "@e.org",
    ):
        with pytest.raises(InputError):
            access.person_id(bad)
    with pytest.raises(InputError):
        access.person_id("ann@example.org", verified=False)
    with pytest.raises(InputError):
        access.person_id(access.LOCAL)  # nobody signs in as the person of the machine


def test_rules_of_opening_and_editing() -> None:
    shared = {"bea@x": False, "cy@x": True}
    may = {
        p: (access.may_open(p, "ann@x", shared), access.may_edit(p, "ann@x", shared))
        for p in ("ann@x", "bea@x", "cy@x", "dan@x")
    }
    assert may == {
        "ann@x": (True, True),
        "bea@x": (True, False),
        "cy@x": (True, True),
        "dan@x": (False, False),
    }
