"""Moving the rinser on the Branches page: gallons, change, cost and pressure move with one repaint."""

from __future__ import annotations

import datetime as dt
import re
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import TimeoutError as PlaywrightTimeout

from brewwater.cost import CostInput
from brewwater.planning.document import PlanDocument, mobile_template, with_overrides
from brewwater.plumbing import Pump
from brewwater.reports.analysis import Measurement
from brewwater.store import Store
from brewwater.treatment import DataSheet, Stage
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser
LABELS = ("Filtered on a service day", "Next cartridge change", "A year costs", "Pressure at the machine")
# what every repaint of the four figures held, in order
RECORD = """labels => {
  const read = () => Object.fromEntries(labels.map(label => {
    const card = [...document.querySelectorAll('.bw-card')].find(c =>
      c.querySelector('.bw-label')?.innerText === label);
    return [label, card ? card.querySelector('.bw-value').innerText : null];
  }));
  window.seen = [read()];
  new MutationObserver(() => {
    const now = read(), last = window.seen[window.seen.length - 1];
    if (labels.every(l => now[l] !== null) && labels.some(l => now[l] !== last[l])) window.seen.push(now);
  }).observe(document.body, {childList: true, subtree: true, characterData: true});
}"""


def truck() -> PlanDocument:
    """A unit of given water and prices, so that only the rinser moves the figures."""
    soft = {"total_hardness": 70.0, "alkalinity": 55.0, "total_dissolved_solids": 120.0, "ph": 7.2}
    typed = {
        k: Measurement.model_validate({"value": v, "unit": "NONE" if k == "ph" else "mg/L"}) for k, v in soft.items()
    }
    sheet = DataSheet.model_validate(
        {
            "service_flow_gpm": 1.5,
            "clean_pressure_drop_psi": 4,
            "drop_at_flow_gpm": 1.5,
            "rated_gal": 500,
            "price": 60,
        }
    )
    document = with_overrides(mobile_template(), analysis=typed)
    return document.model_copy(
        update={
            "train": (Stage(name="Carbon", medium="carbon", sheet=sheet),),
            "money": CostInput.model_validate(
                {"prices": {"head": 40, "test_kit": 20, "water_gal": 0.01, "descale": 60}}
            ),
            "unit": document.unit.model_copy(
                update={"pump": Pump(cut_in_psi=40, cut_out_psi=55, flow_gpm=4), "fresh_tank_gal": 40.0}
            ),
        }
    )


def number(text: str) -> float:
    return float(re.sub(r"[^0-9.]", "", text))


def day(text: str) -> dt.date:
    found = re.search(r"\d{1,2} [A-Z][a-z]{2} \d{4}", text)
    assert found, text
    return dt.datetime.strptime(found.group(), "%d %b %Y").date()


