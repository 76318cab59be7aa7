"""Accessibility: axe finds no serious violation that an empty Streamlit page does not have."""

from __future__ import annotations

import json
from typing import Any

import pytest

from brewwater.planning.document import demo_document
from brewwater.store import Store
from brewwater.web.router import PAGES
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser
PLACES = [stop.address for stop in PAGES]


def serious(page: Any) -> dict[str, list[str]]:
    """Rules of serious or critical impact that are broken, with where."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(page).response["violations"]
    return {
        v["id"]: [f"{n['html'][:160]} {(n['any'] or [{}])[0].get('message', '')[:200]}" for n in v["nodes"]]
        for v in found
        if v["impact"] in ("serious", "critical")
    }


@pytest.fixture(scope="module")
def empty_page_breaks(kit, chromium, tmp_path_factory) -> frozenset[str]:
    folder = tmp_path_factory.mktemp("empty")
    script = folder / "empty.py"
    script.write_text("import streamlit as st\nst.title('Empty')\n", encoding="utf-8")
    with kit.serving(script, folder) as address:
        page = chromium.new_page()
        page.goto(address)
        page.get_by_role("heading", name="Empty").wait_for()
        found = frozenset(serious(page))
        page.close()
    return found


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_violation(kit, chromium, served, few_draws, monkeypatch, empty_page_breaks, scheme: str) -> None:
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    with Store.open_default() as kept:
        ref = kept.create_unit("Axe").ref
        kept.save_plan(ref, as_document(few_draws(demo_document())), 0)
    seen = kit.Watched(chromium, 1280, scheme)
    seen.open(f"{address}/?unit={ref}")
    seen.planned()
    broken: dict[str, dict[str, list[str]]] = {}
    for place in PLACES:
        seen.go("" if place == "plan" else place)
        seen.page.wait_for_timeout(500)
        new = {rule: nodes for rule, nodes in serious(seen.page).items() if rule not in empty_page_breaks}
        if new:
            broken[place] = new
    seen.close()
    assert not broken, json.dumps(broken, indent=1)
