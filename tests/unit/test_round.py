"""The round: the next change of every cartridge in every unit, by the plans' own calendars."""

from __future__ import annotations

import csv
import datetime as dt
import json
from pathlib import Path
from typing import Any

import icalendar
import pytest
import vobject
from fleet import fleet, keep
from sqlalchemy import event

from brewwater import cli
from brewwater.log.entry import make_reading
from brewwater.output.result import plan_result
from brewwater.output.round import (
    as_row,
    as_rows,
    from_row,
    from_rows,
    in_order,
    in_route,
    nexts,
    parts_list,
    shortages,
    stops,
    unit_round,
    visits,
)
from brewwater.output.round_keeping import unit_rounds
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document, mobile_template
from brewwater.store import Store, make_engine

TRAIN = [
    {"name": "grit", "medium": "sediment", "size": "small"},
    {"name": "carbon", "medium": "carbon", "size": "small"},
]


def document(name: str, start: str, **more: Any) -> dict[str, Any]:
    plain = mobile_template().model_dump(mode="json")
    plain["demand"]["calendar"]["start"] = start
    return {**plain, "name": name, "train": TRAIN, "settings": {"draws": 64, "seed": 1}, **more}


def planned(**more: Any) -> Plan:
    return make_plan(load_document(document("Blue", "2026-01-05", **more)), search=False)


def test_the_round_has_the_calendars_dates() -> None:
    plan = planned()
    shown = {c.name: c.changes[0].expected for c in plan_result(plan).cartridges}
    first = min(dt.date.fromisoformat(d) for d in shown.values() if d)
    found = stops(nexts("blue", plan), first - dt.timedelta(days=3), first + dt.timedelta(days=400))
    assert {s.cartridge: s.due.isoformat() for s in found} == {n: d for n, d in shown.items() if d}
    assert in_order(found)[0].state == "due"
    assert stops(nexts("blue", plan), first - dt.timedelta(days=60)) == []
    assert {s.state for s in stops(nexts("blue", plan), first + dt.timedelta(days=1)) if s.due == first} == {"overdue"}
    assert {s.number for s in found} == {1, 2}
    assert from_rows(json.loads(json.dumps(as_rows(nexts("blue", plan))))) == nexts("blue", plan)
    assert parts_list(found) == {"carbon filter, small": 1, "sediment filter, small": 1}


def test_what_is_near_is_one_visit() -> None:
    plan = planned()
    every = in_order(stops(nexts("blue", plan), dt.date(2026, 1, 5), dt.date(2028, 1, 1)))
    apart = abs((every[0].due - every[-1].due).days)
    assert len(visits(every, together_days=apart)) == 1
    if apart:
        assert len(visits(every, together_days=apart - 1)) == 2
    assert [s for v in visits(every, 0) for s in v.stops] == every


def test_the_stock_ends_before_the_round_does() -> None:
    shelf = [{"name": "my carbon", "medium": "carbon", "size": "small", "in_stock": 1,
              "sheet": {"rated_gal": 500, "reference_chlorine_mg_L_as_Cl2": 2, "rated_for": "free_chlorine"}}]  # fmt: skip
    train = [TRAIN[0], {**TRAIN[1], "sheet": shelf[0]["sheet"]}]
    plans = {name: planned(shelf=shelf, train=train) for name in ("blue", "red")}
    found = [
        s for name, plan in plans.items() for s in stops(nexts(name, plan), dt.date(2026, 1, 5), dt.date(2028, 1, 1))
    ]
    assert parts_list(found)["my carbon"] == 2
    (short,) = shortages(found, {"my carbon": 1})
    assert (short.part, short.in_stock, short.needed, short.unit) == ("my carbon", 1, 2, "red")
    assert short.order_by is not None
    assert short.order_by < short.first_missing
    assert shortages(found, {"my carbon": 2}) == []


