"""Which test next: order, price, decisions, and the answer that none would change anything."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from brewwater.plan import make_plan
from brewwater.planning.candidate import Candidate, evaluate
from brewwater.planning.document import PlanDocument, demo_document, load_document
from brewwater.planning.scenario import Scenario, prepare
from brewwater.planning.search import Alternative, Scales
from brewwater.planning.value_of_a_test import Decision, decisions, next_tests
from brewwater.treatment import Stage

START = dt.date(2026, 3, 2)
CARBON = {
    "name": "Carbon",
    "medium": "carbon",
    "sheet": {"rated_gal": 1000, "reference_chlorine_mg_L_as_Cl2": 1.0, "life_months": 12},
}
RESIN = {"name": "Resin", "medium": "weak_acid", "bypass_percent": 30, "size": "large"}
GOOD = {
    "total_hardness": 85,
    "calcium": 25,
    "alkalinity": 55,
    "total_dissolved_solids": 140,
    "ph": 7.4,
    "chloride": 12,
    "sodium": 8,
    "sulfate": 15,
    "free_chlorine": 0.5,
    "total_chlorine": 0.5,
}


def document(analysis: dict[str, Any], train: list[dict[str, Any]] | None = None, **more: Any) -> PlanDocument:
    supply = {
        "name": "Town",
        "disinfectant": "free_chlorine",
        "analysis": {
            name: {"value": value, "unit": "1" if name == "ph" else "mg/L", "method": "lab"}
            for name, value in analysis.items()
        },
    }
    return load_document(
        {
            "unit": {"kind": "truck"},
            "supplies": [supply],
            "fill": {"fills": [{"supply": "Town"}]},
            "demand": {
                "calendar": {"start": START.isoformat()},
                "main_branch": "Machine",
                "drinks": [{"name": "cup", "per_service_day": [90, 100, 110], "fl_oz": 10}],
            },
            "branches": [{"name": "Machine", "kind": "espresso_machine", "machine": "M", "filtered": True}],
            "machines": [{"name": "M", "kind": "espresso"}],
            "train": train,
            "settings": {"draws": 256},
            **more,
        }
    )


def planned(doc: PlanDocument, *others: list[dict[str, Any]]) -> tuple[Scenario, Candidate, list[Alternative]]:
    """The document's own train with other trains as its alternatives, weighed as the search weighs them."""
    plan = make_plan(doc, search=False)
    scales = Scales(plan.scenario)
    found = []
    for train in ([s.model_dump() for s in doc.train or ()], *others):
        candidate = evaluate(plan.scenario, [Stage.model_validate(s) for s in train])
        weigh = [scales.weigh(candidate.stages, candidate.served, measured_only=m) for m in (True, False)]
        found.append(Alternative(candidate, weigh[0], weigh[1], (), ""))
    return plan.scenario, plan.candidate, found


def test_missing_hardness_and_alkalinity_come_first_whatever_their_value() -> None:
    scenario, candidate, others = planned(document({"chloride": 20}, [CARBON]), [CARBON, RESIN])
    found = next_tests(scenario, candidate, others)
    assert [t.analyte for t in found[:2]] == ["total_hardness", "alkalinity"]
    assert all("Not measured in Town" in t.because for t in found[:2])


def test_the_rest_is_ranked_by_value_less_price() -> None:
    analysis = {"total_hardness": [60, 300], "alkalinity": [40, 260], "chloride": [10, 60]}
    scenario, candidate, others = planned(document(analysis, [CARBON]), [CARBON, RESIN], [])
    found = [t for t in next_tests(scenario, candidate, others) if t.net > 0]
    assert len(found) >= 2
    assert [t.net for t in found] == sorted((t.net for t in found), reverse=True)
    assert next_tests(scenario, candidate, others)[: len(found)] == tuple(found)
    assert all(t.minutes > 0 and 0 <= t.changes <= 1 and t.source for t in found)
    assert found[0].decision == "the choice of train or bypass"
    assert "% of cases" in found[0].because


def test_no_test_would_change_anything_is_an_answer() -> None:
    scenario, candidate, others = planned(document(GOOD, [CARBON]), [CARBON, RESIN])
    (found,) = next_tests(scenario, candidate, others)
    assert found.test == "none"
    assert found.value == 0
    assert "what you buy" in found.because


