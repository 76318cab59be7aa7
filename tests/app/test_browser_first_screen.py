"""After one look at the first screen, without scrolling, one can say what is wrong with the water, what to buy, when
to change and what it costs; on a phone and on a desk."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from brewwater.planning.document import PlanDocument, demo_document
from brewwater.store import Store
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser
HEIGHT = {390: 844, 1280: 900}
# what a person sees: the text of every element that lies wholly in the window and is not hidden
IN_SIGHT = """height => {
  const seen = [];
  const walk = document.createTreeWalker(document.querySelector('[data-testid=stMain]'), NodeFilter.SHOW_TEXT);
  for (let node; node = walk.nextNode();) {
    const text = node.textContent.trim(), box = node.parentElement;
    if (!text || !box.checkVisibility()) continue;
    const range = document.createRange(); range.selectNodeContents(node);
    const at = range.getBoundingClientRect();
    if (at.width > 1 && at.top >= 0 && at.bottom <= height && at.right <= innerWidth + 1) seen.push(text);
  }
  return seen.join(' | ');
}"""


def opened(
    kit: Any, chromium: Any, address: str, data: Path, document: PlanDocument, width: int, monkeypatch: Any
) -> Any:
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    with Store.open_default() as kept:
        ref = kept.create_unit(f"First look {width} {document.supplies[0].notice}").ref
        kept.save_plan(ref, as_document(document), 0)
    seen = kit.Watched(chromium, width)
    seen.page.set_viewport_size({"width": width, "height": HEIGHT[width]})
    return seen.open(f"{address}/?unit={ref}").planned()


@pytest.mark.parametrize("width", [390, 1280])
def test_four_answers_without_scrolling(
    kit: Any, chromium: Any, served: tuple[str, Path], few_draws: Any, found: Any, monkeypatch: Any, width: int
) -> None:
    address, data = served
    seen = opened(kit, chromium, address, data, few_draws(demo_document()), width, monkeypatch)
    text = seen.page.evaluate(IN_SIGHT, HEIGHT[width])
    # what is wrong with the water
    assert "Chalkworth is too hard" in text
    # when to change: a day of the plan's calendar, and what
    first = found.calendar.dues[0]
    assert isinstance(first.date, dt.date)
    assert f"{first.date:%a, %b} {first.date.day}" in text
    assert first.cartridge.split()[0] in text
    # what it costs
    assert f"${float(found.candidate.cost.expected):,.0f}" in text
    assert f"${float(found.candidate.cost.first_set):,.0f}" in text
    # what to buy: every stage by its name
    for name in ("Sediment", "Carbon"):
        assert name in text
    # and three verdicts
    for subject in ("Cup", "Scale", "Corrosion"):
        assert subject in text
    seen.clean()
    seen.close()


@pytest.mark.parametrize("width", [390, 1280])
def test_a_safety_stop_stands_before_all(
    kit: Any, chromium: Any, served: tuple[str, Path], few_draws: Any, monkeypatch: Any, width: int
) -> None:
    address, data = served
    document = few_draws(demo_document())
    bad = document.supplies[0].model_copy(update={"notice": "do_not_drink"})
    document = document.model_copy(update={"supplies": (bad, *document.supplies[1:]), "train": ()})
    seen = opened(kit, chromium, address, data, document, width, monkeypatch)
    stop = seen.page.locator(".bw-halt")
    assert "Do not serve water from Chalkworth" in stop.inner_text()
    top = stop.bounding_box()["y"]
    for other in (".bw-headline", ".bw-facts", ".bw-verdicts"):
        assert top < seen.page.locator(other).bounding_box()["y"]
    assert top + stop.bounding_box()["height"] < HEIGHT[width] / 3
    seen.close()
