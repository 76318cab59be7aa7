"""The whole store: plans and log, and the files that carry them elsewhere."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from sqlalchemy import Connection, select

from brewwater.errors import InputError
from brewwater.store import access, backups, bundle, database, seal, tables
from brewwater.store.admission import AdmissionStore
from brewwater.store.drafts import DraftStore
from brewwater.store.erasure import EraseStore
from brewwater.store.faults import NotAllowed
from brewwater.store.log import LogStore
from brewwater.store.migration import migrate
from brewwater.store.people import Document, prepared
from brewwater.store.photos import PhotoStore
from brewwater.store.records import clean_name, is_slug, slug_of
from brewwater.store.rounds import RoundStore
from brewwater.store.shelf import ShelfStore
from brewwater.store.text import canonical, document_text, read_json
from brewwater.store.told import ToldStore


class Store(ToldStore, DraftStore, LogStore, ShelfStore, AdmissionStore, PhotoStore, RoundStore, EraseStore):
    """Everything, for one person. See ``people.UnitStore`` for what it is made from."""

    def planned(self, ref: str) -> Document:
        """``document``, where there is one.

        Raises
        ------
        InputError : nothing was saved yet
        """
        found = self.document(ref)
        if found is None:
            remedy = "Save a plan in the front end, or give a plan document."
            raise InputError("UNIT", ref, "it has a log, and no plan was saved yet", remedy)
        return found

    def export_unit(self, ref: str) -> str:
        """Everything of a unit as the text of one file (see ``bundle``)."""
        p = tables.plan.c

        def work(c: Connection) -> bundle.Bundle:
            key, unit = self._find(c, ref)
            self._plans_add_up(c, key, unit.id)
            plans = []
            for r in c.execute(select(tables.plan).where(p.unit_key == key).order_by(p.version)):
                if not seal.body_is_whole(r.document, r.sha256):
                    raise self.damaged(f"version {r.version} of the plan of {unit.id!r} is damaged")
                plans.append(
                    bundle.BundlePlan(
                        version=r.version,
                        saved_at=r.saved_at,
                        saved_by=r.saved_by,
                        note=r.note,
                        document=json.loads(r.document),
                    )
                )
            return bundle.Bundle(
                id=unit.id,
                name=unit.name,
                created_at=unit.created_at,
                origins=tuple(bundle.BundleOrigin.model_validate(asdict(o)) for o in unit.origins),
                plans=tuple(plans),
                readings=tuple(self._readings(c, key, unit.id)),
                photos=tuple(
                    bundle.BundlePhoto.of(one.id, one.line_id, self._picture(c, key, unit.id, one.id))
                    for one in self._photos(c, key, unit.id)
                ),
            )

        return bundle.write(self._run(work), self._stamp())

    def document(self, ref: str) -> Document | None:
        """What a unit's plan is made from: its latest document with the lines of its log, and the person's shelf where
        it brings none of its own; None where no plan is saved in it."""
        kept = self.plan(ref)
        if kept is None:
            return None
        own = {line["id"] for line in kept.document.get("readings", ())}
        lines = [line.model_dump(mode="json") for line in self.readings(ref) if line.id not in own]
        shelf = kept.document.get("shelf") or [item.model_dump(mode="json") for item in self.shelf().items]
        return {**kept.document, "readings": [*kept.document.get("readings", ()), *lines], "shelf": shelf}

    def export_file(self, ref: str, path: Path) -> None:
        """Write everything of a unit to one file, whole or not at all."""
        bundle.write_file(path, self.export_unit(ref))

    def restore_unit(self, data: bytes | str) -> str:
        """Bring back a unit from such a file, all or nothing; returns its ref.

        A unit that is there already with the same content stays as it is; one with other content is never
        touched, and the file's becomes a new unit beside it. What comes from the file is marked so: names and
        dates in it are as the file states them (``Unit.origins``).

        Raises
        ------
        InputError : the file is not whole, or holds something that cannot be used
        """
        file = bundle.read(data)
        content = file.content
        name = clean_name(content.name)
        slug = content.id if is_slug(content.id) else slug_of(name)
        for plan in content.plans:
            document_text(plan.document)
            self._validate(migrate(plan.document))

        def work(c: Connection) -> str:
            u = tables.unit.c
            row = c.execute(select(u.key).where(u.owner == self.person, u.slug == slug)).first()
            if row is not None and self._same(c, row.key, content):
                return slug
            key, unit = self._create(c, name, slug, content.created_at)
            for plan in content.plans:
                self._insert_plan(
                    c, key, plan.version, plan.saved_at, plan.saved_by, plan.note, canonical(plan.document)
                )
            self._append(c, key, list(content.readings))
            for photo in content.photos:
                self._keep_photo(c, key, photo.line_id, photo.id, photo.picture())
            here = bundle.BundleOrigin(
                restored_at=self._stamp(),
                restored_by=self.person,
                exported_at=file.exported_at,
                signature=file.signature,
                plans=len(content.plans),
                lines=len(content.readings),
            )
            for number, origin in enumerate([*content.origins, here], start=1):
                c.execute(tables.origin.insert().values(unit_key=key, number=number, **origin.model_dump()))
            seal.renew_unit(c, key)
            return unit.ref

        return self._run(work, write=True)

    def _same(self, c: Connection, key: int, content: bundle.Bundle) -> bool:
        p = tables.plan.c
        plans = [
            (r.version, r.saved_at, r.saved_by, r.note, r.document)
            for r in c.execute(select(tables.plan).where(p.unit_key == key).order_by(p.version))
        ]
        theirs = [(q.version, q.saved_at, q.saved_by, q.note, canonical(q.document)) for q in content.plans]
        photos = [(one.id, one.line_id) for one in self._photos(c, key, content.id)]
        return (
            plans == theirs
            and tuple(self._readings(c, key, content.id)) == content.readings
            and photos == [(one.id, one.line_id) for one in content.photos]
            and all(self._picture(c, key, content.id, one.id) == one.picture() for one in content.photos)
        )

    def restore_file(self, path: Path) -> str:
        """Bring back a unit from an exported file, or the whole store from a dated copy; returns unit ids."""
        data = bundle.read_file(path)
        if data.startswith(backups.HEADER):
            return ", ".join(self.restore_backup(path))
        return self.restore_unit(data)

    # -- dated copies (SQLite)

    def dated_copies(self) -> list[Path]:
        """The dated copies, oldest first; none for a database server, which has its own."""
        path = database.sqlite_file(self.engine)
        return backups.listed(path) if path else []

    def back_up(self, keep: int = backups.KEEP) -> Path:
        """Write a dated copy now.

        Raises
        ------
        StoreError : it could not be written, or the store is on a database server
        """
        self._run(lambda c: None)
        return backups.make(self._file(), self._clock(), keep)

    def restore_backup(self, path: Path) -> list[str]:
        """Put a dated copy back for everyone; what is there now is kept beside it. Returns the unit ids.

        Raises
        ------
        NotAllowed : the store has several people, and one of them asked
        StoreError : the copy is not whole
        """
        if self.person != access.LOCAL:
            raise NotAllowed("store: only the person who runs this machine restores the whole store.")
        target = self._file()
        self.engine.dispose()
        prepared.discard(self.engine)
        return backups.put_back(target, path, self._clock())


def read_document(data: str | bytes) -> Document:
    """A plan document from a file that anyone may have written, brought to the newest format.

    Raises
    ------
    InputError : too large, not JSON, or not a document of a known version
    """
    return migrate(read_json(data, "plan"))
