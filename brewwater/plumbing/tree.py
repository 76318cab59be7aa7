"""The pipe as a tree: every part from the source to the fixtures, each naming the part it hangs on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

from brewwater.errors import InputError
from brewwater.records import Name, Part

NodeKind = Literal[
    "source",
    "fresh_tank",
    "air_gap",
    "isolator",
    "backflow_preventer",
    "strainer",
    "regulator",
    "pump",
    "check_valve",
    "accumulator",
    "expansion",
    "heater",
    "relief",
    "drain",
    "gauge",
    "meter",
    "test_port",
    "arrestor",
    "tee",
    "stage",
    "product_tank",
    "fixture",
]
ENDS = frozenset({"fixture", "drain", "relief", "expansion", "accumulator", "gauge", "test_port", "arrestor"})


class Node(Part):
    """A part of the pipe. ``parent``: the part just before it, None for the source. ``cold_from``: the part that a
    fixture of hot and cold water takes its cold from, ``parent`` then being the hot side. ``connection``: its
    thread. A ``stage`` is named as in the train, a ``fixture`` as its branch."""

    name: Name
    kind: NodeKind
    parent: Name | None = None
    cold_from: Name | None = None
    connection: Annotated[str, Field(max_length=60)] | None = None


class PlumbingTree(Part):
    """All parts, as rows of a table. It may be broken while it is being edited: ``tree_problems`` says where,
    and what walks it raises on the first fault."""

    nodes: Annotated[tuple[Node, ...], Field(min_length=1, max_length=500)]

    @property
    def by_name(self) -> Mapping[str, Node]:
        """Every part by its name."""
        return {node.name: node for node in self.nodes}

    def children(self, name: str) -> tuple[Node, ...]:
        """The parts just after one."""
        return tuple(node for node in self.nodes if node.parent == name)

    def fed_cold(self, name: str) -> tuple[Node, ...]:
        """The fixtures that take their cold water from a part."""
        return tuple(node for node in self.nodes if node.cold_from == name)

    def upstream(self, name: str) -> tuple[Node, ...]:
        """The parts before one, nearest first.

        Raises
        ------
        InputError : an unknown part, or a cycle, naming it
        """
        by_name, found = self.by_name, []
        if name not in by_name:
            raise InputError("tree", name, "there is no such part", "Name a part of the tree.")
        seen, at = {name}, by_name[name]
        while at.parent is not None:
            if at.parent not in by_name:
                raise InputError(
                    "tree",
                    at.name,
                    f"the part before it, {at.parent!r}, is not in the tree",
                    "Name the part that it hangs on.",
                )
            at = by_name[at.parent]
            if at.name in seen:
                raise InputError(
                    "tree",
                    at.name,
                    "its pipe leads back to itself",
                    "Hang one part of the circle on a part outside it.",
                )
            seen.add(at.name)
            found.append(at)
        return tuple(found)

    def downstream(self, name: str) -> Iterator[Node]:
        """Every part after one, depth first, in the order of the table. Walks each part once."""
        seen, stack = {name}, list(reversed(self.children(name)))
        while stack:
            node = stack.pop()
            if node.name not in seen:
                seen.add(node.name)
                yield node
                stack += reversed(self.children(node.name))

    def in_order(self) -> tuple[Node, ...]:
        """Every part from the source on, depth first.

        Raises
        ------
        InputError : no part, or several, without a part before it; an orphan; a cycle
        """
        roots = [node for node in self.nodes if node.parent is None]
        if len(roots) != 1:
            names = ", ".join(r.name for r in roots) or "none"
            raise InputError("tree", names, "exactly one part is the source", "Hang every other part on one.")
        for node in self.nodes:
            self.upstream(node.name)
            if node.cold_from is not None:
                self.upstream(node.cold_from)
        return (roots[0], *self.downstream(roots[0].name))


def move(tree: PlumbingTree, name: str, parent: str) -> PlumbingTree:
    """The tree with one part, and all that hangs on it, hung on another.

    Raises
    ------
    InputError : an unknown part, or the new parent hangs on the part itself
    """
    by_name = tree.by_name
    for wanted in (name, parent):
        if wanted not in by_name:
            raise InputError("tree", wanted, "there is no such part", "Name a part of the tree.")
    if parent == name or any(node.name == parent for node in tree.downstream(name)):
        raise InputError("tree", name, f"{parent!r} hangs on it", "Hang it on a part outside its own pipe.")
    nodes = tuple(node.model_copy(update={"parent": parent}) if node.name == name else node for node in tree.nodes)
    return PlumbingTree(nodes=nodes)
