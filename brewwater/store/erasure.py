"""Erasing a unit on request: the one thing that takes rows away.

What is only ever added is erased in one way alone. A gravestone row is added: the unit's number, the day, how many
versions and lines there were, and nothing of what stood in them. While it stands, the database lets the rows of that
unit go, and no others; all of them are dropped, with shares and what was worked out from them, and the unit's own row
loses its name and owner. It stays as an empty shell under a new seal, so that its number is never given to another unit
and a row that came back would be found. All of it is one transaction: after a fault either everything is there or
nothing.

Other units' rows, seals and chains are not touched. What this cannot reach is named (``Erased``): dated copies, files
that were exported, a database server's own backups.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, func, select

from brewwater.errors import StoreError
from brewwater.store import backups, database, seal, tables
from brewwater.store.faults import NotAllowed
from brewwater.store.people import UnitStore
from brewwater.store.text import canonical

# What is left of an erased unit's own row.
SHELL = {"owner": "", "name": "", "created_at": ""}


@dataclass(frozen=True, slots=True)
class Erased:
    """What was erased, and where it still is.

    plans, lines : versions and log lines that were dropped
    copies : files on this machine that still hold the unit; putting one back brings it back
    traces : why the file of the database may still hold traces of it, or empty
    server : True where a database server keeps the store, whose own copies and journal are out of reach
    """

    name: str
    plans: int
    lines: int
    copies: tuple[Path, ...]
    traces: str
    server: bool

    @property
    def remains(self) -> tuple[str, ...]:
        """Where it still is, a line each, for people."""
        said = [f"This dated copy still holds it: {path}" for path in self.copies]
        if self.copies:
            said.append(
                f"Putting one of these back brings the unit back. Of the dated copies the newest {backups.KEEP} are "
                "kept, one a day of use; delete a file to be rid of it at once."
            )
        if self.traces:
            said.append(self.traces)
        if self.server:
            said.append("The database server's own backups and journal may hold it: ask whoever runs it.")
        said.append("Files that were exported, printed or sent are where they were taken.")
        return tuple(said)


def _forget_order(c: Connection, owner: str, slug: str) -> None:
    """Take a unit out of the order in which each person goes round."""
    o = tables.round_order.c
    for person, body in c.execute(select(o.person, o.body)).all():
        ref = slug if person == owner else f"{slug}@{owner}"
        with contextlib.suppress(ValueError):  # damaged: read as none, and chosen again
            refs = json.loads(body)
            if ref in refs:
                left = canonical([other for other in refs if other != ref])
                c.execute(tables.round_order.update().where(o.person == person).values(body=left))


class EraseStore(UnitStore):
    """Adds erasing to the store."""

    def erase_unit(self, ref: str) -> Erased:
        """Erase a unit with all that is kept of it. Only its owner may.

        Raises
        ------
        UnknownUnit : there is none
        NotAllowed : it is another person's
        StoreError : it could not be done; nothing was changed
        """

        def work(c: Connection) -> tuple[str, str, str, int, int]:
            key, unit = self._find(c, ref, edit=True)
            if unit.owner != self.person:
                raise NotAllowed("unit: only its owner erases it. Ask the owner.")
            counts = tuple(
                c.execute(select(func.count()).select_from(t).where(t.c.unit_key == key)).scalar_one()
                for t in (tables.plan, tables.reading)
            )
            stone = {"unit_key": key, "erased_at": self._stamp(), "plans": counts[0], "lines": counts[1]}
            c.execute(tables.gravestone.insert().values(**stone))
            for table in reversed(tables.metadata.sorted_tables):
                if "unit_key" in table.c and table is not tables.gravestone:
                    c.execute(table.delete().where(table.c.unit_key == key))
            _forget_order(c, unit.owner, unit.id)
            shell = tables.unit.update().where(tables.unit.c.key == key)
            c.execute(shell.values(slug=f"erased-{key}", **SHELL))
            seal.make(c, key)
            return unit.owner, unit.id, unit.name, counts[0], counts[1]

        owner, slug, name, plans, lines = self._run(work, write=True)
        path = database.sqlite_file(self.engine)
        copies = () if path is None else tuple(backups.holding(path, owner, slug))
        return Erased(name, plans, lines, copies, self._swept(), path is None)

    def _swept(self) -> str:
        """Write a SQLite file anew, so that nothing of what was dropped is left in its unused pages and its journal.
        Where that could not be done: what may be left, in words; else an empty text. A server does so by itself."""
        if database.sqlite_file(self.engine) is None:
            return ""
        try:
            with contextlib.closing(self.engine.raw_connection()) as connection:
                cursor = connection.cursor()
                cursor.execute("VACUUM")
                busy = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        except (sqlite3.Error, StoreError):
            busy = 1
        if not busy:
            return ""
        return "Another program has the store open: its file may hold traces until every program has closed it."
