"""Who may come in: sign-ins that run out, sessions that were ended, people whom the keeper shut out.

Every server asks the same database at each action, so that nobody has to be told. Decisions are rows that are only
ever added; the last one about a person counts, and a sign-in from before it stays worth nothing.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import Connection, select, union

from brewwater.store import access, tables
from brewwater.store.people import UnitStore

Refused = Literal["expired", "ended", "out"]


@dataclass(frozen=True, slots=True)
class KnownPerson:
    """A person whom the store knows: how many units are theirs, and where they are shut out, since when (UTC)."""

    person: str
    units: int
    out_since: str | None


class AdmissionStore(UnitStore):
    """Adds to the store who is let in."""

    def refused(self, sign_in: access.SignIn, hours: int, now_s: float) -> Refused | None:
        """Why a sign-in opens nothing (any more), or None.

        ``hours`` is how long a sign-in lasts; ``now_s`` the present time in seconds since 1970.
        """
        a = tables.admission.c
        asked = select(a.session, a.let_in, a.decided_at).where(
            a.person == sign_in.person, a.session.in_(["", sign_in.session])
        )

        def work(c: Connection) -> Refused | None:
            rows = c.execute(asked.order_by(a.seq)).all()
            if any(row.session for row in rows):
                return "ended"
            if rows and not rows[-1].let_in:
                return "out"
            return "ended" if rows and sign_in.at <= self._seconds(rows[-1].decided_at) else None

        if now_s >= sign_in.at + 3600 * hours:
            return "expired"
        return self._run(work)

    def is_out(self, person: str) -> bool:
        """Whether the keeper has shut a person out."""
        a = tables.admission.c
        last = select(a.let_in).where(a.person == person, a.session == "").order_by(a.seq.desc()).limit(1)
        return self._run(lambda c: c.execute(last).scalar()) in (False, 0)

    def end_session(self, sign_in: access.SignIn) -> None:
        """End one session for good, in every tab and for every copy of its cookie."""
        self._decide(sign_in.person, False, sign_in.session)

    def shut_out(self, person: str) -> str:
        """Shut a person out, at their next action on every server; what is theirs stays. Returns their name here.

        Raises
        ------
        InputError : not an address
        """
        return self._decide(access.person_id(person), False)

    def let_in(self, person: str) -> str:
        """Let a person sign in again; every session from before is ended. Returns their name here.

        Raises
        ------
        InputError : not an address
        """
        return self._decide(access.person_id(person), True)

    def people(self) -> list[KnownPerson]:
        """Everyone who has a unit, opens one of others, or about whom it was decided; by name."""
        u, s, a = tables.unit.c, tables.share.c, tables.admission.c

        def work(c: Connection) -> list[KnownPerson]:
            names = c.execute(union(select(u.owner), select(s.person), select(a.person))).scalars().all()
            owners = list(c.execute(select(u.owner)).scalars())
            last = {r.person: r for r in c.execute(select(tables.admission).where(a.session == "").order_by(a.seq))}
            return [
                KnownPerson(n, owners.count(n), last[n].decided_at if n in last and not last[n].let_in else None)
                for n in sorted(names)
            ]

        return self._run(work)

    def _decide(self, person: str, let_in: bool, session: str = "") -> str:
        row = {"person": person, "session": session, "let_in": let_in, "decided_by": self.person}
        new = tables.admission.insert().values(**row, decided_at=self._stamp())
        self._run(lambda c: c.execute(new), write=True)
        return person

    def _seconds(self, stamp: str) -> float:
        try:
            return dt.datetime.fromisoformat(stamp).timestamp()
        except (TypeError, ValueError):
            raise self.damaged("the list of who is let in is damaged") from None
