"""A plan of one's own from three numbers: nothing of the demo stays, faults stand at their field, undo goes back."""

from __future__ import annotations

import pytest

from brewwater.errors import InputError
from brewwater.planning.document import demo_document
from brewwater.web.pages.start import own_plan


def test_three_numbers_make_a_plan_on_one_water_without_the_demo() -> None:
    made = own_plan(290, 240, 420, 120)
    demo = {s.name for s in demo_document().supplies}
    assert len(made.supplies) == 1
    assert made.supplies[0].name not in demo
    assert {f.supply for f in made.fill.fills} == {made.supplies[0].name}
    found = made.supplies[0].analysis
    assert {a: m.in_plan_units(a).middle for a, m in found.items()} == {
        "total_hardness": 290,
        "alkalinity": 240,
        "total_dissolved_solids": 420,
    }
    assert made.demand.drinks_per_service_day.middle == 120
    assert made.train is None


def test_degrees_of_a_strip_are_turned_and_trusted_less() -> None:
    made = own_plan(10, 5, None, 80, unit="°dH", way="strip").supplies[0].analysis
    assert made["total_hardness"].in_plan_units("total_hardness").middle == pytest.approx(178.5, rel=1e-3)
    assert made["alkalinity"].in_plan_units("alkalinity").middle == pytest.approx(89.2, rel=1e-3)
    assert {m.method for m in made.values()} == {"strip"}
    assert own_plan(10, 5, 200, 80, way="strip").supplies[0].analysis["total_dissolved_solids"].method == "meter"


def test_what_is_left_empty_is_unknown() -> None:
    assert set(own_plan(None, 100, None, 50).supplies[0].analysis) == {"alkalinity"}


@pytest.mark.parametrize("numbers", [(-1, 1, 1, 50), (1, -1, 1, 50), (1, 1, 1e7, 50), (1, 1, 1, None), (1, 1, 1, 0)])
def test_a_number_that_cannot_be_is_refused(numbers: tuple[float | None, ...]) -> None:
    with pytest.raises(InputError, match="is not usable"):
        own_plan(*numbers)


def test_the_demo_says_what_it_is_and_offers_a_plan_of_ones_own(front) -> None:
    assert "This is the demo" in front.html()
    front.at.button(key="own_start").click()
    front.run()
    assert not any(n.key == "hardness" for n in front.at.number_input)  # only the form is there
    front.at.selectbox(key="own_way").set_value("drop_kit")
    front.at.radio(key="own_unit").set_value("°dH")
    front.at.number_input(key="own_hardness").set_value(15)
    front.at.number_input(key="own_alkalinity").set_value(12)
    front.at.number_input(key="own_tds").set_value(380)
    front.at.number_input(key="own_drinks").set_value(90)
    front.run()
    assert any("°dH" in n.label for n in front.at.number_input if n.key == "own_hardness")
    front.go("cost").go("plan")  # leaving the page loses nothing
    assert front.at.number_input(key="own_hardness").value == 15
    front.at.button(key="own_make").click()
    front.run()
    assert [s.name for s in front.document.supplies] == ["My tap water"]
    assert front.at.number_input(key="hardness").value == 15  # as it was typed, in °dH
    assert front.document.supplies[0].analysis["total_hardness"].in_plan_units(
        "total_hardness"
    ).middle == pytest.approx(267.7, rel=1e-3)
    assert "This is the demo" not in front.html()
    front.desk.stop_search()
    front.at.button(key="undo").click()  # what was open before is one step away
    front.run()
    assert front.document.name == demo_document().name
    front.desk.stop_search()


@pytest.mark.parametrize(("field", "value"), [("hardness", -3.0), ("alkalinity", 1e7), ("tds", 1e8), ("drinks", None)])
def test_a_fault_of_the_form_stands_at_its_field(front, field: str, value: float | None) -> None:
    kept = front.document
    front.at.button(key="own_start").click()
    front.run()
    front.at.number_input(key=f"own_{field}").set_value(value)
    front.at.button(key="own_make").click()
    front.run()
    assert list(front.desk.faults) == [f"own_{field}"]
    assert len(front.errors()) == 1
    assert front.document == kept
    front.at.button(key="own_stop").click()
    front.run()
    assert front.errors() == []
    assert front.document == kept


def test_the_demo_can_be_opened_again(plain) -> None:
    plain.at.button(key="demo_open").click()
    plain.run()
    assert plain.document == demo_document()
    plain.desk.stop_search()
