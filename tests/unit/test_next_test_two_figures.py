"""A test that shows two figures, and one figure that goes by two names."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from brewwater.ensemble import Draws
from brewwater.plan import make_plan
from brewwater.planning.candidate import evaluate
from brewwater.planning.document import PlanDocument, load_document
from brewwater.planning.search import Alternative, Scales
from brewwater.planning.value_of_a_test import decisions as decisions_of
from brewwater.planning.value_of_a_test import next_tests, predicted_of, reading_of, value_of
from brewwater.planning.value_of_a_test.choose import _unmeasured
from brewwater.planning.value_of_a_test.shown import _read
from brewwater.reference import keyed
from brewwater.treatment import Stage

CARBON = {"name": "Carbon", "medium": "carbon", "size": "large"}
CATALYTIC = {"name": "Catalytic", "medium": "catalytic_carbon", "size": "large"}
BASIS = {"total_hardness": 70, "calcium": 20, "alkalinity": 50, "ph": 7.6, "chloride": 12, "sodium": 8, "sulfate": 15}


def document(analysis: dict[str, Any], disinfectant: str) -> PlanDocument:
    rows = {k: {"value": v, "unit": "1" if k == "ph" else "mg/L", "method": "lab"} for k, v in analysis.items()}
    return load_document(
        {
            "unit": {"kind": "truck"},
            "supplies": [{"name": "Town", "disinfectant": disinfectant, "analysis": rows}],
            "fill": {"fills": [{"supply": "Town"}]},
            "demand": {
                "calendar": {"start": "2026-03-02"},
                "main_branch": "Machine",
                "drinks": [{"name": "cup", "per_service_day": [90, 100, 110], "fl_oz": 10}],
            },
            "branches": [{"name": "Machine", "kind": "espresso_machine", "machine": "M", "filtered": True}],
            "machines": [{"name": "M", "kind": "espresso"}],
            "train": [CARBON],
            "settings": {"draws": 1024},
        }
    )


def weighed(doc: PlanDocument):  # type: ignore[no-untyped-def]
    plan = make_plan(doc, search=False)
    scales = Scales(plan.scenario)
    others = []
    for train in ([CARBON], [CATALYTIC]):
        candidate = evaluate(plan.scenario, [Stage.model_validate(s) for s in train])
        weigh = [scales.weigh(candidate.stages, candidate.served, measured_only=m) for m in (True, False)]
        others.append(Alternative(candidate, weigh[0], weigh[1], (), ""))
    return plan.scenario, plan.candidate, others


def test_total_and_free_chlorine_tell_which_carbon_and_total_alone_does_not() -> None:
    scenario, candidate, others = weighed(document({**BASIS, "total_chlorine": [1.5, 2.5]}, "unknown"))
    row = keyed("possible_tests", "test")["total_chlorine_test"]
    choice = next(d for d in decisions_of(scenario, candidate, others) if d.name == "the choice of train or bypass")
    both = reading_of(scenario, candidate, row, "Town", choice)
    assert both is not None
    assert both.shape[0] == 2
    total = predicted_of(scenario, candidate, "total_chlorine", "Town", choice)
    assert total is not None
    alone = _read(scenario, row["test"], "Town", total, (0.10, 0.05))
    worth_both, often = value_of(both, choice.totals, scenario.weights)
    worth_alone, _ = value_of(alone, choice.totals, scenario.weights)
    # what knowing the disinfectant for certain is worth: the mean of each draw's better train, kind by kind
    combined = scenario.supply_waters[0].chloramine_mg_L > 0
    share = scenario.weights / scenario.weights.sum()
    perfect = (choice.totals @ share).min() - sum(
        (choice.totals[:, kind] @ share[kind]).min() for kind in (combined, ~combined)
    )
    assert perfect > 0
    assert worth_both == pytest.approx(perfect, rel=0.1)
    assert worth_alone < 0.2 * perfect
    assert often > 0.3
    found = {t.test: t for t in next_tests(scenario, candidate, others)}
    assert found["total_chlorine_test"].value == pytest.approx(worth_both)


def test_two_figures_that_say_the_same_are_worth_no_more_than_one_perfect_one() -> None:
    draws = Draws(4096)
    truth = draws.normal("truth")
    totals = np.array([truth, -truth])
    one, _ = value_of(truth, totals, np.ones(4096))
    two, _ = value_of(np.array([[truth], [truth]]), totals, np.ones(4096))
    assert one == pytest.approx(np.sqrt(2 / np.pi), rel=0.02)  # mean of |z|
    assert two == pytest.approx(one, rel=0.05)


def test_a_decision_that_hangs_on_a_difference_needs_both_figures() -> None:
    draws = Draws(8192)
    first, second = draws.normal("first"), draws.normal("second")
    totals = np.array([first * second, np.zeros(8192)])  # better where the signs differ: neither tells alone
    alone = [value_of(x, totals, np.ones(8192))[0] for x in (first, second)]
    both, _ = value_of(np.array([[first], [second]]), totals, np.ones(8192))
    assert max(alone) < 0.02
    assert both == pytest.approx(1 / np.pi, rel=0.1)  # half the mean of |z1 z2|


def test_conductivity_is_measured_where_dissolved_solids_are() -> None:
    known, unknown = (weighed(document(a, "chloramine"))[0] for a in ({**BASIS, "total_dissolved_solids": 200}, BASIS))
    assert _unmeasured(known, "conductivity") == set()
    assert _unmeasured(unknown, "conductivity") == {"Town"}
    assert _unmeasured(known, "iron") == {"Town"}
