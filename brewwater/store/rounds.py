"""What the round keeps: of each unit what was worked out once, the order a person goes in, the address of the feed."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, and_, func, select

import brewwater
from brewwater.store import seal, tables
from brewwater.store.people import UnitStore
from brewwater.store.records import SavedUnit
from brewwater.store.text import canonical, sha256

_FORM = 2  # of the rows kept; others are made again


@dataclass(frozen=True, slots=True)
class KeptRound:
    """A unit on the round.

    stamp : a text that stays the same while nothing changes of what its round follows from
    row : what was kept under that stamp; None where nothing was, or it is not whole
    """

    unit: SavedUnit
    stamp: str
    row: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class FeedSecret:
    """The secret part of a person's feed address: known when it is made, and never again."""

    text: str


class RoundStore(UnitStore):
    """Adds the round to the store."""

    def rounds(self) -> list[KeptRound]:
        """Every unit that the person may open, with what is kept of it; in as many queries for many as for one."""

        def work(c: Connection) -> list[KeptRound]:
            units = self._openable(c)
            keys = [key for key, _ in units]
            p, r, s, k = tables.plan.c, tables.reading.c, tables.shelf.c, tables.kept.c
            newest = select(p.unit_key, func.max(p.version).label("version")).where(p.unit_key.in_(keys))
            last = newest.group_by(p.unit_key).subquery()
            same = and_(p.unit_key == last.c.unit_key, p.version == last.c.version)
            plans = {
                row[0]: tuple(row[1:]) for row in c.execute(select(p.unit_key, p.version, p.sha256).join(last, same))
            }
            end = select(func.max(r.seq).label("seq")).where(r.unit_key.in_(keys)).group_by(r.unit_key).subquery()
            lines = {
                row[0]: tuple(row[1:])
                for row in c.execute(select(r.unit_key, r.seq, r.id).join(end, r.seq == end.c.seq))
            }
            shelf = c.execute(select(func.max(s.seq)).where(s.owner == self.person)).scalar()
            rows = c.execute(select(tables.kept).where(k.person == self.person, k.unit_key.in_(keys)))
            kept = {row.unit_key: row for row in rows}
            found = []
            for key, unit in units:
                stamp = sha256(repr((_FORM, plans.get(key), lines.get(key), shelf, brewwater.__version__)))
                row = kept.get(key)
                good = row is not None and row.stamp == stamp and seal.body_is_whole(row.body, row.sha256)
                found.append(KeptRound(unit, stamp, json.loads(row.body) if good and row is not None else None))
            return found

        return self._run(work)

    def keep_round(self, ref: str, stamp: str, row: dict[str, Any]) -> None:
        """Keep a row under a stamp, in place of the one before."""
        k, body = tables.kept.c, canonical(row)

        def work(c: Connection) -> None:
            key = self._find(c, ref)[0]
            c.execute(tables.kept.delete().where(k.unit_key == key, k.person == self.person))
            values = {"unit_key": key, "person": self.person, "stamp": stamp, "body": body, "sha256": sha256(body)}
            c.execute(tables.kept.insert().values(**values))

        self._run(work, write=True)

    # -- the order in which a person goes

    def round_order(self) -> list[str]:
        """The units in the order in which the person goes, by their refs; empty where none was chosen."""
        o = tables.round_order.c
        body = self._run(lambda c: c.execute(select(o.body).where(o.person == self.person)).scalar())
        try:
            found = json.loads(body or "[]")
        except ValueError:
            return []  # damaged: chosen again
        return [ref for ref in found if isinstance(ref, str)] if isinstance(found, list) else []

    def keep_round_order(self, refs: Sequence[str]) -> None:
        """Keep the order, in place of the one before; an empty one forgets it."""
        o = tables.round_order.c

        def work(c: Connection) -> None:
            c.execute(tables.round_order.delete().where(o.person == self.person))
            if refs:
                c.execute(tables.round_order.insert().values(person=self.person, body=canonical(list(refs))))

        self._run(work, write=True)

    # -- the address of the calendar feed

    def make_feed(self) -> FeedSecret:
        """A new secret for the person's feed; one that was made before opens nothing any more."""
        one, secret = secrets.token_hex(8), secrets.token_urlsafe(32)
        row = {"person": self.person, "id": one, "digest": _digest(secret), "made_at": self._stamp()}

        def work(c: Connection) -> FeedSecret:
            c.execute(tables.feed.delete().where(tables.feed.c.person == self.person))
            c.execute(tables.feed.insert().values(**row))
            return FeedSecret(f"{one}-{secret}")

        return self._run(work, write=True)

    def feed_made(self) -> str | None:
        """When the person's feed was made; None where there is none."""
        f = tables.feed.c
        return self._run(lambda c: c.execute(select(f.made_at).where(f.person == self.person)).scalar())

    def revoke_feed(self) -> None:
        """Shut the person's feed: its address opens nothing any more."""
        self._run(lambda c: c.execute(tables.feed.delete().where(tables.feed.c.person == self.person)), write=True)

    def feed_person(self, one: str, secret: str) -> tuple[bool, str | None]:
        """Whether there is a feed of that id, and whose it is where the secret is right."""
        f = tables.feed.c
        row = self._run(lambda c: c.execute(select(f.person, f.digest).where(f.id == one)).first())
        right = hmac.compare_digest(_digest(secret), row.digest if row else _digest(""))
        return row is not None, row.person if row is not None and right else None


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
