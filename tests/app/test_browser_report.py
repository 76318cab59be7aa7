"""In a real browser, at both widths: a report as PDF to a plan in few presses, its page beside the values."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fpdf import FPDF
from playwright.sync_api import expect

from brewwater.planning.document import PlanDocument, mobile_template
from brewwater.store import Store
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser
TABLE = [
    ("Parameter", "Unit", "MCL", "Range", "Average"),
    ("Vanadium", "ppb", "-", "1 - 3", "2"),
    ("Total Hardness as CaCO3", "ppm", "-", "230 - 310", "268"),
    ("Total Alkalinity as CaCO3", "ppm", "-", "124 - 156", "140"),
    ("Bicarbonate alkalinity", "ppm", "-", "151 - 190", "171"),
    ("Calcium", "ppm", "-", "74 - 101", "87"),
    ("Magnesium", "ppm", "-", "10 - 15", "12.3"),
    ("Chloride", "ppm", "250", "14 - 26", "19"),
    ("Sulfate", "ppm", "250", "82 - 130", "105"),
    ("Sodium", "ppm", "-", "12 - 20", "16"),
    ("pH", "", "6.5 - 8.5", "7.3 - 7.8", "7.5"),
    ("Total Dissolved Solids", "ppm", "500", "345 - 425", "384"),
]


def printed_report(path: Path) -> Path:
    """Three pages; the figures stand on the second."""
    made = FPDF()
    for page in range(3):
        made.add_page()
        made.set_font("Helvetica", size=16)
        made.cell(0, 14, f"Chalkworth Water, page {page + 1} of 3", new_x="LMARGIN", new_y="NEXT")
        made.set_font("Helvetica", size=10)
        if page != 1:
            made.multi_cell(0, 6, "We look after your water from the spring to the tap. " * 12)
            continue
        for line in TABLE:
            for cell, width in zip(line, (70, 20, 30, 35, 25), strict=True):
                made.cell(width, 8, cell)
            made.ln(8)
    made.output(str(path))
    return path


@pytest.fixture(params=[390, 1280])
def opened(request, kit, chromium, served, few_draws, monkeypatch) -> Iterator[Any]:
    """A new unit on the page of reports."""
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    seen = kit.Watched(chromium, request.param)

    def go(document: PlanDocument) -> Any:
        with Store.open_default() as kept:
            ref = kept.create_unit(document.name).ref
            kept.save_plan(ref, as_document(few_draws(document)), 0)
        seen.open(f"{address}/?unit={ref}")
        seen.page.goto(f"{address}/report?unit={ref}")
        seen.page.locator(".st-key-report input[type=file]").wait_for(state="attached")
        return seen

    yield go
    seen.clean()
    seen.close()


def look(seen: Any, name: str) -> None:
    """A picture for a person, where a folder for them is named."""
    folder = os.environ.get("BREWWATER_LOOK")
    if folder:
        seen.page.screenshot(path=str(Path(folder) / f"{name}-{seen.width}.png"), full_page=True)


def to(seen: Any, address: str) -> None:
    """To another page of the same session, by its link."""
    if seen.width < 700:
        seen.page.get_by_test_id("stExpandSidebarButton").click()
        seen.page.wait_for_timeout(800)
    seen.page.locator(f'a[data-testid=stSidebarNavLink][href$="/{address}"]').click()
    seen.page.wait_for_timeout(800)
    seen.settled()


def test_a_pdf_to_a_plan_in_two_presses(opened, tmp_path: Path) -> None:
    seen = opened(mobile_template())
    place = printed_report(tmp_path / "chalkworth.pdf")
    seen.page.locator(".st-key-report input[type=file]").set_input_files(str(place))  # the first of at most five
    seen.page.get_by_text("values read").wait_for(timeout=60_000)
    seen.settled()
    picture = seen.page.locator("[data-testid=stImage] img, [data-testid=stImageContainer] img").first
    picture.wait_for()
    assert picture.evaluate("e => e.naturalWidth") >= 1000  # at reading size
    assert seen.page.get_by_text("Page 2. Boxed").is_visible()  # the page with the figures, not the first
    values = seen.page.get_by_role("region", name="Values read", exact=True)
    measures = values.locator("tbody tr").all_inner_texts()
    assert "ardness" in measures[0]  # what the plan needs comes first; vanadium is folded away
    assert not any("anadium" in m for m in measures)
    look(seen, "report")
    seen.press("report_use")
    seen.page.get_by_text("values read").wait_for(state="detached")
    to(seen, "")
    seen.planned()
    expect(seen.page.locator(".st-key-hardness input")).to_have_value(re.compile("[1-9]"), timeout=30_000)


def test_a_tested_water_is_kept_until_a_person_says_otherwise(opened, tmp_path: Path) -> None:
    document = mobile_template()
    tested = {"value": {"low": 250, "high": 250}, "unit": "mg/L", "basis": "CaCO3", "method": "drop_kit"}
    supply = document.supplies[0].model_copy(update={"name": "My own tap"})
    made = as_document(document) | {"supplies": [as_document(supply) | {"analysis": {"total_hardness": tested}}]}
    for fill in made["fill"]["fills"]:
        fill["supply"] = "My own tap"
    seen = opened(PlanDocument.model_validate(made))
    place = printed_report(tmp_path / "chalkworth.pdf")
    seen.page.locator(".st-key-report input[type=file]").set_input_files(str(place))
    seen.page.get_by_text("values that were tested or typed").wait_for(timeout=60_000)
    look(seen, "report-tested")
    seen.press("report_use")
    seen.page.get_by_text("values read").wait_for(state="detached")
    to(seen, "water")
    region = seen.page.get_by_role("region", name="Known values")
    region.get_by_text("124 – 156").first.wait_for()  # what the report adds
    assert region.get_by_text("230 – 310").count() == 0  # measured beats reported
    region.get_by_text("250").first.wait_for()
