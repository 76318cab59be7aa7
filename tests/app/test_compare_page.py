"""Two towns and two treatments side by side; work beside the page shows progress and can be abandoned."""

from __future__ import annotations

import time

import pytest

from brewwater.errors import InputError
from brewwater.output.vocabulary import stage_name
from brewwater.plan import make_plan
from brewwater.planning.document import demo_document
from brewwater.web.widgets.beside import cost_rows, scale_g, side_of, town_alone, verdict_rows, water_heads, water_rows
from brewwater.web.widgets.words import Words

DRAWS = 64


def sides(stages):
    document = demo_document()
    return [
        side_of(s.name, make_plan(town_alone(document, s.name, stages, DRAWS), search=False))
        for s in document.supplies[:2]
    ]


def cells(table: list[list[str]], start: str) -> list[str]:
    return next(row[1:] for row in table if row[0].startswith(start))


def test_a_town_alone_is_one_water_all_year(found) -> None:
    document = demo_document()
    name = document.supplies[1].name
    alone = town_alone(document, name, found.candidate.stages, DRAWS)
    assert [s.name for s in alone.supplies] == [name]
    assert {f.supply for f in alone.fill.fills} == {name}
    assert alone.train == found.candidate.stages
    assert alone.demand == document.demand
    plan = make_plan(alone, search=False)
    assert plan.scenario.phase_names == (name,)
    with pytest.raises(InputError):
        town_alone(document, "nowhere", (), DRAWS)


def test_the_rows_are_the_plans_own_figures(found) -> None:
    both = sides(found.candidate.stages)
    words = Words()
    assert water_heads(both) == ["", *(s.title for s in both)]
    water = water_rows(both, words)
    assert {len(row) for row in water} == {3}
    hardness = cells(water, "Hardness")
    for cell, side in zip(hardness, both, strict=True):
        for when, found_there in (("before", side.scenario.waters), ("after", side.candidate.main.water)):
            low, _, high = side.scenario.pooled(found_there.hardness_mg_L_as_CaCO3)
            told = cell.split(f">{when}</span> <span>")[1].split("</span>")[0]
            ends = [words.out("hardness", float(x)) for x in (low, high)]
            assert told == words.span(ends, digits=3)
    assert hardness[0] != hardness[1]
    verdicts = verdict_rows(both)
    assert [row[0] for row in verdicts] == ["Cup", "Scale", "Corrosion", "Safe to drink?"]
    for at, side in enumerate(both):
        cup = next(v for v in side.served if v.subject == "cup")
        assert f"bw-{cup.status}" in verdicts[0][1 + at].split(">after<")[1]
    money = cost_rows(both, words)
    assert cells(money, "A year costs, expected") == [
        words.money(float(s.candidate.cost.expected), s.candidate.cost.currency) for s in both
    ]
    carbon = stage_name(both[0].candidate.cartridges[0].stage)
    assert any(" gal" in cell for cell in cells(money, f"{carbon}: water through one"))
    assert any("days" in cell or "past the end" in cell for cell in cells(money, f"{carbon}: changed after"))
    assert any(cell.endswith(" L") for cell in cells(cost_rows(both, Words(metric=True)), f"{carbon}: water through"))


def test_one_water_under_two_treatments_comes_only_once(found) -> None:
    other = next(a for a in found.alternatives if a.candidate.stages != found.candidate.stages)
    both = [side_of("Present", found), side_of("Second", found, other.candidate)]
    assert water_heads(both) == ["", "Before", "Present, after", "Second, after"]
    hardness = cells(water_rows(both, Words()), "Hardness")
    assert len(hardness) == 3
    money = cost_rows(both, Words())
    names = {
        stage_name(c.stage)
        for s in both
        for c in s.candidate.cartridges
        if c.stage.medium not in ("mineral_dose", "blend")
    }
    assert {row[0].split(":")[0] for row in money if "water through one" in row[0]} == names


def test_scale_is_that_of_the_water_that_is_served(found) -> None:
    for side in sides(found.candidate.stages):
        before, after = scale_g(side, treated=False), scale_g(side, treated=True)
        assert before[0] <= before[1] <= before[2]
        assert after[1] <= before[1]
    bare = sides(())[0]
    assert scale_g(bare, treated=True) == scale_g(bare, treated=False)


def test_two_towns_stand_side_by_side_under_one_treatment(ready) -> None:
    front = ready.go("compare")
    names = [s.name for s in front.document.supplies]
    html = front.html()
    for name in names[:2]:
        assert html.count(f'<th scope="col" role="columnheader">{name}</th>') == 3
    front.at.selectbox(key="beside_town_1").set_value(names[0])
    front.run()
    assert "Choose two different waters." in front.html()
    front.go("plan").go("compare")  # what was chosen is still chosen
    assert front.at.selectbox(key="beside_town_1").value == names[0]


def test_each_town_at_its_best_is_searched_beside_the_page_and_can_be_abandoned(ready) -> None:
    front = ready.go("compare")
    front.at.toggle(key="beside_each").set_value(True)
    front.run()
    front.at.button(key="towns_stop").click()
    front.run()
    assert front.at.session_state["aside"]["towns task"].abandoned
    assert 'aria-label="Verdicts side by side"' not in front.html()
    front.at.button(key="towns_go_on").click()
    front.run()
    end = time.monotonic() + 90
    while 'aria-label="Verdicts side by side"' not in front.html():
        assert time.monotonic() < end, "the towns were not planned"
        time.sleep(0.2)
        front.run()
    found = front.at.session_state["aside"]["towns found"]
    assert {key[0] for key in found} == {s.name for s in front.document.supplies[:2]}
    assert all(plan.recommended for plan in found.values())


def test_one_water_cannot_be_compared_with_itself(plain) -> None:
    plain.go("compare")
    plain.at.radio(key="beside_what").set_value("Two towns")
    plain.run()
    assert "This plan knows one water" in plain.html()
    plain.desk.stop_search()


def test_pages_say_that_the_search_has_not_ended(front) -> None:
    front.desk.extra["patience"] = 60.0
    front.desk.stop_search()
    for address in ("water", "cost", "changes", "branches", "readings", "files", "days", "targets", "compare"):
        front.go(address)
        assert front.html().count("every figure here is for the untreated water") == 1, address
    front.desk.stop_search()


def test_no_page_says_so_once_the_search_has_ended(ready) -> None:
    for address in ("water", "cost", "changes", "files", "compare"):
        ready.go(address)
        assert "every figure here" not in ready.html()
