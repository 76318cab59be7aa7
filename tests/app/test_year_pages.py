"""Changes, cost, readings, units, files, sources: every control and every fault."""

from __future__ import annotations

import datetime as dt
import json
import time

import pytest

from brewwater.planning.document import demo_document, load_document
from brewwater.store import Store
from brewwater.web import state

# -- changes


def test_the_schedule_lists_every_change_and_when_to_order(ready) -> None:
    ready.go("changes")
    html = ready.html()
    for one in ready.desk.extra["found"].popitem()[1].candidate.cartridges:
        assert one.stage.name in html
    assert "Order by" in html


def test_the_margin_is_the_readers_and_stays_in_its_limits(ready) -> None:
    ready.go("changes")
    ready.at.number_input(key="margin").set_value(0.6)
    ready.run()
    assert ready.document.policy.margin == 0.6
    ready.at.number_input(key="margin").set_value(1.4)
    ready.run()
    assert len(ready.errors()) == 1
    assert ready.document.policy.margin == 0.6


def test_delivery_days_are_part_of_the_plan_and_move_the_orders(ready) -> None:
    ready.go("changes")
    before = ready.html()
    ready.at.number_input(key="lead_days").set_value(21)
    ready.run()
    assert ready.document.policy.lead_days == 21
    assert ready.html() != before
    ready.at.button(key="undo").click()
    ready.run()
    assert ready.document.policy.lead_days == 7
    assert ready.at.number_input(key="lead_days").value == 7


# -- cost


def test_a_price_of_ones_own_takes_the_placeholder_away(ready) -> None:
    ready.go("cost")
    ready.at.text_input(key="price_test_kit").set_value("25")
    ready.run()
    assert ready.document.money.prices.test_kit.middle == 25
    ready.at.text_input(key="price_test_kit").set_value("cheap")
    ready.run()
    assert len(ready.errors()) == 1
    assert ready.document.money.prices.test_kit.middle == 25
    ready.at.text_input(key="price_test_kit").set_value("")
    ready.run()
    assert ready.document.money.prices.test_kit is None


def test_the_lines_add_up_to_the_year(ready, found) -> None:
    ready.go("cost")
    cost = found.candidate.cost
    html = ready.html()
    assert f"{cost.expected:,.2f}" in html
    assert sum(line.amount for line in cost.lines) == cost.expected
    for line in cost.lines:
        assert f"{line.amount:,.2f}" in html


def test_another_treatment_is_set_beside(ready) -> None:
    ready.go("cost")
    box = ready.at.radio(key="cost_other")
    box.set_value(box.options[1])
    ready.run()
    assert "The other costs" in ready.html()


# -- readings


def add(front, kind: str, value: str, **more: str) -> None:
    front.at.selectbox(key="reading_kind").set_value(kind)
    front.run()
    front.at.text_input(key="reading_value").set_value(value)
    for key, text in more.items():
        front.at.text_input(key=f"reading_{key}").set_value(text)
    front.at.button(key="reading_add").click()
    front.run()


def test_readings_need_a_saved_unit_and_then_go_into_its_log(front) -> None:
    front.go("readings")
    front.at.button(key="readings_save").click()
    front.run()
    add(front, "total_chlorine", "0.4")
    assert front.at.success
    with Store.open_default() as kept:
        lines = kept.readings(front.desk.ref)
    assert [(line.kind, line.value) for line in lines] == [("total_chlorine", 0.4)]
    assert "Total chlorine" in front.html()
    front.at.button(key="reading_back").click()
    front.run()
    assert "taken back" in front.html()


@pytest.mark.parametrize("bad", ["-3", "abc", "NaN", ""])
def test_a_reading_that_cannot_be_is_refused_and_kept_in_its_field(front, bad: str) -> None:
    front.at.button(key="save").click()
    front.run()
    front.go("readings")
    add(front, "hardness", bad)
    assert len(front.errors()) == 1
    assert front.at.text_input(key="reading_value").value == bad
    with Store.open_default() as kept:
        assert kept.readings(front.desk.ref) == []


def test_a_meter_reading_moves_the_dates_and_says_why(ready) -> None:
    front = ready
    front.at.button(key="save").click()
    front.run()
    front.go("readings")
    before = front.html().split("Next cartridge change</div>")[1].split("</div>")[0]
    for day, gallons in ((dt.date(2027, 4, 1), "0"), (dt.date(2027, 5, 1), "384")):
        front.at.date_input(key="reading_date").set_value(day)
        add(front, "meter_gal", gallons)
        assert front.errors() == []
    after = front.html().split("Next cartridge change</div>")[1].split("</div>")[0]
    assert after != before
    assert "What the readings moved" in [s.value for s in front.at.subheader]
    assert "earlier" in front.html()
    assert any("Next check:" in w.value for w in front.at.warning)


# -- units


