"""In a real browser, on a phone's and on a desk's width: busy days from a file, one set of dates on page and in the
calendar, a number traced to its checks, the picture of which test matters. Nothing wider than the screen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar

from brewwater.planning.document import PlanDocument, demo_document, load_document, mobile_template
from brewwater.store import Store
from brewwater.web.state import as_document

pytestmark = pytest.mark.browser
EVENTS = "name,start,end,drinks_per_day\nHarbour fair,2027-07-09,2027-07-11,420\nBroken,2027-13-01,,300\n"


@pytest.fixture(params=[(390, "dark"), (1280, "light")], ids=["phone", "desk"])
def opened(request, kit, chromium, served, few_draws, monkeypatch) -> Iterator[Any]:
    """Opens a document as a saved unit; at the end the console, the blocked hosts and the width are checked."""
    address, data = served
    monkeypatch.setenv("BREWWATER_DATA", str(data))
    seen = kit.Watched(chromium, *request.param)

    def open_(document: PlanDocument, draws: int = 64) -> Any:
        with Store.open_default() as kept:
            ref = kept.create_unit(document.name).ref
            kept.save_plan(ref, as_document(few_draws(document, draws)), 0)
        return seen.open(f"{address}/?unit={ref}")

    yield open_
    wide = seen.page.evaluate("() => document.querySelector('[data-testid=stMain]').scrollWidth - window.innerWidth")
    assert wide <= 0
    seen.clean()
    seen.close()


def searched(seen: Any) -> Any:
    seen.planned()
    return seen.settled()


def test_busy_days_from_a_file_are_looked_at_and_taken(opened, tmp_path: Path) -> None:
    seen = opened(demo_document())
    seen.go("days")
    place = tmp_path / "year.csv"
    place.write_text(EVENTS, encoding="utf-8")
    box = seen.page.locator(".st-key-box_events")
    box.locator("summary").click()
    box.locator("input[type=file]").set_input_files(str(place))
    look = seen.page.get_by_role("region", name="Events in the file")
    look.get_by_text("420 drinks a day").wait_for()
    out = seen.page.get_by_role("region", name="Entries left out")
    assert "row 3" in out.inner_text()
    held = int(box.locator("summary").inner_text().split("(")[1].split(")")[0])
    seen.press("events_accept")
    seen.page.get_by_text("1 added. Undo takes them out again.").wait_for()
    assert f"({held + 1})" in box.locator("summary").inner_text()
    assert not look.is_visible()
    seen.page.locator(".stVegaLiteChart canvas, .stVegaLiteChart svg").first.wait_for()
    seen.press("save")
    seen.page.get_by_text("Saved, version 2").wait_for()


def test_page_and_calendar_file_have_the_same_dates_when_changes_are_grouped(opened, tmp_path: Path) -> None:
    seen = searched(opened(demo_document()))
    seen.go("changes")
    table = seen.page.get_by_role("region", name="Change schedule")
    before = table.first.inner_text()
    seen.page.get_by_text("How dates are chosen").click()
    seen.fill("group_days", "30")
    seen.page.get_by_text("Changes within 30 days of each other are made at one visit.").wait_for()
    seen.page.wait_for_function(
        "old => document.querySelector('[aria-label=\"Change schedule\"]').innerText !== old", arg=before
    )
    seen.page.locator(".stProgress").first.wait_for(state="detached", timeout=60_000)
    seen.settled()
    seen.page.get_by_text("changes of the plan").click()
    rows = [row.locator("td").all_inner_texts() for row in table.last.locator("tbody tr").all()]
    shown = sorted(
        (dt.datetime.strptime(r[0].strip(), "%d %b %Y").date(), r[1].strip().split(", change")[0]) for r in rows
    )
    card = seen.page.locator(".bw-card", has_text="Next cartridge change").locator(".bw-value").first.inner_text()
    assert card == rows[0][0].strip()
    seen.go("files")
    seen.press("make_files")
    with seen.page.expect_download() as taken:
        seen.page.locator(".st-key-take_changes-ics button").first.click()
    place = tmp_path / "changes.ics"
    taken.value.save_as(place)
    parts = Calendar.from_ical(place.read_text(encoding="utf-8")).walk("VEVENT")
    told = [(part["DTSTART"].dt, str(part["SUMMARY"])) for part in parts]
    out = sorted(
        (day, text.split(" ", 1 if text.startswith("Change") else 2)[-1])
        for day, text in told
        if text.startswith(("Change ", "Throw away "))
    )
    assert out == shown


def test_a_number_is_traced_to_its_checks_with_the_keyboard(opened) -> None:
    seen = opened(demo_document())
    seen.go("sources")
    seen.page.locator(".st-key-trust_number input").focus()
    seen.page.keyboard.type("Conductivity")
    seen.page.keyboard.press("Enter")
    seen.page.get_by_role("region", name="Sources of the number").wait_for()
    checks = seen.page.get_by_role("region", name="Checks", exact=True)
    checks.get_by_text("0.01 M KCl").first.wait_for()
    assert checks.get_by_text("PEX").count() == 0
    seen.page.locator(".st-key-trust_number input").focus()
    seen.page.keyboard.type("All numbers")
    seen.page.keyboard.press("Enter")
    card = seen.page.get_by_role("region", name="Disagreements").locator(".bw-card", has_text="Handwash temperature")
    card.wait_for()
    card.locator("summary").focus()
    seen.page.keyboard.press("Enter")
    card.get_by_text("85 °F since 2022").wait_for()


def wide_water() -> PlanDocument:
    document = as_document(mobile_template())
    document["supplies"][0]["disinfectant"] = "unknown"
    document["supplies"][0]["analysis"] = {
        name: {"value": {"low": low, "high": high}, "unit": "mg/L", "method": "report"}
        for name, low, high in (
            ("total_hardness", 60, 300),
            ("alkalinity", 40, 260),
            ("total_dissolved_solids", 120, 480),
        )
    }
    return load_document(document)


def test_which_test_matters_is_a_picture_with_words(opened) -> None:
    seen = searched(opened(wide_water(), 256))
    seen.go("readings")
    seen.page.get_by_role("heading", name="Which test matters").wait_for()
    seen.page.locator(".stVegaLiteChart canvas, .stVegaLiteChart svg").first.wait_for()
    card = seen.page.locator(".bw-card", has_text="Total and free chlorine test, Your water")
    assert "a year" in card.locator(".bw-value").inner_text()
    assert "% of cases, worth about" in card.inner_text()
    assert seen.page.locator(".bw-card", has_text="pH strip, Your water").count() == 1


def test_the_two_plans_stand_line_by_line_with_when_it_is_paid_back(opened) -> None:
    seen = searched(opened(demo_document()))
    seen.go("cost")
    seen.page.locator(".stVegaLiteChart canvas, .stVegaLiteChart svg").first.wait_for()
    seen.page.get_by_text("The same two as a table that adds up").click()
    rows = seen.page.get_by_role("region", name="Two plans by line").locator("tbody tr").all()
    cells = [
        [float(c.replace("$", "").replace(",", "").replace("−", "-")) for c in row.inner_text().split("\t")[1:]]
        for row in rows
    ]
    for column in zip(*cells, strict=True):
        assert sum(column[:-1]) == pytest.approx(column[-1], abs=0.001)
    assert seen.page.get_by_text("at installation", exact=False).count() >= 2
