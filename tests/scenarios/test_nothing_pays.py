"""With few drinks a treatment costs more than it saves: nothing is bought, and it is said why."""

from __future__ import annotations

import datetime as dt
import re

import brewwater as bw
from brewwater.ensemble import mean
from brewwater.output.answer import answer
from brewwater.output.numbers import Words
from brewwater.planning.search import cost_over_years, out_of_goal


def test_why_nothing_is_bought_is_said_with_figures_that_agree() -> None:
    plan = bw.quick_plan(hardness=200, alkalinity=150, tds=300, drinks=6)
    first, *others = plan.alternatives
    assert plan.candidate.stages == ()
    lost, saved, dearer = (int(x.replace(",", "")) for x in re.findall(r"\$([\d,]+)", first.why))
    weights = plan.scenario.weights
    assert lost == round(sum(float(mean(x, weights)) for x in first.weight.loss.values())) > 1
    assert saved < dearer  # or it would be bought
    same = [
        a
        for a in others
        if lost - out_of_goal(plan.scenario, a) == saved
        and cost_over_years(plan.scenario, a) - cost_over_years(plan.scenario, first) == dearer
    ]
    assert same
    told = answer(plan, Words(False), dt.date.today())
    assert told.outcome == f"No treatment pays with these drinks: it costs about ${lost:,} a year as it is."


def test_good_water_needs_no_excuse() -> None:
    plan = bw.quick_plan(hardness=70, alkalinity=50, tds=130, drinks=6)
    assert plan.candidate.stages == ()
    assert "as it is" not in answer(plan, Words(False), dt.date.today()).outcome
