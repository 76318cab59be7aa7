"""Units, plans and the log on a SQLite file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from brewwater.errors import InputError
from brewwater.log.entry import Reading, make_reading
from brewwater.store import StaleSave, Store, UnknownUnit, make_engine, read_document
from brewwater.store.records import is_slug, slug_of


def document(**fields: Any) -> dict[str, Any]:
    return {"schema_version": 1, **fields}


def line(value: float = 1, **more: Any) -> Reading:
    return make_reading({"date": "2026-03-31", "kind": "meter_gal", "value": value, "unit": "gal", **more})


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(make_engine(f"sqlite:///{tmp_path / 'brewwater.sqlite3'}")) as found:
        yield found


def test_versions_are_added_and_an_older_one_comes_back(store: Store) -> None:
    store.create_unit("Truck 1")
    assert store.plan("truck-1") is None
    first = store.save_plan("truck-1", document(words="one"), 0, "first")
    store.save_plan("truck-1", document(words="two"), first.version)
    third = store.restore_version("truck-1", 1, 2)
    assert (third.version, third.document) == (3, document(words="one"))
    assert [(v.version, v.note) for v in store.history("truck-1")] == [
        (3, "restored from version 1"),
        (2, ""),
        (1, "first"),
    ]
    second = store.plan("truck-1", 2)
    assert second is not None
    assert second.document == document(words="two")
    for nowhere in (9, 0, -1, 10**30):
        assert store.plan("truck-1", nowhere) is None
        with pytest.raises(InputError, match="version"):
            store.restore_version("truck-1", nowhere, 3)


def test_a_stale_save_shows_both_versions(store: Store) -> None:
    store.create_unit("truck")
    store.save_plan("truck", document(words="one"), 0)
    store.save_plan("truck", document(words="theirs"), 1)
    with pytest.raises(StaleSave) as error:
        store.save_plan("truck", document(words="mine"), 1)
    assert error.value.mine == document(words="mine")
    assert error.value.theirs is not None
    assert (error.value.theirs.version, error.value.theirs.document) == (2, document(words="theirs"))
    assert len(store.history("truck")) == 2
    with pytest.raises(StaleSave):
        store.save_plan("truck", document(words="mine"), 7)  # a version that never was


def test_saving_twice_after_a_lost_answer_is_one_save(store: Store) -> None:
    store.create_unit("truck")
    assert store.save_plan("truck", document(words="one"), 0).version == 1
    assert store.save_plan("truck", document(words="one"), 0).version == 1
    assert len(store.history("truck")) == 1


def test_order_does_not_follow_the_clock(tmp_path: Path) -> None:
    times = iter(dt.datetime(2026, 11, 25, tzinfo=dt.UTC) - dt.timedelta(days=400 * n) for n in range(1000))
    with Store(make_engine(f"sqlite:///{tmp_path / 's.sqlite3'}"), clock=lambda: next(times)) as store:
        store.create_unit("truck")
        for version in range(4):
            store.save_plan("truck", document(n=version), version)
            store.add_readings("truck", [line(version)])
        assert [v.version for v in store.history("truck")] == [4, 3, 2, 1]
        stamps = [v.saved_at for v in store.history("truck")]
        assert stamps == sorted(stamps)  # the clock really went backwards
        latest = store.plan("truck")
        assert latest is not None
        assert latest.document == document(n=3)
        assert [r.value for r in store.readings("truck")] == [0, 1, 2, 3]


def test_validation_comes_before_saving(tmp_path: Path) -> None:
    def validate(found: dict[str, Any]) -> dict[str, Any]:
        if "words" not in found:
            raise InputError("words", None, "they are needed", "Add them.")
        return found | {"checked": True}

    with Store(make_engine(f"sqlite:///{tmp_path / 's.sqlite3'}"), validate=validate) as store:
        store.create_unit("truck")
        with pytest.raises(InputError, match="words"):
            store.save_plan("truck", document(), 0)
        assert store.save_plan("truck", document(words="x"), 0).document == document(words="x", checked=True)


@pytest.mark.parametrize(
    "bad",
    [
        {"schema_version": None},
        {"schema_version": "1"},
        {"schema_version": True},
        {"schema_version": 0},
        {"schema_version": 99},
        document(x=float("nan")),
        document(x=float("inf")),
        document(x=2**70),
        document(x="\x00"),
        document(x="\ud800"),
        document(x=object()),
        document(x="x" * 1_000_001),
        {"schema_version": 1, 3: 4},
        document(x=b"bytes"),
        document(**{"a\nb": 1}),
    ],
    ids=lambda found: str(found)[:40],
)
def test_documents_that_cannot_be_kept(store: Store, bad: dict[Any, Any]) -> None:
    store.create_unit("truck")
    with pytest.raises(InputError) as error:
        store.save_plan("truck", bad, 0)
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 400
    assert store.plan("truck") is None


def test_a_document_nested_without_end(store: Store) -> None:
    deep: dict[str, Any] = document()
    inner = deep
    for _ in range(100_000):
        inner["x"] = {}
        inner = inner["x"]
    store.create_unit("truck")
    with pytest.raises(InputError, match="levels"):
        store.save_plan("truck", deep, 0)
    while deep:  # taken apart by hand: the interpreter itself would recurse
        deep = deep.pop("x", {})


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "1",
        "{",
        '{"schema_version": 1, "schema_version": 2}',
        '{"schema_version": NaN}',
        "[" * 100_000,
        '{"schema_version": 1' + "0" * 5000 + "}",
        b"\xff\xfe",
        '{"schema_version": 1e400}',
        " " * 1_000_001,
    ],
    ids=lambda t: str(t)[:20],
)
def test_document_files_that_cannot_be_read(text: str | bytes) -> None:
    with pytest.raises(InputError) as error:
        read_document(text)
    assert "\n" not in str(error.value)


def test_log_lines_are_added_once_and_corrections_name_what_they_correct(store: Store) -> None:
    store.create_unit("truck")
    first = line(100)
    assert store.add_readings("truck", [first, line(5)]) == 2
    assert store.add_readings("truck", [first]) == 0
    assert store.add_readings("truck", [line(101, corrects=first.id)]) == 1
    with pytest.raises(InputError, match="earlier line"):
        store.add_readings("truck", [line(1), line(2, corrects="0" * 32)])
    with pytest.raises(InputError, match="never changed"):
        store.add_readings("truck", [line(3), line(999, id=first.id)])
    assert [r.value for r in store.readings("truck")] == [100, 5, 101]  # all or none
    assert store.readings("truck")[0].recorded_by == "local"


def test_the_stamp_changes_when_and_only_when_something_is_added(store: Store) -> None:
    store.create_unit("truck")
    before = store.log_stamp("truck")
    assert store.log_stamp("truck") == before
    store.add_readings("truck", [line()])
    after = store.log_stamp("truck")
    assert after != before
    store.save_plan("truck", document(), 0)
    assert store.log_stamp("truck") != after


def test_a_log_line_as_typed_makes_its_unit(store: Store) -> None:
    found = store.add_reading_text("My Truck", date="2026-03-31", kind="meter", value="384", unit="gal")
    assert [u.id for u in store.units()] == ["my-truck"]
    assert [r["id"] for r in store.readings_as_rows("My Truck")] == [found]
    assert store.readings_as_rows("my-truck") == store.readings_as_rows("My Truck")
    with pytest.raises(InputError):
        store.add_reading_text("Other", date="2026-03-31", kind="meter", value="x", unit="gal")
    assert len(store.units()) == 1


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("Truck 2", "truck-2"),
        ("São Paulo", "sao-paulo"),
        ("con", None),
        ("水", None),
        ("'; DROP TABLE x;--", "drop-table-x"),
        ("x" * 120, "x" * 48),
        ("-a-", "a"),
    ],
)
def test_ids_are_safe_as_file_names(name: str, slug: str | None) -> None:
    found = slug_of(name)
    assert is_slug(found)
    assert slug is None or found == slug


BAD_NAMES = ["", "  ", "x" * 121, "../x", "a/../b", "..", "a\\..\\b", "a\x00b", "a\u202eb", "\ud800"]


@pytest.mark.parametrize("name", BAD_NAMES, ids=ascii)
def test_names_that_are_no_names(store: Store, name: str) -> None:
    with pytest.raises(InputError):
        store.create_unit(name)
    with pytest.raises(InputError):
        store.add_reading_text(name, date="2026-03-31", kind="meter", value="1", unit="gal")
    with pytest.raises(UnknownUnit):
        store.readings(name)


def test_a_unit_is_renamed_and_keeps_its_id(store: Store) -> None:
    store.create_unit("Truck")
    assert store.rename_unit("truck", "Blue trailer").id == "truck"
    assert store.unit("Blue trailer").id == "truck"
    assert store.create_unit("Truck").id == "truck-2"


def test_the_data_folder_is_private(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path / "a" / "b"))
    monkeypatch.delenv("BREWWATER_DATABASE_URL", raising=False)
    with Store.open_default() as store:
        store.create_unit("truck")
    path = tmp_path / "a" / "b" / "brewwater.sqlite3"
    assert path.stat().st_mode & 0o077 == 0
    assert path.parent.stat().st_mode & 0o077 == 0
