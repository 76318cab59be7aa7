from __future__ import annotations

import shutil
import subprocess

import pytest

from brewwater.errors import InputError
from brewwater.plumbing import (
    Branch,
    Node,
    PlumbingTree,
    adapters,
    build_tree,
    cautions,
    change,
    commissioning,
    drawing,
    follow,
    hang,
    move,
    sanitise,
    tree_problems,
    unit_template,
    winter,
)
from brewwater.treatment import DataSheet, Stage

SHEET = DataSheet(service_flow_gpm=2, clean_pressure_drop_psi=2, connection="3/8 in NPT")
BRANCHES = (
    Branch(name="Espresso", kind="espresso_machine", machine="M"),
    Branch(name="Brewer", kind="brewer"),
    Branch(name="Rinser", kind="rinser"),
    Branch(name="Hand sink", kind="hand_sink"),
)
STAGES = (
    Stage(name="Sediment", medium="sediment", sheet=SHEET),
    Stage(name="Carbon", medium="carbon", sheet=SHEET),
    Stage(name="Resin", medium="weak_acid", branch="Espresso", sheet=SHEET),
)
KINDS = ["cart", "truck", "kiosk", "shop"]


def tree_of(kind: str = "truck", stages: tuple[Stage, ...] = STAGES) -> PlumbingTree:
    return build_tree(unit_template(kind), BRANCHES, stages)  # type: ignore[arg-type]


def codes(
    tree: PlumbingTree, branches: tuple[Branch, ...] = BRANCHES, stages: tuple[Stage, ...] = STAGES
) -> dict[str, str]:
    return {p.code: f"{p.part}|{p.message}" for p in tree_problems(tree, branches, stages)}


def without(tree: PlumbingTree, name: str) -> PlumbingTree:
    """The tree with one part taken out and what hung on it hung on the part before."""
    gone = tree.by_name[name]
    return PlumbingTree(
        nodes=tuple(
            n.model_copy(update={"parent": gone.parent}) if n.parent == name else n
            for n in tree.nodes
            if n.name != name
        )
    )


@pytest.mark.parametrize("kind", KINDS)
def test_a_template_has_no_fault_and_follows_back(kind: str) -> None:
    tree = tree_of(kind)
    assert tree_problems(tree, BRANCHES, STAGES) == ()
    assert follow(tree, BRANCHES, STAGES) == (BRANCHES, STAGES)


def test_a_cycle_names_the_part() -> None:
    nodes = tuple(
        n.model_copy(update={"parent": "Carbon"}) if n.name == "valve before the filters" else n
        for n in tree_of().nodes
    )
    tree = PlumbingTree(nodes=nodes)
    (problem,) = [p for p in tree_problems(tree, BRANCHES, STAGES) if p.code == "cycle"]
    assert "Carbon" in problem.message
    assert "Sediment" in problem.message
    with pytest.raises(InputError, match="leads back to itself"):
        tree.in_order()


def test_a_sink_has_its_cold_side() -> None:
    tree = tree_of()
    sink = tree.by_name["Hand sink"]
    assert [n.kind for n in tree.upstream("Hand sink")][:3] == ["isolator", "tee", "heater"]
    assert sink.cold_from == "cold valve of Hand sink"
    assert not any(n.kind == "heater" for n in tree.upstream(sink.cold_from))
    drawn = drawing(tree)
    assert drawn.count('label="cold"') == drawn.count('label="hot"') == 1
    assert any("as far as Hand sink" in s.text for s in commissioning(tree, STAGES) if s.part == sink.cold_from)
    broken = PlumbingTree(
        nodes=tuple(n.model_copy(update={"cold_from": "nothing"}) if n.name == "Hand sink" else n for n in tree.nodes)
    )
    assert codes(broken)["orphan"].startswith("Hand sink|Hand sink takes its cold water from nothing")
    with pytest.raises(InputError, match="nothing"):
        broken.in_order()
    # off the mains ahead of the backflow preventer: the cold side alone is enough to be told
    shop = tree_of("shop")
    bare = PlumbingTree(
        nodes=tuple(
            n.model_copy(update={"parent": "main valve"}) if n.name == "cold valve of Hand sink" else n
            for n in shop.nodes
        )
    )
    assert codes(bare)["no_backflow_protection"].startswith("Hand sink|")


