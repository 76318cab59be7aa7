"""Errors of the store: whatever the database says becomes one clear line for the user."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from brewwater.errors import StoreError

if TYPE_CHECKING:
    from brewwater.store.records import PlanVersion


class UnknownUnit(StoreError):
    """No such unit among those that the person may open; the same line whether or not others have one."""

    def __init__(self, ref: str) -> None:
        shown = ref if len(ref) <= 80 else ref[:77] + "..."
        super().__init__(f"unit: {shown!r} is not among the units you may open. Check the name, or create it.")


class NotAllowed(StoreError):
    """The person may open the unit but not do this with it."""


class SignedOut(StoreError):
    """The person is not signed in, or not any more; ``reason`` is the word under which the journal counts
    it, empty where nobody was."""

    def __init__(self, reason: str, line: str) -> None:
        self.reason = reason
        super().__init__(line)


class StaleSave(StoreError):
    """Someone saved in between. Nothing was overwritten; both versions are here.

    Attributes
    ----------
    expected : the version that the refused document was made from
    mine : the refused document
    theirs : the version that stands now, or None where the unit has no plan yet
    """

    def __init__(self, expected: int, mine: dict[str, Any], theirs: PlanVersion | None) -> None:
        self.expected, self.mine, self.theirs = expected, mine, theirs
        now = theirs.version if theirs else 0
        by = f" by {theirs.saved_by}" if theirs and theirs.saved_by else ""
        super().__init__(
            f"plan: version {now} was saved{by} while you worked from version {expected}; "
            "nothing was overwritten. Compare the two, then save yours as a new version or keep theirs."
        )


def place_of(engine: Engine) -> str:
    """Where the store is, fit to be shown: no password."""
    return engine.url.database or "memory" if engine.dialect.name == "sqlite" else engine.url.render_as_string()


def damaged_file(engine: Engine) -> StoreError:
    """The error for a SQLite file that is no whole database any more."""
    return StoreError("store: " + _sqlite_line("SQLITE_CORRUPT", "", place_of(engine)))


def _sqlite_line(name: str, text: str, place: str) -> str:
    folder = Path(place).parent
    try:
        full = shutil.disk_usage(folder).free < 256 * 1024
    except OSError:
        full = False
    if name.startswith("SQLITE_FULL") or (full and name.startswith(("SQLITE_IOERR", "SQLITE_CANTOPEN"))):
        return f"The disk that holds {place} is full; nothing was saved. Free some space and save again."
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return f"{place} is locked by another program; nothing was saved. Close that program and try again."
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return (
            f"{folder} cannot be written to; nothing was saved. "
            "Give write permission, or name another folder in BREWWATER_DATA."
        )
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")) or "malformed" in text:
        return f"{place} is damaged. Restore a dated copy from {folder / 'backups'}; the damaged file is kept."
    if name.startswith("SQLITE_IOERR"):
        return f"The disk that holds {place} failed to read or write; nothing was saved. Check the disk."
    return f"{place} could not be used ({name or text}); nothing was saved. Try again."


def _postgres_line(state: str, lost: bool, place: str) -> str:
    if state == "53100":
        return "The database server's disk is full; nothing was saved. Ask whoever runs it to free some space."
    if state.startswith("28"):
        return f"The database server {place} refused the user name or password. Check BREWWATER_DATABASE_URL."
    if state == "25006":
        return "The database server accepts no writing at the moment; nothing was saved. Try again later."
    if state in {"55P03", "40001", "40P01", "57014"}:
        return "The database was busy for too long; nothing was saved. Try again."
    if lost or state.startswith(("08", "57", "53", "3D")) or not state:
        return (
            f"The database {place} cannot be reached; the last save was not confirmed. "
            "Keep this page open or download your work, and save again when the connection is back; "
            "saving twice does no harm."
        )
    return f"The database {place} refused the operation (code {state}); nothing was saved."


def retryable(error: Exception) -> bool:
    """Whether the same transaction, run again, may succeed; it was rolled back in every case."""
    if not isinstance(error, DBAPIError):
        return False
    name = getattr(error.orig, "sqlite_errorname", "") or ""
    state = getattr(error.orig, "sqlstate", "") or ""
    return name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")) or state in {"40001", "40P01", "23505"}


def translate(error: Exception, engine: Engine) -> StoreError:
    """One clear line for what went wrong, without a password in it."""
    place = place_of(engine)
    orig = error.orig if isinstance(error, DBAPIError) else error
    if engine.dialect.name == "sqlite":
        line = _sqlite_line(str(getattr(orig, "sqlite_errorname", "") or ""), str(orig), place)
    else:
        lost = isinstance(error, DBAPIError) and error.connection_invalidated
        line = _postgres_line(str(getattr(orig, "sqlstate", "") or ""), lost, place)
    return StoreError("store: " + line)


DATABASE_ERRORS = (SQLAlchemyError,)