@pytest.mark.parametrize("width", [390, 1280])
def test_the_rinser_behind_the_filters(
    width: int, kit: Any, chromium: Any, served: tuple[str, Path], few_draws: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    seen = kit.Watched(chromium, width)
    with Store.open_default() as kept:
        ref = kept.create_unit("Rinser truck").ref
        kept.save_plan(ref, as_document(few_draws(truck())), 0)
    seen.open(f"{address}/?unit={ref}")
    seen.go("branches")
    page = seen.page
    page.locator(".bw-label", has_text="Pressure at the machine").first.wait_for()
    page.wait_for_function("() => !document.body.innerText.includes('Looking')")
    page.evaluate(RECORD, list(LABELS))
    place = page.locator(".st-key-place_1", has_text="Pitcher rinser")
    place.locator("[data-baseweb=select], [role=combobox], input").first.click()
    page.get_by_role("option", name="behind the filters").click()
    page.wait_for_function("() => window.seen.length > 1")
    seen.settled()
    steps = page.evaluate("() => window.seen")
    before, after = steps[0], steps[1]
    assert number(after[LABELS[0]]) > 1.2 * number(before[LABELS[0]])  # gallons
    assert day(after[LABELS[1]]) < day(before[LABELS[1]])  # the change comes sooner
    # cartridges are bought whole: where as many are bought in the year, more gallons through them cost the same
    assert number(after[LABELS[2]]) >= number(before[LABELS[2]])  # money
    assert number(after[LABELS[3]]) < number(before[LABELS[3]]) - 1  # psi at the inlet
    assert len(steps) == 2, "one repaint, no more"
    seen.clean()
    seen.close()


def test_a_row_of_the_pipe_table_hangs_the_rinser_behind_the_filters(
    kit: Any, chromium: Any, served: tuple[str, Path], few_draws: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    seen = kit.Watched(chromium, 1280)
    with Store.open_default() as kept:
        ref = kept.create_unit("Pipe truck").ref
        kept.save_plan(ref, as_document(few_draws(truck())), 0)
    seen.open(f"{address}/?unit={ref}")
    seen.go("branches")
    page = seen.page
    page.wait_for_function("() => !document.body.innerText.includes('Looking')")
    page.get_by_text("Every part of the pipe: drawing and table").click()
    page.locator(".st-key-pipes_shown label").first.click()
    table = page.get_by_test_id("stDataFrame")
    table.wait_for()
    page.get_by_role("button", name="Back to the usual pipe").wait_for(state="detached")
    card = page.locator(".bw-card", has_text="Filtered on a service day").locator(".bw-value").first
    before = number(card.inner_text())
    # the row of the rinser's valve, by the table's own text for screen readers
    page.set_viewport_size({"width": 1280, "height": 3000})
    find = """() => [...document.querySelectorAll('[data-testid=stDataFrame] [role=row]')]
        .findIndex(r => r.textContent.includes('valve of Pitcher rinser'))"""
    page.wait_for_function(f"() => ({find})() > 0")
    row = page.evaluate(find)
    # the drawing above comes late and pushes the table down, and a canvas takes a click where it then is
    page.get_by_test_id("stGraphVizChart").locator("svg .node").first.wait_for()
    table.scroll_into_view_if_needed()
    chosen = page.locator(f"#glide-cell-3-{row - 1}[aria-selected=true]")
    now = page.locator("[id^=glide-cell-][aria-selected=true]")
    for _ in range(8):  # what still arrives above moves the table between the look and the click
        table.evaluate(kit.AT_REST)
        box = table.bounding_box()
        assert box is not None
        page.mouse.click(box["x"] + box["width"] * 0.47, box["y"] + 35 * row + 17)
        with suppress(PlaywrightTimeout):  # a second click on a cell would open it, so it is given its time
            now.first.wait_for(state="attached", timeout=5_000)
            # the widths of the columns are the browser's: from the cell that was met the arrow keys go on
            column, line = (int(part) for part in (now.first.get_attribute("id") or "").split("-")[2:])
            right, down = 3 - column, row - 1 - line
            for key, steps in (("Right", right), ("Left", -right), ("Down", down), ("Up", -down)):
                for _ in range(steps):
                    page.keyboard.press(f"Arrow{key}")
            chosen.wait_for(state="attached", timeout=5_000)
            break
        page.keyboard.press("Escape")  # whatever it opened instead
    chosen.wait_for(state="attached")
    choice = page.get_by_role("option", name="tee after the filters", exact=True)
    for _ in range(8):  # the grid takes the keyboard some time after it shows the cell as chosen
        page.keyboard.press("Enter")
        with suppress(PlaywrightTimeout):  # and opens its list in its own time: another Enter would shut it again
            choice.wait_for(timeout=5_000)
            break
    choice.click()
    page.get_by_role("button", name="Back to the usual pipe").wait_for()
    seen.settled()
    assert number(card.inner_text()) > 1.2 * before
    seen.clean()
    seen.close()
