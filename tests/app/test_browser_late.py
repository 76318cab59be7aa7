"""In a real browser on a slow line: the code of the fields comes after a second run of the page. Nothing is cleared."""

from __future__ import annotations

import time
from typing import Any

import pytest

from brewwater.planning.document import demo_document
from brewwater.store import Store
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser
FIELDS = ("hardness", "alkalinity", "tds", "drinks")


def test_fields_that_come_late_show_the_plan_and_clear_nothing(
    kit: Any, chromium: Any, served: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    demo = demo_document()
    own = demo.model_copy(update={"settings": demo.settings.model_copy(update={"seed": 4711})})  # not searched before
    with Store.open_default() as kept:
        ref = kept.create_unit("Slow line").ref
        kept.save_plan(ref, as_document(own), 0)
    seen = kit.Watched(chromium, 390, "light")
    waiting: list[Any] = []
    seen.page.route("**/NumberInput*.js", lambda route: waiting.append(route))
    seen.page.goto(f"{address}/?unit={ref}")
    stamp = seen.page.locator(".st-key-plan_stamp p")
    stamp.wait_for()
    before, until = stamp.inner_text(), time.monotonic() + 60
    while stamp.inner_text() == before and time.monotonic() < until:  # the search's answer: the page runs once more
        seen.page.wait_for_timeout(100)
    assert stamp.inner_text() != before
    assert waiting, "the code of the number fields was not asked for"
    for route in waiting:
        route.continue_()
    box = {key: seen.page.locator(f".st-key-{key} input") for key in FIELDS}
    box["drinks"].wait_for()
    seen.page.wait_for_function("() => document.querySelector('.st-key-drinks input').value")
    shown = {key: one.input_value() for key, one in box.items()}
    assert all(shown.values()), shown
    seen.fill("tds", "400")
    seen.page.wait_for_timeout(500)
    seen.settled()
    assert {key: one.input_value() for key, one in box.items()} == {**shown, "tds": "400"}
    assert seen.page.get_by_text("is not usable").count() == 0
    seen.clean()
    seen.close()
