"""A unit that holds a log and no plan: a calm line with what to do, never an error on every page."""

from __future__ import annotations

import datetime as dt

from streamlit.testing.v1 import AppTest

from brewwater.log.entry import Reading
from brewwater.store import Store


def test_a_unit_with_a_log_only_does_not_stand_in_the_way(front) -> None:
    with Store.open_default() as kept:
        ref = kept.create_unit("Only a log").ref
    again = AppTest.from_file(front.at._script_path, default_timeout=60).run()
    assert not again.exception
    assert not again.error
    assert again.session_state["desk"].ref == ref
    assert any("Nothing is saved in this unit yet" in i.value for i in again.info)
    again.session_state["desk"].stop_search()


def test_opened_by_its_name_it_takes_a_plan_and_keeps_its_log(front) -> None:
    with Store.open_default() as kept:
        ref = kept.create_unit("Only a log").ref
        kept.add_readings(
            ref, [Reading(date=dt.date(2027, 2, 1), kind="meter_gal", value=0, unit="gal", where="Carbon")]
        )
    front.go("units")
    front.at.button(key=f"open_{ref}").click()
    front.run()
    assert front.errors() == []
    assert any("Nothing is saved in this unit yet but its log" in i.value for i in front.at.info)
    assert front.desk.ref == ref
    assert front.desk.unsaved
    assert front.document.name == "Only a log"
    front.go("readings")
    assert front.errors() == []
    front.at.button(key="save").click()
    front.run()
    assert not any("Nothing is saved in this unit yet" in i.value for i in front.at.info)
    with Store.open_default() as kept:
        assert kept.plan(ref).version == 1
        assert len(kept.readings(ref)) == 1
    front.desk.stop_search()
