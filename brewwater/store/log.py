"""The log: lines that are only added."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, select

from brewwater.errors import InputError
from brewwater.log.entry import Reading, make_reading, reading_from_text
from brewwater.store import log_csv, seal, tables
from brewwater.store.people import UnitStore
from brewwater.store.text import canonical, sha256


class LogStore(UnitStore):
    """Adds the log to the store."""

    def readings(self, ref: str) -> list[Reading]:
        """Every line in the order kept, corrected ones too (see ``log_entry.standing_readings``)."""

        def work(c: Connection) -> list[Reading]:
            key, unit = self._find(c, ref)
            return self._readings(c, key, unit.id)

        return self._run(work)

    def log_stamp(self, ref: str) -> str:
        """A text that stays the same while nothing is added to the unit's plan and log; cheap to ask for."""
        p, r = tables.plan.c, tables.reading.c

        def work(c: Connection) -> str:
            key = self._find(c, ref)[0]
            newest = select(p.version, p.sha256).where(p.unit_key == key).order_by(p.version.desc()).limit(1)
            last = select(r.seq, r.id).where(r.unit_key == key).order_by(r.seq.desc()).limit(1)
            return repr([tuple(row) for query in (newest, last) for row in c.execute(query)])

        return self._run(work)

    def add_readings(self, ref: str, readings: Iterable[Reading], *, create: bool = False) -> int:
        """Add lines to the log, all or none; returns how many were new.

        A line that is there already is left alone, so adding twice does no harm. ``create`` makes the unit
        where the person has none of that name.

        Raises
        ------
        InputError : a line corrects one that is not there, or its id stands for another line
        """
        lines = list(readings)

        def work(c: Connection) -> int:
            key = (self._find_or_create(c, ref) if create else self._find(c, ref, edit=True))[0]
            return self._append(c, key, lines)

        return self._run(work, write=True)

    def add_reading_text(
        self, ref: str, *, date: str, kind: str, value: str, unit: str, note: str = "", **more: Any
    ) -> str:
        """Add one line as typed; makes the unit where there is none of that name. Returns the line's id."""
        reading = reading_from_text(date, kind, value, unit, note, **more)
        self.add_readings(ref, [reading], create=True)
        return reading.id

    def readings_as_rows(self, ref: str) -> list[dict[str, Any]]:
        """The log as plain rows, in the order kept; ``restored``: from where a line came that was not added here."""
        lines, origins = self.readings(ref), self.unit(ref).origins
        from_file = {n: o.words for o in reversed(origins) for n in range(o.lines)}
        return [line.model_dump(mode="json") | {"restored": from_file.get(n, "")} for n, line in enumerate(lines)]

    def export_log(self, ref: str) -> str:
        """The log as CSV text."""
        return log_csv.write(self.readings(ref))

    def import_log(self, ref: str, data: bytes | str) -> int:
        """Add the lines of a CSV file, all or none; returns how many were new.

        Raises
        ------
        InputError : names the line and the field
        """
        return self.add_readings(ref, log_csv.read(data))

    def _readings(self, c: Connection, key: int, name: str) -> list[Reading]:
        r = tables.reading.c
        rows = c.execute(select(r.id, r.sha256, r.body).where(r.unit_key == key).order_by(r.seq)).all()
        if problem := seal.lines_problem(c, key, [row[:2] for row in rows]):
            raise self.damaged(f"the log of {name!r} is damaged: {problem}")
        for number, row in enumerate(rows, start=1):
            if not seal.body_is_whole(row.body, row.sha256):
                raise self.damaged(f"line {number} of the log of {name!r} is damaged")
        return [make_reading(json.loads(row.body)) for row in rows]

    def _append(self, c: Connection, key: int, lines: list[Reading]) -> int:
        r = tables.reading.c
        query = select(r.id, r.body).where(r.unit_key == key)
        if len(lines) < 500:  # a few: look for these alone
            query = query.where(r.id.in_({i for line in lines for i in (line.id, line.corrects) if i}))
        there = {row.id: row.body for row in c.execute(query)}
        rows = []
        for line in lines:
            by = line.recorded_by or self.person
            stamp = {"recorded_at": line.recorded_at or self._stamp(), "recorded_by": by}
            full = line.model_copy(update=stamp)
            if line.id in there:
                if _essence(json.loads(there[line.id])) != _essence(full.model_dump(mode="json")):
                    raise InputError(
                        "id",
                        line.id,
                        "another line of the log has it; lines are never changed",
                        "Add a new line that corrects it.",
                    )
                continue
            if line.corrects and line.corrects not in there:
                raise InputError(
                    "corrects",
                    line.corrects,
                    "it must be an earlier line of the same log",
                    "Choose a line that is listed.",
                )
            body = canonical(full.model_dump(mode="json"))
            there[line.id] = body
            rows.append({"unit_key": key, "id": line.id, "body": body, "sha256": sha256(body)})
        if rows:
            c.execute(tables.reading.insert(), rows)
            seal.add_lines(c, key, [[row[name] for name in seal.LINE_COLUMNS] for row in rows])
        return len(rows)


def _essence(row: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in row.items() if k not in ("recorded_at", "recorded_by")}
