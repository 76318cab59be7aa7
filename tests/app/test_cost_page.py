"""The cost page: comparison with no treatment, payback, budgets, damage."""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from brewwater.cost import Damage
from brewwater.plan import Plan
from brewwater.records import Span
from brewwater.web.pages import cost as cost_page
from brewwater.web.widgets.words import Words


def test_no_treatment_is_always_there_to_compare_with(ready, found: Plan) -> None:
    ready.go("cost")
    box = ready.at.radio(key="cost_other")  # the names are too long for a closed list
    assert cost_page.NO_TREATMENT in box.options
    box.set_value(cost_page.NO_TREATMENT)
    ready.run()
    assert "Two plans by line" in ready.html()
    assert "at installation" in ready.html()


def money(expected: float, first: float, spread: float = 0.0):  # type: ignore[no-untyped-def]
    from brewwater.cost import Cost

    total = expected + spread * np.array([-1.0, 0.0, 1.0])
    return Cost(
        "USD",
        (),
        Decimal(str(expected)),
        total,
        np.full(3, first),
        (0.0, 0.0, 0.0),
        None,
        Decimal(str(first)),
        (),
        Decimal(0),
        Decimal(0),
        np.zeros(1),
        (),
    )


def test_when_the_dearer_start_is_paid_back() -> None:
    words, weights = Words(), np.ones(3)
    soon = cost_page.paid_back(money(400, 700), money(1000, 100), weights, words)
    assert soon.startswith("This plan costs $600 more at installation")
    assert "about 12 months (12 to 12)" in soon
    other = cost_page.paid_back(money(1000, 100), money(400, 700), weights, words)
    assert other.startswith("The other costs $600 more")
    never = cost_page.paid_back(money(1000, 700), money(400, 100), weights, words)
    assert "in 100 % of the cases that is never saved again" in never
    some = cost_page.paid_back(money(900, 700, spread=200), money(1000, 100), weights, words)
    assert "never in some cases" in some
    assert cost_page.paid_back(money(1, 5), money(2, 5), weights, words) == "Both cost the same at installation."


def test_budgets_are_shown_where_the_plan_has_them(ready, found: Plan) -> None:
    ready.go("cost")
    assert "Budgets at installation" not in [s.value for s in ready.at.subheader]
    ready.at.number_input(key="filter_budget").set_value(1.0)
    ready.run()
    assert "Budgets at installation" in [s.value for s in ready.at.subheader]
    assert "over the budget in 100 % of the cases" in ready.html()
    ready.at.number_input(key="filter_budget").set_value(1e6)
    ready.at.number_input(key="plumb_budget").set_value(300.0)
    ready.run()
    assert "over the budget in 0 % of the cases" in ready.html()
    assert "cost not entered" in ready.html()
    ready.at.text_input(key="plumb_cost").set_value("250 - 290")
    ready.run()
    assert ready.document.money.plumbing_cost == Span(low=250, high=290)
    assert "cost not entered" not in ready.html()


def test_damage_is_listed_as_a_range_and_never_counted(ready) -> None:
    ready.go("cost")
    ready.at.button(key="damage_add").click()
    ready.run()
    before = ready.html().split("A year costs</div>")[1].split("</div>")[0]
    ready.at.text_input(key="damage_cost_0").set_value("100 - 1000")
    ready.run()
    (damage,) = ready.document.money.damages
    assert damage == Damage(name="Boiler repair", cost=Span(low=100, high=1000), times_per_year=Span(low=0.1, high=0.5))
    html = ready.html()
    assert "$10 to $500 a year" in html
    assert html.split("A year costs</div>")[1].split("</div>")[0] == before
    ready.at.button(key="damage_out_0").click()
    ready.run()
    assert ready.document.money.damages == ()
