"""Dated copies of the SQLite file, and putting one back. A copy that is replaced is kept beside it."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import re
import shutil
import sqlite3
import time
import uuid
from pathlib import Path

from sqlalchemy import create_engine
from sqlalchemy.exc import SQLAlchemyError

from brewwater.errors import StoreError
from brewwater.store import seal, tables

KEEP = 14
PATIENCE_S = 10.0
EVERY = dt.timedelta(days=1)
_NAME = re.compile(r"^brewwater-(\d{8}T\d{6})Z-(\d{6})\.sqlite3$")
HEADER = b"SQLite format 3\x00"


def folder_of(database: Path) -> Path:
    """Where the copies of a database file are."""
    return database.parent / "backups"


def listed(database: Path) -> list[Path]:
    """The copies, oldest first. Their running number decides, not the clock."""
    folder = folder_of(database)
    with contextlib.suppress(OSError):
        return sorted((p for p in folder.iterdir() if _NAME.match(p.name)), key=_number)
    return []


def _number(path: Path) -> int:
    match = _NAME.match(path.name)
    return int(match.group(2)) if match else 0


def is_due(database: Path, now: dt.datetime) -> bool:
    """Whether the newest copy is a day old, or from a later time than now (the clock was set back)."""
    copies = listed(database)
    if not copies:
        return True
    match = _NAME.match(copies[-1].name)
    assert match
    made = dt.datetime.strptime(match.group(1), "%Y%m%dT%H%M%S").replace(tzinfo=dt.UTC)
    return now - made >= EVERY or made - now > dt.timedelta(minutes=1)


def _verdict(connection: sqlite3.Connection) -> str:
    return " ".join(str(connection.execute("PRAGMA quick_check(1)").fetchone()[0]).split())


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):  # not every system can sync a folder
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _backup(source: sqlite3.Connection, target: sqlite3.Connection) -> None:
    """Copy every page in one transaction; gives up where another program is in the way for too long."""
    deadline = time.monotonic() + PATIENCE_S

    def progress(status: int, _left: int, _total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > deadline:
            raise sqlite3.OperationalError("it is locked by another program")

    source.backup(target, progress=progress)


def _copy(source: Path, target: Path) -> None:
    """A whole, checked copy of a live database in one file."""
    with (
        contextlib.closing(sqlite3.connect(source, timeout=PATIENCE_S / 10)) as live,
        contextlib.closing(sqlite3.connect(target)) as copy,
    ):
        _backup(live, copy)
        copy.execute("PRAGMA journal_mode=DELETE")
        found = _verdict(copy)
    if found != "ok":
        raise StoreError(f"store: {source} is damaged ({found}); no copy was made.")
    handle = os.open(target, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make(database: Path, now: dt.datetime, keep: int = KEEP) -> Path:
    """Write a dated copy and drop the oldest beyond ``keep``.

    Raises
    ------
    StoreError : the copy could not be written; nothing that was there is harmed
    """
    folder = folder_of(database)
    copies = listed(database)
    number = _number(copies[-1]) + 1 if copies else 1
    final = folder / f"brewwater-{now:%Y%m%dT%H%M%S}Z-{number:06d}.sqlite3"
    part = folder / f"unfinished-{uuid.uuid4().hex}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        _copy(database, part)
        os.replace(part, final)
        _sync_folder(folder)
        for old in listed(database)[: -max(1, keep)]:
            old.unlink(missing_ok=True)
        for left in folder.glob("unfinished-*"):  # by a program that was killed
            if abs(now.timestamp() - left.stat().st_mtime) > 3600:
                left.unlink(missing_ok=True)
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"store: no dated copy could be written to {folder} ({error}). Free space there.") from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return final


def check(source: Path) -> list[str]:
    """The units in a copy, as ``id`` of each, after checking that it is whole.

    Raises
    ------
    StoreError : it cannot be read, is damaged, or is not a copy of this store
    """
    try:
        address = f"{source.resolve().as_uri()}?mode=ro"
        with contextlib.closing(sqlite3.connect(address, uri=True)) as copy:
            found = _verdict(copy)
            if found != "ok":
                raise StoreError(f"store: {source} is damaged ({found}). Choose another copy.")
            there = "SELECT slug FROM brewwater_unit WHERE owner <> '' ORDER BY key"  # no owner: an erased one
            units = [str(row[0]) for row in copy.execute(there)]
        problem = _rows_problem(source)
    except (OSError, sqlite3.Error, SQLAlchemyError) as error:
        raise StoreError(f"store: {source} is not a whole copy of the store ({error}). Choose another copy.") from None
    if problem:
        raise StoreError(f"store: {source} is damaged ({problem}). Choose another copy.")
    return units


def last_good(database: Path) -> Path | None:
    """The newest dated copy in which every row adds up, or None."""
    for copy in reversed(listed(database)):
        with contextlib.suppress(StoreError):
            check(copy)
            return copy
    return None


def holding(database: Path, owner: str, slug: str) -> list[Path]:
    """The files beside a database that hold a unit of that owner and id: dated copies, and what a restore put aside.
    One that cannot be read is among them: nobody knows what it holds."""
    aside = sorted(p for p in database.parent.glob("before-restore-*.sqlite3") if p.is_file())
    return [copy for copy in (*listed(database), *aside) if _holds(copy, owner, slug)]


def _holds(copy: Path, owner: str, slug: str) -> bool:
    query = "SELECT 1 FROM brewwater_unit WHERE owner = ? AND slug = ?"
    try:
        address = f"{copy.resolve().as_uri()}?mode=ro"
        with contextlib.closing(sqlite3.connect(address, uri=True)) as found:
            return found.execute(query, (owner, slug)).fetchone() is not None
    except (OSError, sqlite3.Error):
        return True


def _rows_problem(source: Path) -> str:
    """What is damaged in the rows of a copy that can be read, or an empty text."""
    engine = create_engine(
        "sqlite://", creator=lambda: sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)
    )
    try:
        with engine.connect() as connection:
            if tables.format_of(connection) in (None, 1):
                return ""  # of a format without seals: each row's own digest is looked at when it is read
            return next((f"{f.unit}: {f.problem}" for f in seal.check(connection) if f.problem), "")
    finally:
        engine.dispose()


def _replace_damaged(database: Path, source: Path, aside: Path) -> None:
    """Put a copy in the place of a file too damaged to be written to.

    Killed at any step, it can be done again: until the last one the damaged file stays where it is, so that no
    empty store is begun in its place.
    """
    part = database.with_name(f"unfinished-{uuid.uuid4().hex}")
    try:
        _copy(source, part)
        for ending in ("", "-wal", "-shm"):
            old = database.with_name(database.name + ending)
            if old.exists():
                shutil.copyfile(old, aside.with_name(aside.name + ending))
        for ending in ("-wal", "-shm"):  # they belong to the damaged file only
            database.with_name(database.name + ending).unlink(missing_ok=True)
        os.replace(part, database)
    finally:
        part.unlink(missing_ok=True)


def put_back(database: Path, source: Path, now: dt.datetime) -> list[str]:
    """Replace the database by a copy; what was there before is kept beside it. Returns the unit ids.

    Programs that have the database open see the restored data: the change is one transaction. Only where the
    present file is too damaged for that is it replaced.

    Raises
    ------
    StoreError : the copy is not whole, or the folder cannot be written
    """
    units = check(source)
    aside = database.with_name(f"before-restore-{now:%Y%m%dT%H%M%S}Z-{uuid.uuid4().hex[:6]}.sqlite3")
    try:
        database.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        address = f"{source.resolve().as_uri()}?mode=ro"
        try:
            if database.exists():
                _copy(database, aside)
            with (
                contextlib.closing(sqlite3.connect(address, uri=True)) as copy,
                contextlib.closing(sqlite3.connect(database, timeout=PATIENCE_S / 10)) as live,
            ):
                live.execute("PRAGMA synchronous=FULL")
                _backup(copy, live)
                live.execute("PRAGMA journal_mode=WAL")
        except (sqlite3.DatabaseError, StoreError) as error:
            name = getattr(error, "sqlite_errorname", "")
            if not isinstance(error, StoreError) and not name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
                raise  # busy or full, not damaged
            _replace_damaged(database, source, aside)
        _sync_folder(database.parent)
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"store: the copy could not be put back ({error}). Check the disk, and try again.") from None
    return units
