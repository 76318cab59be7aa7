"""The disk and the file go wrong: one clear line, what was acknowledged is there, work goes on."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from brewwater.errors import StoreError
from brewwater.log.entry import Reading
from brewwater.store import Store, backups, make_engine

DOCUMENT = {"schema_version": 1, "words": "a plan"}


def open_store(folder: Path, **more: float) -> Store:
    return Store(make_engine(f"sqlite:///{folder / 'brewwater.sqlite3'}"), **more)


def line(value: float = 1) -> Reading:
    return Reading(date="2026-03-31", kind="meter_gal", value=value, unit="gal")


def one_line(error: pytest.ExceptionInfo[StoreError]) -> str:
    text = str(error.value)
    assert "\n" not in text
    assert "Traceback" not in text
    assert len(text) < 400
    return text


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 3 MB, read-only on demand."""
    if os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("mounting a small file system needs root")
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=3m,mode=0755", "tmpfs", str(place)]
    done = subprocess.run(mount, capture_output=True)
    if done.returncode:
        pytest.skip("mounting is not permitted here")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk(small_disk: Path) -> None:
    store = open_store(small_disk)
    store.create_unit("truck")
    version, message = 0, ""
    for _ in range(200):
        try:
            document = {"schema_version": 1, "padding": os.urandom(30_000).hex()}
            version = store.save_plan("truck", document, version).version
            store.add_readings("truck", [line(version)])
        except StoreError as error:
            message = str(error)
            break
    assert "is full; nothing was saved. Free some space" in message
    assert version > 3
    # nothing acknowledged is lost, on a disk that is still full
    now = store.plan("truck")
    assert now is not None
    assert now.version == version
    assert [v.version for v in store.history("truck")] == list(range(version, 0, -1))
    assert len(store.readings("truck")) in (version - 1, version)
    # another program opens it in the same state, reads, and is told the same
    second = open_store(small_disk)
    assert len(second.history("truck")) == version
    with pytest.raises(StoreError, match="is full"):
        second.save_plan("truck", {"schema_version": 1, "padding": os.urandom(400_000).hex()}, version)
    second.engine.dispose()
    # space again: the same page saves the same work
    subprocess.run(["mount", "-o", "remount,size=12m", str(small_disk)], check=True)
    assert store.save_plan("truck", DOCUMENT, version).version == version + 1
    store.engine.dispose()


def test_a_copy_that_does_not_fit_fails_no_save(small_disk: Path) -> None:
    subprocess.run(["mount", "-o", "remount,size=600k", str(small_disk)], check=True)
    store = open_store(small_disk)
    (small_disk / "backups").mkdir()
    store.create_unit("truck")
    for copy in store.dated_copies():
        copy.unlink()
    (small_disk / "filler").write_bytes(b"x" * (shutil.disk_usage(small_disk).free - 60_000))
    assert store.save_plan("truck", DOCUMENT, 0).version == 1
    assert store.backup_problem is not None
    assert "no dated copy could be written" in store.backup_problem
    assert store.dated_copies() == []
    (small_disk / "filler").unlink()
    assert store.save_plan("truck", DOCUMENT, 1).version == 2
    assert store.backup_problem is None
    assert len(store.dated_copies()) == 1
    store.engine.dispose()


def test_a_read_only_disk(small_disk: Path) -> None:
    store = open_store(small_disk)
    store.create_unit("truck")
    store.save_plan("truck", DOCUMENT, 0)
    store.engine.dispose()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(StoreError) as error:
        open_store(small_disk).save_plan("truck", DOCUMENT, 1)
    assert "BREWWATER_DATA" in one_line(error)
    with pytest.raises(StoreError) as error:
        open_store(small_disk / "new").units()
    assert "BREWWATER_DATA" in one_line(error)
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    with open_store(small_disk) as again:
        assert len(again.history("truck")) == 1


READ_ONLY = """
import os, sys
from brewwater.errors import StoreError
from brewwater.store import Store, backups, make_engine
store = Store(make_engine(sys.argv[1]))
if os.geteuid() == 0:
    os.setgroups([]); os.setgid(65534); os.setuid(65534)
try:
    store.create_unit("truck")
except StoreError as error:
    print(error)
"""


def test_a_folder_without_write_permission() -> None:
    # outside pytest's own folder, which other users cannot enter
    import tempfile

    folder = Path(tempfile.mkdtemp(prefix="brewwater-ro-"))
    try:
        folder.chmod(stat.S_IRUSR | stat.S_IXUSR | stat.S_IROTH | stat.S_IXOTH)
        done = subprocess.run(
            [sys.executable, "-c", READ_ONLY, f"sqlite:///{folder / 'brewwater.sqlite3'}"],
            capture_output=True,
            text=True,
            timeout=60,
            cwd="/",
        )
        assert done.returncode == 0, done.stderr
        assert "cannot be opened for writing (Permission denied)" in done.stdout
        assert done.stdout.count("\n") == 1
    finally:
        shutil.rmtree(folder)


