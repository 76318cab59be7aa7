"""An input keeps its draws whatever else a plan asks for: what one edit does not touch does not move at all."""

from __future__ import annotations

import os
import subprocess
import sys
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document, load_document

TRAIN = [{"name": "Carbon", "medium": "carbon"}, {"name": "Resin", "medium": "weak_acid", "bypass_percent": 20}]
BASE: dict[str, Any] = demo_document().model_dump(mode="json") | {
    "train": TRAIN,
    "settings": {"draws": 256, "seed": 5},
}
ANOTHER_PROCESS = """
import json, sys
from brewwater.planning.document import load_document
from brewwater.plan import make_plan
plan = make_plan(load_document(json.load(sys.stdin)), search=False)
print(plan.correction.resampled, plan.candidate.cost.total.sum().hex(), plan.scenario.weights.max().hex())
"""


def planned(**change: Any) -> Plan:
    return make_plan(load_document(BASE | change), search=False)


@pytest.fixture(scope="module")
def before() -> Plan:
    return planned()


def lines(plan: Plan) -> dict[str, Any]:
    return {line.name: line.amount for line in plan.candidate.cost.lines}


def test_an_uncertain_price_moves_its_own_line_alone(before: Plan) -> None:
    money = BASE["money"] | {"downtime_days_per_year": [1, 2, 4], "scale_g_per_descale": [20, 50, 110]}
    after = planned(money=money)
    one, two = lines(before), lines(after)
    assert "Downtime" in two
    assert "Downtime" not in one
    assert len(one) >= 6
    for name, amount in one.items():
        if name != "Descaling":
            assert two[name] == amount, name
    for a, b in zip(before.candidate.cartridges, after.candidate.cartridges, strict=True):
        assert a.alone.dues == b.alone.dues
        np.testing.assert_array_equal(a.usable_gal, b.usable_gal)


def test_an_uncertain_use_before_the_others_leaves_waters_prices_and_other_uses_exactly(before: Plan) -> None:
    fixed = [{"name": "garden", "branch": "Tap", "gal_per_service_day": [1, 2, 3]}, *BASE["demand"]["fixed"]]
    branches = [*BASE["branches"], {"name": "Tap", "kind": "sink", "filtered": False}]
    after = planned(demand=BASE["demand"] | {"fixed": fixed}, branches=branches)
    for branch in before.scenario.demand.branches:
        np.testing.assert_array_equal(
            before.scenario.demand.branch_amounts(branch), after.scenario.demand.branch_amounts(branch)
        )
    np.testing.assert_array_equal(before.scenario.waters.totals.calcium, after.scenario.waters.totals.calcium)
    np.testing.assert_array_equal(before.scenario.waters.totals.dic, after.scenario.waters.totals.dic)
    one, two = lines(before), lines(after)
    kept = [name for name in one if name.startswith(("Cartridges", "Filter heads", "Test kits", "Descaling"))]
    assert len(kept) >= 4
    # the last coin of a line follows from the others: lines are rounded so that they add up to the year
    assert all(abs(one[name] - two[name]) <= Decimal("0.01") for name in kept)


def test_a_third_cartridge_leaves_the_first_two_exactly(before: Plan) -> None:
    after = planned(train=[*TRAIN, {"name": "Fine", "medium": "sediment"}])
    for a, b in zip(before.candidate.cartridges, after.candidate.cartridges, strict=False):
        assert a.alone.dues == b.alone.dues
        np.testing.assert_array_equal(a.usable_gal, b.usable_gal)
        assert lines(before)[f"Cartridges: {a.stage.name}"] == lines(after)[f"Cartridges: {a.stage.name}"]


def test_a_plan_with_a_log_is_the_same_in_processes_that_order_sets_otherwise() -> None:
    start = demo_document().demand.calendar.start.isoformat()
    log = [
        {"date": start, "kind": "meter_gal", "value": 0, "unit": "gal"},
        {"date": start[:5] + "06-01", "kind": "meter_gal", "value": 1500, "unit": "gal"},
        {
            "date": start[:5] + "05-20",
            "kind": "hardness",
            "value": 60,
            "unit": "mg/L",
            "where": "served",
            "method": "drop_kit",
        },
        {
            "date": start[:5] + "05-20",
            "kind": "hardness",
            "value": 262,
            "unit": "mg/L",
            "method": "lab",
            "where": BASE["supplies"][0]["name"],
        },
    ]
    text = load_document(BASE | {"readings": log}).to_json()
    found = set()
    for order in ("0", "1"):
        run = subprocess.run(
            [sys.executable, "-c", ANOTHER_PROCESS],
            input=text,
            env=os.environ | {"PYTHONHASHSEED": order},
            capture_output=True,
            text=True,
            check=True,
        )
        found.add(run.stdout)
    assert len(found) == 1
    assert int(found.pop().split()[0]) > 0
