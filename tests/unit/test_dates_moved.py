"""The first opening by new rules says which dates moved and why, once."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from pathlib import Path

import pytest

from brewwater.cli import main
from brewwater.plan import Plan, make_plan
from brewwater.planning import cartridges as dated
from brewwater.planning.document import PlanDocument, demo_document
from brewwater.planning.rules import RULES, ToldDates, moved_by_rules, next_dates, told_now
from brewwater.store import Store, make_engine

LATER = dt.date(2099, 1, 1)
EARLIER = dt.date(2020, 1, 1)
MEMBRANE = [
    {"name": "carbon", "medium": "carbon", "size": "large"},
    {"name": "membrane", "medium": "reverse_osmosis", "recovery": 0.4},
]


def scaling() -> PlanDocument:
    """The demo's water on a membrane whose waste is near scaling."""
    document = demo_document()
    raw = document.model_dump(mode="json") | {"train": MEMBRANE}
    raw["settings"] = raw["settings"] | {"draws": 256}
    return PlanDocument.model_validate(raw)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(scaling(), search=False)


def test_the_date_before_is_that_of_a_plan_without_the_rule(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    lives = {c.stage.name: c.life for c in plan.candidate.cartridges}
    assert lives["membrane"] < 1
    found = moved_by_rules(plan.scenario, plan.candidate, plan.calendar, None, dt.date(2026, 11, 1))
    assert found is not None
    monkeypatch.setattr("brewwater.planning.candidate.membrane_left", lambda *_: 1.0)
    before = next_dates(make_plan(scaling(), search=False).calendar)
    now = next_dates(plan.calendar)
    rows = {name: (was, is_now, why) for name, was, is_now, why in found.moved}
    assert rows == {"membrane": (before.get("membrane"), now["membrane"], RULES[4].why)}
    assert before.get("membrane", LATER) > now["membrane"]
    assert RULES[0].why in found.sentence and RULES[4].why in found.sentence
    assert f"{now['membrane'].day} {now['membrane']:%b %Y}" in found.sentence


def test_a_unit_saved_since_the_rules_hears_nothing(plan: Plan) -> None:
    assert moved_by_rules(plan.scenario, plan.candidate, plan.calendar, None, LATER) is None


def test_dates_that_were_told_are_compared(plan: Plan) -> None:
    now = told_now(plan.scenario, plan.calendar)
    args = (plan.scenario, plan.candidate, plan.calendar)
    assert moved_by_rules(*args, now, EARLIER) is None
    other = {**now.dates, "membrane": LATER, "softener": LATER}
    assert moved_by_rules(*args, ToldDates(len(RULES), now.content, other), EARLIER) is None  # edited, by no rule
    found = moved_by_rules(*args, ToldDates(4, now.content, other), EARLIER)
    assert found is not None and not found.edited
    assert {row[:3] for row in found.moved} == {
        ("membrane", LATER, now.dates["membrane"]),
        ("softener", LATER, None),
    }
    assert "not inside the plan" in found.sentence
    edited = moved_by_rules(*args, ToldDates(4, "another", other), EARLIER)
    assert edited is not None and edited.edited and "edited or logged" in edited.sentence


def test_a_cartridge_reckoned_the_same_is_the_same(plan: Plan) -> None:
    one = plan.candidate.cartridges[0]
    assert dated.reckoned(plan.scenario, one, due_since=one.due_since, life=one.life) is one


def old_store(path: Path) -> Store:
    """A store of the format before, with a unit saved long ago."""
    clock = dt.datetime(2026, 11, 2, tzinfo=dt.UTC)
    store = Store(make_engine(f"sqlite:///{path}"), clock=lambda: clock)
    ref = store.create_unit("Truck A").ref
    store.save_plan(ref, scaling().model_dump(mode="json"), 0)
    store.engine.dispose()
    with sqlite3.connect(path) as raw:
        raw.executescript(
            "DROP TABLE brewwater_told; DELETE FROM brewwater_about; INSERT INTO brewwater_about VALUES (5)"
        )
    return Store(make_engine(f"sqlite:///{path}"))


def test_the_command_line_says_it_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "old.db"
    old_store(path).engine.dispose()
    monkeypatch.setenv("BREWWATER_DATABASE_URL", f"sqlite:///{path}")

    def run(*arguments: str) -> str:
        assert main(["plan", *arguments]) == 0
        return capsys.readouterr().out

    def codes() -> list[str]:
        return [w["code"] for w in json.loads(run("Truck A", "--json"))["warnings"]]

    assert codes().count("dates_moved") == 1
    first = run("truck a")
    assert "Dates are reckoned differently" in first and "membrane" in first
    assert "reckoned differently" not in run("Truck A")
    assert "dates_moved" not in codes()


def test_each_person_is_told_and_an_erased_unit_takes_it_along(tmp_path: Path, plan: Plan) -> None:
    store = old_store(tmp_path / "old.db")
    store.share("truck-a", "b@example.com", may_edit=False)
    other = Store(store.engine, "b@example.com")
    assert store.dates_moved("truck-a", plan) is not None
    store.tell("truck-a", plan)
    assert store.dates_moved("truck-a", plan) is None
    assert other.dates_moved("truck-a@local", plan) is not None
    store.erase_unit("truck-a")
    with sqlite3.connect(tmp_path / "old.db") as raw:
        assert raw.execute("SELECT count(*) FROM brewwater_told").fetchone() == (0,)


def test_a_damaged_note_is_told_again(tmp_path: Path, plan: Plan) -> None:
    store = old_store(tmp_path / "old.db")
    store.tell("truck-a", plan)
    with sqlite3.connect(tmp_path / "old.db") as raw:
        raw.execute("UPDATE brewwater_told SET body = replace(body, '2', '3')")
    assert store.dates_moved("truck-a", plan) is not None