def test_an_orphan_names_the_part() -> None:
    nodes = tuple(n.model_copy(update={"parent": "nowhere"}) if n.name == "Rinser" else n for n in tree_of().nodes)
    assert codes(PlumbingTree(nodes=nodes))["orphan"].startswith("Rinser|Rinser hangs on nowhere")
    with pytest.raises(InputError, match="Rinser"):
        PlumbingTree(nodes=nodes).in_order()


def test_a_fixture_that_no_pipe_leads_to() -> None:
    tree = PlumbingTree(nodes=tuple(n for n in tree_of().nodes if n.name != "Rinser"))
    assert "no pipe leads to it" in codes(tree)["orphan"]
    assert codes(tree)["dead_end"].startswith("valve of Rinser|")


def test_a_filter_without_flow_rating_is_named() -> None:
    stages = (STAGES[0], Stage(name="Carbon", medium="carbon"), STAGES[2])
    assert codes(tree_of(stages=stages), stages=stages)["no_flow_rating"].startswith("Carbon|")


def test_fine_media_on_the_suction_are_named() -> None:
    tree = tree_of()
    nodes = []
    for n in without(tree, "Sediment").nodes:
        nodes.append(n.model_copy(update={"parent": "Sediment"}) if n.name == "pump" else n)
        if n.name == "coarse strainer":
            nodes.append(Node(name="Sediment", kind="stage", parent="coarse strainer"))
    assert "Sediment" in codes(PlumbingTree(nodes=tuple(nodes)))["fine_media_on_suction"]


def test_a_membrane_before_its_carbon_is_named() -> None:
    membrane = Stage(name="Membrane", medium="reverse_osmosis")
    right, wrong = (STAGES[0], STAGES[1], membrane), (STAGES[0], membrane, STAGES[1])
    assert "membrane_without_carbon" not in codes(tree_of(stages=right), stages=right)
    assert codes(tree_of(stages=wrong), stages=wrong)["membrane_without_carbon"].startswith("Membrane|")


@pytest.mark.parametrize(
    ("part", "code"),
    [
        ("coarse strainer", "no_strainer"),
        ("accumulator", "no_accumulator"),
        ("tank valve", "no_isolator"),
        ("valve before the filters", "no_isolator"),
        ("valve after the filters", None),
        ("valve of the heater", "no_isolator"),
        ("heater expansion tank", "no_expansion"),
        ("heater relief valve", "no_relief"),
        ("heater drain", "no_drain"),
        ("fresh tank drain", "no_drain"),
        ("fill inlet with air gap", "no_backflow_protection"),
    ],
)
def test_a_part_taken_out(part: str, code: str | None) -> None:
    found = codes(without(tree_of(), part))
    if code is None:  # each fixture's own valve still closes the row off
        assert found == {}
    else:
        assert code in found


@pytest.mark.parametrize("kind", ["kiosk", "shop"])
def test_backflow_protection_comes_first(kind: str) -> None:
    assert "no_backflow_protection" in codes(without(tree_of(kind), "backflow preventer"))


def test_no_valve_on_either_side_of_a_cartridge() -> None:
    tree = tree_of(stages=STAGES[:2])
    for part in ("valve after the filters", "valve of Espresso"):
        tree = without(tree, part)
    assert "Espresso" in codes(tree, stages=STAGES[:2])["no_isolator"]


def test_moving_a_fixture_moves_what_is_filtered() -> None:
    tree = move(tree_of(), "valve of Rinser", "tee after the filters")
    branches, stages = follow(tree, BRANCHES, STAGES)
    assert {b.name: b.filtered for b in branches}["Rinser"] is True
    assert stages == STAGES
    assert codes(tree)["filtered_after_all"].startswith("Rinser|")
    assert codes(tree, branches=branches) == {}


