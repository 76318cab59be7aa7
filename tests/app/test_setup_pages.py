"""Water, targets, treatment, branches, days: every control writes to the document, every fault stands at its field."""

from __future__ import annotations

import datetime as dt

import pytest

REPORT = b"""analyte,low,typical,high,unit,supply
Total hardness,250,270,290,mg/L as CaCO3,Hill zone
Alkalinity,200,220,240,mg/L as CaCO3,Hill zone
Chloride,12,15,18,mg/L,Hill zone
Total hardness,40,50,60,mg/L as CaCO3,Shore zone
"""


# -- water


def test_a_value_can_be_corrected_with_its_unit(front) -> None:
    front.go("water")
    front.at.selectbox(key="analyte").set_value("total_hardness")
    front.run()
    front.at.text_input(key="unit_0_total_hardness").set_value("gpg")
    front.run()
    front.at.text_input(key="value_0_total_hardness").set_value("13 - 15")
    front.run()
    found = front.document.supplies[0].analysis["total_hardness"]
    assert (found.value.low, found.value.high, found.unit) == (13, 15, "gpg")
    assert found.in_plan_units("total_hardness").low == pytest.approx(13 * 17.118, rel=1e-3)


@pytest.mark.parametrize("typed", ["abc", "NaN", "-4", "20 - 10", "1e999"])
def test_text_in_a_number_is_refused_at_its_field(front, typed: str) -> None:
    front.go("water")
    kept = front.document
    front.at.selectbox(key="analyte").set_value("total_hardness")
    front.run()
    front.at.text_input(key="value_0_total_hardness").set_value(typed)
    front.run()
    assert len(front.errors()) == 1
    assert front.document == kept
    assert front.at.text_input(key="value_0_total_hardness").value == typed  # what was typed is still there


def test_an_unknown_unit_is_refused_at_its_field(front) -> None:
    front.go("water")
    kept = front.document
    front.at.selectbox(key="analyte").set_value("alkalinity")
    front.run()
    front.at.text_input(key="unit_0_alkalinity").set_value("furlongs")
    front.run()
    assert "furlongs" in front.errors()[0]
    assert front.document == kept


def test_a_supply_is_added_named_and_removed(front) -> None:
    front.go("water")
    front.at.button(key="supply_add").click()
    front.run()
    assert [s.name for s in front.document.supplies][-1] == "Water 2"
    front.at.text_input(key="supply_name_2").set_value("Depot")
    front.run()
    assert front.document.supplies[2].name == "Depot"
    front.at.selectbox(key="notice_2").set_value("boil_water")
    front.run()
    assert front.document.supplies[2].notice == "boil_water"
    front.at.button(key="supply_remove").click()
    front.run()
    assert len(front.document.supplies) == 2


def test_removing_a_supply_takes_its_fills_along(front) -> None:
    front.go("water")
    gone = front.document.supplies[0].name
    front.at.button(key="supply_remove").click()
    front.run()
    assert gone not in {f.supply for f in front.document.fill.fills}
    assert front.errors() == []


def test_a_report_is_read_a_supply_chosen_and_used(front) -> None:
    front.go("report")
    front.desk.extra["report"] = ("zones.csv", REPORT)
    front.run()
    front.at.selectbox(key="report_supply").set_value("Hill zone")
    front.run()
    front.at.button(key="report_use").click()
    front.run()
    supply = front.document.supplies[0]
    assert supply.name == "Hill zone"
    assert supply.analysis["chloride"].value.high == 18
    assert {f.supply for f in front.document.fill.fills} == {"Hill zone", front.document.supplies[1].name}


def test_a_report_that_cannot_be_read_is_one_line_and_loses_nothing(front) -> None:
    front.go("report")
    kept = front.document
    front.desk.extra["report"] = ("empty.csv", b"")
    front.run()
    assert len(front.errors()) == 1
    assert front.document == kept
    front.at.button(key="report_away").click()
    front.run()
    assert front.errors() == []


# -- targets and machines


def test_own_goals_and_back(front) -> None:
    front.go("targets")
    front.at.number_input(key="goal_total_hardness_high").set_value(6)
    front.run()
    assert front.document.targets.overrides["total_hardness"].high == pytest.approx(6 * 17.118, rel=1e-4)
    assert front.at.number_input(key="goal_total_hardness_high").value == 6
    front.at.number_input(key="goal_total_hardness_low").set_value(9)
    front.run()
    assert len(front.errors()) == 1
    assert front.document.targets.overrides["total_hardness"].low == 50
    front.at.button(key="goal_reset_total_hardness").click()
    front.run()
    assert not front.document.targets.overrides


