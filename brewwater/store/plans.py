"""Plans: every save adds a version; a save on top of an older one is refused, with both versions."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, select

from brewwater.errors import InputError, StoreError
from brewwater.log.entry import printable
from brewwater.store import tables
from brewwater.store.faults import StaleSave
from brewwater.store.migration import migrate
from brewwater.store.people import Document, UnitStore
from brewwater.store.records import PlanVersion, VersionLine
from brewwater.store.text import canonical, document_text, sha256


class PlanStore(UnitStore):
    """Adds plans to the store."""

    def plan(self, ref: str, version: int | None = None) -> PlanVersion | None:
        """A version of the unit's plan, the latest where none is named; None where there is none."""
        return self._run(lambda c: self._plan(c, self._find(c, ref)[0], version))

    def history(self, ref: str) -> list[VersionLine]:
        """Every version, newest first; order is that of saving, whatever the clock said."""
        p = tables.plan.c

        def work(c: Connection) -> list[VersionLine]:
            key = self._find(c, ref)[0]
            rows = c.execute(
                select(p.version, p.saved_at, p.saved_by, p.note).where(p.unit_key == key).order_by(p.version.desc())
            )
            return [VersionLine(r.version, r.saved_at, r.saved_by, r.note) for r in rows]

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
            key = self._find(c, ref, edit=True)[0]
            now = self._plan(c, key, None)
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

    def _plan(self, c: Connection, key: int, version: int | None) -> PlanVersion | None:
        if version is not None and not 0 < version < 2**31:
            return None  # more than a database can be asked for
        p = tables.plan.c
        query = select(tables.plan).where(p.unit_key == key).order_by(p.version.desc()).limit(1)
        row = c.execute(query if version is None else query.where(p.version == version)).first()
        if row is None:
            return None
        if sha256(row.document) != row.sha256:
            raise StoreError(
                f"store: version {row.version} of this plan is damaged. Restore another version or a copy."
            )
        saved: Document = json.loads(row.document)
        document = migrate(saved)
        if document is not saved:
            document = self._validate(document)
        return PlanVersion(row.version, document, row.saved_at, row.saved_by, row.note, saved)

    @staticmethod
    def _insert_plan(
        c: Connection, key: int, version: int, saved_at: str, saved_by: str, note: str, body: str
    ) -> PlanVersion:
        c.execute(
            tables.plan.insert().values(
                unit_key=key,
                version=version,
                saved_at=saved_at,
                saved_by=saved_by,
                note=note,
                document=body,
                sha256=sha256(body),
            )
        )
        document: Document = json.loads(body)
        return PlanVersion(version, document, saved_at, saved_by, note, document)