def test_the_command_over_all_units(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    with Store(make_engine(f"sqlite:///{tmp_path / 'brewwater.sqlite3'}")) as store:
        for name, start in (("Blue", "2026-01-05"), ("Red", "2026-06-01")):
            store.create_unit(name)
            store.save_plan(name.lower(), document(name, start), 0)
        store.create_unit("Only a log")
    window = ["--from", "2026-12-01", "--to", "2027-06-01"]
    assert cli.main(["round", "--json", *window]) == 0
    before = json.loads(capsys.readouterr().out)
    assert {row["unit"] for row in before} == {"blue", "red"}
    assert [row["due"] for row in before] == sorted(row["due"] for row in before)
    assert {"unit", "cartridge", "due", "state", "parts"} <= before[0].keys()
    late = next(row for row in before if row["state"] == "overdue")
    monkeypatch.setattr("brewwater.output.round_keeping.make_plan", None)  # kept: nothing is planned again
    assert cli.main(["round", "--json", *window]) == 0
    assert json.loads(capsys.readouterr().out) == before
    monkeypatch.undo()
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    with Store(make_engine(f"sqlite:///{tmp_path / 'brewwater.sqlite3'}")) as store:  # it is changed: off the list
        done = {"date": "2026-11-30", "kind": "changed_cartridge", "where": late["cartridge"]}
        store.add_readings(late["unit"], [make_reading(done)])
    assert cli.main(["round", "--json", *window]) == 0
    after = json.loads(capsys.readouterr().out)
    key = ("unit", "cartridge")
    assert not [r for r in after if r["state"] == "overdue" and [r[k] for k in key] == [late[k] for k in key]]
    assert cli.main(["round", "--from", "2026-12-01"]) == 0
    assert "load" in capsys.readouterr().out
    assert cli.main(["round", *window, "--out", str(tmp_path / "out")]) == 0
    read = icalendar.Calendar.from_ical((tmp_path / "out" / "round.ics").read_bytes())
    days = {str(e["summary"]): e.decoded("dtstart").isoformat() for e in read.walk("VEVENT")}
    assert {row["due"] for row in after} <= set(days.values())
    again = vobject.readOne((tmp_path / "out" / "round.ics").read_text(encoding="utf-8"))
    assert {e.summary.value: e.dtstart.value.isoformat() for e in again.vevent_list} == days
    assert len(list(csv.DictReader((tmp_path / "out" / "round.csv").open(encoding="utf-8")))) == len(after)
    assert cli.main(["round", "--from", "soon"]) == 2
    assert cli.main(["round", "--from", "2027-01-01", "--to", "2026-01-01"]) == 2


def test_dates_of_a_given_train_do_not_depend_on_the_search() -> None:
    one = fleet(3)[2]
    typed = load_document(one.document | {"readings": [r.model_dump(mode="json") for r in one.readings]})
    assert unit_round("a", make_plan(typed)) == unit_round("a", make_plan(typed, search=False))


def test_the_round_of_many_is_kept_and_read_at_once(tmp_path: Path) -> None:
    with Store(make_engine(f"sqlite:///{tmp_path / 's.sqlite3'}")) as store:
        refs = keep(store, fleet(4))
        store.create_unit("Bare")  # without a plan it is not on the round
        found, left_out = unit_rounds(store)
        assert sorted(one.unit for one in found) == sorted(refs)
        assert left_out == []
        assert [from_row(json.loads(json.dumps(as_row(one)))) for one in found] == found
        asked: list[str] = []
        event.listen(store.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
        assert unit_rounds(store) == (found, [])
        few = len(asked)
        keep(store, fleet(4, seed=7))
        unit_rounds(store)
        asked.clear()
        unit_rounds(store)
        assert len(asked) == few  # as many queries for eight as for four
        before = {one.unit.ref: one.stamp for one in store.rounds()}
        store.add_readings(refs[0], [make_reading({"date": "2026-12-01", "kind": "visited"})])
        after = {one.unit.ref: one.stamp for one in store.rounds()}
        assert {ref for ref in after if after[ref] != before[ref]} == {refs[0]}


def test_a_reading_past_its_limit_is_an_alarm_until_a_later_one_clears_it() -> None:
    served = {"kind": "total_chlorine", "unit": "mg/L", "where": "served", "method": "drop_kit"}
    bad = make_reading({"date": "2026-02-02", "value": 3.0, **served}).model_dump(mode="json")
    (told,) = unit_round("blue", planned(readings=[bad])).alarms
    assert told.since == dt.date(2026, 2, 2)
    assert "past the limit" in told.text
    assert "test again" in told.text
    good = make_reading({"date": "2026-02-03", "value": 0.0, **served}).model_dump(mode="json")
    assert unit_round("blue", planned(readings=[bad, good])).alarms == ()


def test_the_route_keeps_its_order_and_takes_new_ones_in() -> None:
    assert in_route(["a", "b", "c", "d"], ["c", "gone", "a"]) == ["c", "a", "b", "d"]
    assert in_route(["b", "a"], []) == ["b", "a"]