def test_a_machine_is_renamed_everywhere_and_limited_by_its_manual(front) -> None:
    front.go("targets")
    front.at.text_input(key="machine_name_0").set_value("Lever")
    front.run()
    assert front.document.branches[0].machine == "Lever"
    front.at.number_input(key="machine_0_hardness_max_mg_L_as_CaCO3").set_value(5)
    front.run()
    assert front.document.machines[0].hardness_max_mg_L_as_CaCO3 == pytest.approx(5 * 17.118, rel=1e-4)
    front.at.number_input(key="machine_0_boiler").set_value(250)
    front.run()
    assert front.document.machines[0].boiler_temperature_C == pytest.approx((250 - 32) / 1.8)
    front.at.button(key="machine_add").click()
    front.run()
    front.at.button(key="machine_remove_1").click()
    front.run()
    assert len(front.document.machines) == 1


# -- treatment


def test_the_recommended_train_is_taken_changed_and_given_back(ready) -> None:
    front = ready.go("treatment")
    front.at.button(key="train_own").click()
    front.run()
    count = len(front.document.train)
    assert count >= 1
    front.at.selectbox(key="stage_medium").set_value("weak_acid")
    front.run()
    front.at.button(key="stage_add").click()
    front.run()
    assert front.document.train[-1].medium == "weak_acid"
    front.at.number_input(key=f"stage_bypass_{count}").set_value(22)
    front.run()
    assert front.document.train[-1].bypass_percent == 22
    front.at.number_input(key=f"stage_bypass_{count}").set_value(140)
    front.run()
    assert len(front.errors()) == 1
    assert front.document.train[-1].bypass_percent == 22
    front.at.button(key=f"stage_up_{count}").click()
    front.run()
    assert front.document.train[-2].medium == "weak_acid"
    front.at.button(key=f"stage_out_{count - 1}").click()
    front.run()
    assert len(front.document.train) == count
    front.at.button(key="train_follow").click()
    front.run()
    assert front.document.train is None


def test_a_data_sheet_is_entered_in_the_readers_unit(ready) -> None:
    front = ready.go("treatment")
    front.at.button(key="train_own").click()
    front.run()
    front.at.radio(key="units").set_value("metric")
    front.run()
    front.at.number_input(key="sheet_0_rated_gal").set_value(3785.411784)
    front.run()
    assert front.document.train[0].sheet.rated_gal == pytest.approx(1000)


def test_a_tenfold_dose_is_blocked(ready) -> None:
    front = ready.go("treatment")
    front.at.button(key="train_own").click()
    front.run()
    front.at.selectbox(key="stage_medium").set_value("mineral_dose")
    front.run()
    front.at.button(key="stage_add").click()
    front.run()
    index = len(front.document.train) - 1
    salt = front.at.selectbox(key=f"dose_salt_{index}").value
    front.at.number_input(key=f"dose_{index}_{salt}").set_value(60)
    front.run()
    assert front.document.train[index].doses[0].mg_L == 60
    front.at.number_input(key=f"dose_{index}_{salt}").set_value(600)
    front.run()
    assert len(front.errors()) == 1
    assert front.document.train[index].doses[0].mg_L == 60


def test_two_treatments_stand_side_by_side(ready) -> None:
    front = ready.go("compare")
    front.at.radio(key="beside_what").set_value("Two treatments")
    front.run()
    assert len(front.at.radio(key="beside_train_1").options) == 2  # a choice of two, this plan against it
    assert not [r for r in front.at.radio if r.key == "beside_train_0"]
    assert 'aria-label="Verdicts side by side"' in front.html()
    front.at.toggle(key="beside_all").set_value(True)
    front.run()
    options = front.at.radio(key="beside_train_1").options
    assert len(options) > 2
    assert front.at.radio(key="beside_train_0").options == options
    front.at.radio(key="beside_train_1").set_value(options[2])
    front.run()
    html = front.html()
    assert 'aria-label="Verdicts side by side"' in html
    for row in ("Present, after", "Hardness, grains", "water through one", "A year costs, expected"):
        assert row in html
    assert "more at installation" in html or "the same at installation" in html  # what is paid back, or nothing
    assert front.document.train is None
    front.at.button(key="beside_take_second").click()
    front.run()
    assert front.document.train is not None
    front.desk.stop_search()


# -- branches


def test_a_branch_is_moved_by_its_pull_down(front) -> None:
    front.go("branches")
    front.at.selectbox(key="place_1").set_value("filtered")
    front.run()
    assert front.document.branches[1].filtered
    assert "2 of 4 branches filtered" in front.html()