def test_a_bypass_is_a_decision_too() -> None:
    analysis = {**GOOD, "total_hardness": 300, "calcium": 90, "alkalinity": [60, 300], "total_dissolved_solids": 420}
    doc = document(analysis, [CARBON, RESIN])
    scenario, candidate, others = planned(doc)
    (choice,) = [d for d in decisions(scenario, candidate, others) if d.name == "the choice of train or bypass"]
    assert choice.totals.shape == (6, 256)  # the train, and bypass 10 to 50 per cent
    assert any(t.test == "alkalinity_drop_kit" and t.value > 0 for t in next_tests(scenario, candidate, others))


def choices(doc: PlanDocument) -> list[Decision]:
    scenario, candidate, others = planned(doc)
    return list(decisions(scenario, candidate, others))


def test_change_now_or_wait_is_asked_only_of_a_cartridge_that_may_be_spent() -> None:
    placed = [{"stage": "Carbon", "installed": "2025-11-01", "used": [0.2, 0.7, 1.2]}]
    doc = document(GOOD, [CARBON], in_service=placed)
    (choice,) = [d for d in choices(doc) if "change Carbon now" in d.name]
    assert choice.place == "served"
    wait, change = choice.totals
    assert np.all(change >= 0)
    assert wait.max() > 0
    scenario, candidate, others = planned(doc)
    found = {t.test for t in next_tests(scenario, candidate, others) if t.supply == "served"}
    assert "meter_reading" in found
    new = document(GOOD, [CARBON])
    assert not [d for d in choices(new) if "change" in d.name]


def test_an_almost_new_cartridge_needs_no_test() -> None:
    placed = [{"stage": "Carbon", "installed": "2026-02-20", "used": [0.01, 0.02, 0.03]}]
    scenario, candidate, others = planned(document(GOOD, [CARBON], in_service=placed))
    (found,) = next_tests(scenario, candidate, others)
    assert found.test == "none"


def test_fill_here_or_not_is_asked_where_there_are_several_supplies() -> None:
    doc = document({"total_hardness": [60, 400], "alkalinity": [40, 350]}, [CARBON])
    assert not [d for d in choices(doc) if "fill" in d.name]
    other = doc.supplies[0].model_copy(update={"name": "Hill"})
    two = doc.model_copy(
        update={
            "supplies": (*doc.supplies, other),
            "fill": doc.fill.model_copy(
                update={
                    "fills": (
                        doc.fill.fills[0],
                        doc.fill.fills[0].model_copy(update={"supply": "Hill", "weekdays": ("mon",)}),
                    )
                }
            ),
        }
    )
    found = [d for d in choices(two) if "fill" in d.name]
    assert [d.place for d in found] == ["Town", "Hill"]
    assert found[1].totals[1].mean() < found[0].totals[1].mean()  # one day in five is hauled for less


def test_a_plain_calculation_has_no_next_test() -> None:
    doc = document(GOOD, [CARBON], settings={"draws": 1})
    scenario = prepare(doc)
    assert next_tests(scenario, evaluate(scenario, doc.train or ()), ()) == ()


def test_the_same_plan_gives_the_same_tests() -> None:
    doc = document({"total_hardness": [60, 300], "alkalinity": [40, 260]}, [CARBON])
    one, two = (next_tests(*planned(doc, [CARBON, RESIN])) for _ in range(2))
    assert one == two


@pytest.mark.parametrize("missing", ["alkalinity", "total_hardness"])
def test_read_at_the_source_it_is_no_longer_missing(missing: str) -> None:
    analysis = {"total_hardness": 200, "alkalinity": 150}
    del analysis[missing]
    kind = "hardness" if missing == "total_hardness" else missing
    line = {"date": "2026-03-03", "kind": kind, "value": 180, "unit": "mg/L", "where": "source", "method": "drop_kit"}
    scenario, candidate, others = planned(document(analysis, [CARBON]), [CARBON, RESIN])
    assert next_tests(scenario, candidate, others)[0].analyte == missing
    scenario, candidate, others = planned(document(analysis, [CARBON], readings=[line]), [CARBON, RESIN])
    assert not any(
        "Not measured" in t.because and t.analyte == missing for t in next_tests(scenario, candidate, others)
    )


def test_that_no_test_pays_is_never_leave_to_skip_the_one_for_safety() -> None:
    from brewwater.planning.value_of_a_test.choose import _none

    plan = make_plan(demo_document().model_copy(update={"train": ()}), search=False)
    safety = next(v for v in plan.candidate.verdicts if v.subject == "safety")
    assert safety.status == "unknown"
    assert _none(plan.candidate).because == "For safety, a certified lab's test. No other changes what you buy."
    settled = tuple(replace(v, status="ok") if v.subject == "safety" else v for v in plan.candidate.verdicts)
    assert _none(replace(plan.candidate, verdicts=settled)).because == "No single test would change what you buy."
