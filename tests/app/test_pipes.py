"""The pipe in every part on the Branches page: an edited table moves what is filtered, and a broken pipe is told."""

from __future__ import annotations

from typing import Any

import pytest

from brewwater.errors import InputError
from brewwater.plan import make_plan
from brewwater.planning.document import PlanDocument, load_document, mobile_template
from brewwater.plumbing import build_tree
from brewwater.treatment import DataSheet, Stage
from brewwater.web.pages.pipes import edited, take, usual
from brewwater.web.state import as_document

STAGES = (Stage(name="Carbon", medium="carbon", sheet=DataSheet(service_flow_gpm=2)),)


def rows(document: PlanDocument) -> list[dict[str, Any]]:
    tree = build_tree(document.unit, document.branches, STAGES)
    return [node.model_dump() for node in tree.nodes]


def taken(nodes: list[dict[str, Any]]) -> PlanDocument:
    document = as_document(mobile_template())
    take(nodes, STAGES, document)
    return load_document(document)


def test_edits_of_the_table() -> None:
    before = rows(mobile_template())
    names = [r["name"] for r in before]
    at = names.index("pump")
    after = edited(
        before,
        {
            "edited_rows": {at: {"name": "big pump"}},
            "deleted_rows": [names.index("supply gauge")],
            "added_rows": [{"name": "second gauge", "kind": "gauge", "parent": "big pump"}, {"kind": "drain"}],
        },
    )
    by = {n["name"]: n for n in after}
    assert by["pump check valve"]["parent"] == "big pump"  # what hung on it still does
    assert by["second gauge"]["cold_from"] is None
    assert set(by) == (set(names) - {"pump", "supply gauge"}) | {"big pump", "second gauge"}
    assert before[at]["name"] == "pump"  # the rows shown are not touched


def test_a_fixture_hung_behind_the_filters_is_filtered_and_everything_follows() -> None:
    nodes = rows(mobile_template())
    at = next(i for i, n in enumerate(nodes) if n["name"] == "valve of Pitcher rinser")
    moved = taken(edited(nodes, {"edited_rows": {at: {"parent": "tee after the filters"}}}))
    assert {b.name: b.filtered for b in moved.branches}["Pitcher rinser"] is True
    still = taken(nodes)
    assert {b.name: b.filtered for b in still.branches}["Pitcher rinser"] is False
    few = {"settings": moved.settings.model_copy(update={"draws": 32})}
    before, after = (make_plan(d.model_copy(update=few), search=False) for d in (still, moved))
    assert "Pitcher rinser" in after.candidate.cartridges[0].branches
    assert next(c for c in after.candidate.checks if c.check == "plumbing").ok is True
    assert "Pitcher rinser" not in before.candidate.cartridges[0].branches


def test_a_stage_hung_on_one_branch_stands_there() -> None:
    nodes = [n for n in rows(mobile_template()) if n["name"] != "Carbon"]
    for node in nodes:  # the carbon leaves the trunk for the rinser's own pipe
        if node["parent"] == "Carbon":
            node["parent"] = "valve before the filters"
        if node["name"] == "Pitcher rinser":
            node["parent"] = "Carbon"
    nodes.append({"name": "Carbon", "kind": "stage", "parent": "valve of Pitcher rinser", "cold_from": None})
    found = taken(nodes)
    assert {b.name: b.filtered for b in found.branches} == {
        "Espresso machine": False,
        "Pitcher rinser": True,
        "Hand sink": False,
        "Three-basin sink": False,
    }
    assert found.train is not None
    assert [s.name for s in found.train] == ["Carbon"]


def test_a_broken_pipe_is_kept_and_told(front) -> None:
    nodes = rows(mobile_template())
    for node in nodes:
        if node["name"] == "pump":
            node["parent"] = "pump check valve"
    broken = taken(nodes)
    assert broken.unit.tree is not None
    assert [b.filtered for b in broken.branches] == [b.filtered for b in mobile_template().branches]
    shown = type(front)(broken).go("branches")
    assert "leads back to itself" in shown.html()
    shown.at.button(key="pipes_usual").click()
    shown.run()
    assert shown.document.unit.tree is None
    assert "leads back to itself" not in shown.html()


def test_the_page_ranks_the_branches_and_sizes_the_unit(ready) -> None:
    ready.go("branches")
    assert 'aria-label="Decisions"' in ready.html()
    assert "Right before the filters: behind them it would use" in ready.html()
    assert 'aria-label="Sizes"' not in ready.html()
    ready.at.toggle(key="pipes_shown").set_value(True)
    ready.at.toggle(key="sizes_shown").set_value(True)
    ready.run()
    assert 'aria-label="Sizes"' in ready.html()
    assert "Every part is in an order that works." in ready.html()


def test_back_to_the_usual_pipe() -> None:
    document = as_document(taken(rows(mobile_template())))
    assert document["unit"]["tree"] is not None
    usual(document)
    assert load_document(document).unit.tree is None


def test_a_row_of_an_unknown_kind_is_refused() -> None:
    nodes = rows(mobile_template())
    nodes[3]["kind"] = "hose pipe"
    with pytest.raises(InputError, match="kind"):
        taken(nodes)


def test_every_part_of_the_unit_can_be_given(plain) -> None:
    plain.go("tanks")
    for part in ("accumulator", "pipe", "heater", "repump"):
        plain.at.toggle(key=f"{part}_known").set_value(True)
        plain.run()
    for key, value in (
        ("pipe_length_ft", 20.0),
        ("repump_flow_gpm", 2.0),
        ("product_tank", 5.0),
        ("waste_length", 40.0),
        ("waste_fall", 1.0),
        ("heater_set_C", 140.0),
    ):
        plain.at.number_input(key=key).set_value(value)
        plain.run()
    plain.at.toggle(key="weights_known").set_value(True)
    plain.run()
    for key, value in (("fresh_at_ahead_in", -30.0), ("product_at_left_in", 12.0), ("hitch_in", 120.0)):
        plain.at.number_input(key=key).set_value(value)
        plain.run()
    assert plain.errors() == []
    unit = plain.document.unit
    assert unit.pipe is not None
    assert unit.heater is not None
    assert unit.repump is not None
    assert unit.accumulator is not None
    assert unit.weights is not None
    assert (unit.pipe.length_ft, unit.repump.flow_gpm, unit.product_tank_gal) == (20, 2, 5)
    assert unit.heater.set_C == pytest.approx(60)  # typed in the reader's °F
    assert (unit.weights.fresh_at.ahead_in, unit.weights.product_at.left_in, unit.weights.hitch_in) == (-30, 12, 120)
    assert "Over 40 in the drain end lies 0.83 in lower; it lies 1 in lower." in plain.html()
    plain.go("branches")
    assert 'aria-label="Weight"' in plain.html()


def test_the_pull_down_moves_the_branch_in_an_edited_pipe_too(front) -> None:
    shown = type(front)(taken(rows(mobile_template()))).go("branches")
    assert "tee before the filters" in shown.document.unit.tree.by_name["valve of Pitcher rinser"].parent
    shown.at.selectbox(key="place_1").set_value("filtered")
    shown.run()
    assert shown.errors() == []
    assert shown.document.unit.tree.by_name["valve of Pitcher rinser"].parent == "tee after the filters"
    assert shown.document.branches[1].filtered is True
    assert "Every part is in an order that works." in shown.html()
