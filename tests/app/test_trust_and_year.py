"""Checks and disagreements to look into, one set of dates, which test matters, busy days from a file, payback."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from html import unescape

import numpy as np
import pytest

from brewwater.charts import LIGHT, capacity_left, demand_year, remaining, tank_day
from brewwater.cost import Damage
from brewwater.document import Span
from brewwater.forecast import InService
from brewwater.inputs import PlanDocument
from brewwater.plan import Plan, make_plan
from brewwater.reference import sources, table
from brewwater.sheet.dates import dues, place_of
from brewwater.ui.facts import MEASURES, next_change
from brewwater.ui.views import cost as cost_page
from brewwater.ui.views import sources as trust
from brewwater.ui.words import Words, date

# -- trust and sources


def test_every_check_is_counted_by_kind(front) -> None:
    front.go("sources")
    html = unescape(front.html())
    rows = table("outside_checks")
    for kind, label in trust.KIND_WORDS.items():
        mine = [r for r in rows if r["kind"] == kind]
        card = html.split(f">{label}</div>")[1].split("</div></div>")[0]
        assert f"{len(mine)} checks" in card
        assert f"{len({r['source'] for r in mine})} source" in card
        assert f"{sum(r['verdict'] == 'agrees' for r in mine)} agree" in card
    assert {r["kind"] for r in rows} == set(trust.KIND_WORDS)
    assert {r["room"] for r in rows} <= set(trust.ROOM_WORDS)


def test_checks_are_filtered_by_part_kind_outcome_and_words(front) -> None:
    front.go("sources")
    front.at.button_group(key="check_room").set_value(["flow"])
    front.run()
    flow = [r for r in table("outside_checks") if r["room"] == "flow"]
    assert any(c.value.startswith(f"{len(flow)} of {len(table('outside_checks'))}") for c in front.at.caption)
    front.at.button_group(key="check_verdict").set_value(["agrees"])
    front.run()
    agree = [r for r in flow if r["verdict"] == "agrees"]
    assert any(c.value.startswith(f"{len(agree)} of") for c in front.at.caption)
    wanted = agree[0]["quantity"]
    front.at.text_input(key="check_search").set_value(wanted.upper())
    front.run()
    cards = unescape(front.html().split('aria-label="Checks"')[1].split('aria-label="Disagreements"')[0])
    assert wanted in cards
    assert cards.count('class="bw-card"') == sum(wanted in r["quantity"] for r in agree)
    front.at.text_input(key="check_search").set_value("nobody")
    front.run()
    assert "No check matches." in [i.value for i in front.at.info]


def test_disagreements_stand_with_what_is_done_and_why(front) -> None:
    front.go("sources")
    html = front.html().split('aria-label="Disagreements"')[1]
    rows = table("disagreements")
    assert html.count("What they say") == len(rows)
    assert "the health department decides" in html
    front.at.button_group(key="disagree_kind").set_value(["misprint"])
    front.run()
    html = front.html().split('aria-label="Disagreements"')[1]
    assert html.count("What they say") == sum(r["kind"] == "misprint" for r in rows)


def test_a_number_opens_its_own_sources_checks_and_disagreements(front) -> None:
    scale = MEASURES["ccpp"][0]
    front.go("sources")
    front.at.selectbox(key="trust_number").set_value(scale)
    front.run()
    html = front.html()
    assert sources()["plummer_busenberg_1982"].title in html.split('aria-label="Sources of the number"')[1]
    held = [r for r in table("outside_checks") if trust.numbers(None)[scale].holds(r)]
    assert held
    assert len(held) < len(table("outside_checks"))
    assert any(f"of {len(held)} checks" in c.value for c in front.at.caption)
    assert "Calcite constant" in html.split('aria-label="Disagreements"')[1]
    assert "Handwash" not in html.split('aria-label="Disagreements"')[1]
    front.go("cost").go("sources")
    assert front.at.selectbox(key="trust_number").value == scale
    front.at.selectbox(key="trust_number").set_value("Sodium")  # a definition: nobody prints a figure for it
    front.run()
    assert "No figure printed by others is held against this number." in [i.value for i in front.at.info]
    assert "No disagreement is known between the sources of this number." in [i.value for i in front.at.info]


def test_what_a_number_rests_on_has_sources_of_the_table(found: Plan) -> None:
    basis = trust.numbers(found)
    assert all(b.keys and b.keys <= set(sources()) for b in basis.values())
    assert any(label.endswith("the goal") for label in basis)
    assert any(label.endswith("the limit") for label in basis)
    assert sum(label.endswith("usual capacity and price") for label in basis) == sum(
        s.medium != "blend" for s in found.outcome.stages
    )


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
    plan = make_plan(ready.document, search=False, train=found.outcome.stages) if policy else found
    expected = dues(plan)
    assert len(expected) > 6
    whole = ready.html().split('aria-label="Change schedule"')[2]
    rows = whole.split("<tbody")[1].split("</tbody>")[0].split("<tr ")[1:]
    assert len(rows) == len(expected)
    for row, due in zip(rows, expected, strict=True):
        cells = [c.split("</div>")[0].split("<div>")[1] for c in row.split("<td")[1:]]
        assert cells[:3] == [
            date(due.date), f"{due.stage.name}, change {due.number}",
            "–" if due.order_by is None else date(due.order_by),
        ]  # fmt: skip
    first = ready.html().split("Next cartridge change</div>")[1]
    assert date(expected[0].date) in first.split("</div>")[0]


def test_grouping_makes_fewer_visits(found: Plan) -> None:
    alone, grouped = (
        {d.date for d in dues(make_plan(with_policy(found.document, group_days=days), search=False,
                                        train=found.outcome.stages))}
        for days in (0, 30)
    )  # fmt: skip
    assert len(grouped) < len(alone)


def test_the_next_change_is_none_where_none_falls_in_the_plan(found: Plan) -> None:
    bare = make_plan(found.document, search=False)
    assert bare.outcome.stages == ()
    assert next_change(bare) is None


def test_visits_on_one_weekday_only(ready, found: Plan) -> None:
    ready.go("changes")
    ready.at.selectbox(key="visit_weekday").set_value("mon")
    ready.run()
    ready.at.number_input(key="visit_every_weeks").set_value(2)
    ready.run()
    assert (ready.document.policy.visit_weekday, ready.document.policy.visit_every_weeks) == ("mon", 2)
    plan = make_plan(ready.document, search=False, train=found.outcome.stages)
    planned = [d for d in dues(plan) if d.governs not in ("lay-up", "notice", "freeze")]
    assert planned
    assert {d.date.weekday() for d in planned} == {0}


# -- what is left


def test_what_is_left_starts_with_what_was_used_and_is_whole_after_each_change(found: Plan) -> None:
    name = found.outcome.cartridges[0].stage.name
    used = InService(stage=name, installed=found.document.demand.calendar.start - dt.timedelta(days=20),
                     used=Span(low=0.4, typical=0.4, high=0.4))  # fmt: skip
    plan = make_plan(found.document.model_copy(update={"in_service": (used,)}), search=False,
                     train=found.outcome.stages)  # fmt: skip
    one = plan.outcome.cartridges[0]
    mine = [d for d in dues(plan) if d.stage.name == name]
    swaps = [(d.date, d.fitted or d.date) for d in mine]
    curve = remaining(one, plan.given.weights, swaps, place_of(plan.given, one).in_service)
    assert curve.high[0] <= 0.6 + 1e-9
    assert curve.swaps == [d.date for d in mine]
    for swap in mine:
        at = curve.days.index(swap.date)
        assert curve.middle[at] > 0.97
        assert curve.middle[at - 1] < 0.6
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


def test_which_test_matters_stands_beside_the_log(ready, found: Plan) -> None:
    ready.go("readings")
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


# -- busy days from a file

FILE = b"""name,start,end,multiplier
Harbour fair,2027-07-09,2027-07-11,4
Old fair,2019-07-09,2019-07-11,4
Broken,2027-08-40,,2
Backwards,2027-08-09,2027-08-01,2
Market,2027-09-04,,
"""


def test_busy_days_come_from_a_file_after_a_look(front) -> None:
    front.go("days")
    before = front.document.demand.calendar.events
    front.at.file_uploader(key="events_up_0").set_value(("year.csv", FILE, "text/csv"))
    front.run()
    html = front.html().split('aria-label="Events in the file"')[1]
    assert "4 × an ordinary day" in html
    assert "2 × an ordinary day" in html
    assert "outside the plan" in html
    out = front.html().split('aria-label="Entries left out"')[1]
    assert "row 4" in out
    assert "row 5" in out
    assert front.document.demand.calendar.events == before  # nothing is taken yet
    front.at.number_input(key="events_times").set_value(3)
    front.run()
    front.at.button(key="events_accept").click()
    front.run()
    added = front.document.demand.calendar.events[len(before) :]
    assert [(e.name, e.multiplier) for e in added] == [("Harbour fair", 4), ("Market", 3)]
    for _ in range(2):  # a run that only looks for the search's answer does not take the words away
        assert [s.value for s in front.at.success] == ["2 added. Undo takes them out again."]
        front.run()
    front.at.file_uploader(key="events_up_1").set_value(("year.csv", FILE, "text/csv"))
    front.run()
    assert front.html().split('aria-label="Events in the file"')[1].count("in the calendar already") == 2
    assert "Nothing in the file is new to this plan." in [i.value for i in front.at.info]
    assert front.at.button(key="events_accept").disabled
    front.at.button(key="events_away").click()
    front.run()
    assert 'aria-label="Events in the file"' not in front.html()
    front.at.button(key="undo").click()
    front.run()
    assert front.document.demand.calendar.events == before
    assert not front.at.success


def test_an_icalendar_counts_and_what_repeats_is_left_out_by_name(front) -> None:
    entry = "BEGIN:VEVENT\r\nSUMMARY:{}\r\nDTSTART;VALUE=DATE:20270605\r\n{}END:VEVENT\r\n"
    text = "BEGIN:VCALENDAR\r\n" + entry.format("Wedding", "") + entry.format("Weekly", "RRULE:FREQ=WEEKLY\r\n")
    front.go("days")
    front.at.file_uploader(key="events_up_0").set_value(("a.ics", (text + "END:VCALENDAR").encode(), "text/calendar"))
    front.run()
    assert "Weekly: it repeats" in front.html()
    front.at.button(key="events_accept").click()
    front.run()
    assert front.document.demand.calendar.events[-1].name == "Wedding"


def test_a_file_that_is_no_calendar_is_one_line(front) -> None:
    front.go("days")
    front.at.file_uploader(key="events_up_0").set_value(("a.csv", b"colour,size\nred,3\n", "text/csv"))
    front.run()
    assert len(front.errors()) == 1
    assert "header" in front.errors()[0]
    front.at.button(key="events_away").click()
    front.run()
    assert front.errors() == []


def test_of_many_busy_days_one_is_open_for_change(front) -> None:
    rows = "".join(f"Fair {i},2027-05-{i + 1:02d},2\n" for i in range(12))
    front.go("days")
    front.at.file_uploader(key="events_up_0").set_value(
        ("a.csv", f"name,start,multiplier\n{rows}".encode(), "text/csv")
    )
    front.run()
    front.at.button(key="events_accept").click()
    front.run()
    events = front.document.demand.calendar.events
    at = len(events) - 12
    front.at.selectbox(key="events_open").set_value(at)
    front.run()
    front.at.number_input(key=f"event_size_{at}").set_value(5)
    front.run()
    assert front.document.demand.calendar.events[at].multiplier == 5
    assert len([n for n in front.at.number_input if n.key.startswith("event_size_")]) == 1


def test_seasons_are_set_by_month(front) -> None:
    front.go("days")
    before = front.document.demand.calendar.seasons
    front.at.button(key="seasons_add").click()
    front.run()
    at = len(before)
    front.at.button_group(key=f"season_months_{at}").set_value(["Dec", "Jan"])
    front.run()
    front.at.number_input(key=f"season_size_{at}").set_value(0.5)
    front.run()
    made = front.document.demand.calendar.seasons[at]
    assert (set(made.months), made.multiplier) == ({1, 12}, 0.5)
    front.at.button_group(key=f"season_months_{at}").set_value([])
    front.run()
    assert len(front.errors()) == 1  # a season without a month
    front.at.button(key=f"season_out_{at}").click()
    front.run()
    assert front.document.demand.calendar.seasons == before


# -- cost


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
    return Cost("USD", (), Decimal(str(expected)), total, np.full(3, first), (0.0, 0.0, 0.0), None, Decimal(str(first)),
                Decimal(0), Decimal(0), np.zeros(1), ())  # fmt: skip


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
