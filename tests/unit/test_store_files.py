"""The log as CSV, a unit as one file, the whole store as a dated copy."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.errors import InputError, StoreError
from brewwater.log.entry import KINDS, Reading, make_reading, printable
from brewwater.store import NotAllowed, Store, backups, log_csv, make_engine
from brewwater.store.text import canonical, sha256

FORMULAS = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "=cmd|' /C calc'!A0",
    "'=1",
    "''=1",
    "a;=1",
    'say "=1"',
    "a\n=1",
    " =1",
    "＝1",
    "a\t@x",
    "|=1",
    "plain",
    "it's -5 psi",
    "-",
    "'",
    "'a",
]
UNITS = {
    "meter_gal": "gal",
    "drinks_sold": "drinks",
    "pressure_in_psi": "psi",
    "pressure_out_psi": "kPa",
    "conductivity": "µS/cm",
    "ph": "1",
}


def line(value: float = 1, **more: Any) -> Reading:
    return make_reading({"date": "2026-03-31", "kind": "meter_gal", "value": value, "unit": "gal", **more})


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(make_engine(f"sqlite:///{tmp_path / 'data' / 'brewwater.sqlite3'}")) as found:
        found.create_unit("truck")
        yield found


def fill(store: Store, versions: int = 3, lines: int = 5) -> None:
    for version in range(versions):
        store.save_plan(
            "truck",
            {"schema_version": 1, "n": version, "words": "São Paulo – 水"},
            version,
            f"note {version}",
        )
    store.add_readings("truck", [line(n, note=FORMULAS[n % len(FORMULAS)]) for n in range(lines)])


# -- CSV


@pytest.mark.parametrize("text", FORMULAS, ids=ascii)
def test_no_cell_is_a_formula_and_the_text_comes_back(text: str) -> None:
    kept = line(note=text, where=text.replace("\n", " "))
    sheet = log_csv.write([kept])
    for separator in (",", ";", "\t"):  # as the reader's own spreadsheet may split it
        for row in csv.reader(io.StringIO(sheet, newline=""), delimiter=separator):
            for cell in row:
                assert cell.lstrip(' "')[:1] not in ("=", "+", "-", "@", "＝", "＋", "－", "＠")
    assert log_csv.read(sheet.encode()) == [kept]


texts = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=40).filter(printable)


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_any_log_comes_back_from_csv(data: st.DataObject) -> None:
    number = st.floats(0, 1e9)
    lines = []
    for _ in range(data.draw(st.integers(0, 4))):
        kind = data.draw(st.sampled_from([k for k in KINDS if k != "withdrawn"]))
        lines.append(
            make_reading(
                {
                    "date": data.draw(st.dates(dt.date(2000, 1, 1), dt.date(2099, 12, 31))),
                    "kind": kind,
                    "value": data.draw(number),
                    "unit": UNITS.get(kind, "mg/L"),
                    "where": data.draw(texts),
                    "note": data.draw(st.one_of(texts, st.sampled_from(FORMULAS))),
                    "method": data.draw(st.sampled_from(["strip", "lab"])),
                    "corrects": lines[-1].id if lines and data.draw(st.booleans()) else None,
                    "recorded_at": "2026-01-01T00:00:00.000001Z",
                    "recorded_by": data.draw(texts),
                }
            )
        )
    assert log_csv.read(log_csv.write(lines)) == lines


def test_a_csv_typed_by_hand_is_read_once(store: Store) -> None:
    typed = "\ufeffDate,Kind,Value,Unit\r\n2026-03-31,meter,384,gal\r\n\r\n2026-03-31,meter,384,gal\n"
    typed += "2026-04-01,taste,flat,\n"
    assert store.import_log("truck", typed.encode()) == 3
    assert store.import_log("truck", typed.encode()) == 0
    assert [(r.kind, r.value, r.note) for r in store.readings("truck")] == [
        ("meter_gal", 384, ""),
        ("meter_gal", 384, ""),
        ("taste_note", None, "flat"),
    ]
    assert store.import_log("truck", store.export_log("truck")) == 0


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", "log file"),
        ("date,kind\n", "log file"),
        ("date,kind,value,colour\n", "log file"),
        ("date,kind,value,value\n", "log file"),
        ("date,kind,value\n2026-03-31,meter\n", "line 2"),
        ("date,kind,value,unit\n2026-03-31,meter,1,gal\n2026-03-31,vibes,1,gal\n", "line 3"),
        ("date,kind,value,unit\n2026-03-31,meter,=1+1,gal\n", "line 2"),
        ('date,kind,value,unit\n2026-03-31,meter,1,"gal\n', "line 2"),
        ("date,kind,value,unit\n2026-03-31,meter,1,gal\x00\n", "line 2"),
        ("date,kind,value,unit\n" + "2026-03-31,meter,1,gal\n" * 20_001, "log file"),
        (b"date,kind,value\n\xff\xfe", "log file"),
        ("x" * 5_000_001, "log file"),
        ("date,kind,value\n" + "x" * 200_000, "line 2"),
    ],
    ids=lambda t: ascii(t)[:30],
)
def test_a_csv_that_cannot_be_used_adds_nothing(store: Store, text: str | bytes, where: str) -> None:
    with pytest.raises(InputError) as error:
        store.import_log("truck", text)
    assert where in error.value.field
    assert "\n" not in str(error.value)
    assert store.readings("truck") == []


# -- one file


def test_a_unit_goes_to_another_machine_and_back_unchanged(store: Store, tmp_path: Path) -> None:
    fill(store)
    store.add_readings("truck", [line(9, corrects=store.readings("truck")[0].id)])
    store.export_file("truck", tmp_path / "truck.json")
    with Store(make_engine(f"sqlite:///{tmp_path / 'elsewhere' / 's.sqlite3'}")) as other:
        assert other.restore_file(tmp_path / "truck.json") == "truck"
        assert other.readings("truck") == store.readings("truck")
        assert [replace(h, restored="") for h in other.history("truck")] == store.history("truck")
        assert all("not signed" in h.restored for h in other.history("truck"))
        for version in (1, 2, 3):
            assert other.plan("truck", version) == store.plan("truck", version)
        theirs, mine = json.loads(other.export_unit("truck")), json.loads(store.export_unit("truck"))
        (origin,) = theirs["content"].pop("origins")  # the way it came is told, all else is the same
        assert mine["content"].pop("origins") == []
        assert theirs["content"] == mine["content"]
        assert (origin["plans"], origin["lines"], origin["signature"]) == (3, 6, "none")


def test_restoring_never_touches_what_is_there(store: Store) -> None:
    fill(store)
    text = store.export_unit("truck")
    assert store.restore_unit(text) == "truck"  # the same already
    store.add_readings("truck", [line(99)])
    before = store.export_unit("truck")
    assert store.restore_unit(text) == "truck-2"
    assert json.loads(store.export_unit("truck"))["content"] == json.loads(before)["content"]
    assert [r.value for r in store.readings("truck-2")] == [0, 1, 2, 3, 4]


def _framed(content: dict[str, Any]) -> str:
    return json.dumps(
        {
            "format": "brewwater-unit",
            "format_version": 1,
            "exported_at": "",
            "content": content,
            "sha256": sha256(canonical(content)),
        }
    )


def test_files_that_are_not_whole_restore_nothing(store: Store) -> None:
    fill(store)
    text = store.export_unit("truck")
    content = json.loads(text)["content"]
    plan = content["plans"][0]
    bad = [
        "",
        "{}",
        "[]",
        text[:-20],
        text.replace("S\\u00e3o", "Sao"),
        text.replace('"format_version":2', '"format_version":4'),
        _framed(content | {"name": "../../etc"}),
        _framed(content | {"plans": content["plans"][1:]}),
        _framed(content | {"plans": [plan, plan]}),
        _framed(content | {"plans": [plan | {"document": {"schema_version": 9}}]}),
        _framed(content | {"plans": [plan | {"document": {"schema_version": 1, "x": "\x00"}}]}),
        _framed(content | {"readings": [{"id": "x"}]}),
        _framed(content | {"extra": 1}),
        _framed(content | {"readings": [content["readings"][0], content["readings"][0] | {"value": 7}]}),
        _framed(content | {"readings": [content["readings"][0] | {"corrects": "0" * 32}]}),
    ]
    for data in bad:
        with pytest.raises(InputError) as error:
            store.restore_unit(data)
        assert "\n" not in str(error.value)
    assert [u.id for u in store.units()] == ["truck"]


def test_an_id_in_a_file_cannot_leave_its_folder(store: Store) -> None:
    content = json.loads(store.export_unit("truck"))["content"]
    for bad in ("../../x", "a/b", "C:\\x", "con", "", "truck@other"):
        assert store.restore_unit(_framed(content | {"id": bad, "name": "Blue"})).startswith("blue")


def test_a_file_that_cannot_be_written_or_read(store: Store, tmp_path: Path) -> None:
    fill(store)
    with pytest.raises(StoreError, match="could not be written"):
        store.export_file("truck", tmp_path / "nowhere" / "x.json")
    (tmp_path / "folder").mkdir()
    with pytest.raises(StoreError, match="could not be written"):
        store.export_file("truck", tmp_path / "folder")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["data", "folder"]  # no half file
    for path in (tmp_path / "nowhere.json", tmp_path / "folder"):
        with pytest.raises(InputError, match="cannot be read"):
            store.restore_file(path)


# -- dated copies


class Clock:
    def __init__(self) -> None:
        self.now = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)

    def __call__(self) -> dt.datetime:
        return self.now


def test_a_copy_a_day_and_the_oldest_go(tmp_path: Path) -> None:
    clock = Clock()
    with Store(make_engine(f"sqlite:///{tmp_path / 's.sqlite3'}"), clock=clock) as store:
        store.create_unit("truck")
        for day in range(20):
            for _ in range(3):
                store.add_readings("truck", [line(day)])
            clock.now += dt.timedelta(days=1)
        copies = store.dated_copies()
        assert len(copies) == backups.KEEP
        assert [backups._number(p) for p in copies] == list(range(7, 21))
        # the clock is set back a year: copies go on, and the newest stay
        clock.now -= dt.timedelta(days=365)
        store.add_readings("truck", [line(99)])
        store.add_readings("truck", [line(99)])
        assert backups._number(store.dated_copies()[-1]) == 21
        assert len(store.dated_copies()) == backups.KEEP


def test_a_copy_is_put_back_in_little_time(tmp_path: Path) -> None:
    with Store(make_engine(f"sqlite:///{tmp_path / 's.sqlite3'}")) as store:
        store.create_unit("truck")
        fill(store, versions=50, lines=5000)
        before = json.loads(store.export_unit("truck"))["content"]
        copy = store.back_up()
        store.add_readings("truck", [line(77)])
        started = time.perf_counter()
        assert store.restore_backup(copy) == ["truck"]
        taken = time.perf_counter() - started
        print(f"50 versions and 5000 readings put back in {taken * 1000:.0f} ms")
        assert json.loads(store.export_unit("truck"))["content"] == before
        aside = list(tmp_path.glob("before-restore-*.sqlite3"))
        assert len(aside) == 1  # what was there is kept too
        assert store.restore_backup(aside[0]) == ["truck"]
        assert len(store.readings("truck")) == 5001


def test_a_copy_comes_back_by_the_restore_command_too(store: Store) -> None:
    fill(store)
    copy = store.back_up()
    assert store.restore_file(copy) == "truck"


def test_what_is_no_whole_copy_is_refused(store: Store, tmp_path: Path) -> None:
    fill(store)
    copy = store.back_up()
    (tmp_path / "half.sqlite3").write_bytes(copy.read_bytes()[: copy.stat().st_size // 2])
    (tmp_path / "other.sqlite3").write_bytes(b"SQLite format 3\x00" + b"\x00" * 4096)
    (tmp_path / "text.sqlite3").write_text("hello")
    for name in ("half", "other", "text", "missing"):
        with pytest.raises(StoreError):
            store.restore_backup(tmp_path / f"{name}.sqlite3")
    assert len(store.readings("truck")) == 5


def test_one_of_several_people_cannot_turn_back_the_whole_store(tmp_path: Path) -> None:
    with Store(make_engine(f"sqlite:///{tmp_path / 's.sqlite3'}"), "ann@example.org") as store:
        store.create_unit("truck")
        copy = store.back_up()
        with pytest.raises(NotAllowed):
            store.restore_backup(copy)
