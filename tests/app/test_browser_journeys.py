"""The eight journeys in a real browser, on a phone's and on a desk's width: other hosts blocked, console clean."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from brewwater.planning.document import PlanDocument, demo_document, mobile_template
from brewwater.store import Store
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser
REPORT = """analyte,low,typical,high,unit,supply
Total hardness,250,270,290,mg/L as CaCO3,Hill zone
Alkalinity,200,220,240,mg/L as CaCO3,Hill zone
Chloride,12,15,18,mg/L,Hill zone
Total hardness,40,50,60,mg/L as CaCO3,Shore zone
Alkalinity,30,35,40,mg/L as CaCO3,Shore zone
"""


class Unit:
    """A saved unit open in a browser."""

    def __init__(self, seen: Any, address: str, ref: str) -> None:
        self.seen, self.address, self.ref = seen, address, ref
        self.page = seen.page

    def card(self, label: str) -> str:
        """What stands in the figure with a label, folded or not."""
        return self.page.locator(".bw-card", has_text=label).locator(".bw-value").first.text_content() or ""

    def searched(self) -> None:
        self.seen.planned()


@pytest.fixture(params=[390, 1280])
def open_unit(request, kit, chromium, served, few_draws, monkeypatch) -> Iterator[Any]:
    """Opens a document as a saved unit of its own; at the end the console and the blocked hosts are checked."""
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    seen = kit.Watched(chromium, request.param)

    def opened(document: PlanDocument) -> Unit:
        with Store.open_default() as kept:
            ref = kept.create_unit(document.name).ref
            kept.save_plan(ref, as_document(few_draws(document)), 0)
        seen.open(f"{address}/?unit={ref}")
        return Unit(seen, address, ref)

    yield opened
    seen.clean()
    seen.close()


def test_1_three_numbers_to_a_first_plan(open_unit) -> None:
    unit = open_unit(mobile_template())
    before = unit.seen.stamp()
    for key, value in (("hardness", "17"), ("alkalinity", "240"), ("tds", "420"), ("drinks", "120")):
        unit.seen.fill(key, value)
    unit.page.wait_for_function("old => document.querySelector('.st-key-plan_stamp p').innerText !== old", arg=before)
    unit.searched()
    assert "stages" in unit.page.locator(".bw-headline").inner_text()
    assert unit.card("A year costs").startswith("$")
    kept = unit.seen.stamp()
    unit.seen.fill("hardness", "-5")
    unit.page.get_by_text("is not usable").wait_for()
    assert unit.seen.stamp() == kept


def test_1_a_new_owner_starts_from_the_demo(open_unit) -> None:
    unit = open_unit(demo_document())
    unit.seen.go("units")
    unit.seen.press("from_demo")
    unit.seen.go("")
    unit.seen.press("own_start")
    unit.page.get_by_role("heading", name="Plan my own water").wait_for()
    for key, value in (("hardness", "290"), ("alkalinity", "240"), ("tds", "420"), ("drinks", "120")):
        unit.seen.fill(f"own_{key}", value)
    unit.seen.press("own_make")
    unit.page.locator(".st-key-own_make").wait_for(state="detached")
    unit.searched()
    assert unit.page.locator(".st-key-hardness input").input_value() == "16.94"  # 290 ppm in grains
    assert unit.page.locator(".st-key-supply").count() == 0  # one water, no town of the demo
    assert unit.card("A year costs").startswith("$")


def test_1_the_search_can_be_stopped_and_taken_up_again(open_unit) -> None:
    unit = open_unit(demo_document())
    unit.searched()
    unit.seen.fill("hardness", "16.4" if unit.seen.width < 700 else "16.6")  # searched by none before
    unit.seen.press("search_stop")
    unit.page.locator(".st-key-search_again button").wait_for()
    unit.seen.press("search_again")
    unit.page.locator(".st-key-search_strip").wait_for()
    unit.searched()


def test_2_a_report_a_supply_a_corrected_value(open_unit, tmp_path: Path) -> None:
    unit = open_unit(mobile_template())
    unit.seen.go("report")
    place = tmp_path / "zones.csv"
    place.write_text(REPORT, encoding="utf-8")
    unit.page.locator(".st-key-report input[type=file]").set_input_files(str(place))
    unit.page.get_by_text("values read").wait_for()
    unit.seen.press("report_use")
    unit.seen.go("water")
    unit.page.get_by_role("region", name="Known values").get_by_text("250 – 290 mg/L as CaCO3").wait_for()
    unit.seen.fill("value_0_total_hardness", "260 - 280")
    unit.page.get_by_role("region", name="Known values").get_by_text("260 – 280 mg/L as CaCO3").wait_for()
    unit.seen.go("")
    unit.searched()
    assert unit.page.locator(".st-key-hardness input").input_value() == "15.77"


def test_3_two_treatments_and_two_towns_side_by_side(open_unit) -> None:
    document = demo_document()
    unit = open_unit(document)
    unit.searched()
    unit.seen.go("compare")
    table = unit.page.get_by_role("region", name="Cartridges and money side by side")
    table.wait_for()
    for supply in document.supplies[:2]:
        assert table.get_by_role("columnheader", name=supply.name).is_visible()
    unit.page.locator(".st-key-beside_each label").first.click()
    unit.page.get_by_text(re.compile("^Planning ")).wait_for()
    unit.seen.press("towns_stop")
    unit.page.get_by_text("This was stopped").wait_for()
    unit.seen.press("towns_go_on")
    table.wait_for()
    unit.page.locator(".st-key-beside_what label", has_text="Two treatments").click()
    unit.page.get_by_text("Compare this plan with").wait_for()
    table.get_by_role("columnheader", name="Present").wait_for()
    assert "A year costs, expected" in table.inner_text()
    unit.seen.settled()
    unit.page.wait_for_function("() => document.querySelectorAll('.stVegaLiteChart').length === 2")


def test_4_move_a_branch_and_watch(open_unit) -> None:
    unit = open_unit(demo_document())
    unit.searched()
    before = unit.card("Filtered on a service day")
    unit.page.locator(".st-key-filtered_1 label").first.click()
    unit.page.wait_for_function(
        "old => ![...document.querySelectorAll('.bw-card')].some(c => c.innerText.includes('Filtered on a service day')"
        " && c.querySelector('.bw-value').innerText === old)",
        arg=before,
    )
    unit.seen.go("branches")
    unit.page.locator(".stGraphVizChart svg").wait_for()
    assert unit.page.locator(".stGraphVizChart svg text", has_text=re.compile("^FILTERED$")).count() == 2
    assert unit.page.locator(".stGraphVizChart svg text", has_text=re.compile("^unfiltered$")).count() == 2


def test_5_the_years_calendar(open_unit) -> None:
    unit = open_unit(mobile_template())
    unit.seen.go("days")
    unit.page.get_by_text("Busy days (0)").click()
    unit.seen.press("events_add")
    unit.page.get_by_text("Busy days (1)").wait_for()
    unit.seen.fill("event_size_0", "3")
    unit.page.locator(".stVegaLiteChart canvas, .stVegaLiteChart svg").first.wait_for()
    unit.page.get_by_text("Change not saved").wait_for()
    unit.seen.press("save")
    unit.page.get_by_text("Saved, version 2").wait_for()


def test_6_a_reading_moves_the_date(open_unit) -> None:
    unit = open_unit(demo_document())
    unit.searched()
    unit.seen.go("readings")
    before = unit.card("Next cartridge change")
    for day, gallons in (("2027-04-01", "0"), ("2027-05-01", "384")):
        unit.page.locator(".st-key-reading_date [role=spinbutton]").first.click()
        unit.page.keyboard.type(day.replace("-", ""))
        unit.page.keyboard.press("Escape")
        unit.page.keyboard.press("Tab")
        unit.seen.settled()
        unit.seen.fill("reading_value", gallons)
        unit.seen.press("reading_add")
        unit.page.get_by_text("is in the log").wait_for()
    unit.page.get_by_role("heading", name="What the readings moved").wait_for()
    assert unit.card("Next cartridge change") != before


def test_7_print_the_calendar_the_document(open_unit, tmp_path: Path) -> None:
    unit = open_unit(demo_document())
    unit.searched()
    unit.seen.go("files")
    unit.seen.press("make_files")
    for key, start in (("take_plan-pdf", b"%PDF"), ("take_changes-ics", b"BEGIN:VCALENDAR"), ("document_down", b"{")):
        with unit.page.expect_download() as taken:
            unit.page.locator(f".st-key-{key} button").first.click()
        place = tmp_path / key
        taken.value.save_as(place)
        assert place.read_bytes().startswith(start)


def test_8_several_units_side_by_side(open_unit) -> None:
    first = open_unit(mobile_template())
    unit = open_unit(demo_document())
    unit.seen.go("units")
    table = unit.page.get_by_role("region", name="Units side by side")
    table.wait_for()
    assert "Homework" in table.inner_text()
    unit.page.locator(f".st-key-open_{first.ref} button").click()
    unit.page.get_by_text("Mobile unit", exact=False).first.wait_for()
    unit.page.wait_for_url(re.compile(f"unit={first.ref}"))
    unit.page.reload()
    unit.page.locator("h1").first.wait_for()
    unit.page.locator(".stMarkdown", has_text="Mobile unit").first.wait_for()
