"""One document: undo and redo, saving, nothing lost on leaving a page, two people saving at once."""

from __future__ import annotations

from streamlit.testing.v1 import AppTest

from brewwater.planning.document import demo_document, load_document
from brewwater.store import Store
from brewwater.web import state


def test_leaving_a_page_loses_nothing(front) -> None:
    front.at.number_input(key="hardness").set_value(17)
    front.run()
    front.at.number_input(key="tds").set_value(410)
    front.run()
    front.go("sources").go("cost").go("plan")
    assert front.at.number_input(key="hardness").value == 17
    assert front.at.number_input(key="tds").value == 410


def test_a_fault_is_gone_with_its_page_and_the_document_is_whole(front) -> None:
    front.at.number_input(key="hardness").set_value(-1)
    front.run()
    assert front.errors()
    front.go("cost").go("plan")
    assert front.errors() == []
    assert front.at.number_input(key="hardness").value == 15.66


def test_undo_and_redo(front) -> None:
    start = front.document
    front.at.number_input(key="hardness").set_value(17)
    front.run()
    front.at.number_input(key="drinks").set_value(60)
    front.run()
    end = front.document
    front.at.button(key="undo").click()
    front.run()
    front.at.button(key="undo").click()
    front.run()
    assert front.document == start
    assert front.at.number_input(key="hardness").value == 15.66
    assert front.at.button(key="undo").disabled
    front.at.button(key="redo").click()
    front.run()
    front.at.button(key="redo").click()
    front.run()
    assert front.document == end
    assert front.at.number_input(key="drinks").value == 60


def bar(front) -> str:
    return " ".join(m.value for m in front.at.markdown if ":gray[" in m.value)


def test_a_change_not_saved_is_shown_and_a_second_tab_sees_the_saved_plan(front) -> None:
    assert "not saved yet" in bar(front)
    front.at.button(key="save").click()
    front.run()
    assert "saved, version 1" in bar(front)
    front.at.number_input(key="hardness").set_value(11.7)
    front.run()
    assert "change not saved" in bar(front)
    front.at.button(key="save").click()
    front.run()
    assert "saved, version 2" in bar(front)
    second = AppTest.from_file(front.at._script_path, default_timeout=60).run()
    assert not second.exception
    assert second.number_input(key="hardness").value == 11.7
    assert second.session_state["desk"].version == 2


def test_two_people_saving_see_both_and_lose_nothing(front) -> None:
    front.at.button(key="save").click()
    front.run()
    with Store.open_default() as other:
        theirs = state.as_document(front.document)
        theirs["name"] = "Changed elsewhere"
        other.save_plan(front.desk.ref, theirs, 1)
    front.at.number_input(key="hardness").set_value(13)
    front.run()
    front.at.button(key="save").click()
    front.run()
    assert front.at.warning
    assert front.document.supplies[0].analysis["total_hardness"].value.middle == 13
    front.at.button(key="take_theirs").click()
    front.run()
    assert front.document.name == "Changed elsewhere"
    front.at.button(key="undo").click()
    front.run()
    assert front.document.supplies[0].analysis["total_hardness"].value.middle == 13


def test_saving_mine_on_top_keeps_theirs_in_the_history(front) -> None:
    front.at.button(key="save").click()
    front.run()
    with Store.open_default() as other:
        other.save_plan(front.desk.ref, {**state.as_document(front.document), "name": "Theirs"}, 1)
    front.at.number_input(key="hardness").set_value(13)
    front.run()
    front.at.button(key="save").click()
    front.run()
    front.at.button(key="save_on_top").click()
    front.run()
    assert front.desk.version == 3
    with Store.open_default() as other:
        assert other.plan(front.desk.ref, 2).document["name"] == "Theirs"


def test_the_typed_document_and_the_plain_one_never_part(front) -> None:
    front.at.number_input(key="hardness").set_value(17)
    front.run()
    assert load_document(front.desk.document) == front.document
    assert state.as_document(demo_document()) != front.desk.document