def test_another_program_holds_the_file(tmp_path: Path) -> None:
    store = open_store(tmp_path, patience_s=0.3)
    store.create_unit("truck")
    with contextlib.closing(sqlite3.connect(tmp_path / "brewwater.sqlite3", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError) as error:
            store.save_plan("truck", DOCUMENT, 0)
        assert "locked by another program; nothing was saved" in one_line(error)
        assert store.plan("truck") is None  # reading goes on
        other.execute("ROLLBACK")
    assert store.save_plan("truck", DOCUMENT, 0).version == 1
    store.engine.dispose()


def filled(folder: Path) -> Store:
    store = open_store(folder)
    store.create_unit("truck")
    for version in range(40):
        store.save_plan("truck", {"schema_version": 1, "n": version, "padding": "x" * 3000}, version)
        store.add_readings("truck", [line(version)])
    store.engine.dispose()
    return store


@pytest.mark.parametrize("how", ["header", "middle", "cut", "text"])
def test_a_damaged_file_is_noticed_and_a_copy_put_back(tmp_path: Path, how: str) -> None:
    store = filled(tmp_path)
    copy = store.back_up()
    store.engine.dispose()
    path = tmp_path / "brewwater.sqlite3"
    for ending in ("-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
    data = bytearray(path.read_bytes())
    if how == "header":
        data[:100] = os.urandom(100)
    elif how == "middle":
        data[4096 * 3 : 4096 * 12] = os.urandom(4096 * 9)
    elif how == "cut":
        del data[len(data) // 2 :]
    else:  # a plausible change inside a document, that only its checksum shows
        at = data.index(b"xxxxxxxx")
        data[at : at + 8] = b"yyyyyyyy"
    path.write_bytes(data)
    with pytest.raises(StoreError) as error:  # noqa: PT012 - which of the calls meets the damage depends on it
        damaged = open_store(tmp_path)
        for version in range(1, 41):
            damaged.plan("truck", version)
    assert "damaged" in one_line(error)
    assert "estore" in one_line(error)

    again = open_store(tmp_path)
    assert again.restore_backup(copy) == ["truck"]
    assert len(again.history("truck")) == 40
    assert [r.value for r in again.readings("truck")] == list(range(40))
    again.save_plan("truck", DOCUMENT, 40)
    again.engine.dispose()
    assert list(tmp_path.glob("before-restore-*"))  # the damaged file is kept


def no_space(*_: object) -> None:
    raise OSError(28, "No space left on device")


def test_a_copy_is_not_put_back_under_a_writer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(backups, "PATIENCE_S", 0.3)
    store = filled(tmp_path)
    copy = store.back_up()
    path = tmp_path / "brewwater.sqlite3"
    before = path.stat().st_ino
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="locked"):
            open_store(tmp_path).restore_backup(copy)
        other.execute("ROLLBACK")
    assert path.stat().st_ino == before
    assert open_store(tmp_path).restore_backup(copy) == ["truck"]
    store.engine.dispose()


def test_putting_a_copy_back_can_be_done_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = filled(tmp_path)
    copy = store.back_up()
    store.engine.dispose()
    path = tmp_path / "brewwater.sqlite3"
    path.write_bytes(os.urandom(100) + path.read_bytes()[100:])
    with monkeypatch.context() as patched:
        patched.setattr("os.replace", no_space)
        with pytest.raises(StoreError) as error:
            open_store(tmp_path).restore_backup(copy)
        assert "could not be put back" in one_line(error)
    with pytest.raises(StoreError, match="damaged"):  # not an empty store in its place
        open_store(tmp_path).units()
    assert not list(tmp_path.glob("unfinished-*"))
    assert open_store(tmp_path).restore_backup(copy) == ["truck"]
    with open_store(tmp_path) as again:
        assert len(again.history("truck")) == 40


def test_the_file_is_removed_while_in_use(tmp_path: Path) -> None:
    store = open_store(tmp_path, patience_s=0.3)
    store.create_unit("truck")
    for path in tmp_path.glob("brewwater.sqlite3*"):
        path.unlink()
    for _ in range(2):
        with pytest.raises(StoreError) as error:
            store.save_plan("truck", DOCUMENT, 0)
        assert "was moved or removed while in use; nothing was saved" in one_line(error)
    assert not list(tmp_path.glob("brewwater.sqlite3"))  # no empty file in its place


def test_another_page_goes_on_when_a_copy_is_put_back(tmp_path: Path) -> None:
    page = filled(tmp_path)
    copy = page.back_up()
    page.save_plan("truck", DOCUMENT, 40)
    path = tmp_path / "brewwater.sqlite3"
    data = bytearray(path.read_bytes())
    data[4096:8192] = os.urandom(4096)
    path.write_bytes(data)
    assert open_store(tmp_path).restore_backup(copy) == ["truck"]
    assert len(page.history("truck")) == 40
    assert page.save_plan("truck", DOCUMENT, 40).version == 41
    page.engine.dispose()


def test_a_newer_store_is_left_alone(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    store.create_unit("truck")
    store.engine.dispose()
    with contextlib.closing(sqlite3.connect(tmp_path / "brewwater.sqlite3")) as other, other:
        other.execute("INSERT INTO brewwater_about VALUES (99)")
    with pytest.raises(StoreError, match="newer brewwater"):
        open_store(tmp_path).units()
