"""The pipe in every part: a table to edit, the drawing of it, what is wrong with it; what each branch is worth
filtering; the sizes to buy."""

from __future__ import annotations

from functools import partial
from typing import Any, get_args

import pandas as pd
import streamlit as st

from brewwater.ensemble import percentiles
from brewwater.errors import InputError
from brewwater.output.sheet.branches import WEIGHT_HEADER, branch_decisions, weight_rows
from brewwater.output.sheet.building import sized
from brewwater.output.sheet.pages import tree_of
from brewwater.output.vocabulary import PARTS
from brewwater.plan import Plan
from brewwater.plumbing import Branch, PlumbingTree, drawing, follow, hang, tree_problems
from brewwater.plumbing.tree import NodeKind
from brewwater.treatment import Stage
from brewwater.web import planning
from brewwater.web.state import Document, change, desk
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.words import Words

COLUMNS = {"name": "Part", "kind": "Kind", "parent": "Hangs on", "cold_from": "Cold water from", "connection": "Thread"}
KINDS: tuple[str, ...] = get_args(NodeKind)
TABLE = "pipes_table"


def section(plan: Plan, words: Words) -> None:
    """The decision table, the pipe in every part, and the sizes."""
    decision_table(plan, words)
    with st.expander("Every part of the pipe: drawing and table", icon=":material/plumbing:"):
        # drawn when asked for: it is the heaviest part of the page
        if st.toggle("Show every part", key="pipes_shown", value=desk().typed.unit.tree is not None):
            _tree(plan)
    with st.expander("Still to be built? The sizes that pass the busiest day", icon=":material/straighten:"):
        if st.toggle("Work them out", key="sizes_shown"):
            _sizes(plan)
    weights = weight_rows(plan)
    if weights:
        st.subheader("Weight, and where it rests", anchor=False)
        show.table(WEIGHT_HEADER, weights, numeric=(1, 2, 3, 4), label="Weight")
        st.caption("A simple balance at rest on level ground: no substitute for a scale.")


def decision_table(plan: Plan, words: Words) -> None:
    """Each branch: what passes it, what filtering it costs or would cost, and what it pours otherwise."""
    if not plan.candidate.stages:
        return
    weights, currency, rows = plan.scenario.weights, plan.candidate.cost.currency, []
    for one in branch_decisions(plan):
        litres, share, cost = (
            float(percentiles(x, weights)[1]) for x in (one.gal_per_service_day, one.life_share, one.yearly_cost)
        )
        rows.append(
            [
                one.branch,
                "filtered" if one.filtered else "not filtered",
                words.quantity("volume", litres),
                words.share(share),
                words.money(cost, currency) + ("" if one.filtered else " if it were"),
                one.if_not_filtered,
                one.advice,
            ]
        )
    st.subheader("Which branches are worth filtering", anchor=False)
    heads = ["Branch", "Now", "A service day", "Of the filters’ life", "Filtering it, a year", "Unfiltered", "Advice"]
    show.table(heads, rows, numeric=(2, 3, 4), label="Decisions", long=(6,))
    st.caption("Filtering it: its share of the cartridges. Unfiltered: the verdict on the untreated water there.")


