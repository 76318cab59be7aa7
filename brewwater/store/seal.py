"""The seal of a unit: what its rows must add up to, so that a changed, missing or foreign row is noticed.

Each version of a plan and each line of a log carries the SHA-256 of its own text; those are chained, each link made
from the one before it, and the end of both chains stands in the unit's seal with the unit's own name and owner. Its
photos have a chain and a seal of the same kind beside it. It tells damage, not forgery: who can write to the database
can write a new seal.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, inspect, select

from brewwater.store import tables
from brewwater.store.text import sha256

START = ""
PLAN_COLUMNS = ("version", "saved_at", "saved_by", "note", "sha256")
LINE_COLUMNS = ("id", "sha256")
PHOTO_COLUMNS = ("id", "line_id", "sha256")
_ORIGIN_COLUMNS = ("number", "restored_at", "restored_by", "exported_at", "signature", "plans", "lines")
_UNIT_COLUMNS = ("owner", "slug", "name", "created_at")


@dataclass(frozen=True, slots=True)
class Condition:
    """What a check found of one unit.

    unit : its id; name : its display name, as they stand
    plans, lines : versions and log lines that are whole
    problem : what is damaged, in one line; empty where all is whole
    erased : the day on which it was erased, of a unit of which only the gravestone is left; else empty
    """

    unit: str
    name: str
    plans: int
    lines: int
    problem: str
    erased: str = ""


def link(before: str, values: Iterable[object]) -> str:
    """The next link of a chain. Any value is taken: damage may have made a number of a text."""
    return sha256(json.dumps([before, *values], ensure_ascii=True, default=repr))


def chain(rows: Iterable[Sequence[object]], start: str = START) -> str:
    """The end of a chain over rows, from ``start``."""
    for row in rows:
        start = link(start, row)
    return start


def body_is_whole(body: object, digest: object) -> bool:
    """Whether a kept text is the one that was written."""
    return isinstance(body, str) and sha256(body) == digest


def of_unit(c: Connection, key: int) -> str:
    """The link over what stands about the unit itself: owner, id, name, and where it was restored from."""
    o = tables.origin.c
    own = c.execute(select(*(tables.unit.c[n] for n in _UNIT_COLUMNS)).where(tables.unit.c.key == key)).one()
    origins = c.execute(select(*(o[n] for n in _ORIGIN_COLUMNS)).where(o.unit_key == key).order_by(o.number))
    return chain([own, *origins])


def plan_rows(c: Connection, key: int) -> list[Row[Any]]:
    """What the chain of the plans is made of, in order."""
    p = tables.plan.c
    return list(c.execute(select(*(p[n] for n in PLAN_COLUMNS)).where(p.unit_key == key).order_by(p.version)))


def line_rows(c: Connection, key: int) -> list[Row[Any]]:
    """What the chain of the log is made of, in order."""
    r = tables.reading.c
    return list(c.execute(select(*(r[n] for n in LINE_COLUMNS)).where(r.unit_key == key).order_by(r.seq)))


def make(c: Connection, key: int) -> None:
    """Seal a unit as it stands: a new one, or one of a store that had no seals yet."""
    plans, lines = plan_rows(c, key), line_rows(c, key)
    values = {"plans": len(plans), "plan_link": chain(plans), "lines": len(lines), "line_link": chain(lines)}
    c.execute(tables.seal.insert().values(unit_key=key, unit_link=of_unit(c, key), **values))


def whole_units(c: Connection, keys: Iterable[int]) -> set[int]:
    """Those of the units whose own entry is as sealed; all of them are looked at in three queries."""
    wanted = list(keys)
    u, o, s = tables.unit.c, tables.origin.c, tables.seal.c
    origins: dict[int, list[Sequence[object]]] = {}
    listed = select(o.unit_key, *(o[n] for n in _ORIGIN_COLUMNS)).where(o.unit_key.in_(wanted))
    for key, *row in c.execute(listed.order_by(o.unit_key, o.number)):
        origins.setdefault(key, []).append(row)
    units = c.execute(select(u.key, *(u[n] for n in _UNIT_COLUMNS)).where(u.key.in_(wanted)))
    links = {key: chain([own, *origins.get(key, ())]) for key, *own in units}
    sealed = c.execute(select(s.unit_key, s.unit_link).where(s.unit_key.in_(wanted)))
    return {key for key, end in sealed if links.get(key) == end}


def add_photo(c: Connection, key: int, row: Sequence[object]) -> None:
    """Take a new photo into the seal of the photos; ``row`` has the ``PHOTO_COLUMNS``."""
    s = tables.photo_seal.c
    before = c.execute(select(s.photos, s.photo_link).where(s.unit_key == key)).first()
    if before is None:
        c.execute(tables.photo_seal.insert().values(unit_key=key, photos=1, photo_link=link(START, row)))
        return
    new = tables.photo_seal.update().where(s.unit_key == key)
    c.execute(new.values(photos=before.photos + 1, photo_link=link(before.photo_link, row)))


def photos_problem(c: Connection, key: int) -> str:
    """What is wrong with the list of photos, or an empty text; the pictures themselves are not read."""
    s, p = tables.photo_seal.c, tables.photo.c
    sealed = c.execute(select(s.photos, s.photo_link).where(s.unit_key == key)).first()
    rows = c.execute(select(*(p[n] for n in PHOTO_COLUMNS)).where(p.unit_key == key).order_by(p.seq)).all()
    return _chain_problem(sealed, rows, "photo") if rows or sealed is not None else ""


def bytes_are_whole(body: object, digest: object) -> bool:
    """Whether kept bytes are those that were written."""
    return isinstance(body, bytes) and hashlib.sha256(body).hexdigest() == digest


def renew_unit(c: Connection, key: int) -> None:
    """Seal what stands about the unit itself anew, after it was changed on purpose."""
    c.execute(tables.seal.update().where(tables.seal.c.unit_key == key).values(unit_link=of_unit(c, key)))


def add_plan(c: Connection, key: int, row: Sequence[object]) -> None:
    """Take a new version into the seal; ``row`` has the ``PLAN_COLUMNS``."""
    s = tables.seal.c
    before = c.execute(select(s.plan_link).where(s.unit_key == key)).scalar_one()
    new = tables.seal.update().where(s.unit_key == key)
    c.execute(new.values(plans=s.plans + 1, plan_link=link(before, row)))


def add_lines(c: Connection, key: int, rows: Sequence[Sequence[object]]) -> None:
    """Take new lines of the log into the seal; each row has the ``LINE_COLUMNS``."""
    s = tables.seal.c
    before = c.execute(select(s.line_link).where(s.unit_key == key)).scalar_one()
    new = tables.seal.update().where(s.unit_key == key)
    c.execute(new.values(lines=s.lines + len(rows), line_link=chain(rows, before)))


def unit_problem(c: Connection, key: int) -> str:
    """What is wrong with the unit's own entry, or an empty text."""
    found = c.execute(select(tables.seal.c.unit_link).where(tables.seal.c.unit_key == key)).scalar()
    if found is None:
        return "its seal is missing"
    return "" if found == of_unit(c, key) else "its name or owner was changed by damage"


