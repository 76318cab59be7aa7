"""Trust and sources: every check and disagreement, by kind, part and number."""

from __future__ import annotations

from html import unescape

from brewwater.plan import Plan
from brewwater.reference import sources, table
from brewwater.web.pages import sources as trust
from brewwater.web.widgets.facts import MEASURES


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
        s.medium != "blend" for s in found.candidate.stages
    )
