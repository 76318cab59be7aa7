"""A unit is erased on request: with all that is kept of it, and nothing else, on either database."""

from __future__ import annotations

import io
import json
import sqlite3
from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from brewwater import cli
from brewwater.log.entry import Reading
from brewwater.log.photo import clean_photo
from brewwater.store import NotAllowed, Store, UnknownUnit, make_engine

SECRET = "Marlowe-and-daughters"
OTHERS = "Quillwater"


def filled(store: Store, name: str) -> str:
    """A unit with two versions, three lines and the rows that a round keeps, each of which holds its name."""
    ref = store.create_unit(name).ref
    for version in range(2):
        store.save_plan(ref, {"schema_version": 1, "name": name, "note": f"{name} {version}"}, version, f"of {name}")
    store.add_readings(ref, [Reading(date="2026-03-31", kind="taste_note", note=name) for _ in range(3)])
    store.add_photo(ref, store.readings(ref)[0].id, "0" * 32, clean_photo(picture()))
    store.keep_round(ref, "stamp", {"name": name})
    store.keep_round_order([*store.round_order(), ref])
    return ref


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "teal").save(out, "PNG")
    return out.getvalue()


def rows_with(store: Store, word: str) -> list[str]:
    """The tables of which any row holds a word, every column of every table looked at."""
    found = []
    with store.engine.connect() as connection:
        kind = "sqlite_master WHERE type = 'table'"
        if store.engine.dialect.name == "postgresql":
            kind = "pg_tables WHERE schemaname = 'public'"
        column = "name" if "sqlite" in kind else "tablename"
        for (table,) in connection.execute(text(f"SELECT {column} FROM {kind}")).all():
            if word.lower() in repr(connection.execute(text(f"SELECT * FROM {table}")).all()).lower():
                found.append(table)
    return found


def test_erased_is_gone_and_the_others_are_whole(store_url: str) -> None:
    with Store(make_engine(store_url)) as store:
        gone, kept = filled(store, SECRET), filled(store, OTHERS)
        content = json.loads(store.export_unit(kept))["content"]
        store.share(gone, "friend@example.org", True)
        assert len(rows_with(store, SECRET)) >= 4
        done = store.erase_unit(gone)
        assert (done.name, done.plans, done.lines) == (SECRET, 2, 3)
        assert rows_with(store, SECRET) == []
        assert rows_with(store, "friend@example.org") == []
        assert [u.name for u in store.units()] == [OTHERS]
        assert store.round_order() == [kept]
        assert len(store.photos(kept)) == 1
        with pytest.raises(UnknownUnit):
            store.unit(gone)
        assert json.loads(store.export_unit(kept))["content"] == content
        found = store.check()
        assert [c.problem for c in found] == ["", ""]
        assert sorted((bool(c.erased), c.plans, c.lines) for c in found) == [(False, 2, 3), (True, 0, 0)]
        # life goes on: the number of the erased unit is never given again
        again = filled(store, SECRET)
        assert again == gone
        with store.engine.connect() as connection:
            keys = connection.execute(text("SELECT key FROM brewwater_unit ORDER BY key")).scalars().all()
            stones = connection.execute(text("SELECT unit_key FROM brewwater_gravestone")).scalars().all()
        assert len(keys) == len(set(keys)) == 3
        assert stones == keys[:1]
        assert [c.problem for c in store.check()] == ["", "", ""]


def test_only_rows_of_an_erased_unit_can_be_dropped(store_url: str) -> None:
    with Store(make_engine(store_url)) as store:
        gone = filled(store, SECRET)
        filled(store, OTHERS)
        store.erase_unit(gone)
        for table in ("plan", "reading", "photo", "gravestone"):
            for statement in (f"DELETE FROM brewwater_{table}", f"UPDATE brewwater_{table} SET unit_key = unit_key"):
                with pytest.raises(DBAPIError, match="only ever added"), store.engine.begin() as connection:
                    connection.execute(text(statement))


