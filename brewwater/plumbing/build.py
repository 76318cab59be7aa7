"""The tree that a unit, its branches and its train give, and back: what a tree makes of branches and stages."""

from __future__ import annotations

from collections.abc import Sequence

from brewwater.errors import InputError
from brewwater.plumbing.parts import Branch, Unit
from brewwater.plumbing.problems import path_stages
from brewwater.plumbing.tree import Node, NodeKind, PlumbingTree, move
from brewwater.treatment import Stage


class _Builder:
    def __init__(self, pipe: str) -> None:
        self.nodes: list[Node] = []
        self.pipe = pipe
        self.taken: set[str] = set()

    def add(
        self, name: str, kind: NodeKind, parent: str | None, connection: str | None = None, cold: str | None = None
    ) -> str:
        """Add a part; a name already taken gets a number."""
        base, number = name, 2
        while name in self.taken:
            name, number = f"{base} {number}", number + 1
        self.taken.add(name)
        self.nodes.append(Node(name=name, kind=kind, parent=parent, cold_from=cold, connection=connection or self.pipe))
        return name

    def stages(self, at: str, stages: Sequence[Stage], where: str, repump: bool) -> str:
        """A row of stages between two valves, gauge and test port around it; a membrane ends a row in a tank."""
        if not stages:
            return at
        at = self.add(f"valve before {where}", "isolator", at)
        self.add(f"gauge before {where}", "gauge", at)
        self.add(f"test port before {where}", "test_port", at)
        for i, stage in enumerate(stages):
            self.taken.discard(stage.name)
            at = self.add(stage.name, "stage", at, stage.sheet.connection)
            if stage.medium == "reverse_osmosis":
                at = self.add(f"storage tank of {stage.name}", "product_tank", at)
                self.add(f"drain of the storage tank of {stage.name}", "drain", at)
                at = self.add(f"pump after {stage.name}", "pump", at)
                at = self.add(f"valve after the pump of {stage.name}", "isolator", at)
                if i + 1 == len(stages):
                    return self.ported(at, where)
        at = self.ported(at, where)
        return self.add(f"valve after {where}", "isolator", at)

    def ported(self, at: str, where: str) -> str:
        at = self.add(f"meter after {where}", "meter", at)
        self.add(f"gauge after {where}", "gauge", at)
        self.add(f"test port after {where}", "test_port", at)
        self.add(f"drain after {where}", "drain", at)
        return at


def build_tree(unit: Unit, branches: Sequence[Branch], stages: Sequence[Stage]) -> PlumbingTree:
    """The usual tree: backflow protection first, coarse strainer before the pump and accumulator after it,
    unfiltered branches off ahead of the first cartridge, valves on each side of what is changed, a drain at
    each low point, hot water with check valve, expansion tank and relief valve, the cold side of each sink beside
    it from the tee before the filters. Common practice, no source."""
    made = _Builder(f"{unit.pipe.size if unit.pipe else '1/2'} in PEX")
    made.taken |= {b.name for b in branches} | {s.name for s in stages}
    at = made.add("source", "source", None)
    if unit.has_tanks:
        at = made.add("fill inlet with air gap", "air_gap", at)
        at = made.add("fresh tank", "fresh_tank", at)
        made.add("fresh tank drain", "drain", at)
        at = made.add("tank valve", "isolator", at)
        at = made.add("coarse strainer", "strainer", at)
        at = made.add("pump", "pump", at)
        at = made.add("pump check valve", "check_valve", at)
        made.add("accumulator", "accumulator", at)
        at = made.add("pump outlet valve", "isolator", at)
    else:
        at = made.add("main valve", "isolator", at)
        at = made.add("backflow preventer", "backflow_preventer", at)
        at = made.add("coarse strainer", "strainer", at)
    if unit.regulator_psi is not None or not unit.has_tanks:
        at = made.add("pressure regulator", "regulator", at)
    made.add("supply gauge", "gauge", at)
    tee = made.add("tee before the filters", "tee", at)
    made.add("low-point drain", "drain", tee)

    def fixture(branch: Branch, start: str, own: Sequence[Stage] = (), cold: str | None = None) -> None:
        valve = made.add(f"{'hot ' if cold else ''}valve of {branch.name}", "isolator", start)
        last = made.stages(valve, own, branch.name, unit.repump is not None) if own else valve
        if branch.usual.quick_closing:
            made.add(f"hammer arrestor of {branch.name}", "arrestor", last)
        made.taken.discard(branch.name)
        made.add(branch.name, "fixture", last, branch.thread, cold)

    hot = [b for b in branches if not b.filtered and b.usual.hot_share > 0]
    for branch in branches:
        if not branch.filtered and branch not in hot:
            fixture(branch, tee)
    if hot:
        valve = made.add("valve of the heater", "isolator", tee)
        check = made.add("heater check valve", "check_valve", valve)
        made.add("heater expansion tank", "expansion", check)
        heater = made.add("water heater", "heater", check)
        made.add("heater relief valve", "relief", heater)
        made.add("heater drain", "drain", heater)
        tees = made.add("hot tee", "tee", heater)
        for branch in hot:
            fixture(branch, tees, cold=made.add(f"cold valve of {branch.name}", "isolator", tee))
    behind = [b for b in branches if b.filtered]
    if behind:
        trunk = [s for s in stages if s.branch is None]
        end = made.stages(tee, trunk, "the filters", unit.repump is not None)
        after = made.add("tee after the filters", "tee", end) if trunk else tee
        for branch in behind:
            fixture(branch, after, [s for s in stages if s.branch == branch.name])
    return PlumbingTree(nodes=tuple(made.nodes))


