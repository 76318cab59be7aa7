"""Scenarios of a season's log: the meter runs ahead of the plan, a resin lets through early, a pen is fooled."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from brewwater.ensemble import percentiles
from brewwater.log.entry import make_reading
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument, demo_document, load_document
from brewwater.planning.scenario import Scenario

START = dt.date(2026, 3, 2)
ALL_DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
CARBON = {
    "name": "Carbon",
    "medium": "carbon",
    "sheet": {"rated_gal": 1000, "reference_chlorine_mg_L_as_Cl2": 2.0, "life_months": 12},
}
WEAK_ACID = {"name": "Resin", "medium": "weak_acid", "bypass_percent": 20, "size": "large"}
SOFTENER = {"name": "Softener", "medium": "softening", "size": "large"}


def document(readings: list[dict[str, Any]], train: list[dict[str, Any]], **more: Any) -> PlanDocument:
    return load_document(
        {
            "unit": {"kind": "truck"},
            "supplies": [
                {
                    "name": "Town",
                    "disinfectant": "free_chlorine",
                    "analysis": {
                        "total_hardness": {"value": [230, 260, 290], "unit": "mg/L"},
                        "alkalinity": {"value": [200, 220, 240], "unit": "mg/L"},
                        "free_chlorine": {"value": [0.5, 1.0, 1.5], "unit": "mg/L"},
                    },
                }
            ],
            "fill": {"fills": [{"supply": "Town"}]},
            # 102.4 drinks of 10 fl oz are 8 gal a day
            "demand": {
                "calendar": {"start": START.isoformat(), "weekdays": ALL_DAYS},
                "main_branch": "Machine",
                "drinks": [{"name": "cup", "per_service_day": [90, 102.4, 115], "fl_oz": 10}],
                "uses_per_drink": [{"name": "rinse", "branch": "Rinser", "fl_oz": 4.5, "per_drink": 1.3}],
            },
            "branches": [
                {"name": "Machine", "kind": "espresso_machine", "machine": "M", "filtered": True},
                {"name": "Rinser", "kind": "rinser", "filtered": False},
            ],
            "machines": [{"name": "M", "kind": "espresso"}],
            "train": train,
            "readings": readings,
            **more,
        }
    )


def line(kind: str, value: float | None, day: int, where: str = "", unit: str = "mg/L", **more: Any) -> dict[str, Any]:
    date = (START + dt.timedelta(days=day)).isoformat()
    return {"kind": kind, "value": value, "date": date, "where": where, "unit": unit, **more}


def expected(plan: Plan) -> int:
    return (plan.calendar.dues[0].date - START).days


def codes(plan: Plan) -> list[str]:
    return [d.code for d in plan.diagnoses]


def test_13_the_meter_runs_ahead_of_the_plan() -> None:
    """8 gal a day planned, 384 gal in 30 days, 800 usable gallons: 100 service days become about 62, 32 left."""
    before = expected(make_plan(document([], [CARBON]), search=False))
    plan = make_plan(document([line("meter_gal", 384, 30, unit="gal")], [CARBON]), search=False)
    assert before == pytest.approx(100, abs=3)
    assert expected(plan) == pytest.approx(62, abs=3)
    assert expected(plan) - 30 == pytest.approx(32, abs=3)
    (found,) = plan.diagnoses
    assert found.code == "meter_high"
    assert "1.6 times" in found.message
    text = " ".join(found.causes)
    assert "inser on the wrong tee" in found.causes[0]  # its 4.7 gal a day are what is too much
    assert "leak" in text
    assert "refill" in text
    assert "read the meter twice" in found.next_check
    (moved,) = plan.moved
    assert moved.days == pytest.approx(-38, abs=4)
    assert "1.6 times" in moved.why
    assert plan.before is not None
    assert (plan.before.calendar.dues[0].date - START).days == before


def test_13_with_the_drinks_counted_the_cause_is_found() -> None:
    busy = [line("drinks_sold", 164 + d % 3, d, unit="") for d in range(25)]
    plan = make_plan(document([line("meter_gal", 384, 30, unit="gal"), *busy], [CARBON]), search=False)
    assert codes(plan) == ["demand_differs"]
    as_planned = [line("drinks_sold", 101 + d % 3, d, unit="") for d in range(25)]
    plan = make_plan(document([line("meter_gal", 384, 30, unit="gal"), *as_planned], [CARBON]), search=False)
    assert codes(plan) == ["meter_high"]
    assert not any("sell more" in c for c in plan.diagnoses[0].causes)


def test_a_meter_that_agrees_moves_little_and_says_nothing() -> None:
    plan = make_plan(document([line("meter_gal", 244, 30, unit="gal")], [CARBON]), search=False)
    assert not plan.diagnoses
    assert abs(plan.moved[0].days or 0) <= 5


def test_a_meter_far_below_the_plan_asks_for_the_bypass() -> None:
    plan = make_plan(document([line("meter_gal", 110, 30, unit="gal")], [CARBON]), search=False)
    assert codes(plan) == ["meter_low"]
    assert expected(plan) > 150


def test_hardness_through_a_weak_acid_bed_too_early() -> None:
    lines = [line("hardness", 230, d, "served", method="drop_kit") for d in (28, 30)]
    prior = make_plan(document([], [WEAK_ACID]), search=False)
    plan = make_plan(document(lines, [WEAK_ACID]), search=False)
    found = next(d for d in plan.diagnoses if d.code == "through_too_early")
    assert any("bypass" in c for c in found.causes)
    assert any("Permanent hardness" in c for c in found.causes)
    assert "source and the served water" in found.next_check
    assert expected(plan) < expected(prior)  # the bed is taken to hold less


def test_served_hardness_as_planned_says_nothing() -> None:
    prior = make_plan(document([], [WEAK_ACID]), search=False)
    served = prior.scenario.pooled(prior.candidate.main.water.hardness_mg_L_as_CaCO3)[1]
    plan = make_plan(document([line("hardness", round(float(served)), 5, "served")], [WEAK_ACID]), search=False)
    assert not plan.diagnoses


def test_a_conductivity_pen_cannot_judge_a_softener() -> None:
    lines = [line("conductivity", 520, 10, "served", unit="uS/cm", method="meter")]
    plan = make_plan(document(lines, [SOFTENER]), search=False)
    found = next(d for d in plan.diagnoses if d.code == "meter_blind_to_softening")
    assert "hardness with a drop kit" in found.next_check
    more = [*lines, line("hardness", 5, 10, "served", method="drop_kit")]
    assert "meter_blind_to_softening" not in codes(make_plan(document(more, [SOFTENER]), search=False))


def test_a_membrane_that_lets_through() -> None:
    membrane = {"name": "Membrane", "medium": "reverse_osmosis", "bypass_percent": 10}
    line_ = line("conductivity", 400, 10, "served", unit="uS/cm", method="meter")
    plan = make_plan(document([line_], [CARBON, membrane]), search=False)
    found = next(d for d in plan.diagnoses if d.code == "membrane_lets_through")
    assert "1 - after / before" in found.next_check


def test_drinks_alone_move_the_dates() -> None:
    sold = [line("drinks_sold", 150 + d % 5, d, unit="") for d in range(20)]
    prior = expected(make_plan(document([], [CARBON]), search=False))
    plan = make_plan(document(sold, [CARBON]), search=False)
    assert codes(plan) == ["demand_differs"]
    assert expected(plan) < prior


def test_chlorine_after_the_carbon() -> None:
    plan = make_plan(document([line("total_chlorine", 0.4, 40, "served", method="strip")], [CARBON]), search=False)
    assert "chlorine_through" in codes(plan)


def test_clogged_by_pressure() -> None:
    lines = [
        line("pressure_in_psi", 45, 2, unit="psi"),
        line("pressure_out_psi", 39, 2, unit="psi"),
        line("pressure_in_psi", 45, 60, unit="psi"),
        line("pressure_out_psi", 27, 60, unit="psi"),
    ]
    plan = make_plan(document(lines, [CARBON]), search=False)
    (found,) = plan.diagnoses
    assert found.code == "clogged"
    assert "12 more than clean" in found.message


def test_a_source_that_the_report_does_not_allow() -> None:
    """One such reading weighs little; a second that agrees takes the place of the report's figure."""
    alone = make_plan(document([line("hardness", 400, 5, "source", method="drop_kit")], [WEAK_ACID]), search=False)
    assert codes(alone) == ["source_differs"]
    assert alone.reading_flags[0].code == "unexplained"
    assert float(alone.scenario.pooled(alone.scenario.waters.hardness_mg_L_as_CaCO3)[1]) < 295
    both = [line("hardness", v, d, "source", method="drop_kit") for v, d in ((400, 5), (405, 6))]
    plan = make_plan(document(both, [WEAK_ACID]), search=False)
    assert "takes the place" in plan.diagnoses[0].message
    assert float(plan.scenario.pooled(plan.scenario.waters.hardness_mg_L_as_CaCO3)[1]) == pytest.approx(402, abs=8)


