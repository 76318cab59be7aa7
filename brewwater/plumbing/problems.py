"""What is wrong with a pipe tree: each message names the part."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from brewwater.errors import InputError
from brewwater.plumbing.parts import Branch
from brewwater.plumbing.tree import ENDS, Node, PlumbingTree
from brewwater.treatment import Context, Stage, order_problems

CLOSES = frozenset({"check_valve", "regulator", "backflow_preventer"})
# order rules of a train that hold whatever the water
STRUCTURE = frozenset(
    {
        "membrane_without_carbon",
        "membrane_without_sediment",
        "fine_media_on_suction",
        "blend_not_dechlorinated",
        "carbon_bypassed",
    }
)
# nothing flows through them to be treated or filtered, so no flow rating is asked
UNRATED = frozenset({"mineral_dose", "blend", "reverse_osmosis"})


@dataclass(frozen=True, slots=True)
class TreeProblem:
    """``part`` by name, ``message`` for people; ``advice``: to be heeded, but it can work."""

    code: str
    part: str
    message: str
    advice: bool = False


def tree_problems(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> tuple[TreeProblem, ...]:
    """Every fault of a tree. Broken structure (a cycle, an orphan, a name twice) is told alone: the other
    rules need a tree to walk."""
    broken = tuple(_structure(tree))
    if broken:
        return broken
    found: list[TreeProblem] = []
    for rule in (_ends, _names, _ratings, _order, _pump, _isolators, _closed, _backflow, _drains, _sides):
        found += rule(tree, branches, stages)
    return tuple(dict.fromkeys(found))


def _structure(tree: PlumbingTree) -> Iterator[TreeProblem]:
    for name, count in Counter(n.name for n in tree.nodes).items():
        if count > 1:
            yield TreeProblem("name_twice", name, f"{name} stands {count} times in the tree: give each its own name.")
            return
    by_name = tree.by_name
    roots = [n.name for n in tree.nodes if n.parent is None]
    if len(roots) > 1:
        yield TreeProblem(
            "several_sources",
            roots[1],
            f"{', '.join(roots[1:])} hangs on nothing, and so does {roots[0]}: one source only.",
        )
    for node in tree.nodes:
        if node.parent is not None and node.parent not in by_name:
            yield TreeProblem("orphan", node.name, f"{node.name} hangs on {node.parent}, which is not in the tree.")
        if node.cold_from is not None and node.cold_from not in by_name:
            message = f"{node.name} takes its cold water from {node.cold_from}, which is not in the tree."
            yield TreeProblem("orphan", node.name, message)
    told: set[str] = set()
    for node in tree.nodes:
        seen, at = [node.name], node
        while at.parent is not None and at.parent in by_name:
            at = by_name[at.parent]
            if at.name in seen:
                circle = seen[seen.index(at.name) :]
                if not told & set(circle):
                    yield TreeProblem("cycle", at.name, f"{at.name} leads back to itself by {', '.join(circle)}.")
                told |= set(circle)
                break
            seen.append(at.name)
    if not roots and not told:
        yield TreeProblem("no_source", tree.nodes[0].name, "No part is the source.")


def _of(tree: PlumbingTree, *kinds: str) -> list[Node]:
    return [n for n in tree.nodes if n.kind in kinds]


def _ends(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    for node in tree.nodes:
        after = tree.children(node.name)
        if node.kind in ENDS and after:
            yield TreeProblem(
                "through_an_end", after[0].name, f"{after[0].name} hangs on {node.name}, which lets no water on."
            )
        if node.kind not in ENDS and not after and not tree.fed_cold(node.name):
            yield TreeProblem("dead_end", node.name, f"{node.name} leads nowhere: stagnant water. Take it out.")


def _names(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    for kind, wanted in (("fixture", [b.name for b in branches]), ("stage", [s.name for s in stages])):
        there = {n.name for n in _of(tree, kind)}
        for name in wanted:
            if name not in there and (kind == "fixture" or _needed(name, stages)):
                yield TreeProblem("orphan", name, f"{name} is not in the tree: no pipe leads to it.")
        for name in sorted(there - set(wanted)):
            yield TreeProblem("unknown_part", name, f"{name} is in the tree, but no {kind} of this plan has that name.")


def _needed(name: str, stages: Sequence[Stage]) -> bool:
    return next(s for s in stages if s.name == name).medium != "mineral_dose"


def _ratings(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    for stage in stages:
        if stage.medium not in UNRATED and stage.sheet.service_flow_gpm is None:
            yield TreeProblem(
                "no_flow_rating",
                stage.name,
                f"{stage.name} has no flow rating: read the service flow on its data sheet.",
            )


def path_stages(tree: PlumbingTree, name: str, stages: Sequence[Stage]) -> tuple[Stage, ...]:
    """The stages on the way to a part, from the source on.

    Raises
    ------
    InputError : the tree cannot be walked
    """
    by_name = {s.name: s for s in stages}
    return tuple(by_name[n.name] for n in reversed(tree.upstream(name)) if n.kind == "stage" and n.name in by_name)


def _order(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    # a pump behind a membrane's tank draws what the stages before it have made
    pumps = [n.name for n in _of(tree, "pump") if not any(u.kind == "product_tank" for u in tree.upstream(n.name))]
    before = frozenset(n.name for p in pumps for n in tree.upstream(p) if n.kind == "stage")
    for node in _of(tree, "fixture"):
        for problem in order_problems(path_stages(tree, node.name, stages), Context(before_pump=before)):
            if problem.code in STRUCTURE:
                yield TreeProblem(problem.code, problem.stage, f"{problem.stage}: {problem.message}", problem.advice)


def _pump(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    for pump in _of(tree, "pump"):
        before = [n.kind for n in tree.upstream(pump.name)]
        after = {n.kind for n in tree.downstream(pump.name)}
        if "product_tank" in before:
            continue
        if "strainer" not in before:
            yield TreeProblem("no_strainer", pump.name, f"{pump.name}: a coarse strainer belongs before it.")
        if "accumulator" not in after:
            yield TreeProblem(
                "no_accumulator",
                pump.name,
                f"{pump.name}: an accumulator near it saves it from starting at every cup.",
                advice=True,
            )
    for part in _of(tree, "accumulator"):
        if _of(tree, "pump") and not any(n.kind == "pump" for n in tree.upstream(part.name)):
            yield TreeProblem("accumulator_on_suction", part.name, f"{part.name} belongs after the pump.")


def _isolators(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    """A valve on each side of what must be changed. Stages in a row share the valves at the row's ends, as
    cartridge heads do."""
    through = {"stage", "gauge", "test_port", "meter", "tee", "drain", "arrestor"}
    for node in _of(tree, "stage"):
        nearest = next((n for n in tree.upstream(node.name) if n.kind not in through - {"tee"}), None)
        if nearest is None or nearest.kind != "isolator":
            yield TreeProblem(
                "no_isolator", node.name, f"{node.name}: no valve before it, to change it without draining."
            )
        for first in _next_parts(tree, node.name, through):
            if first.kind not in {"isolator", "product_tank"}:
                yield TreeProblem("no_isolator", node.name, f"{node.name}: no valve between it and {first.name}.")
    for kind, word in (("pump", "pump"), ("heater", "heater")):
        for node in _of(tree, kind):
            before = tree.upstream(node.name)
            row = next((n for n in before if n.kind not in {"strainer", "check_valve", "expansion"}), None)
            if row is None or row.kind not in {"isolator", "product_tank"}:
                yield TreeProblem("no_isolator", node.name, f"{node.name}: no valve before the {word}.")


def _next_parts(tree: PlumbingTree, name: str, through: set[str]) -> list[Node]:
    """The first parts after one that are not among the kinds passed through; side ends are not on the way."""
    found = []
    for child in tree.children(name):
        if child.kind in through and child.kind not in ENDS:
            found += _next_parts(tree, child.name, through)
        elif child.kind not in ENDS or child.kind == "fixture":
            found.append(child)
    return found


def _closed(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    for heater in _of(tree, "heater"):
        before = tree.upstream(heater.name)
        closing = next((n for n in before if n.kind in CLOSES), None)
        if closing is not None:
            inside = {n.name for n in tree.downstream(closing.name)}
            if not any(n.name in inside for n in _of(tree, "expansion")):
                yield TreeProblem(
                    "no_expansion",
                    heater.name,
                    f"{heater.name}: {closing.name} closes the system, so heated water needs an expansion "
                    "tank between them (IPC 607.3).",
                )
        if not any(n.kind == "relief" for n in tree.children(heater.name)):
            yield TreeProblem(
                "no_relief",
                heater.name,
                f"{heater.name}: a relief valve belongs on it, with no valve between and its outlet never "
                "plugged or capped: it can explode.",
            )
    regulators = {n.name for n in _of(tree, "regulator")}
    if regulators and not _of(tree, "strainer"):
        yield TreeProblem(
            "no_strainer", sorted(regulators)[0], f"{sorted(regulators)[0]}: a strainer belongs before it."
        )


def _backflow(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    safe = {"backflow_preventer", "air_gap"}
    for node in _of(tree, "fixture", "stage"):
        starts = [node.name] + ([] if node.cold_from is None else [node.cold_from])
        if not all(any(n.kind in safe for n in tree.upstream(start)) for start in starts):
            yield TreeProblem(
                "no_backflow_protection",
                node.name,
                f"{node.name}: no backflow preventer or air gap between it and the source; it comes first.",
            )


def _drains(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    """A low-point drain on each section that tanks, heaters and filters make."""
    for node in _of(tree, "fresh_tank", "product_tank", "heater"):
        if not any(n.kind == "drain" for n in tree.children(node.name)):
            yield TreeProblem("no_drain", node.name, f"{node.name}: no drain at its low point.")
    trunk = [n for n in _of(tree, "pump", "backflow_preventer")][:1]
    for node in trunk:
        if not any(
            n.kind == "drain" and not any(u.kind in {"heater", "product_tank"} for u in tree.upstream(n.name))
            for n in tree.downstream(node.name)
        ):
            yield TreeProblem("no_drain", node.name, f"The pipes after {node.name} have no drain at their low point.")


def _sides(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Iterator[TreeProblem]:
    for branch in branches:
        try:
            has = bool(path_stages(tree, branch.name, stages))
        except InputError:
            continue  # told by _names
        if branch.filtered and stages and not has and any(s.branch in (None, branch.name) for s in stages):
            yield TreeProblem(
                "not_filtered",
                branch.name,
                f"{branch.name} is to be filtered, but no stage stands before it.",
            )
        if not branch.filtered and has:
            yield TreeProblem(
                "filtered_after_all",
                branch.name,
                f"{branch.name} is not to be filtered, but hangs behind a stage: hang it before the first cartridge.",
            )
