"""In a real browser on a phone, with names as long as people write them: nothing cut off, nothing wider than its
place."""

from __future__ import annotations

import json
from typing import Any

import pytest

from brewwater.planning.document import PlanDocument, demo_document, load_document
from brewwater.store import Store
from brewwater.web.router import PAGES
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser
LONG = {
    "Chalkworth": "Upper Fernwick reservoir, northern pressure zone B",
    "Saltmarsh End": "Market hydrant of Little Sandwater-on-Quay",
    "Espresso machine": "Two-group espresso machine by the serving window",
}
# What is wider than its place, and what is written but cut: ellipses, and the line of a closed list.
AMISS = """() => {
  const main = document.querySelector('[data-testid=stMain]');
  const wide = e => e.scrollWidth > e.clientWidth + 1;
  const found = wide(main) ? [`the page: ${main.scrollWidth} > ${main.clientWidth}`] : [];
  for (const e of main.querySelectorAll('.bw-scroll')) if (wide(e)) found.push(`table ${e.getAttribute('aria-label')}`);
  for (const e of main.querySelectorAll('*')) {
    const cut = getComputedStyle(e).textOverflow === 'ellipsis' || e.matches('input[role=combobox]');
    if (cut && e.clientWidth > 1 && wide(e)) found.push(`cut: ${e.value || e.innerText}`);
  }
  return found;
}"""


def long_names() -> PlanDocument:
    text = json.dumps(as_document(demo_document()))
    for short, long in LONG.items():
        text = text.replace(short, long)
    return load_document(text)


def unfolded(page: Any) -> None:
    page.evaluate(
        "() => document.querySelectorAll('[data-testid=stMain] details:not([open]) > summary')"
        ".forEach(s => s.closest('.vega-embed') || s.click())"
    )
    page.wait_for_timeout(500)


def test_no_page_cuts_or_overflows_on_a_phone(kit, chromium, served, few_draws, monkeypatch) -> None:
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    with Store.open_default() as kept:
        ref = kept.create_unit("Long names").ref
        kept.save_plan(ref, as_document(few_draws(long_names())), 0)
    seen = kit.Watched(chromium, 390)
    seen.open(f"{address}/?unit={ref}")
    seen.planned()
    amiss, cards = {}, 0
    for place in (stop.address for stop in PAGES):
        seen.go("" if place == "plan" else place)
        unfolded(seen.page)
        if found := seen.page.evaluate(AMISS):
            amiss[place] = found
        if place in ("changes", "branches"):
            for table in seen.page.locator(".bw-broad table").all():
                assert table.evaluate("e => getComputedStyle(e).display") == "block"
                cards += table.locator("tbody tr").count()
    assert not amiss
    assert cards > 6
    seen.clean()
    seen.close()