def test_alkalinity_read_at_the_source_becomes_known() -> None:
    doc = document([line("alkalinity", 210, 1, "source", method="drop_kit")], [WEAK_ACID])
    bare = doc.supplies[0].model_copy(
        update={"analysis": {"total_hardness": doc.supplies[0].analysis["total_hardness"]}}
    )
    plan = make_plan(doc.model_copy(update={"supplies": (bare,)}), search=False)
    assert "alkalinity" not in plan.prior.known
    assert "alkalinity" in plan.scenario.known
    assert "alkalinity_missing" not in {w.code for w in plan.warnings}
    low, middle, high = plan.scenario.pooled(plan.scenario.waters.alkalinity_mg_L_as_CaCO3)
    assert middle == pytest.approx(210, abs=5)
    assert high - low < 20


def test_a_logged_change_restarts_the_cartridge() -> None:
    """Changed after 40 days: that day is in the calendar, and the next one counts from it."""
    lines = [line("meter_gal", 320, 40, unit="gal"), line("changed_cartridge", None, 40, "Carbon", unit="")]
    plan = make_plan(document(lines, [CARBON]), search=False)
    assert plan.calendar.made == {"Carbon": (START + dt.timedelta(days=40),)}
    second = plan.calendar.dues[0]
    assert second.number == 2
    assert (second.date - START).days == pytest.approx(140, abs=6)
    assert plan.moved[0].after == (second.early, second.date, second.late)


