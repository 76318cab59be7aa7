"""What is typed and not saved is there again after a reload, in this browser and in no other."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from brewwater.planning.document import mobile_template
from brewwater.store import Store
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser


def shows(seen: Any, value: str) -> None:
    expect(seen.page.locator(".st-key-hardness input")).to_have_value(value)


def type_hardness(seen: Any, value: str) -> None:
    box = seen.page.locator(".st-key-hardness input")
    box.fill(value)
    box.press("Enter")
    seen.page.get_by_text("change not saved").wait_for()


def test_a_reload_loses_nothing(kit, chromium, served, few_draws, monkeypatch) -> None:
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    with Store.open_default() as kept:
        ref = kept.create_unit("Draft truck").ref
        kept.save_plan(ref, as_document(few_draws(mobile_template())), 0)
    seen = kit.Watched(chromium, 1280)
    seen.open(f"{address}/?unit={ref}")
    shows(seen, "")
    type_hardness(seen, "14")
    seen.open(f"{address}/?unit={ref}")
    seen.page.get_by_text("they are here again").wait_for()
    shows(seen, "14")

    other = kit.Watched(chromium, 390)
    other.open(f"{address}/?unit={ref}")
    shows(other, "")
    other.clean()
    other.close()

    seen.page.locator(".st-key-draft_drop button").click()
    seen.page.get_by_text("they are here again").wait_for(state="detached")
    shows(seen, "")
    seen.open(f"{address}/?unit={ref}")
    shows(seen, "")

    type_hardness(seen, "15")
    seen.page.locator(".st-key-save button").click()
    seen.page.get_by_text("saved, version 2").wait_for()
    seen.open(f"{address}/?unit={ref}")
    shows(seen, "15")
    assert seen.page.get_by_text("they are here again").count() == 0
    seen.clean()
    seen.close()
