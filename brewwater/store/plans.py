"""Plans: every save adds a version; a save on top of an older one is refused, with both versions."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, select

from brewwater.errors import InputError
from brewwater.log.entry import printable
from brewwater.store import seal, tables
from brewwater.store.faults import StaleSave
from brewwater.store.migration import migrate
from brewwater.store.people import Document, UnitStore
from brewwater.store.records import PlanVersion, VersionLine
from brewwater.store.text import canonical, document_text, sha256


class PlanStore(UnitStore):
    """Adds plans to the store."""

    def plan(self, ref: str, version: int | None = None) -> PlanVersion | None:
        """A version of the unit's plan, the latest where none is named; None where there is none."""

        def work(c: Connection) -> PlanVersion | None:
            key, unit = self._find(c, ref)
            return self._plan(c, key, unit.id, version)

        return self._run(work)

    def history(self, ref: str) -> list[VersionLine]:
        """Every version, newest first; order is that of saving, whatever the clock said."""
        p = tables.plan.c

        def work(c: Connection) -> list[VersionLine]:
            key, unit = self._find(c, ref)
            self._plans_add_up(c, key, unit.id)
            rows = c.execute(
                select(p.version, p.saved_at, p.saved_by, p.note).where(p.unit_key == key).order_by(p.version.desc())
            )
            from_file = {n: o.words for o in reversed(unit.origins) for n in range(1, o.plans + 1)}
            return [VersionLine(r.version, r.saved_at, r.saved_by, r.note, from_file.get(r.version, "")) for r in rows]

        return self._run(work)

    def save_plan(self, ref: str, document: Mapping[str, Any], expected_version: int, note: str = "") -> PlanVersion:
        """Save a new version on top of ``expected_version`` (0: none yet).

        Saving the same document again after an answer was lost returns the version that was saved.

        Raises
        ------
        StaleSave : someone saved in between; carries both documents
        InputError : the document cannot be kept
        StoreError : the store could not keep it; nothing was changed
        """
        read = migrate(json.loads(document_text(document)))
        checked = {"schema_version": read["schema_version"], **self._validate(read)}
        body = document_text(checked)
        note = " ".join(note.split())
        if len(note) > 400 or not printable(note):
            raise InputError("note", ascii(note), "at most 400 plain characters are kept", "Shorten it.")

        def work(c: Connection) -> PlanVersion:
            key, unit = self._find(c, ref, edit=True)
            now = self._plan(c, key, unit.id, None)
            version = now.version if now else 0
            if version != expected_version:
                again = now is not None and version == expected_version + 1 and now.saved_by == self.person
                if now is not None and again and canonical(now.saved_as) == body:
                    return now
                raise StaleSave(expected_version, checked, now)
            return self._insert_plan(c, key, version + 1, self._stamp(), self.person, note, body)

        return self._run(work, write=True)

    def restore_version(self, ref: str, version: int, expected_version: int) -> PlanVersion:
        """Make an older version the newest; the versions between stay in the history.

        Raises
        ------
        InputError : there is no such version
        StaleSave : someone saved in between
        """
        old = self.plan(ref, version)
        if old is None:
            raise InputError("version", version, "it must be one of the history", "Choose a version that is listed.")
        return self.save_plan(ref, old.document, expected_version, f"restored from version {version}")

    def _plans_add_up(self, c: Connection, key: int, name: str) -> None:
        if problem := seal.plans_problem(c, key):
            raise self.damaged(f"the plans of {name!r} are damaged: {problem}")

    def _plan(self, c: Connection, key: int, name: str, version: int | None) -> PlanVersion | None:
        self._plans_add_up(c, key, name)
        if version is not None and not 0 < version < 2**31:
            return None  # more than a database can be asked for
        p = tables.plan.c
        query = select(tables.plan).where(p.unit_key == key).order_by(p.version.desc()).limit(1)
        row = c.execute(query if version is None else query.where(p.version == version)).first()
        if row is None:
            return None
        if not seal.body_is_whole(row.document, row.sha256):
            raise self.damaged(f"version {row.version} of the plan of {name!r} is damaged")
        saved: Document = json.loads(row.document)
        document = migrate(saved)
        if document is not saved:
            document = self._validate(document)
        return PlanVersion(row.version, document, row.saved_at, row.saved_by, row.note, saved)

    @staticmethod
    def _insert_plan(
        c: Connection, key: int, version: int, saved_at: str, saved_by: str, note: str, body: str
    ) -> PlanVersion:
        row = {"version": version, "saved_at": saved_at, "saved_by": saved_by, "note": note, "sha256": sha256(body)}
        c.execute(tables.plan.insert().values(unit_key=key, document=body, **row))
        seal.add_plan(c, key, [row[name] for name in seal.PLAN_COLUMNS])
        document: Document = json.loads(body)
        return PlanVersion(version, document, saved_at, saved_by, note, document)