def test_a_branch_is_hung_on_the_other_side_and_back() -> None:
    tree = tree_of()
    inside = hang(tree, BRANCHES, "Rinser", True)
    placed, stages = follow(inside, BRANCHES, STAGES)
    assert {b.name: b.filtered for b in placed}["Rinser"] is True
    assert stages == STAGES  # the one on Espresso's own pipe stays there
    assert tree_problems(inside, placed, STAGES) == ()
    assert follow(hang(inside, BRANCHES, "Rinser", False), BRANCHES, STAGES) == (BRANCHES, STAGES)
    assert hang(tree, BRANCHES, "Rinser", False) == tree
    # with no other branch on that side, the tee of the filters themselves is taken
    alone = (BRANCHES[0], BRANCHES[2])
    only = build_tree(unit_template("truck"), alone, STAGES[:2])
    out = hang(only, alone, "Espresso", False)
    assert {b.name: b.filtered for b in follow(out, alone, STAGES[:2])[0]} == {"Espresso": False, "Rinser": False}
    bare = build_tree(unit_template("truck"), alone, ())
    with pytest.raises(InputError, match="no tee behind the filters"):
        hang(bare, alone, "Rinser", True)


def test_moving_a_stage_moves_what_it_treats() -> None:
    tree = without(tree_of(), "Carbon")
    nodes = [n.model_copy(update={"parent": "Carbon"}) if n.name == "valve of Brewer" else n for n in tree.nodes]
    nodes.append(Node(name="Carbon", kind="stage", parent="tee after the filters"))
    branches, stages = follow(PlumbingTree(nodes=tuple(nodes)), BRANCHES, STAGES)
    assert {s.name: s.branch for s in stages} == {"Sediment": None, "Carbon": "Brewer", "Resin": "Espresso"}
    assert branches == BRANCHES


def test_a_stage_that_serves_nothing_is_left_out() -> None:
    tree = tree_of()
    for name in ("valve of Espresso", "valve of Brewer"):
        tree = move(tree, name, "tee before the filters")
    branches, stages = follow(tree, BRANCHES, STAGES)
    assert [s.name for s in stages] == ["Resin"]
    assert [b.filtered for b in branches] == [True, False, False, False]


@pytest.mark.parametrize(("part", "to"), [("pump", "Espresso"), ("pump", "pump"), ("pump", "x"), ("x", "pump")])
def test_a_part_cannot_hang_on_what_hangs_on_it(part: str, to: str) -> None:
    with pytest.raises(InputError, match="tree"):
        move(tree_of(), part, to)


def test_two_sources_and_a_name_twice() -> None:
    tree = tree_of()
    assert "well" in codes(PlumbingTree(nodes=(*tree.nodes, Node(name="well", kind="source"))))["several_sources"]
    assert "pump" in codes(PlumbingTree(nodes=(*tree.nodes, tree.by_name["pump"])))["name_twice"]


@pytest.mark.parametrize("kind", KINDS)
def test_the_drawing_tells_filtered_from_unfiltered_by_more_than_colour(kind: str) -> None:
    text = drawing(tree_of(kind))
    assert text.count("FILTERED") == 2
    assert text.count("unfiltered") == 2
    assert "style=dashed, arrowhead=empty" in text
    assert "style=solid, arrowhead=normal" in text
    if shutil.which("dot"):
        done = subprocess.run(["dot", "-Tsvg"], input=text.encode(), capture_output=True, check=False, timeout=60)
        assert done.returncode == 0, done.stderr
        assert b"Espresso" in done.stdout


def test_a_hostile_name_stays_inside_its_label() -> None:
    text = drawing(PlumbingTree(nodes=(Node(name='a"]; b [label="x\\', kind="source"),)))
    assert "a'];" in text
    assert text.count('"') % 2 == 0


