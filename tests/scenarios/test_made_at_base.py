"""A membrane on a small tank, and the same one at base: 7 gal of coffee water, 12 gal of all else. Invented."""

from __future__ import annotations

import runpy
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from brewwater.cost import written
from brewwater.ensemble import percentiles
from brewwater.output.result import plan_result, summary
from brewwater.output.sheet.base import differing
from brewwater.output.sheet.pages import pages
from brewwater.output.tables import tables
from brewwater.plan import Plan, make_plan
from brewwater.planning.base_membrane import AFTER_TANK, AtBase, Way
from brewwater.planning.document import load_document

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("recommend_scenarios.py"))))
WATER = {"total_hardness": 60, "alkalinity": 50, "chloride": 95, "free_chlorine": 0.8}
PRICES = {
    "head": 0,
    "membrane_unit": 500,
    "base_tank": 100,
    "carried_tank": 200,
    "test_kit": 0,
    "water_gal": 0.01,
    "hauled_gal": 0.5,
    "descale": 0,
    "margin_day": 0,
    "labour_visit": 0,
    "mineral_kg": 10,
    "softener_salt_kg": 1,
}
SHEET = {"price": 0, "flush_gal": 0, "service_flow_gpm": 2, "clean_pressure_drop_psi": 2, "drop_at_flow_gpm": 2}
MEMBRANE = {"price": 0, "flush_gal": 0, "rated_output_gal_per_day": 100, "rated_pressure_psi": 60}


def plan(recovery: float = 0.25, draws: int = 1, train: list[dict[str, Any]] | None = None, **more: Any) -> Plan:
    made = AT.document(WATER, draws=draws, disinfectant="free_chlorine").model_dump()
    made["unit"].update(fresh_tank_gal=32, waste_tank_gal=42, hours_per_service_day=8, mains_psi=70, **more)
    made["branches"] = [b for b in made["branches"] if b["kind"] in ("espresso_machine", "sink")]
    made["demand"].update(
        drinks_per_service_day=None,
        uses_per_drink=[],
        fixed=[
            {"name": "coffee", "branch": "Espresso machine", "gal_per_service_day": 6},
            {"name": "else", "branch": "Three-basin sink", "gal_per_service_day": 12},
        ],
        drinks=[{"name": "cup", "per_service_day": 128, "fl_oz": 1}],
    )
    made["train"] = (
        train
        if train is not None
        else [
            {"name": "Sediment", "medium": "sediment", "sheet": SHEET},
            {"name": "Carbon", "medium": "carbon", "sheet": SHEET},
            {"name": "Membrane", "medium": "reverse_osmosis", "recovery": recovery, "sheet": MEMBRANE},
        ]
    )
    made["money"]["prices"] = PRICES
    return make_plan(load_document(made), search=False)


def at_base(made: Plan) -> AtBase:
    assert made.at_base is not None
    return made.at_base


def ways(made: Plan) -> dict[str, Way]:
    return {w.key: w for w in at_base(made).ways}


def only(values: np.ndarray) -> float:
    assert values.shape == (1,)
    return float(values[0])


def lines(way: Way) -> dict[str, float]:
    return {line.name: float(line.amount) for line in way.cost.lines}


@pytest.mark.parametrize(("recovery", "passes", "fresh"), [(0.25, False, 40), (0.5, True, 26)])
def test_on_board_both_tanks_decide_and_at_base_nothing_is_rejected_on_board(
    recovery: float, passes: bool, fresh: float
) -> None:
    found = ways(plan(recovery))
    board, own, whole = found["on_board"], found["own_tank"], found["fresh_tank"]
    drains = 12 + 7 * 0.3  # sinks and the machine's own drain
    assert board.passes is passes
    assert only(board.fresh_gal) == pytest.approx(fresh)
    assert only(board.waste_gal) == pytest.approx(drains + fresh - 19)
    assert only(own.fresh_gal) == pytest.approx(12)
    assert only(whole.fresh_gal) == pytest.approx(19)
    assert only(own.waste_gal) == only(whole.waste_gal) == pytest.approx(drains)
    assert only(own.reject_gal) == pytest.approx(fresh - 19)
    assert only(whole.reject_gal) == pytest.approx(19 * (1 / recovery - 1))
    assert whole.passes is True


def test_the_year_by_hand() -> None:
    made = plan()
    days = int(made.scenario.demand.open[: made.scenario.demand.year()].sum())
    found = ways(made)
    board, own, whole = (lines(found[k]) for k in ("on_board", "own_tank", "fresh_tank"))
    level = pytest.approx
    assert board["Water from the tap"] == level(days * 19 * 0.01, abs=0.02)
    assert board["Water rejected"] == level(days * 21 * 0.01, abs=0.02)
    assert own["Water rejected"] == board["Water rejected"]
    assert own["Water from the tap"] == board["Water from the tap"]
    assert whole["Water rejected"] == level(days * 57 * 0.01, abs=0.02)
    assert own["Carried tank of its own, with pump over its life"] == 200 / 5
    assert "Storage tank at base over its life" not in own  # 100 gal a day makes 7 gal overnight
    assert found["own_tank"].base_tank_gal is None
    more = float(found["own_tank"].cost.expected - found["on_board"].cost.expected)
    assert more == level(40, abs=0.01)
    assert only(found["own_tank"].dearer) == level(more, abs=0.01)
    assert any(name.endswith(AFTER_TANK) for name in whole)
    # what differs adds up to the whole difference
    told = plan_result(made).made_at_base
    assert told is not None
    assert sum(a[1] - a[0] for _, a in differing(told)) == level(more, abs=0.01)


