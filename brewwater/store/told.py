"""What was last told a person of a unit's dates, so that the first opening by new rules can say which moved and why."""

from __future__ import annotations

import datetime as dt
import json
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from brewwater.store import seal, tables
from brewwater.store.plans import PlanStore
from brewwater.store.text import canonical, sha256

if TYPE_CHECKING:
    from brewwater.plan import Plan
    from brewwater.planning.rules import MovedByRules, ToldDates


class ToldStore(PlanStore):
    """Adds what was told to the store."""

    def dates_moved(self, ref: str, plan: Plan) -> MovedByRules | None:
        """Which dates of a unit's plan moved by new rules since the person was last told; None where none did, and the
        dates are noted as told then.

        Parameters
        ----------
        ref : the unit
        plan : of the unit as it is saved, with its log
        """
        from brewwater.planning.rules import moved_by_rules, told_now  # a store that plans nothing loads no planner

        kept = self.plan(ref)
        if kept is None:
            return None
        told, now = self._told(ref), told_now(plan.scenario, plan.calendar)
        saved = dt.date.fromisoformat(kept.saved_at[:10])
        found = moved_by_rules(plan.scenario, plan.candidate, plan.calendar, told, saved)
        if found is None and told != now:
            self._tell(ref, now)
        return found

    def tell(self, ref: str, plan: Plan) -> None:
        """Note the dates of this plan as told."""
        from brewwater.planning.rules import told_now

        self._tell(ref, told_now(plan.scenario, plan.calendar))

    def _told(self, ref: str) -> ToldDates | None:
        """None where nothing was told, or what was noted is not whole: it is then told again."""
        from brewwater.planning.rules import ToldDates

        def work(c: Connection) -> ToldDates | None:
            t, key = tables.told.c, self._find(c, ref)[0]
            row = c.execute(select(tables.told).where(t.unit_key == key, t.person == self.person)).first()
            if row is None or not seal.body_is_whole(row.body, row.sha256):
                return None
            body = json.loads(row.body)
            dates = {name: dt.date.fromisoformat(day) for name, day in body["dates"].items()}
            return ToldDates(body["rules"], body["content"], dates)

        return self._run(work)

    def _tell(self, ref: str, told: ToldDates) -> None:
        dates = {name: day.isoformat() for name, day in told.dates.items()}
        body = canonical({"rules": told.rules, "content": told.content, "dates": dates})

        def work(c: Connection) -> None:
            t, key = tables.told.c, self._find(c, ref)[0]
            c.execute(tables.told.delete().where(t.unit_key == key, t.person == self.person))
            c.execute(tables.told.insert().values(unit_key=key, person=self.person, body=body, sha256=sha256(body)))

        self._run(work, write=True)
