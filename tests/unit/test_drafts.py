"""Drafts: each browser's and each person's own, gone when old, and with an erased unit."""

from __future__ import annotations

import datetime as dt
import sqlite3
from pathlib import Path

import pytest

from brewwater.planning.document import demo_document
from brewwater.store import Store, UnknownUnit, make_engine
from brewwater.web.server.browser import numbered
from brewwater.web.server.policy import DoorRequest

ONE, OTHER = "a" * 32, "b" * 32
DOCUMENT = demo_document().model_dump(mode="json")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = Store(make_engine(f"sqlite:///{tmp_path / 'kept.db'}"))
    made.save_plan(made.create_unit("Truck").ref, DOCUMENT, 0)
    return made


def named(name: str) -> dict:
    return DOCUMENT | {"name": name}


def test_each_browser_has_its_own_and_the_last_one_counts(store: Store) -> None:
    store.keep_draft(ONE, "truck", named("first"), 1)
    store.keep_draft(ONE, "truck", named("second"), 1)
    store.keep_draft(ONE, None, named("never saved"), 0)
    found = store.draft(ONE, "truck")
    assert found is not None
    assert (found.document["name"], found.version) == ("second", 1)
    assert store.draft(OTHER, "truck") is None
    never = store.draft(ONE, None)
    assert never is not None
    assert never.document["name"] == "never saved"
    store.drop_draft(ONE, "truck")
    assert store.draft(ONE, "truck") is None
    assert store.draft(ONE, None) is not None
    assert store.plan("truck").version == 1  # nothing of it is a version


def test_another_person_sees_none_even_of_a_shared_unit(store: Store) -> None:
    store.keep_draft(ONE, "truck", named("mine"), 1)
    other = Store(store.engine, "b@example.com")
    with pytest.raises(UnknownUnit):
        other.draft(ONE, "truck")
    store.share("truck", "b@example.com", may_edit=True)
    assert other.draft(ONE, "truck@local") is None
    other.keep_draft(ONE, "truck@local", named("theirs"), 1)
    assert store.draft(ONE, "truck").document["name"] == "mine"


def test_old_ones_go_and_a_damaged_one_is_none(tmp_path: Path) -> None:
    day = dt.datetime(2027, 1, 1, tzinfo=dt.UTC)
    store = Store(make_engine(f"sqlite:///{tmp_path / 'kept.db'}"), clock=lambda: day)
    store.keep_draft(ONE, None, named("old"), 0)
    day += dt.timedelta(days=31)
    store.keep_draft(OTHER, None, named("new"), 0)
    assert store.draft(ONE, None) is None
    assert store.draft(OTHER, None) is not None
    with sqlite3.connect(tmp_path / "kept.db") as raw:
        raw.execute("UPDATE brewwater_draft SET body = replace(body, 'new', 'odd')")
    assert store.draft(OTHER, None) is None


def test_an_erased_unit_takes_its_drafts_along(store: Store, tmp_path: Path) -> None:
    store.keep_draft(ONE, "truck", named("secret"), 1)
    store.erase_unit("truck")
    assert b"secret" not in (tmp_path / "kept.db").read_bytes()


def visit(cookie: str = "", method: str = "GET") -> DoorRequest:
    return DoorRequest("http", method, "/", {"cookie": cookie})


def test_a_browser_gets_its_number_once_with_a_page() -> None:
    page = [(b"content-type", b"text/html; charset=utf-8")]
    (_, (name, value)) = numbered(list(page), visit(), "http")
    assert name == b"set-cookie"
    assert b"HttpOnly; SameSite=Lax" in value
    assert b"Secure" not in value
    assert value.endswith(b"; Secure") is False
    assert numbered(list(page), visit(), "https")[-1][1].endswith(b"; Secure")
    assert numbered(list(page), visit(), "http")[-1] != numbered(list(page), visit(), "http")[-1]
    assert numbered(list(page), visit("brewwater-browser=" + ONE), "http") == page
    assert numbered(list(page), visit(method="POST"), "http") == page
    assert numbered([(b"content-type", b"text/css")], visit(), "http") == [(b"content-type", b"text/css")]
