"""Leaving a tab with changes that are not saved asks first; leaving one where nothing was changed does not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from brewwater.planning.document import mobile_template
from brewwater.store import Store
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser


def test_leaving_asks_only_where_something_would_be_lost(
    kit: Any, chromium: Any, served: tuple[str, Path], few_draws: Any, monkeypatch: Any
) -> None:
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    with Store.open_default() as kept:
        ref = kept.create_unit("Leaving").ref
        kept.save_plan(ref, as_document(few_draws(mobile_template())), 0)
    seen = kit.Watched(chromium, 1280)
    asked: list[str] = []
    seen.page.on("dialog", lambda d: (asked.append(d.type), d.accept()))
    seen.open(f"{address}/?unit={ref}")
    seen.page.locator("[data-unsaved=no]").wait_for(state="attached")
    seen.page.wait_for_function("() => window.brewwaterLeaving")
    box = seen.page.locator(".st-key-hardness input").first
    box.click()  # a browser asks only where somebody has done something in the tab
    seen.page.reload()
    seen.page.locator("[data-unsaved=no]").wait_for(state="attached")
    assert asked == []

    seen.page.wait_for_function("() => window.brewwaterLeaving")
    seen.settled()
    box.click()
    box.press_sequentially("14")  # typed, not yet handed over
    seen.page.get_by_test_id("InputInstructions").wait_for()
    seen.page.reload()
    assert asked == ["beforeunload"]

    seen.page.locator("[data-unsaved=no]").wait_for(state="attached")
    seen.fill("hardness", "14")
    seen.page.locator("[data-unsaved=yes]").wait_for(state="attached")
    seen.page.reload()
    assert asked == ["beforeunload"] * 2
    seen.clean()
    seen.close()
