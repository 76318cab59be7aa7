"""Damaged databases: nothing altered is shown or exported, nothing ends in a traceback, and the damage is named.

Cut short, bits flipped, rows removed or changed by hand, pages swapped. ``BREWWATER_DAMAGED`` sets how many are made
(300 by a command: ``BREWWATER_DAMAGED=300 pytest tests/faults/test_store_damaged.py -s``).
"""

from __future__ import annotations

import json
import os
import random
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from brewwater import cli
from brewwater.errors import BrewwaterError, InputError, StoreError
from brewwater.log.entry import Reading
from brewwater.store import Store, make_engine
from brewwater.store.text import canonical, sha256

COUNT = int(os.environ.get("BREWWATER_DAMAGED", "40"))
PAGE = 4096
TABLES = ("plan", "reading", "unit", "seal", "about", "origin")


def store_at(path: Path) -> Store:
    return Store(make_engine(f"sqlite:///{path}"))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of three units with plans and logs, in one file."""
    path = tmp_path_factory.mktemp("whole") / "brewwater.sqlite3"
    with store_at(path) as store:
        for name in ("blue", "red", "green"):
            store.create_unit(name)
            for version in range(6):
                words = {"schema_version": 1, "words": f"plan {version} of {name}", "more": "x" * 3000}
                store.save_plan(name, words, version, f"note {version}")
            lines = [Reading(date="2026-03-31", kind="meter_gal", value=n, unit="gal") for n in range(40)]
            store.add_readings(name, lines)
    with sqlite3.connect(path) as connection:  # all in one file, as a copy is
        connection.execute("PRAGMA journal_mode=DELETE")
    connection.close()
    shutil.rmtree(path.parent / "backups")
    return path


def shown(path: Path) -> tuple[dict[str, Any], list[str]]:
    """All that the store shows and exports of a file, by what was asked; and each error's line."""
    found: dict[str, Any] = {}
    errors: list[str] = []

    def ask(what: str, call: Any) -> None:
        try:
            found[what] = call()
        except BrewwaterError as error:
            errors.append(str(error))

    with store_at(path) as store:
        ask("units", lambda: [(u.ref, u.name, u.owner, u.created_at) for u in store.units()])
        for name in ("blue", "red", "green"):
            ask(f"{name} export", lambda n=name: json.loads(store.export_unit(n))["content"])
            ask(f"{name} plan", lambda n=name: store.plan(n))
            ask(f"{name} old", lambda n=name: store.plan(n, 2))
            ask(f"{name} history", lambda n=name: store.history(n))
            ask(f"{name} log", lambda n=name: store.readings(n))
        ask("check", lambda: [c.problem for c in store.check() if c.problem])
    return found, errors


