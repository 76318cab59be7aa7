"""One set of dates on page and sheet, what is left, the charts of the year, which test matters."""

from __future__ import annotations

import datetime as dt
from html import unescape

import numpy as np
import pytest

from brewwater.changes import InService
from brewwater.output.charts import LIGHT, capacity_left, demand_year, remaining, tank_day
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument, mobile_template
from brewwater.records import Span
from brewwater.web.widgets.facts import next_change
from brewwater.web.widgets.words import date

# -- one set of dates


def with_policy(document: PlanDocument, **policy: object) -> PlanDocument:
    return document.model_copy(update={"policy": document.policy.model_copy(update=policy)})


@pytest.mark.parametrize("policy", [{}, {"group_days": 21}, {"risk": 0.1}])
def test_the_page_has_the_dates_of_the_sheet(found: Plan, ready, policy: dict[str, object]) -> None:
    for key, value in policy.items():
        if key == "risk":
            ready.go("changes").at.toggle(key="by_risk").set_value(True)
        else:
            ready.go("changes").at.number_input(key=key).set_value(value)
        ready.run()
    assert {k: getattr(ready.document.policy, k) for k in policy} == policy
    ready.go("changes")
    plan = make_plan(ready.document, search=False, train=found.candidate.stages) if policy else found
    expected = plan.calendar.dues
    assert len(expected) > 6
    whole = ready.html().split('aria-label="Change schedule"')[2]
    rows = whole.split("<tbody")[1].split("</tbody>")[0].split("<tr ")[1:]
    assert len(rows) == len(expected)
    for row, due in zip(rows, expected, strict=True):
        cells = [c.split("</div>")[0].split("<div>")[1] for c in row.split("<td")[1:]]
        assert cells[:3] == [
            date(due.date),
            f"{due.cartridge}, change {due.number}",
            "–" if due.order_by is None else date(due.order_by),
        ]
    first = ready.html().split("Next cartridge change</div>")[1]
    assert date(expected[0].date) in first.split("</div>")[0]


def test_grouping_makes_fewer_visits(found: Plan) -> None:
    alone, grouped = (
        {
            d.date
            for d in make_plan(
                with_policy(found.document, group_days=days), search=False, train=found.candidate.stages
            ).calendar.dues
        }
        for days in (0, 30)
    )
    assert len(grouped) < len(alone)


def test_the_next_change_is_none_where_none_falls_in_the_plan(found: Plan) -> None:
    bare = make_plan(found.document, search=False)
    assert bare.candidate.stages == ()
    assert next_change(bare) is None


def test_visits_on_one_weekday_only(ready, found: Plan) -> None:
    ready.go("changes")
    ready.at.selectbox(key="visit_weekday").set_value("mon")
    ready.run()
    ready.at.number_input(key="visit_every_weeks").set_value(2)
    ready.run()
    assert (ready.document.policy.visit_weekday, ready.document.policy.visit_every_weeks) == ("mon", 2)
    plan = make_plan(ready.document, search=False, train=found.candidate.stages)
    planned = [d for d in plan.calendar.dues if d.governs not in ("lay-up", "notice", "freeze")]
    assert planned
    assert {d.date.weekday() for d in planned} == {0}


# -- what is left


def test_what_is_left_starts_with_what_was_used_and_is_whole_after_each_change(found: Plan) -> None:
    name = found.candidate.cartridges[0].stage.name
    used = InService(
        stage=name,
        installed=found.document.demand.calendar.start - dt.timedelta(days=20),
        used=Span(low=0.4, typical=0.4, high=0.4),
    )
    plan = make_plan(
        found.document.model_copy(update={"in_service": (used,)}), search=False, train=found.candidate.stages
    )
    one = plan.candidate.cartridges[0]
    mine = [d for d in plan.calendar.dues if d.cartridge == name]
    swaps = [(d.date, d.fitted or d.date) for d in mine]
    curve = remaining(one, plan.scenario.weights, swaps, plan.calendar.in_place[name])
    assert curve.high[0] <= 0.6 + 1e-9
    assert curve.swaps == [d.date for d in mine]
    for swap in mine:
        at = curve.days.index(swap.date)
        assert curve.middle[at] > 0.97
        assert curve.middle[at - 1] < 0.6 or swap.governs == "lay-up"  # which may come a month after a change
    assert np.all(curve.low <= curve.middle)
    assert np.all(curve.middle <= curve.high)
    marks = capacity_left(curve, LIGHT).to_dict()
    assert len(marks["layer"]) == 4


# -- charts of the year


def test_a_busy_day_is_outlined_and_a_closed_one_is_a_dot() -> None:
    days = [dt.date(2027, 3, 1) + dt.timedelta(days=i) for i in range(14)]
    open_, busy = np.array([i % 7 < 5 for i in range(14)]), np.array([i == 3 for i in range(14)])
    chart = demand_year(days, np.full(14, 20.0), open_, "gal", LIGHT, busy).to_dict()
    served, closed = chart["layer"]
    assert served["encoding"]["stroke"]["condition"]["test"] == "datum.event"
    assert closed["mark"]["type"] == "point"
    (rows,) = chart["datasets"].values()
    assert sum(row["event"] for row in rows) == 1
    assert sum(row["open"] == "closed" for row in rows) == 4


@pytest.mark.parametrize(("sizes", "shifts"), [((45.0, 54.0), {-8}), ((45.0, 47.0), {-8, 10}), ((45.0, None), {-8})])
def test_the_tanks_names_do_not_stand_on_each_other(sizes: tuple[float, float | None], shifts: set[int]) -> None:
    chart = tank_day([0, 4, 8], [45, 20, 0], [0, 20, 40], sizes, "gal", LIGHT).to_dict()
    texts = [layer["mark"]["dy"] for layer in chart["layer"] if layer["mark"]["type"] == "text"]
    assert set(texts) == shifts


# -- which test matters


def test_which_test_matters_stands_beside_the_log(open_page, few_draws) -> None:
    found = make_plan(few_draws(mobile_template()))  # of whose water nothing is known
    ready = open_page(mobile_template(), found).go("readings")
    tests = [t for t in found.next_tests if t.test != "none"]
    assert tests
    html = unescape(ready.html())
    for test in tests:
        assert test.because in html
    assert bool(ready.at.get("vega_lite_chart")) == any(t.value >= 0.5 for t in tests)


def test_dates_moved_by_readings_are_told_apart_from_grouped_ones(ready) -> None:
    ready.at.button(key="save").click()
    ready.run()
    ready.go("readings")
    for day, gallons in ((dt.date(2027, 4, 1), "0"), (dt.date(2027, 5, 1), "384")):
        ready.at.date_input(key="reading_date").set_value(day)
        ready.at.text_input(key="reading_value").set_value(gallons)
        ready.at.button(key="reading_add").click()
        ready.run()
    told = "Grouped, or chosen by risk, the dates stand on the Changes page."
    ready.go("readings")
    assert "What the readings moved" in [s.value for s in ready.at.subheader]
    assert not any(told in c.value for c in ready.at.caption)
    ready.go("changes")
    ready.at.number_input(key="group_days").set_value(20)
    ready.run()
    ready.go("readings")
    assert any(told in c.value for c in ready.at.caption)


def test_before_the_search_no_test_is_weighed(front) -> None:
    front.desk.extra["patience"] = 60.0  # the search has not begun
    front.at.number_input(key="hardness").set_value(231)
    front.run()
    front.go("readings")
    assert any("worked out with the search" in c.value for c in front.at.caption)
    front.desk.stop_search()