def _tree(plan: Plan) -> None:
    tree = tree_of(plan)
    problems = tree_problems(tree, plan.candidate.branches, plan.candidate.stages)
    try:
        tints = planning.colours()
        dot = drawing(tree, ink=tints.ink, filtered=tints.served, plain=tints.source)
        st.graphviz_chart(dot, width="content")
    except InputError as error:
        show.say(f"It cannot be drawn: {error}")
    if problems:
        show.table(
            ["Part", "What is wrong"], [[p.part, p.message] for p in problems], label="Faults of the pipe", long=(1,)
        )
    else:
        show.say("Every part is in an order that works.")
    rows = [node.model_dump() for node in tree.nodes]
    names = [node.name for node in tree.nodes]
    # a key of its own for each state: edits are counted from the rows that are shown
    key = f"{TABLE}_{abs(hash(tree))}"
    st.data_editor(
        pd.DataFrame(rows, columns=list(COLUMNS)),
        key=key,
        num_rows="dynamic",
        hide_index=True,
        height="content",
        width="stretch",
        column_config={
            "name": st.column_config.TextColumn(COLUMNS["name"], required=True),
            "kind": st.column_config.SelectboxColumn(
                COLUMNS["kind"],
                options=list(KINDS),
                required=True,
                format_func=lambda kind: PARTS.label(str(kind)),
            ),
            "parent": st.column_config.SelectboxColumn(COLUMNS["parent"], options=names),
            "cold_from": st.column_config.SelectboxColumn(COLUMNS["cold_from"], options=names),
            "connection": st.column_config.TextColumn(COLUMNS["connection"]),
        },
        on_change=_edited,
        args=(key, rows, plan.candidate.stages),
    )
    fields.fault(TABLE)
    st.caption(
        "Hang a fixture or a filter on another part, and gallons, dates and money follow. An edited pipe takes the "
        "treatment shown as your own."
    )
    if desk().typed.unit.tree is not None:
        fields.act("Back to the usual pipe", "pipes_usual", usual, icon=":material/restart_alt:")


def usual(document: Document) -> None:
    """Drop the unit's own tree."""
    document["unit"]["tree"] = None


def _edited(key: str, rows: list[dict[str, Any]], stages: tuple[Stage, ...]) -> None:
    nodes = edited(rows, st.session_state[key])
    change(TABLE, partial(take, nodes, stages))


def edited(rows: list[dict[str, Any]], edits: dict[str, Any]) -> list[dict[str, Any]]:
    """The rows with what was changed, added and deleted in the table; a part that is renamed keeps what hangs on
    it."""
    nodes = [dict(row) for row in rows]
    for index, changed in edits.get("edited_rows", {}).items():
        old = nodes[int(index)]["name"]
        nodes[int(index)].update(changed)
        new = nodes[int(index)]["name"]
        for node in nodes:
            for feed in ("parent", "cold_from"):
                if node[feed] == old:
                    node[feed] = new
    gone = set(edits.get("deleted_rows", []))
    kept = [node for i, node in enumerate(nodes) if i not in gone]
    kept += [dict.fromkeys(COLUMNS) | row for row in edits.get("added_rows", []) if row.get("name")]
    return [{k: v or None for k, v in node.items()} for node in kept]


def take(nodes: list[dict[str, Any]], stages: tuple[Stage, ...], document: Document) -> None:
    """Keep an edited tree; what is filtered, and where each stage stands, follow from it.

    A tree that is broken is kept as it is, and its faults are told.
    """
    document["unit"]["tree"] = {"nodes": nodes}
    document["train"] = [stage.model_dump(mode="json") for stage in stages]
    branches = [Branch.model_validate(b) for b in document["branches"]]
    try:
        placed, train = follow(PlumbingTree.model_validate(document["unit"]["tree"]), branches, stages)
    except (InputError, ValueError):
        return  # load_document names what it cannot read; a fault of the pipe is told beside the drawing
    for branch, now in zip(document["branches"], placed, strict=True):
        branch["filtered"] = now.filtered
    document["train"] = [stage.model_dump(mode="json") for stage in train]


def hung(document: Document, name: str, filtered: bool) -> None:
    """Move a branch in the unit's own tree, as the pull-down says.

    Raises
    ------
    InputError : there is nowhere to hang it, or the tree cannot be walked
    """
    tree = PlumbingTree.model_validate(document["unit"]["tree"])
    moved = hang(tree, [Branch.model_validate(b) for b in document["branches"]], name, filtered)
    document["unit"]["tree"] = moved.model_dump(mode="json")


def _sizes(plan: Plan) -> None:
    try:
        found = sized(plan)
    except InputError as error:
        show.say(str(error))
        return
    show.table(["Part", "Why this size"], [list(reason) for reason in found.reasons], label="Sizes", long=(1,))
    for check in found.checks:
        if check.ok is False:
            show.say(f"Even so: {check.why}")