def plans_problem(c: Connection, key: int) -> str:
    """What is wrong with the list of versions, or an empty text; the documents themselves are not read."""
    s = tables.seal.c
    sealed = c.execute(select(s.plans, s.plan_link).where(s.unit_key == key)).first()
    return _chain_problem(sealed, plan_rows(c, key), "version")


def lines_problem(c: Connection, key: int, rows: Sequence[Sequence[object]]) -> str:
    """What is wrong with the log's lines, given as ``LINE_COLUMNS`` in their order, or an empty text."""
    s = tables.seal.c
    sealed = c.execute(select(s.lines, s.line_link).where(s.unit_key == key)).first()
    return _chain_problem(sealed, rows, "log line")


def _chain_problem(sealed: Sequence[Any] | None, rows: Sequence[Sequence[object]], what: str) -> str:
    if sealed is None:
        return "its seal is missing"
    count, end = sealed
    if chain(rows) == end:
        return ""
    if isinstance(count, int) and len(rows) != count:
        kind = "missing" if len(rows) < count else "too many"
        return f"{abs(count - len(rows))} {what}{'' if abs(count - len(rows)) == 1 else 's'} {kind}"
    return f"a {what} was changed by damage"


def gravestones(c: Connection) -> dict[int, str]:
    """The day on which each erased unit was erased, by its key; none in a copy of a format that knew no erasing."""
    g = tables.gravestone.c
    if not inspect(c).has_table(tables.gravestone.name):
        return {}
    return {row.unit_key: str(row.erased_at)[:10] for row in c.execute(select(g.unit_key, g.erased_at))}


def check(c: Connection) -> list[Condition]:
    """The condition of every unit, with all that is kept of it read and compared; rows of no unit come last."""
    found = []
    u, p, r = tables.unit.c, tables.plan.c, tables.reading.c
    units = c.execute(select(u.key, u.slug, u.name).order_by(u.key)).all()
    versions = select(p.version, p.document, p.sha256).order_by(p.version)
    with_photos = inspect(c).has_table(tables.photo.name)  # a dated copy may be of an older format
    erased = gravestones(c)
    for unit in units:
        plans = c.execute(versions.where(p.unit_key == unit.key)).all()
        lines = c.execute(select(r.id, r.sha256, r.body).where(r.unit_key == unit.key).order_by(r.seq)).all()
        bad_plans = [row.version for row in plans if not body_is_whole(row.document, row.sha256)]
        bad_lines = [n for n, row in enumerate(lines, start=1) if not body_is_whole(row.body, row.sha256)]
        bad_photos = _bad_photos(c, unit.key) if with_photos else []
        problems = [
            unit_problem(c, unit.key),
            plans_problem(c, unit.key),
            lines_problem(c, unit.key, [row[:2] for row in lines]),
            *(f"version {n} is damaged" for n in bad_plans),
            *(f"log line {n} is damaged" for n in bad_lines),
            *bad_photos,
        ]
        words = ", ".join(dict.fromkeys(filter(None, problems)))
        good = len(plans) - len(bad_plans), len(lines) - len(bad_lines)
        found.append(Condition(str(unit.slug), str(unit.name), *good, words, erased.get(unit.key, "")))
    known = {unit.key for unit in units}
    photos = (tables.photo, tables.photo_seal) if with_photos else ()
    for table in (tables.plan, tables.reading, tables.seal, *photos):
        keys = set(c.execute(select(table.c.unit_key).distinct()).scalars()) - known
        found += [Condition("?", "?", 0, 0, f"{table.name} has rows of a unit that is missing ({k})") for k in keys]
    return found


def _bad_photos(c: Connection, key: int) -> list[str]:
    p = tables.photo.c
    found = [photos_problem(c, key)]
    digests = c.execute(select(p.seq, p.sha256).where(p.unit_key == key).order_by(p.seq)).all()
    for number, row in enumerate(digests, start=1):  # one picture at a time in memory
        if not bytes_are_whole(c.execute(select(p.body).where(p.seq == row.seq)).scalar(), row.sha256):
            found.append(f"photo {number} is damaged")
    return found
