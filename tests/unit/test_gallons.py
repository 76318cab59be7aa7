"""Gallons of what: served or through the cartridge, parts that add up, and numbers without exponents."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from brewwater.ensemble import mean
from brewwater.output.result import plan_result, summary
from brewwater.output.result_schema import PlanResult
from brewwater.output.sheet.pages import pages
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document, load_document
from brewwater.units import GAL_L, plain


def planned(**changes: Any) -> Plan:
    document = demo_document().model_dump(mode="json")
    document["settings"] = {**document["settings"], "draws": 64}
    return make_plan(load_document({**document, **changes}), search=False)


def stage(medium: str, **more: Any) -> dict[str, Any]:
    return {"name": medium, "medium": medium, **more}


@pytest.fixture(scope="module")
def ahead_of_a_membrane() -> tuple[Plan, PlanResult]:
    sheet = {"rated_gal": 2000, "service_flow_gpm": 2}
    membrane = stage("reverse_osmosis", recovery=0.25, sheet={"rated_output_gal_per_day": 150})
    made = planned(train=[stage("sediment", sheet=sheet), membrane, stage("calcite", bypass_percent=20)])
    return made, plan_result(made)


def test_a_filter_ahead_of_a_membrane_serves_a_quarter_of_what_passes_it(
    ahead_of_a_membrane: tuple[Plan, PlanResult],
) -> None:
    made, result = ahead_of_a_membrane
    by = {c.name: c for c in result.cartridges}
    for name, times in (("sediment", 4.0), ("reverse_osmosis", 1.0), ("calcite", 0.8)):
        one = by[name]
        if one.capacity_gal.p50 is None:
            assert one.capacity_through_gal.p50 is None
        else:
            assert one.capacity_through_gal.p50 == pytest.approx(times * one.capacity_gal.p50, rel=1e-5)
    sediment = by["sediment"]
    # rated for 2,000 gal, of which four fifths are planned on: of 1,600 that pass 400 are served
    assert (sediment.capacity_through_gal.p50, sediment.capacity_gal.p50) == pytest.approx((1600, 400), rel=0.03)
    said = next(line for line in summary(made).splitlines() if line.startswith("sediment: "))
    served, through = (plain(p.p50 or 0.0, 2) for p in (sediment.capacity_gal, sediment.capacity_through_gal))
    assert f"serves about {served} gal, for which {through} gal pass it" in said
    printed = " ".join(
        " ".join(row) for p in pages(made, result) for s in p.sections if s.table for row in s.table.rows
    )
    assert f"{served} gal ({through} gal pass it)" in printed


def test_a_capacity_that_is_not_known_is_not_said_to_be_used_up() -> None:
    demand = demo_document().demand.model_dump(mode="json")
    demand["calendar"] |= {"closures": [], "suspensions": []}
    # gallons without the water they were rated at
    made = planned(train=[stage("weak_acid", sheet={"rated_gal": 1200})], demand=demand)
    result = plan_result(made)
    (one,) = result.cartridges
    assert one.capacity_gal.p50 is None and one.governed_by in ("volume", "exchange", "chlorine")
    said = next(line for line in summary(made).splitlines() if line.startswith("weak_acid: "))
    assert "capacity not known" in said and "no capacity stated" in said
    assert "Has exchanged" not in said and "rated water" not in said


def test_branches_add_up_to_the_day() -> None:
    made = planned(train=[stage("carbon")])
    result = plan_result(made)
    demand, weights = made.scenario.demand, made.scenario.weights
    total = sum(demand.litres_per_service_day(b.name) for b in result.branches) / GAL_L
    parts = sum(b.mean_gallons_per_service_day for b in result.branches)
    assert parts == pytest.approx(float(mean(np.asarray(total), weights)), rel=1e-9)
    # the check of the tank: what the fixtures draw on an ordinary day and the membrane's reject are its whole
    made = planned(train=[stage("carbon"), stage("reverse_osmosis", recovery=0.3)])
    why = next(c.why for c in plan_result(made).fit if c.check == "fresh_tank_hours")
    drawn, reject = (float(x) for x in re.search(r"draws ([\d.]+) gal .*?, ([\d.]+) gal of it", why).groups())  # type: ignore[union-attr]
    ordinary = sum(made.scenario.demand.ordinary_day_litres(b.name) for b in made.candidate.branches) / GAL_L
    assert drawn - reject == pytest.approx(float(mean(np.asarray(ordinary), made.scenario.weights)), abs=0.11)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(1463.2, 3, "1,460"), (1.2e9, 3, "1,200,000,000"), (0.00012345, 3, "0.000123"), (-218.04, 3, "-218"), (0, 3, "0")],
)
def test_a_number_is_never_written_with_an_exponent(value: float, digits: int, text: str) -> None:
    assert plain(value, digits) == text
    assert not re.search(r"\de[+-]?\d", plain(value * 1e4, 6))
