"""The first page says once which dates new rules moved, for a saved unit without unsaved changes."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from brewwater.plan import make_plan
from brewwater.planning.document import PlanDocument, demo_document
from brewwater.store import Store, make_engine


def test_which_dates_moved_until_it_is_seen(open_page: Any, tmp_path: Path) -> None:
    raw = demo_document().model_dump(mode="json")
    raw["train"] = [{"name": "membrane", "medium": "reverse_osmosis", "recovery": 0.4}]
    raw["settings"] = raw["settings"] | {"draws": 64}
    typed = PlanDocument.model_validate(raw)
    store = Store(make_engine(), clock=lambda: dt.datetime(2026, 11, 2, tzinfo=dt.UTC))
    ref = store.create_unit("Truck A").ref
    store.save_plan(ref, typed.model_dump(mode="json"), 0)
    on = open_page(typed, make_plan(typed, search=False))
    desk = on.desk
    desk.ref, desk.version, desk.saved = ref, 1, desk.document
    on.run()
    (notice,) = [i.value for i in on.at.info if "Dates are reckoned differently" in i.value]
    assert "membrane" in notice and "near scaling" in notice
    on.at.button(key="dates_seen").click()
    on.run()
    assert not [i.value for i in on.at.info if "Dates are reckoned differently" in i.value]
    del desk.extra["dates_told"]  # opened again
    on.run()
    assert not [i.value for i in on.at.info if "Dates are reckoned differently" in i.value]
