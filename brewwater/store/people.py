"""One person's view of the store: transactions, units, and who else may open them."""

from __future__ import annotations

import datetime as dt
import weakref
from collections.abc import Callable, Iterable
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from sqlalchemy import Connection, Engine, Row, select

from brewwater.errors import InputError, StoreError
from brewwater.log.entry import printable
from brewwater.store import access, backups, database, seal, tables
from brewwater.store.faults import NotAllowed, UnknownUnit
from brewwater.store.records import Origin, SavedUnit, clean_name, is_slug, slug_of

T = TypeVar("T")
Document = dict[str, Any]
Validate = Callable[[Document], Document]
prepared: weakref.WeakSet[Engine] = weakref.WeakSet()


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)


def _as_is(document: Document) -> Document:
    return document


class UnitStore:
    """The store for one person; the other rooms of the package add plans, the log and files.

    Parameters
    ----------
    engine : from ``database.make_engine`` or Streamlit's SQL connection (SQLite file or PostgreSQL)
    person : the acting person, ``access.LOCAL`` where nobody signs in
    validate : takes a plan document in the newest format and returns it, or raises InputError
    clock : gives the present time in UTC; only written for people to read, no order depends on it
    patience_s : how long to wait for other writers before giving up
    """

    def __init__(
        self,
        engine: Engine,
        person: str = access.LOCAL,
        *,
        validate: Validate = _as_is,
        clock: Callable[[], dt.datetime] = _now,
        patience_s: float = database.PATIENCE_S,
    ) -> None:
        if not person or len(person) > 254 or not printable(person):
            raise InputError("person", ascii(person), "a name of 1 to 254 characters is needed", "Sign in again.")
        self.engine, self.person = engine, person
        self._validate, self._clock, self._patience_s = validate, clock, patience_s
        self.backup_problem: str | None = None

    @classmethod
    def open_default(cls, person: str = access.LOCAL, *, validate: Validate = _as_is) -> Self:
        """The configured store: ``BREWWATER_DATABASE_URL``, else a file in ``BREWWATER_DATA``."""
        return cls(database.make_engine(), person, validate=validate)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.engine.dispose()

    def _run(self, work: Callable[[Connection], T], *, write: bool = False) -> T:
        if self.engine not in prepared:
            database.prepare(self.engine)
            prepared.add(self.engine)
        result = database.run(self.engine, work, write=write, patience_s=self._patience_s)
        if write:
            self._back_up_if_due()
        return result

    def _stamp(self) -> str:
        return self._clock().astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    def _back_up_if_due(self) -> None:
        # a copy that fails must not fail the save that is already kept; the front end shows the problem
        path = database.sqlite_file(self.engine)
        try:
            if path is not None and backups.is_due(path, self._clock()):
                backups.make(path, self._clock())
            self.backup_problem = None
        except StoreError as error:
            self.backup_problem = str(error)

    def _file(self) -> Path:
        path = database.sqlite_file(self.engine)
        if path is None:
            raise StoreError("store: a database server makes its own copies. Ask whoever runs it.")
        return path

    def units(self) -> list[SavedUnit]:
        """The person's own units by name, then those that others share with them."""

        def work(c: Connection) -> list[SavedUnit]:
            return [unit for _, unit in self._openable(c)]

        return self._run(work)

    def check(self) -> list[seal.Condition]:
        """The condition of every unit in the store, each row of it read: what is whole, and what is damaged."""
        return self._run(seal.check)

    def damaged(self, what: str) -> StoreError:
        """The error for something damaged, with what to do: it names the last dated copy that is whole."""
        path = database.sqlite_file(self.engine)
        good = backups.last_good(path) if path is not None else None
        if path is None:
            way = "Ask whoever runs the database server for its last good copy"
        elif good is None:
            way = "No dated copy is whole; restore a file that was exported"
        else:
            way = f"The last good copy: brewwater restore {good}"
        return StoreError(f"store: {what}. {way}. 'brewwater check' tells what is still good.")

    def unit(self, ref: str) -> SavedUnit:
        """One unit.

        Raises
        ------
        UnknownUnit : there is none, or it belongs to someone who does not share it
        """
        return self._run(lambda c: self._find(c, ref)[1])

    def create_unit(self, name: str) -> SavedUnit:
        """A new unit under a display name; its id follows from the name, numbered where taken."""
        name = clean_name(name)
        return self._run(lambda c: self._create(c, name, slug_of(name))[1], write=True)

    def rename_unit(self, ref: str, name: str) -> SavedUnit:
        """Change the display name; the id stays."""
        name = clean_name(name)

        def work(c: Connection) -> SavedUnit:
            key = self._find(c, ref, edit=True)[0]
            c.execute(tables.unit.update().where(tables.unit.c.key == key).values(name=name))
            seal.renew_unit(c, key)
            return self._find(c, ref)[1]

        return self._run(work, write=True)

    def share(self, ref: str, person: str, may_edit: bool | None) -> None:
        """Share a unit with a person for reading or editing, or no longer (None). Only the owner may.

        Raises
        ------
        NotAllowed : the acting person is not the owner
        """
        person = access.person_id(person)

        def work(c: Connection) -> None:
            key, unit = self._find(c, ref)
            if unit.owner != self.person:
                raise NotAllowed("unit: only its owner changes who may open it. Ask the owner.")
            s = tables.share.c
            c.execute(tables.share.delete().where(s.unit_key == key, s.person == person))
            if may_edit is not None and person != unit.owner:
                c.execute(tables.share.insert().values(unit_key=key, person=person, may_edit=may_edit))

        self._run(work, write=True)

    def shared_with(self, ref: str) -> dict[str, bool]:
        """The people a unit is shared with, and whether each may edit."""
        return self._run(lambda c: self._shares(c, self._find(c, ref)[0]))

    def _openable(self, c: Connection) -> list[tuple[int, SavedUnit]]:
        """Every unit that the person may open and that is whole, with its key: as many queries for many as for one."""
        u, s = tables.unit.c, tables.share.c
        own = c.execute(select(tables.unit).where(u.owner == self.person).order_by(u.name, u.key)).all()
        shared = c.execute(
            select(tables.unit, s.may_edit)
            .join(tables.share, s.unit_key == u.key)
            .where(s.person == self.person, u.owner != self.person)
            .order_by(u.name, u.key)
        ).all()
        rows = [(r, True) for r in own] + [(r, bool(r.may_edit)) for r in shared]
        whole = seal.whole_units(c, [r.key for r, _ in rows])
        origins = self._origins(c, whole)
        return [(r.key, self._unit(r, may_edit, origins.get(r.key, ()))) for r, may_edit in rows if r.key in whole]

    def _unit(self, row: Row[Any], may_edit: bool, origins: Iterable[Origin]) -> SavedUnit:
        ref = row.slug if row.owner == self.person else f"{row.slug}@{row.owner}"
        return SavedUnit(row.slug, row.name, row.owner, ref, may_edit, row.created_at, tuple(origins))

    @staticmethod
    def _origins(c: Connection, keys: Iterable[int]) -> dict[int, list[Origin]]:
        """Where units were restored from, the last one last."""
        o = tables.origin.c
        found: dict[int, list[Origin]] = {}
        for r in c.execute(select(tables.origin).where(o.unit_key.in_(list(keys))).order_by(o.unit_key, o.number)):
            one = Origin(r.restored_at, r.restored_by, r.exported_at, r.signature, r.plans, r.lines)
            found.setdefault(r.unit_key, []).append(one)
        return found

    @staticmethod
    def _shares(c: Connection, key: int) -> dict[str, bool]:
        s = tables.share.c
        rows = c.execute(select(s.person, s.may_edit).where(s.unit_key == key).order_by(s.person))
        return {row.person: bool(row.may_edit) for row in rows}

    def _find(self, c: Connection, ref: str, *, edit: bool = False) -> tuple[int, SavedUnit]:
        slug, _, owner = ref.partition("@")
        u = tables.unit.c
        if is_slug(slug) and printable(owner):
            asked = (u.owner == (owner or self.person)) & (u.slug == slug)
        elif len(ref) <= 120 and printable(ref):
            asked = (u.owner == self.person) & (u.name == ref)
        else:
            raise UnknownUnit(ascii(ref))
        query = select(tables.unit).where(asked).order_by(u.key).limit(1)
        # a writer holds the unit until its transaction ends (SQLite has one writer at a time anyway)
        row = c.execute(query.with_for_update() if edit else query).first()
        if row is None and (key := self._spelled(c, ref)) is not None:
            query = select(tables.unit).where(u.key == key)
            row = c.execute(query.with_for_update() if edit else query).first()
        if row is None:
            if broken := next((f for f in seal.check(c) if f.problem), None):
                raise self.damaged(f"{ref!r} is not there, and the unit {broken.unit!r} is damaged: {broken.problem}")
            raise UnknownUnit(ref)
        if problem := seal.unit_problem(c, row.key):
            raise self.damaged(f"the unit {row.slug!r} is damaged: {problem}")
        shares = self._shares(c, row.key)
        if not access.may_open(self.person, row.owner, shares):
            raise UnknownUnit(ref)
        allowed = access.may_edit(self.person, row.owner, shares)
        if edit and not allowed:
            raise NotAllowed(f"unit: {row.name!r} is shared with you for reading only. Ask {row.owner} for more.")
        return row.key, self._unit(row, allowed, self._origins(c, [row.key]).get(row.key, ()))

    def _create(self, c: Connection, name: str, slug: str, created_at: str = "") -> tuple[int, SavedUnit]:
        u = tables.unit.c
        taken = set(c.execute(select(u.slug).where(u.owner == self.person)).scalars())
        free = slug
        number = 2
        while free in taken:
            free, number = f"{slug}-{number}", number + 1
        created_at = created_at or self._stamp()
        new = tables.unit.insert().values(owner=self.person, slug=free, name=name, created_at=created_at)
        row = c.execute(new.returning(*u)).one()
        seal.make(c, row.key)
        return row.key, self._unit(row, True, ())

    def _spelled(self, c: Connection, ref: str) -> int | None:
        """The unit that a name means in another spelling (``TRUCK_a`` for ``Truck A``): by the id that follows from
        it. None where there is none, or more than one."""
        name, _, owner = ref.rpartition("@") if "@" in ref else (ref, "", "")
        u = tables.unit.c
        rows = c.execute(select(u.key, u.slug, u.name).where(u.owner == (owner or self.person))).all()
        wanted = slug_of(name)
        alike = [r.key for r in rows if wanted in (r.slug, slug_of(r.name))]
        return alike[0] if len(alike) == 1 else None

    def _find_or_create(self, c: Connection, ref: str) -> tuple[int, SavedUnit]:
        try:
            return self._find(c, ref, edit=True)
        except UnknownUnit:
            if "@" in ref:
                raise
            name = clean_name(ref)
            return self._create(c, name, slug_of(name))
