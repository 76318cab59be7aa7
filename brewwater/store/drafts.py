"""Drafts: what somebody typed and has not saved, kept for each browser so that a reload loses nothing."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, and_, select

from brewwater.store import seal, tables
from brewwater.store.people import Document, UnitStore
from brewwater.store.text import document_text, sha256

KEPT_DAYS = 30
NO_UNIT = 0  # of a plan that was never saved


@dataclass(frozen=True, slots=True)
class PlanDraft:
    """A document as it was last typed, on top of ``version`` (0: never saved)."""

    document: Document
    version: int
    kept_at: str


class DraftStore(UnitStore):
    """Adds drafts to the store. They are a convenience: one that is damaged is none."""

    def keep_draft(self, browser: str, ref: str | None, document: Mapping[str, Any], version: int) -> None:
        """Keep a document as this browser's draft of a unit, in place of the one before; drafts of this person that
        are older than ``KEPT_DAYS`` go.

        Raises
        ------
        InputError : it cannot be kept
        StoreError : it could not be kept
        """
        body = document_text(document)
        row = {"version": version, "kept_at": self._stamp(), "body": body, "sha256": sha256(body)}
        oldest = (self._clock() - dt.timedelta(days=KEPT_DAYS)).astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        d = tables.draft.c

        def work(c: Connection) -> None:
            key = self._draft_of(c, ref)
            c.execute(tables.draft.delete().where(self._mine(browser, key)))
            c.execute(tables.draft.delete().where(d.person == self.person, d.kept_at < oldest))
            c.execute(tables.draft.insert().values(person=self.person, browser=browser, unit_key=key, **row))

        self._run(work, write=True)

    def draft(self, browser: str, ref: str | None) -> PlanDraft | None:
        """This browser's draft of a unit; None where there is none."""

        def work(c: Connection) -> PlanDraft | None:
            row = c.execute(select(tables.draft).where(self._mine(browser, self._draft_of(c, ref)))).first()
            if row is None or not seal.body_is_whole(row.body, row.sha256):
                return None
            return PlanDraft(json.loads(row.body), row.version, row.kept_at)

        return self._run(work)

    def drop_draft(self, browser: str, ref: str | None) -> None:
        """Forget this browser's draft of a unit."""
        self._run(
            lambda c: c.execute(tables.draft.delete().where(self._mine(browser, self._draft_of(c, ref)))), write=True
        )

    def _draft_of(self, c: Connection, ref: str | None) -> int:
        return NO_UNIT if ref is None else self._find(c, ref)[0]

    def _mine(self, browser: str, key: int) -> Any:
        d = tables.draft.c
        return and_(d.person == self.person, d.browser == browser, d.unit_key == key)
