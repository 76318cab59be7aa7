"""The first screen: numbers in, answer beside them, faults at the field, nothing lost."""

from __future__ import annotations

import re

import pytest

from brewwater.units import from_plan_units


def test_a_number_typed_replaces_the_measurement_and_changes_the_stamp(front) -> None:
    before = front.stamp()
    front.at.number_input(key="hardness").set_value(12)
    front.run()
    found = front.document.supplies[0].analysis["total_hardness"]
    assert (found.value.middle, found.unit, found.method) == (12, "gpg", "typed")  # kept as it was typed
    assert found.in_plan_units("total_hardness").middle == pytest.approx(205.4, abs=0.1)
    assert front.at.number_input(key="hardness").value == 12
    assert "grains" in front.at.number_input(key="hardness").label
    front.at.radio(key="units").set_value("metric").run()
    assert front.at.number_input(key="hardness").value == pytest.approx(205.4, abs=0.1)
    assert "mg/L" in front.at.number_input(key="hardness").label
    assert front.stamp() != before


def test_an_emptied_number_is_unknown_not_a_default(front) -> None:
    front.at.number_input(key="alkalinity").set_value(None)
    front.run()
    assert "alkalinity" not in front.document.supplies[0].analysis
    assert front.at.number_input(key="alkalinity").value is None
    front.go("water")
    said = front.html().split("Not measured in every water:")[1].split("</div>")[0]
    assert "alkalinity" in said


@pytest.mark.parametrize("bad", [-5.0, 1e7])
@pytest.mark.parametrize("key", ["hardness", "alkalinity", "tds"])
def test_a_number_that_cannot_be_is_refused_at_its_field(front, key: str, bad: float) -> None:
    kept, stamp = front.document, front.stamp()
    front.at.number_input(key=key).set_value(bad)
    front.run()
    assert len(front.errors()) == 1
    assert "is not usable" in front.errors()[0]
    assert front.document == kept
    assert front.stamp() == stamp
    front.at.number_input(key=key).set_value(120)
    front.run()
    assert front.errors() == []


def test_drinks_must_be_a_number(front) -> None:
    front.at.number_input(key="drinks").set_value(None)
    front.run()
    assert "a number is needed" in front.errors()[0]
    front.at.number_input(key="drinks").set_value(80)
    front.run()
    assert front.errors() == []
    assert front.document.demand.drinks_per_service_day.middle == 80


def test_moving_the_rinser_changes_gallons_dates_and_dollars(ready) -> None:
    front = ready
    before = front.html()
    index = next(i for i, b in enumerate(front.document.branches) if b.kind == "rinser")
    front.at.toggle(key=f"filtered_{index}").set_value(True)
    front.run()
    after = front.html()
    assert front.document.branches[index].filtered

    def card(html: str, label: str) -> str:
        return html.split(f'<div class="bw-label">{label}</div>')[1].split("</div>")[0]

    for label in ("Next cartridge change", "A year costs", "Filtered on a service day"):
        assert card(before, label) != card(after, label)


def test_the_stamp_changes_before_the_search_starts(ready) -> None:
    front = ready
    before = front.stamp()
    front.desk.extra["patience"] = 60.0  # the search waits, and yet:
    front.at.number_input(key="hardness").set_value(150)
    front.run()
    assert front.stamp() != before
    assert front.desk.extra["job"].share == 0.0
    front.at.button(key="search_stop").click()
    front.run()
    assert front.desk.extra["job"].abandoned.is_set()
    front.at.button(key="search_again").click()
    front.run()
    assert not front.desk.extra["job"].abandoned.is_set()
    front.desk.stop_search()


def test_the_second_supply_has_its_own_numbers(front) -> None:
    first = front.at.number_input(key="hardness").value
    front.at.selectbox(key="supply").set_value(front.document.supplies[1].name)
    front.run()
    assert front.at.number_input(key="hardness").value != first
    front.at.number_input(key="hardness").set_value(4.5)
    front.run()
    assert front.document.supplies[1].analysis["total_hardness"].value.middle == 4.5
    kept = front.document.supplies[0].analysis["total_hardness"]
    assert from_plan_units(kept.in_plan_units("total_hardness").middle, "gpg", "total_hardness") == pytest.approx(
        first, rel=1e-3
    )


def test_verdicts_say_why_what_would_change_them_and_who_says_so(front) -> None:
    html = front.html()
    for subject in ("cup", "scale", "corrosion", "safety"):
        card = html.split(f'data-subject="{subject}"')[1].split("</details>")[0]
        assert "<dt>Why</dt>" in card
        assert "<dt>Source</dt>" in card
    assert "<dt>Would change it</dt>" in html
    assert "<dt>Formula</dt>" in html


def test_the_search_ends_and_says_what_it_recommends(front) -> None:
    assert 'data-searching="yes"' in front.html()
    assert "Looking for a treatment." in front.html()
    front.searched()
    assert 'data-searching="no"' in front.html()
    assert re.search("stages? (fix|make|help)", front.html())
    assert "Test next." in front.html()
    assert not any(b.key == "search_stop" for b in front.at.button)