def damage(path: Path, by: random.Random) -> str:
    """Damage a file in one way; says how."""
    way = by.choice(("cut", "flip", "flip", "flip", "remove", "change", "swap"))
    data = bytearray(path.read_bytes())
    if way == "cut":
        path.write_bytes(data[: by.randrange(len(data))])
    elif way == "flip":
        places = [(by.randrange(len(data)), by.randrange(8)) for _ in range(by.choice((1, 1, 2, 8, 40)))]
        for place, bit in places:
            data[place] ^= 1 << bit
        path.write_bytes(data)
        way = f"flip {places[:3]}"
    elif way == "swap":
        a, b = by.sample(range(1, len(data) // PAGE), 2)
        data[a * PAGE : (a + 1) * PAGE], data[b * PAGE : (b + 1) * PAGE] = (
            data[b * PAGE : (b + 1) * PAGE],
            data[a * PAGE : (a + 1) * PAGE],
        )
        path.write_bytes(data)
        way = f"swap {a} {b}"
    else:
        table = by.choice(TABLES)
        with sqlite3.connect(path) as connection:
            triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
            for (name,) in triggers:
                connection.execute(f"DROP TRIGGER {name}")
            rows = [r[0] for r in connection.execute(f"SELECT rowid FROM brewwater_{table}")]
            if way == "remove" and rows:
                connection.execute(f"DELETE FROM brewwater_{table} WHERE rowid = ?", (by.choice(rows),))
            elif rows:
                columns = [r[1] for r in connection.execute(f"PRAGMA table_info(brewwater_{table})")]
                column, value = by.choice(columns), by.choice((None, 7, "other", b"\xff\x00", 10**15))
                try:
                    connection.execute(
                        f"UPDATE brewwater_{table} SET {column} = ? WHERE rowid = ?", (value, by.choice(rows))
                    )
                except sqlite3.IntegrityError:
                    connection.execute(f"DELETE FROM brewwater_{table}")
                way = f"change {column}"
        connection.close()
        way = f"{way} {table}"
    return way


def test_nothing_altered_is_shown_and_all_damage_is_named(whole: Path, tmp_path: Path) -> None:
    truth, none = shown(whole)
    assert none == []
    assert truth.pop("check") == []
    unharmed = 0
    for seed in range(COUNT):
        path = tmp_path / f"{seed}" / "brewwater.sqlite3"
        path.parent.mkdir()
        shutil.copyfile(whole, path)
        way = damage(path, random.Random(seed))
        told, errors = shown(path)
        problems = told.pop("check", None)
        for what, answer in told.items():
            if what == "units":  # a damaged one is left out here and named by the check
                assert set(answer) <= set(truth["units"]), f"{seed}: {way} altered the list of units"
            else:
                assert answer == truth[what], f"{seed}: {way} altered {what}"
        assert all("\n" not in line for line in errors)
        if told == truth and not problems:
            unharmed += 1  # e.g. a bit of a page that holds nothing
        else:
            named = bool(problems) or any("damaged" in e or "not a whole" in e or "newer" in e for e in errors)
            assert named, f"{seed}: {way}: {errors[:3]} {problems}"
        shutil.rmtree(path.parent)
    print(
        f"\n{COUNT} damaged databases: {COUNT - unharmed} with damage to what is kept, all named; {unharmed} unharmed"
    )
    assert unharmed < COUNT / 2


def test_the_last_whole_copy_is_named(tmp_path: Path) -> None:
    path = tmp_path / "brewwater.sqlite3"
    with store_at(path) as store:
        store.create_unit("truck")
        store.save_plan("truck", {"schema_version": 1}, 0)
        good, bad = store.back_up(), store.back_up()
    for file in (path, bad):
        with sqlite3.connect(file) as connection:
            connection.execute("DROP TRIGGER brewwater_plan_no_UPDATE")
            connection.execute("UPDATE brewwater_plan SET note = 'x'")
        connection.close()
    with store_at(path) as store:
        with pytest.raises(StoreError, match=f"The last good copy: brewwater restore {good}"):
            store.export_unit("truck")
        with pytest.raises(StoreError, match="damaged"):
            store.restore_file(bad)
        assert store.restore_file(good) == "truck"
        assert store.plan("truck") is not None
        assert [c.problem for c in store.check()] == [""]


@pytest.mark.parametrize("found", ["UPDATE brewwater_about SET format = 0", "UPDATE brewwater_about SET format = -1",
                                   "DELETE FROM brewwater_about", "DROP TABLE brewwater_about"])  # fmt: skip
def test_a_format_that_never_was_is_refused(found: str, tmp_path: Path) -> None:
    path = tmp_path / "brewwater.sqlite3"
    with store_at(path) as store:
        store.create_unit("truck")
    with sqlite3.connect(path) as connection:
        connection.execute(found)
    connection.close()
    with store_at(path) as store, pytest.raises(StoreError, match="format"):
        store.units()


def test_a_store_of_the_first_format_opens_unchanged(tmp_path: Path) -> None:
    path = tmp_path / "brewwater.sqlite3"
    with store_at(path) as store:
        store.create_unit("truck")
        store.save_plan("truck", {"schema_version": 1, "words": "kept"}, 0)
        store.add_readings("truck", [Reading(date="2026-03-31", kind="meter_gal", value=1, unit="gal")])
        before = json.loads(store.export_unit("truck"))["content"]
    with sqlite3.connect(path) as connection:  # as the first format was: neither seals nor origins
        for statement in ("DROP TABLE brewwater_seal", "DROP TABLE brewwater_shelf",
            "DROP TABLE brewwater_kept", "DROP TABLE brewwater_admission",
            "DROP TABLE brewwater_gravestone", "DROP TABLE brewwater_origin", "DELETE FROM brewwater_about",
                          "INSERT INTO brewwater_about VALUES (1)"):  # fmt: skip
            connection.execute(statement)
    connection.close()
    shutil.rmtree(tmp_path / "backups")
    with store_at(path) as store:
        assert json.loads(store.export_unit("truck"))["content"] == before
        assert [c.problem for c in store.check()] == [""]
        assert len(store.dated_copies()) == 1  # as it was before
        store.save_plan("truck", {"schema_version": 1, "words": "more"}, 1)
        assert [h.version for h in store.history("truck")] == [2, 1]


def test_a_file_says_who_restored_it_and_whose_signature_it_bears(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine, other = "k" * 32, "o" * 32
    monkeypatch.setenv("BREWWATER_SIGNING_KEY", mine)
    with store_at(tmp_path / "a.sqlite3") as store:
        store.create_unit("truck")
        store.save_plan("truck", {"schema_version": 1}, 0)
        signed = store.export_unit("truck")
    forged = json.loads(signed)
    forged["content"]["plans"][0]["saved_by"] = "inspector@example.org"
    forged["sha256"] = sha256(canonical(forged["content"]))
    cases = [
        (signed, mine, "ours"),
        (signed, other, "other"),
        (signed, "", "other"),
        (json.dumps(forged), mine, "other"),
    ]
    for number, (text, key, expected) in enumerate(cases):
        monkeypatch.setenv("BREWWATER_SIGNING_KEY", key)
        with Store(make_engine(f"sqlite:///{tmp_path / f'{number}.sqlite3'}"), "anna@example.org") as store:
            ref = store.restore_unit(text)
            (origin,) = store.unit(ref).origins
            assert (origin.signature, origin.restored_by, origin.plans) == (expected, "anna@example.org", 1)
            assert "anna@example.org" in store.history(ref)[0].restored
            store.save_plan(ref, {"schema_version": 1, "more": 1}, 1)
            assert store.history(ref)[0].restored == ""
            assert json.loads(store.export_unit(ref))["content"]["origins"][0]["signature"] == expected
    monkeypatch.setenv("BREWWATER_SIGNING_KEY", "short")
    with store_at(tmp_path / "a.sqlite3") as store, pytest.raises(StoreError, match="32 or more"):
        store.export_unit("truck")
    with pytest.raises(InputError, match="changed or cut short"), store_at(tmp_path / "z.sqlite3") as store:
        store.restore_unit(signed.replace('"saved_by":"local"', '"saved_by":"Anna"'))


def test_the_check_command_tells_the_state(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    path = tmp_path / "brewwater.sqlite3"
    with store_at(path) as store:
        for name in ("blue", "red"):
            store.create_unit(name)
            store.save_plan(name, {"schema_version": 1}, 0)
    assert cli.main(["check", "--copy"]) == 0
    assert "blue  1 versions  0 log lines  whole" in capsys.readouterr().out
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE brewwater_unit SET name = 'Bleu' WHERE slug = 'blue'")
    connection.close()
    assert cli.main(["check"]) == 2
    shown = capsys.readouterr()
    assert "blue  1 versions  0 log lines  DAMAGED: its name or owner was changed by damage" in shown.out
    assert "red  1 versions  0 log lines  whole" in shown.out
    assert "The last good copy: brewwater restore" in shown.err
    assert len(shown.err.splitlines()) == 1