def test_a_cartridge_in_place_follows_its_meter() -> None:
    """In place for 60 days before the plan starts, 600 gal through it: a quarter of 800 usable gallons is left."""
    placed = [{"stage": "Carbon", "installed": (START - dt.timedelta(days=60)).isoformat()}]
    doc = document([line("meter_gal", 600, -1, unit="gal")], [CARBON], in_service=placed)
    plan = make_plan(doc, search=False)
    assert expected(plan) == pytest.approx(200 / 10.1, abs=4)
    assert plan.scenario.used["Carbon"].mean() == pytest.approx(0.61, abs=0.06)


def test_the_same_log_gives_the_same_plan() -> None:
    doc = document([line("meter_gal", 384, 30, unit="gal")], [CARBON])
    one, two = make_plan(doc, search=False), make_plan(doc, search=False)
    assert one.scenario.weights.tolist() == two.scenario.weights.tolist()
    assert one.moved == two.moved


def test_a_tank_test_tells_of_the_town_that_was_in_the_tank() -> None:
    """Two towns, filled on different days: a test of the tank on a market Sunday narrows that town, not the other."""
    demo = demo_document()
    sunday = dt.date(2027, 3, 21)
    reading = make_reading(
        {"date": sunday, "kind": "hardness", "value": 72, "unit": "mg/L", "where": "source", "method": "lab"}
    )
    plan = make_plan(demo.model_copy(update={"readings": (reading,)}), search=False)
    names = plan.scenario.tank.names

    def middle_and_width(scenario: Scenario, name: str) -> tuple[float, float]:
        hardness = scenario.supply_waters[names.index(name)].hardness_mg_L_as_CaCO3
        low, middle, high = percentiles(hardness, scenario.weights)
        return float(middle), float(high - low)

    before, after = (middle_and_width(g, "Saltmarsh End") for g in (plan.prior, plan.scenario))
    assert after[0] > before[0]
    assert after[1] < 0.75 * before[1]
    other = [middle_and_width(g, "Chalkworth") for g in (plan.prior, plan.scenario)]
    assert other[1][0] == pytest.approx(other[0][0], abs=4)
    assert other[1][1] == pytest.approx(other[0][1], rel=0.15)


def test_a_search_after_a_meter_reading_plans_for_what_is_really_used() -> None:
    """The candidates are weighed on the corrected demand too."""
    doc = document([line("meter_gal", 384, 30, unit="gal")], [CARBON])
    plan = make_plan(doc, search=False)
    litres = [
        float(percentiles(g.demand.litres_per_service_day("Machine"), g.weights, [0.5])[0])
        for g in (plan.prior, plan.scenario)
    ]
    assert litres[1] / litres[0] == pytest.approx(1.6, abs=0.06)
    assert plan.candidate.cost.expected > plan.before.cost.expected if plan.before else False