def test_adapters_where_threads_differ() -> None:
    found = {(a.one, a.other): a for a in adapters(tree_of())}
    assert found["1/2 in PEX", "3/8 in NPT"].where[0] == "Sediment"
    assert found["1/2 in PEX", "3/8 in compression"].count == 4  # the sink has a hot and a cold side
    assert "1 x adapter" in found["1/2 in PEX", "1/4 in flare"].text
    odd = PlumbingTree(
        nodes=(
            Node(name="a", kind="source", connection="1/2 in NPT"),
            Node(name="b", kind="tee", parent="a", connection="1/2 in BSP"),
            Node(name="c", kind="fixture", parent="b", connection="something"),
        )
    )
    notes = [a.note for a in adapters(odd)]
    assert "never join them" in notes[0]
    assert "something: not a listed thread" in notes[1]


def test_parts_of_one_thread_need_no_adapter() -> None:
    same = PlumbingTree(nodes=tuple(n.model_copy(update={"connection": "1/2 in PEX"}) for n in tree_of().nodes))
    assert adapters(same) == ()


def test_commissioning_goes_from_the_source_on() -> None:
    parts = [s.part for s in commissioning(tree_of(), STAGES)]
    order = [parts.index(p) for p in ("fresh tank", "tank valve", "pump", "Sediment", "Carbon", "Resin", "Espresso")]
    assert order == sorted(order)
    heater = next(s for s in commissioning(tree_of(), STAGES) if s.part == "water heater")
    assert "explode" in heater.caution
    assert parts.count("Carbon") == 1


def test_winter_empties_the_heater_cold_and_takes_cartridges_out() -> None:
    steps = winter(tree_of())
    parts = [s.part for s in steps]
    assert "power off" in next(s for s in steps if s.part == "water heater").caution.lower()
    assert parts.index("water heater") < parts.index("fresh tank drain")
    assert {"Sediment", "Carbon", "Resin"} <= set(parts)
    assert "pump" in steps[-1].text
    assert "antifreeze" in steps[-1].caution


def test_sanitising_takes_cartridges_out_first_and_spares_the_machines() -> None:
    steps = sanitise(tree_of(), unit_template("truck"), BRANCHES, 5.25)
    texts = [s.text for s in steps]
    assert all("cartridge" in t for t in texts[:3])
    assert "5.2 fl oz" in texts[3]
    assert "acid" in steps[3].caution
    assert any(t.startswith("Shut the valve of Espresso") for t in texts)
    assert any(t.startswith("Draw at Rinser") for t in texts)
    assert "Let it stand 4 h." in texts
    with pytest.raises(InputError, match="fresh_tank_gal"):
        sanitise(tree_of("shop"), unit_template("shop"), BRANCHES, 5.25)


def test_a_change_names_the_valves_on_both_sides() -> None:
    texts = [s.text for s in change(tree_of(), "Carbon")]
    assert texts[1:3] == ["Close valve before the filters.", "Close valve after the filters."]
    with pytest.raises(InputError, match="no such part"):
        change(tree_of(), "Nothing")


def test_cautions_are_this_trees() -> None:
    truck, shop = " ".join(cautions(tree_of())), " ".join(cautions(tree_of("shop")))
    for words in ("plug or cap", "ground-fault", "licensed", "explode"):
        assert words in truck
        assert words in shop
    assert "cavitates" in truck
    assert "cavitates" not in shop
    assert "City pressure" in shop


@pytest.mark.parametrize("kind", KINDS)
def test_names_that_the_tree_uses_itself(kind: str) -> None:
    names = ("pump", "source", "valve of pump", "tee before the filters")
    branches = (
        *tuple(Branch(name=n, kind="espresso_machine") for n in names),
        Branch(name="water heater", kind="sink"),
    )
    stages = (Stage(name="accumulator", medium="carbon", sheet=SHEET),)
    tree = build_tree(unit_template(kind), branches, stages)  # type: ignore[arg-type]
    assert tree_problems(tree, branches, stages) == ()
    assert follow(tree, branches, stages) == (branches, stages)


def test_a_unit_with_nothing_on_it() -> None:
    assert tree_problems(build_tree(unit_template("truck"), (), ()), (), ()) == ()