def test_a_row_that_comes_back_is_found(store_url: str) -> None:
    with Store(make_engine(store_url)) as store:
        store.erase_unit(filled(store, SECRET))
        row = "(unit_key, id, body, sha256) SELECT key, 'x', '{}', 'y' FROM brewwater_unit"
        with store.engine.begin() as connection:
            connection.execute(text(f"INSERT INTO brewwater_reading {row}"))
        assert "too many" in store.check()[0].problem


def test_only_the_owner_erases(store_url: str) -> None:
    engine = make_engine(store_url)
    owner, friend = Store(engine, "owner@example.org"), Store(engine, "friend@example.org")
    ref = filled(owner, SECRET)
    with pytest.raises(UnknownUnit):
        friend.erase_unit(f"{ref}@owner@example.org")
    owner.share(ref, "friend@example.org", True)
    with pytest.raises(NotAllowed, match="only its owner"):
        friend.erase_unit(f"{ref}@owner@example.org")
    assert len(owner.readings(ref)) == 3
    filled(friend, SECRET)  # another person's unit of the same name
    owner.erase_unit(ref)
    assert friend.readings(ref)
    assert [u.owner for u in friend.units()] == ["friend@example.org"]
    engine.dispose()


def test_no_trace_is_left_in_the_file_and_the_copies_are_named(tmp_path: Path) -> None:
    path = tmp_path / "brewwater.sqlite3"
    with Store(make_engine(f"sqlite:///{path}")) as store:
        filled(store, OTHERS)
        before = store.back_up()
        gone = filled(store, SECRET)
        with_it = store.back_up()
        done = store.erase_unit(gone)
        assert done.traces == ""
        assert with_it in done.copies
        assert before not in done.copies
        assert any(str(with_it) in line for line in done.remains)
        files = [p for p in tmp_path.iterdir() if p.is_file()]
        assert files
        for file in files:
            assert SECRET.encode() not in file.read_bytes(), file
            assert SECRET.lower().encode() not in file.read_bytes(), file
        assert SECRET.encode() in with_it.read_bytes()  # the search itself finds what is there
        assert store.restore_file(with_it) == "quillwater, marlowe-and-daughters"  # a copy brings it back, as is told
        assert len(store.readings(gone)) == 3
        assert all(c.problem == "" for c in store.check())


def test_a_store_of_the_fourth_format_learns_to_erase(tmp_path: Path) -> None:
    path = tmp_path / "brewwater.sqlite3"
    with Store(make_engine(f"sqlite:///{path}")) as store:
        gone = filled(store, SECRET)
    with sqlite3.connect(path) as connection:  # as the fourth format was
        connection.execute("DROP TABLE brewwater_gravestone")
        for table in ("plan", "reading", "photo"):
            connection.execute(f"DROP TRIGGER brewwater_{table}_no_DELETE")
            connection.execute(
                f"CREATE TRIGGER brewwater_{table}_no_DELETE BEFORE DELETE ON brewwater_{table} "
                f"BEGIN SELECT RAISE(ABORT, 'rows of brewwater_{table} are only ever added'); END"
            )
        connection.execute("DELETE FROM brewwater_about")
        connection.execute("INSERT INTO brewwater_about VALUES (4)")
    connection.close()
    with Store(make_engine(f"sqlite:///{path}")) as store:
        assert len(store.history(gone)) == 2
        assert [c.problem for c in store.check()] == [""]
        copy = store.dated_copies()[-1]  # as it was before its format changed: it can still be put back
        store.erase_unit(gone)
        assert store.restore_file(copy) == gone
        assert len(store.history(gone)) == 2


def test_erase_at_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    with Store.open_default() as store:
        filled(store, SECRET)
        filled(store, OTHERS)
    assert cli.main(["erase", SECRET]) == 2
    said = capsys.readouterr().err
    assert "2 versions, 3 log lines" in said
    assert "--yes" in said
    assert cli.main(["erase", SECRET, "--yes"]) == 0
    said = capsys.readouterr().out
    assert f"Erased {SECRET}: 2 versions, 3 log lines." in said
    assert "still holds it" in said  # the first save of the day made a dated copy
    assert cli.main(["check"]) == 0
    said = capsys.readouterr().out
    assert "erased on " in said
    assert "1 units, all whole" in said
    assert cli.main(["erase", SECRET, "--yes"]) == 2
