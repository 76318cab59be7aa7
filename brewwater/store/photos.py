"""Photos of the log: each belongs to a line, and is only ever added."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass

from sqlalchemy import Connection, func, select, type_coerce
from sqlalchemy.types import NullType

from brewwater.errors import InputError
from brewwater.log.photo import check_photo
from brewwater.store import seal, tables
from brewwater.store.people import UnitStore

MOST_PHOTOS = 400  # of one unit: with them its exported file stays within what is read back
_ID = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class KeptPhoto:
    """A photo: its id, and the line of the log that it belongs to."""

    id: str
    line_id: str


class PhotoStore(UnitStore):
    """Adds photos to the store."""

    def add_photo(self, ref: str, line_id: str, photo_id: str, jpeg: bytes) -> bool:
        """Keep a photo, as ``log.photo.clean_photo`` makes it, with a line of the log.

        Returns False where it is there already: what is sent twice is kept once.

        Raises
        ------
        InputError : no such line, the id is another photo's, it is no such picture, or the unit has too many
        """
        check_photo(jpeg)

        def work(c: Connection) -> bool:
            key = self._find(c, ref, edit=True)[0]
            return self._keep_photo(c, key, line_id, photo_id, jpeg)

        return self._run(work, write=True)

    def photos(self, ref: str) -> list[KeptPhoto]:
        """The photos of a unit in the order kept, without the pictures."""

        def work(c: Connection) -> list[KeptPhoto]:
            key, unit = self._find(c, ref)
            return self._photos(c, key, unit.id)

        return self._run(work)

    def photo(self, ref: str, photo_id: str) -> bytes:
        """A picture, as JPEG.

        Raises
        ------
        InputError : the unit has none of that id
        StoreError : it is damaged
        """

        def work(c: Connection) -> bytes:
            key, unit = self._find(c, ref)
            return self._picture(c, key, unit.id, photo_id)

        return self._run(work)

    def _photos(self, c: Connection, key: int, name: str) -> list[KeptPhoto]:
        if problem := seal.photos_problem(c, key):
            raise self.damaged(f"the photos of {name!r} are damaged: {problem}")
        p = tables.photo.c
        rows = c.execute(select(p.id, p.line_id).where(p.unit_key == key).order_by(p.seq))
        return [KeptPhoto(row.id, row.line_id) for row in rows]

    def _picture(self, c: Connection, key: int, name: str, photo_id: str) -> bytes:
        p = tables.photo.c
        body = type_coerce(p.body, NullType())  # as it stands: damage may have made a text of it
        row = c.execute(select(body.label("body"), p.sha256).where(p.unit_key == key, p.id == photo_id)).first()
        if row is None:
            raise InputError("photo", photo_id, "the unit has none of that id", "Choose one that is listed.")
        if not seal.bytes_are_whole(row.body, row.sha256):
            raise self.damaged(f"a photo of {name!r} is damaged")
        return bytes(row.body)

    @staticmethod
    def _keep_photo(c: Connection, key: int, line_id: str, photo_id: str, jpeg: bytes) -> bool:
        p, r = tables.photo.c, tables.reading.c
        if not _ID.fullmatch(photo_id):
            raise InputError("photo", photo_id, "an id of 32 hexadecimal digits is needed", "Add the photo anew.")
        there = c.execute(select(p.line_id).where(p.unit_key == key, p.id == photo_id)).scalar()
        if there == line_id:
            return False
        if there is not None:
            raise InputError("photo", photo_id, "it belongs to another line of the log", "Add the photo anew.")
        if c.execute(select(r.seq).where(r.unit_key == key, r.id == line_id)).first() is None:
            raise InputError("line", line_id, "it must be a line of the same log", "Send the line first.")
        if (c.execute(select(func.count()).where(p.unit_key == key)).scalar() or 0) >= MOST_PHOTOS:
            limit = f"a unit keeps at most {MOST_PHOTOS} photos"
            raise InputError("photo", f"number {MOST_PHOTOS + 1}", limit, "Log the stop without one.")
        row = {"id": photo_id, "line_id": line_id, "sha256": hashlib.sha256(jpeg).hexdigest()}
        c.execute(tables.photo.insert().values(unit_key=key, body=jpeg, **row))
        seal.add_photo(c, key, [row[name] for name in seal.PHOTO_COLUMNS])
        return True
