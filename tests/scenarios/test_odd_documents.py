"""Documents that a random search found wanting, the smallest of each: what is said of them, and what moves nothing."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from brewwater.ensemble import mean
from brewwater.output.result import plan_result
from brewwater.output.sheet.files import files
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document

pytestmark = pytest.mark.samples


@pytest.fixture(scope="module")
def odd(samples: Path) -> Any:
    folder = samples / "plans"
    if not folder.is_dir():
        pytest.skip("BREWWATER_SAMPLES holds no folder of plans")

    def read(name: str, **changes: Any) -> dict[str, Any]:
        return {**json.loads((folder / f"{name}.json").read_text(encoding="utf-8")), **changes}

    return read


def planned(document: dict[str, Any], search: bool = False) -> Plan:
    return make_plan(load_document(document), search=search)


def told(plan: Plan) -> dict[str, str]:
    return {w.code: w.message for w in plan.warnings}


def first_change(plan: Plan) -> dt.date:
    return plan.calendar.dues[0].date


def test_a_meter_behind_which_nothing_is_filtered_is_told_and_ends_nothing(odd: Any) -> None:
    plan = planned(odd("axiserror_meter_demo"))
    flag = plan.reading_flags[0]
    assert flag.code == "nothing_filtered" and not flag.used
    assert "behind C" in flag.message and "filtered" in flag.message
    assert files(plan)


@pytest.mark.parametrize("name", ["none_filtered_own_train", "stage_on_unfiltered_branch"])
def test_a_stage_that_serves_nothing_is_told_in_words_on_a_sheet_that_prints(odd: Any, name: str) -> None:
    plan = planned(odd(name))
    assert [s.name for s in plan.candidate.idle] == ["C"]
    assert told(plan)["stage_serves_nothing"].startswith("C: No filtered branch stands behind it")
    html = files(plan)["figures.html"].decode()
    assert "No filtered branch stands behind it, so no water passes it" in html
    assert plan_result(plan).cartridges == []


def test_where_nothing_is_filtered_nothing_is_recommended(odd: Any) -> None:
    plan = planned(odd("none_filtered_recommended", readings=[]), search=True)
    assert plan.candidate.stages == ()
    assert [a.candidate.stages for a in plan.alternatives] == [()]
    assert "no treatment can reach" in told(plan)["nothing_filtered"]


def test_the_order_of_the_branches_moves_nothing(odd: Any) -> None:
    one, other = (planned(odd(f"branch_order_30_{x}")) for x in "ab")
    for a, b in zip(one.candidate.cartridges, other.candidate.cartridges, strict=True):
        assert a.stage == b.stage
        assert a.usable_gal == pytest.approx(b.usable_gal, rel=1e-9)
    dates = [[(d.cartridge, d.early, d.date, d.late) for d in p.calendar.dues] for p in (one, other)]
    assert dates[0] and dates[0] == dates[1]
    assert one.candidate.cost.total == pytest.approx(other.candidate.cost.total, rel=1e-9)


def test_the_order_of_the_lines_of_a_log_moves_nothing(odd: Any) -> None:
    one, other = (plan_result(planned(odd(f"reading_order_{x}", settings={"draws": 64}))) for x in "ab")
    assert one.model_copy(update={"stamp": ""}) == other.model_copy(update={"stamp": ""})


def test_a_faster_meter_never_puts_a_change_later(odd: Any) -> None:
    line = odd("meter_4x_lowers_gallons")["readings"][0]
    found = []
    for gallons in (60, 180, 360, 720, 1080, 1500, 2800):
        plan = planned(odd("meter_4x_lowers_gallons", readings=[{**line, "value": gallons}], settings={"draws": 256}))
        found.append(first_change(plan))
    assert found == sorted(found, reverse=True)
    assert found[0] > found[-1] + dt.timedelta(days=60)


def test_a_meter_past_what_the_plan_can_follow_is_leaned_on_and_told(odd: Any) -> None:
    document = odd("meter_4x_lowers_gallons", settings={"draws": 256})
    plan, bare = planned(document), planned(document | {"readings": []})
    message = told(plan)["meter_high"]
    assert "4.1 times" in message and "wrong by a factor" in message and "lean on the meter" in message
    served = [
        float(mean(sum(p.scenario.demand.litres(b) for b in p.candidate.cartridges[0].branches), p.scenario.weights))
        for p in (plan, bare)
    ]
    assert served[0] / served[1] == pytest.approx(4.1, rel=0.15)  # one reading over 17 days, as days differ


def test_solids_far_above_the_ions_are_told_and_neither_is_dropped(odd: Any) -> None:
    plan = planned(odd("tds_contradicts_ions"))
    assert "347" in told(plan)["tds_above_ions"]
    solids = plan.scenario.waters.tds_mg_L.reshape(-1)
    assert np.mean(solids > 300) == pytest.approx(0.5, abs=0.02) and np.mean(solids < 200) == pytest.approx(
        0.5, abs=0.02
    )
    cup = next(v for v in plan.source_verdicts if v.subject == "cup")
    assert cup.status != "ok" and "issolved solids" in cup.why


def test_calcium_above_hardness_is_told_and_neither_is_dropped(odd: Any) -> None:
    plan = planned(odd("calcium_over_hardness"))
    assert "499" in told(plan)["hardness_mismatch"] and "one of them is wrong" in told(plan)["hardness_mismatch"]
    hardness = plan.scenario.waters.hardness_mg_L_as_CaCO3.reshape(-1)
    assert np.mean(hardness > 450) == pytest.approx(0.5, abs=0.02) and np.mean(hardness < 120) == pytest.approx(
        0.5, abs=0.02
    )
    scale = next(v for v in plan.source_verdicts if v.subject == "scale")
    assert scale.status != "ok"