def test_units_are_saved_opened_and_set_side_by_side_with_their_homework(front, few_draws) -> None:
    front.at.button(key="save").click()
    front.run()
    first = front.desk.ref
    front.go("units")
    front.at.button(key="from_template").click()
    front.run()
    front.desk.extra["patience"] = 0.0
    assert front.document.name == "Mobile unit"
    state_of = front.desk
    state_of.document = state.as_document(few_draws(front.document))
    state_of.typed = load_document(state_of.document)
    front.at.button(key="save").click()
    front.run()
    front.go("units")
    end = time.monotonic() + 90
    while "measure hardness, alkalinity, chloride, pH" not in front.html():  # the units are planned beside the page
        assert time.monotonic() < end, "the units were not planned"
        time.sleep(0.2)
        front.run()
    html = front.html()
    assert "Homework" in html
    assert not any(b.key == "side_stop" for b in front.at.button)
    front.at.button(key=f"open_{first}").click()
    front.run()
    assert front.desk.ref == first


def test_planning_the_units_can_be_stopped_and_taken_up_again(front, few_draws) -> None:
    with Store.open_default() as kept:
        for name in ("East cart", "West cart"):
            ref = kept.create_unit(name).ref
            kept.save_plan(ref, state.as_document(few_draws(demo_document(), 256)), 0)
    front.go("units")
    front.at.button(key="side_stop").click()
    front.run()
    assert front.at.session_state["aside"]["side task"].abandoned
    assert any(b.key == "side_go_on" for b in front.at.button)
    front.at.button(key="side_go_on").click()
    front.run()
    assert any(b.key == "side_stop" for b in front.at.button)
    front.at.button(key="side_stop").click()
    front.run()


def test_an_older_version_can_be_made_the_newest(front) -> None:
    front.at.button(key="save").click()
    front.run()
    front.at.number_input(key="hardness").set_value(222)
    front.run()
    front.at.button(key="save").click()
    front.run()
    front.go("units")
    front.at.button(key="restore_version").click()
    front.run()
    assert front.desk.version == 3
    assert front.document.supplies[0].analysis["total_hardness"].value.middle == 268


def test_a_copy_is_a_unit_of_its_own(front) -> None:
    front.at.button(key="save").click()
    front.run()
    front.go("units")
    front.at.text_input(key="unit_name").set_value("Winter stand")
    front.run()
    front.at.button(key="save_as_new").click()
    front.run()
    with Store.open_default() as kept:
        assert {u.name for u in kept.units()} == {demo_document().name, "Winter stand"}


def test_a_name_that_cannot_be_is_refused(front) -> None:
    front.go("units")
    front.at.text_input(key="unit_name").set_value("")
    front.run()
    assert len(front.errors()) == 1


# -- files


def test_the_sheet_the_calendar_and_the_tables_are_made_on_demand(ready) -> None:
    ready.go("files")
    assert not [b for b in ready.at.download_button if b.key == "take_plan.pdf"]
    ready.at.button(key="make_files").click()
    ready.run()
    keys = {b.key for b in ready.at.download_button}
    assert {"take_plan.pdf", "take_plan.html", "take_changes.ics", "document_down"} <= keys


def test_a_document_comes_back_and_a_broken_one_is_one_line(front, few_draws) -> None:
    front.go("files")
    mine = few_draws(demo_document()).model_copy(update={"name": "From a file"})
    front.at.file_uploader(key="document_up").set_value(("plan.json", mine.to_json().encode(), "application/json"))
    front.run()
    assert front.document.name == "From a file"
    kept = front.document
    front.at.file_uploader(key="document_up").set_value(("plan.json", b'{"supplies": 3}', "application/json"))
    front.run()
    assert len(front.errors()) == 1
    assert front.document == kept
    front.at.button(key="undo").click()
    front.run()
    assert front.document.name == demo_document().name


def test_a_whole_unit_goes_out_and_comes_back(front) -> None:
    front.at.button(key="save").click()
    front.run()
    with Store.open_default() as kept:
        text = kept.export_unit(front.desk.ref)
    assert json.loads(text)
    front.go("files")
    changed = text.replace(demo_document().name, "Brought back")
    front.at.file_uploader(key="bundle_up").set_value(("unit.json", text.encode(), "application/json"))
    front.run()
    assert front.document.name == demo_document().name
    front.at.file_uploader(key="bundle_up").set_value(("unit.json", changed.encode(), "application/json"))
    front.run()
    assert len(front.errors()) == 1  # a changed file is not whole


# -- sources


def test_sources_can_be_found_and_filtered(front) -> None:
    front.go("sources")
    front.at.text_input(key="source_search").set_value("Plummer")
    front.run()
    assert "Plummer and Busenberg 1982" in front.html()
    front.at.text_input(key="source_search").set_value("zzzz")
    front.run()
    assert front.at.info