def hang(tree: PlumbingTree, branches: Sequence[Branch], name: str, filtered: bool) -> PlumbingTree:
    """A tree with one branch hung behind the filters or before them, beside a branch that already is there.

    The pipe that serves no other fixture moves with it. Where no other branch is on that side, a tee is taken.

    Raises
    ------
    InputError : the tree cannot be walked, the branch is not in it, or there is nowhere to hang it
    """
    stages = {n.name for n in tree.in_order() if n.kind == "stage"}
    fixtures = {b.name for b in branches}

    def own(fixture: str) -> tuple[str, str | None]:
        """The first part of the pipe that serves this fixture alone, and what it hangs on."""
        at = tree.by_name[fixture]
        for before in tree.upstream(fixture):
            if before.kind in {"stage", "tee", "heater"} or fixtures & {
                n.name for n in tree.downstream(before.name)
            } != {fixture}:
                return at.name, before.name
            at = before
        return at.name, None

    def behind(part: str) -> bool:
        return part in stages or any(n.name in stages for n in tree.upstream(part))

    top, now = own(name)
    if now is not None and behind(now) == filtered:
        return tree
    beside = [own(b.name)[1] for b in branches if b.name != name and tree.by_name[b.name].cold_from is None]
    tees = [n.name for n in tree.in_order() if n.kind == "tee"]
    there = [at for at in (*beside, *tees) if at is not None and behind(at) == filtered]
    if not there:
        side = "behind" if filtered else "before"
        raise InputError("tree", name, f"there is no tee {side} the filters to hang it on", "Add one in the table.")
    # the trunk's own, not the pipe of one branch
    passed = {at: len(stages & {at, *(n.name for n in tree.upstream(at))}) for at in there}
    return move(tree, top, min(there, key=passed.__getitem__))


def follow(
    tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]
) -> tuple[tuple[Branch, ...], tuple[Stage, ...]]:
    """What an edited tree makes of branches and train: a stage treats all that hangs behind it.

    Returns
    -------
    the branches with ``filtered`` as the tree has it, and the stages in the tree's order, each with the one
    branch it stands on, or None where it serves more than one. A stage that serves none is left out.

    Raises
    ------
    InputError : the tree cannot be walked, or a branch is not in it
    """
    ways = {b.name: path_stages(tree, b.name, stages) for b in branches}
    order = [n.name for n in tree.in_order() if n.kind == "stage"]
    served = {s.name: [b for b, way in ways.items() if s in way] for s in stages}
    filtered = [b for b, way in ways.items() if way]
    kept = []
    for stage in sorted((s for s in stages if served[s.name]), key=lambda s: order.index(s.name)):
        alone = len(served[stage.name]) == 1 and len(filtered) > 1
        kept.append(stage.model_copy(update={"branch": served[stage.name][0] if alone else None}))
    return tuple(b.model_copy(update={"filtered": b.name in filtered}) for b in branches), tuple(kept)
