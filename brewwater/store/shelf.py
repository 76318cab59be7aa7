"""A person's shelf: every save adds a version, as with plans."""

from __future__ import annotations

import json

from sqlalchemy import Connection, select

from brewwater.store import seal, tables
from brewwater.store.people import UnitStore
from brewwater.store.text import canonical, sha256
from brewwater.treatment.shelf import Shelf


class ShelfStore(UnitStore):
    """Adds the shelf to the store."""

    def shelf(self) -> Shelf:
        """The person's shelf as last saved; empty where none was."""
        return self._run(self._shelf)

    def save_shelf(self, shelf: Shelf) -> Shelf:
        """Save the whole shelf as a new version; saving the same again adds none. Returns it."""
        return self._run(lambda c: self._keep(c, shelf), write=True)

    def add_to_shelf(self, more: Shelf) -> Shelf:
        """Add lines, in one step; a line of the same name is replaced. Returns the shelf as it then stands."""
        return self._run(lambda c: self._keep(c, self._shelf(c).merged(more)), write=True)

    def _keep(self, c: Connection, shelf: Shelf) -> Shelf:
        if self._shelf(c) != shelf:
            body = canonical(shelf.model_dump(mode="json"))
            row = {"owner": self.person, "saved_at": self._stamp(), "body": body, "sha256": sha256(body)}
            c.execute(tables.shelf.insert().values(**row))
        return shelf

    def _shelf(self, c: Connection) -> Shelf:
        s = tables.shelf.c
        row = c.execute(select(tables.shelf).where(s.owner == self.person).order_by(s.seq.desc()).limit(1)).first()
        if row is None:
            return Shelf()
        if not seal.body_is_whole(row.body, row.sha256):
            raise self.damaged("the shelf is damaged")
        return Shelf.model_validate(json.loads(row.body))
