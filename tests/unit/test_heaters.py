"""Scale where water is heated and no machine profile stands."""

from __future__ import annotations

import runpy
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from brewwater.output.result import plan_result, summary
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document
from brewwater.treatment import Stage

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).parents[1] / "scenarios" / "recommend_scenarios.py")))
HARD = {"total_hardness": 290, "alkalinity": 240, "chloride": 20, "ph": 7.6}
SOFT = {"total_hardness": 40, "alkalinity": 30, "chloride": 10, "ph": 7.2}


def plan(values: dict[str, float], set_C: float | None = None, **changes: Any) -> Plan:
    made = AT.document(values, draws=64, disinfectant="free_chlorine").model_dump()
    changes.setdefault("train", [Stage(name="Softener", medium="softening").model_dump()])
    if set_C is not None:
        made["unit"]["heater"] = {"volume_gal": 4, "power_W": 1440, "set_C": set_C}
    return make_plan(load_document({**made, **changes}), search=False)


@pytest.mark.parametrize(("values", "status"), [(HARD, "act"), (SOFT, "ok")])
def test_the_sinks_heater_is_judged_on_the_water_as_it_comes(values: dict[str, float], status: str) -> None:
    made = plan(values)
    (heater,) = made.heaters
    assert (heater.branch, heater.water, heater.subject) == ("Water heater", "source", "scale")
    assert heater.status == status  # the softener is not before it
    assert "usual one, not given" in heater.why
    assert "g a year can settle in Water heater" in heater.why
    assert "0 to 0 g" not in heater.why
    assert f"Scale (untreated, Water heater): {'act' if status == 'act' else 'good'}." in summary(made)
    told = [v for v in plan_result(made).verdicts if v.branch == "Water heater"]
    assert [v.why for v in told] == [heater.why]


def test_a_hotter_heater_lays_down_more() -> None:
    def grams(made: Plan) -> float:
        return float(made.heaters[0].why.split(" g a year")[0].split(" ")[-1].replace(",", ""))

    warm, hot = plan(HARD, 45), plan(HARD, 80)
    assert grams(hot) > 1.2 * grams(warm) > 0
    assert "not given" not in hot.heaters[0].why


def test_a_branch_that_names_no_machine_gets_a_verdict_on_its_own_water() -> None:
    made = AT.document(HARD).model_dump()
    branches = [*made["branches"], {"name": "Tea tower", "kind": "hot_water", "filtered": False}]
    fixed = [*made["demand"]["fixed"], {"name": "tea", "branch": "Tea tower", "gal_per_service_day": 2}]
    plain = plan(HARD, branches=branches, demand={**made["demand"], "fixed": fixed})
    filtered = [*made["branches"], {"name": "Tea tower", "kind": "hot_water", "filtered": True}]
    soft = plan(HARD, branches=filtered, demand={**made["demand"], "fixed": fixed})
    before, after = ({v.branch: v for v in p.heaters} for p in (plain, soft))
    assert set(before) == set(after) == {"Water heater", "Tea tower"}
    assert (before["Tea tower"].water, before["Tea tower"].status) == ("source", "act")
    assert after["Tea tower"].water == "served"
    assert np.isfinite(after["Tea tower"].share or 0.0)
    assert after["Tea tower"].status != "act"  # softened: hardness no longer falls out


def test_a_cart_without_a_heater_has_none() -> None:
    assert plan(HARD, unit={"kind": "cart"}).heaters == ()


def test_a_scale_inhibitor_counts_where_no_machine_is_named() -> None:
    """The same water at the same temperature: a brewer with a profile, and a branch that names none."""
    moderate = {"total_hardness": 105, "alkalinity": 95, "chloride": 20, "ph": 7.8}
    made = AT.document(moderate).model_dump()
    branches = [*made["branches"], {"name": "Filter coffee", "kind": "brewer", "filtered": True}]
    fixed = [*made["demand"]["fixed"], {"name": "filter", "branch": "Filter coffee", "gal_per_service_day": 5}]
    more = {"branches": branches, "demand": {**made["demand"], "fixed": fixed}}
    held, bare = (
        next(v for v in plan(moderate, train=train, **more).heaters if v.branch == "Filter coffee")
        for train in ([Stage(name="Inhibitor", medium="scale_inhibitor").model_dump()], [])
    )
    assert (held.status, bare.status) == ("ok", "watch"), (held.why, bare.why)
    assert "less than 1 g a year can settle in Filter coffee" in held.why
    assert "less than 1 g" not in bare.why
    named = {**more, "machines": [*made["machines"], {"name": "B", "kind": "brewer"}]}
    named["branches"] = [*made["branches"], {**branches[-1], "machine": "B"}]
    profile = plan(moderate, train=[Stage(name="Inhibitor", medium="scale_inhibitor").model_dump()], **named)
    scale = next(v for v in profile.candidate.verdicts if v.branch == "Filter coffee" and v.subject == "scale")
    assert (scale.status, scale.share) == (held.status, held.share)