def test_a_branch_is_added_renamed_everywhere_and_removed(front) -> None:
    front.go("branches")
    front.at.button(key="branch_add").click()
    front.run()
    assert front.document.branches[-1].name == "New branch 1"
    front.at.text_input(key="branch_name_1").set_value("Rinser")
    front.run()
    assert front.document.demand.uses_per_drink[0].branch == "Rinser"
    front.at.text_input(key="branch_name_2").set_value("Rinser")  # a name that stands twice
    front.run()
    assert len(front.errors()) == 1
    front.at.button(key="branch_remove_1").click()
    front.run()
    assert "Rinser" not in {b.name for b in front.document.branches}
    assert not front.document.demand.uses_per_drink


def test_the_unit_takes_tanks_pump_and_weight(front) -> None:
    front.go("tanks")
    front.at.number_input(key="fresh_tank").set_value(40)
    front.run()
    assert front.document.unit.fresh_tank_gal == 40
    front.at.toggle(key="weights_known").set_value(True)
    front.run()
    front.at.number_input(key="empty_lb").set_value(4100)
    front.run()
    assert front.document.unit.weights.empty_lb == 4100
    front.at.toggle(key="weights_known").set_value(False)
    front.run()
    assert front.document.unit.weights is None


# -- days and drinks


def test_drinks_are_listed_counted_and_taken_out(front) -> None:
    front.go("days")
    front.at.selectbox(key="drink_new").set_value(front.at.selectbox(key="drink_new").options[0])
    front.at.button(key="drink_add").click()
    front.run()
    assert len(front.document.demand.drinks) == 1
    front.at.text_input(key="drink_count_0").set_value("40 - 60")
    front.run()
    assert front.document.demand.drinks[0].per_service_day.high == 60
    front.at.button(key="drink_out_0").click()
    front.run()
    assert not front.document.demand.drinks


def test_the_calendar_takes_events_closures_and_notices(front) -> None:
    front.go("days")
    before = len(front.document.demand.calendar.events)
    front.at.button(key="events_add").click()
    front.run()
    assert len(front.document.demand.calendar.events) == before + 1
    added, start = front.document.demand.calendar.events[before], front.document.demand.calendar.start
    assert (added.start.weekday(), (added.end - added.start).days) == (5, 1)  # Saturday and Sunday
    assert max(start, dt.date.today()) <= added.start <= max(start, dt.date.today()) + dt.timedelta(days=6)
    front.at.toggle(key=f"event_counted_{before}").set_value(True)
    front.run()
    front.at.number_input(key=f"event_size_{before}").set_value(450)
    front.run()
    assert front.document.demand.calendar.events[before].drinks_per_day == 450
    front.at.button(key="closures_add").click()
    front.run()
    closures = len(front.document.demand.calendar.closures)
    front.at.selectbox(key=f"closure_kind_{closures - 1}").set_value("stored")
    front.run()
    assert front.document.demand.calendar.closures[-1].kind == "stored"
    assert "Lay-up and freezing" in front.html()
    front.at.button(key=f"closures_out_{closures - 1}").click()
    front.run()
    assert len(front.document.demand.calendar.closures) == closures - 1
    front.at.button(key="suspensions_add").click()
    front.run()
    assert len(front.document.demand.calendar.suspensions) == 1


def test_an_event_that_ends_before_it_starts_is_refused(front) -> None:
    front.go("days")
    kept = front.document
    front.at.date_input(key="events_end_0").set_value(dt.date(2027, 1, 1))
    front.run()
    assert len(front.errors()) == 1
    assert front.document == kept


def test_fills_follow_the_weekdays(front) -> None:
    front.go("days")
    front.at.button(key="fill_add").click()
    front.run()
    assert len(front.document.fill.fills) == 3
    front.at.button(key="fill_out_2").click()
    front.run()
    front.at.number_input(key="heel").set_value(1.5)
    front.run()
    assert len(front.errors()) == 1
    front.at.number_input(key="heel").set_value(0.3)
    front.run()
    assert front.document.fill.heel == 0.3


def test_doubts_of_a_report_are_those_of_the_supply_and_do_not_bury_its_values(front) -> None:
    front.go("report")
    twice = b"""analyte,value,unit,supply
Total hardness,250,mg/L as CaCO3,Hill zone
Total hardness,150,mg/L as CaCO3,Hill zone
Total hardness,40,mg/L as CaCO3,Shore zone
"""
    front.desk.extra["report"] = ("zones.csv", twice)
    front.run()
    front.at.selectbox(key="report_supply").set_value("Hill zone")
    front.run()
    assert 'aria-label="How the report was read"' in front.html()
    assert not front.at.warning
    front.at.selectbox(key="report_supply").set_value("Shore zone")
    front.run()
    assert 'aria-label="How the report was read"' not in front.html()
    missing = next(c.value for c in front.at.caption if c.value.startswith("Not in the report"))
    assert "pH" in missing
