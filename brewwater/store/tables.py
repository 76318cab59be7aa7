"""The tables. Versions and readings are only ever added: the database refuses to change or drop one.

Format 2 adds the seal of each unit (see ``seal``), where a restored unit came from, and the shelf; format 3 who is let
in; format 4 the photos with a seal of their own, the order of a person's round, and the secret address of the calendar
feed; format 5 the gravestones (see ``erasure``): rows of a unit that has one may be dropped, and no others; format 6
what was last told of a unit's dates, and drafts. A store of an earlier format is brought to this one when it is first
opened.

Times are UTC in ISO 8601 text, for people to read; order comes from ``version`` and ``seq``, not the clock.
"""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import (
    DDL,
    BigInteger,
    Boolean,
    Column,
    Connection,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    event,
    inspect,
    select,
    text,
)

from brewwater.errors import StoreError

FORMAT = 6
metadata = MetaData()
_Key = BigInteger().with_variant(Integer, "sqlite")

about = Table("brewwater_about", metadata, Column("format", Integer, primary_key=True))
unit = Table(
    "brewwater_unit",
    metadata,
    Column("key", _Key, primary_key=True, autoincrement=True),
    Column("owner", String(254), nullable=False),
    Column("slug", String(64), nullable=False),
    Column("name", String(120), nullable=False),
    Column("created_at", String(32), nullable=False),
    UniqueConstraint("owner", "slug"),
)
share = Table(
    "brewwater_share",
    metadata,
    Column("unit_key", ForeignKey(unit.c.key), primary_key=True),
    Column("person", String(254), primary_key=True, index=True),
    Column("may_edit", Boolean, nullable=False),
)
plan = Table(
    "brewwater_plan",
    metadata,
    Column("unit_key", ForeignKey(unit.c.key), primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("saved_at", String(32), nullable=False),
    Column("saved_by", String(254), nullable=False),
    Column("note", String(400), nullable=False),
    Column("document", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
)
reading = Table(
    "brewwater_reading",
    metadata,
    Column("seq", _Key, primary_key=True, autoincrement=True),
    Column("unit_key", ForeignKey(unit.c.key), nullable=False),
    Column("id", String(32), nullable=False),
    Column("body", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    UniqueConstraint("unit_key", "id"),
    Index("brewwater_reading_order", "unit_key", "seq"),
)
seal = Table(
    "brewwater_seal",
    metadata,
    Column("unit_key", ForeignKey(unit.c.key), primary_key=True, autoincrement=False),
    Column("unit_link", String(64), nullable=False),
    Column("plans", Integer, nullable=False),
    Column("plan_link", String(64), nullable=False),
    Column("lines", Integer, nullable=False),
    Column("line_link", String(64), nullable=False),
)
shelf = Table(
    "brewwater_shelf",
    metadata,
    Column("seq", _Key, primary_key=True, autoincrement=True),
    Column("owner", String(254), nullable=False, index=True),
    Column("saved_at", String(32), nullable=False),
    Column("body", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
)
kept = Table(  # what was worked out once: may be dropped, and is made again
    "brewwater_kept",
    metadata,
    Column("unit_key", ForeignKey(unit.c.key), primary_key=True),
    Column("person", String(254), primary_key=True),
    Column("stamp", String(64), nullable=False),
    Column("body", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
)
told = Table(  # what was last told a person of a unit's dates
    "brewwater_told",
    metadata,
    Column("unit_key", ForeignKey(unit.c.key), primary_key=True),
    Column("person", String(254), primary_key=True),
    Column("body", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
)
draft = Table(  # what was typed and not saved; of a plan that was never saved with the number 0
    "brewwater_draft",
    metadata,
    Column("person", String(254), primary_key=True),
    Column("browser", String(32), primary_key=True),
    Column("unit_key", _Key, primary_key=True, autoincrement=False),
    Column("version", Integer, nullable=False),
    Column("kept_at", String(32), nullable=False),
    Column("body", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
)
admission = Table(  # who was shut out or let in again; of one session, or with "" of all that a person has
    "brewwater_admission",
    metadata,
    Column("seq", _Key, primary_key=True, autoincrement=True),
    Column("person", String(254), nullable=False, index=True),
    Column("session", String(64), nullable=False),
    Column("let_in", Boolean, nullable=False),
    Column("decided_at", String(32), nullable=False),
    Column("decided_by", String(254), nullable=False),
)
origin = Table(
    "brewwater_origin",
    metadata,
    Column("unit_key", ForeignKey(unit.c.key), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("restored_at", String(32), nullable=False),
    Column("restored_by", String(254), nullable=False),
    Column("exported_at", String(32), nullable=False),
    Column("signature", String(16), nullable=False),
    Column("plans", Integer, nullable=False),
    Column("lines", Integer, nullable=False),
)

photo = Table(
    "brewwater_photo",
    metadata,
    Column("seq", _Key, primary_key=True, autoincrement=True),
    Column("unit_key", ForeignKey(unit.c.key), nullable=False),
    Column("id", String(32), nullable=False),
    Column("line_id", String(32), nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("sha256", String(64), nullable=False),
    UniqueConstraint("unit_key", "id"),
)
photo_seal = Table(
    "brewwater_photo_seal",
    metadata,
    Column("unit_key", ForeignKey(unit.c.key), primary_key=True, autoincrement=False),
    Column("photos", Integer, nullable=False),
    Column("photo_link", String(64), nullable=False),
)
round_order = Table(
    "brewwater_round_order",
    metadata,
    Column("person", String(254), primary_key=True),
    Column("body", Text, nullable=False),
)
feed = Table(  # of the address only the digest of its secret
    "brewwater_feed",
    metadata,
    Column("person", String(254), primary_key=True),
    Column("id", String(16), nullable=False, unique=True),
    Column("digest", String(64), nullable=False),
    Column("made_at", String(32), nullable=False),
)

gravestone = Table(  # of an erased unit: that it was, when it was erased, and how much was kept of it; no content
    "brewwater_gravestone",
    metadata,
    Column("unit_key", ForeignKey(unit.c.key), primary_key=True, autoincrement=False),
    Column("erased_at", String(32), nullable=False),
    Column("plans", Integer, nullable=False),
    Column("lines", Integer, nullable=False),
)

_ddl_for: Callable[[str], DDL] = DDL
_ONLY_ADDED = (plan, reading, shelf, admission, photo, gravestone)
_ERASABLE = tuple(t for t in _ONLY_ADDED if "unit_key" in t.c and t is not gravestone)
_SQLITE_GUARD = """CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table} {but}
BEGIN SELECT RAISE(ABORT, 'rows of {table} are only ever added'); END"""
_BUT_ERASED = f"WHEN NOT EXISTS (SELECT 1 FROM {gravestone.name} WHERE unit_key = OLD.unit_key)"
_POSTGRES_GUARD = f"""CREATE OR REPLACE FUNCTION brewwater_only_added() RETURNS trigger LANGUAGE plpgsql AS
$$BEGIN
IF TG_OP = 'DELETE' AND TG_TABLE_NAME IN ({", ".join(f"'{t.name}'" for t in _ERASABLE)}) THEN
  IF EXISTS (SELECT 1 FROM {gravestone.name} WHERE unit_key = OLD.unit_key) THEN RETURN OLD; END IF;
END IF;
RAISE EXCEPTION 'rows of % are only ever added', TG_TABLE_NAME; END$$"""


def _sqlite_guard(table: Table, verb: str) -> DDL:
    but = _BUT_ERASED if verb == "DELETE" and table in _ERASABLE else ""
    return _ddl_for(_SQLITE_GUARD.format(table=table.name, verb=verb, but=but))


for _table in _ONLY_ADDED:
    for _verb in ("UPDATE", "DELETE"):
        event.listen(_table, "after_create", _sqlite_guard(_table, _verb).execute_if(dialect="sqlite"))
    event.listen(_table, "after_create", _ddl_for(_POSTGRES_GUARD.replace("%", "%%")).execute_if(dialect="postgresql"))
    _ddl = _ddl_for(
        f"CREATE TRIGGER {_table.name}_only_added BEFORE UPDATE OR DELETE ON {_table.name} "
        "FOR EACH ROW EXECUTE FUNCTION brewwater_only_added()"
    )
    event.listen(_table, "after_create", _ddl.execute_if(dialect="postgresql"))


def format_of(connection: Connection) -> int | None:
    """The format of the tables that are there; None in an empty database.

    Raises
    ------
    StoreError : they were written by a newer brewwater, or the format is missing or none that ever was
    """
    inspected = inspect(connection)
    if not inspected.has_table(about.name):
        if inspected.has_table(unit.name):
            raise StoreError("store: the note of its format is missing, so it is damaged. Restore a dated copy.")
        return None
    found = connection.execute(select(about.c.format).order_by(about.c.format.desc())).scalar()
    if not isinstance(found, int) or found < 1:
        raise StoreError(
            f"store: its format is {found!r}; 1 to {FORMAT} are known, so it is damaged. Restore a dated copy."
        )
    if found > FORMAT:
        raise StoreError(
            f"store: a newer brewwater wrote the data (format {found}; this one reads {FORMAT}). Update it."
        )
    return found


def create(connection: Connection, seal_unit: Callable[[Connection, int], None]) -> None:
    """Create the tables, or bring those of an earlier format to this one, in one transaction; two programs that start
    together do not collide. ``seal_unit`` seals a unit that has no seal yet."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(7203911846)"))
    found = format_of(connection)
    if found == FORMAT:
        return
    metadata.create_all(connection)
    if found is not None and found < 5 and connection.dialect.name == "sqlite":
        for table in _ERASABLE:  # a server's guard is one function for all tables, made anew with the gravestones
            connection.execute(text(f"DROP TRIGGER IF EXISTS {table.name}_no_DELETE"))
            connection.execute(_sqlite_guard(table, "DELETE"))
    if found == 1:
        for key in connection.execute(select(unit.c.key).order_by(unit.c.key)).scalars().all():
            seal_unit(connection, key)
    connection.execute(about.insert().values(format=FORMAT))