def test_hauled_water_is_dear_on_board_and_the_base_has_mains() -> None:
    document = plan().document
    hauled = make_plan(
        document.model_copy(update={"money": document.money.model_copy(update={"hauled": True})}), search=False
    )
    days = int(hauled.scenario.demand.open[: hauled.scenario.demand.year()].sum())
    found = ways(hauled)
    assert lines(found["on_board"])["Water rejected"] == pytest.approx(days * 21 * 0.5, abs=0.02)
    own = lines(found["own_tank"])
    assert own["Water rejected"] == pytest.approx(days * 21 * 0.01, abs=0.02)
    assert own["Water bought or hauled"] == pytest.approx(days * 12 * 0.5, abs=0.02)
    assert own["Water from the tap"] == pytest.approx(days * 7 * 0.01, abs=0.02)
    assert only(found["own_tank"].dearer) < -days * 7 * 0.4


def test_hours_of_the_membrane_by_hand_and_what_it_asks() -> None:
    found = ways(plan())["own_tank"]
    made = plan(water_C=25)
    run = ways(made)["own_tank"].run_hours
    assert run is not None
    # 100 gal a day rated at 60 psi; 70 at the base, the filters before it take their drop, a few psi of osmosis
    assert 7 / 100 * 24 * 0.85 < only(run) < 7 / 100 * 24 * 1.15
    assert found.run_hours is not None
    assert only(found.run_hours) > only(run)  # colder
    said = " ".join(found.asks)
    assert "21 gal of reject" in said
    assert "tank of its own of 7.5 gal" in said
    assert "No storage tank at base" in said


def test_a_slow_membrane_wants_a_tank_at_base_and_one_too_slow_fails() -> None:
    slow = [
        {
            "name": "Membrane",
            "medium": "reverse_osmosis",
            "recovery": 0.25,
            "sheet": {**MEMBRANE, "rated_output_gal_per_day": 9},
        }
    ]
    found = ways(plan(train=slow))
    assert found["own_tank"].base_tank_gal == 5
    assert lines(found["own_tank"])["Storage tank at base over its life"] == 100 / 5
    assert found["fresh_tank"].passes is False
    assert {c.check: c.ok for c in found["fresh_tank"].checks}["membrane_hours"] is False


def test_the_carried_tank_counts_in_the_waste_rule_and_in_the_weight() -> None:
    made = plan(weights={"empty_lb": 4000, "gross_limit_lb": 4450})
    found = {w.key: {c.check: c for c in w.checks} for w in at_base(made).ways}
    assert found["own_tank"]["waste_tank_ratio"].value == pytest.approx(42 / 39.5)
    assert found["own_tank"]["waste_tank_ratio"].ok is False
    assert found["fresh_tank"]["waste_tank_ratio"].ok is True
    per_gal = 8.338
    assert found["own_tank"]["weight"].value == pytest.approx(4000 + 49.5 * per_gal, abs=1)
    assert found["fresh_tank"]["weight"].value == pytest.approx(4000 + 42 * per_gal, abs=1)
    assert "with a fresh tank of 29 gal it is large enough" in " ".join(at_base(made).ways[1].asks)


def test_on_board_that_fails_is_told_with_what_base_costs() -> None:
    made, thin = plan(0.25), plan(0.5)
    told = [w.message for w in made.warnings if w.code == "made_at_base"]
    assert told == [at_base(made).note]
    assert "fails (fresh tank hours" in told[0]
    assert "a year more" in told[0]
    assert not [w for w in thin.warnings if w.code == "made_at_base"]


def test_the_difference_is_of_the_same_draws() -> None:
    made = plan(draws=128)
    one = ways(made)["own_tank"]
    low, _, high = percentiles(one.dearer, made.scenario.weights)
    assert low == pytest.approx(high) == pytest.approx(40, abs=0.01)  # all else is the same in each draw
    assert np.shape(one.cost.total)[-1] in (1, 128)


def test_page_terminal_and_table_say_the_same() -> None:
    made = plan()
    result = plan_result(made)
    told = result.made_at_base
    assert told is not None
    assert told.note == at_base(made).note
    assert [w.expected for w in told.ways] == [float(w.cost.expected) for w in at_base(made).ways]
    text = summary(made)
    page = next(p for p in pages(made, result) if p.key == "base")
    printed = str(page)
    rows = {row[0]: row for row in tables(made, result)["made_at_base"][1:]}
    for way in told.ways:
        assert f"{way.name}: " in text
        assert written(way.expected, result.yearly_cost.currency) in text
        assert written(way.expected, result.yearly_cost.currency) in printed
        assert way.expected in rows[way.name]
        assert all(ask in text and ask in printed for ask in way.asks)


def test_no_membrane_or_no_tanks_no_question() -> None:
    none = plan(train=[])
    assert none.at_base is None
    assert plan_result(none).made_at_base is None
    assert "base" not in [p.key for p in pages(none)]
    assert plan(on_board=False).at_base is None


def test_the_best_alternative_whose_membrane_the_tanks_do_not_bear_is_worked() -> None:
    values = {"total_hardness": 35, "alkalinity": 30, "chloride": 95, "sulfate": 20, "sodium": 69}
    document = AT.document(values, disinfectant="free_chlorine").model_dump()
    document["unit"].update(fresh_tank_gal=26, waste_tank_gal=34)
    made = make_plan(load_document(document))
    assert "reverse_osmosis" not in AT.media(made.candidate.stages)
    found = at_base(made)
    assert found.own is False
    assert "reverse_osmosis" in AT.media(found.stages)
    assert found.ways[0].passes is False
