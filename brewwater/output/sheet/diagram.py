"""The pipes on paper: every part on its own line, the trunk straight down, branches to the right of it."""

from __future__ import annotations

from dataclasses import dataclass

from brewwater.output.vocabulary import PARTS
from brewwater.plumbing import Node, PlumbingTree

ROW, COLUMN, LEFT = 5.2, 7.0, 3.0
GAP = 1.5  # an arrow ends this far before the middle of a mark
MARKED = frozenset({"isolator", "drain", "stage", "fixture", "backflow_preventer", "air_gap"})


@dataclass(frozen=True, slots=True)
class DrawnPipe:
    """A straight run, mm from the top left; ``filtered``: thick and solid, else thin and dashed; ``arrow``: flow
    ends here."""

    x1: float
    y1: float
    x2: float
    y2: float
    filtered: bool
    arrow: bool


@dataclass(frozen=True, slots=True)
class DrawnPart:
    """A part: a mark at ``x``, ``y`` and its words at ``text_x``. ``shape``: dot, box (a filter) or ring."""

    x: float
    y: float
    text_x: float
    text: str
    shape: str
    bold: bool


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing of pipes and labels, ``width`` by ``height`` mm."""

    width: float
    height: float
    pipes: tuple[DrawnPipe, ...]
    labels: tuple[DrawnPart, ...]


def drawing(tree: PlumbingTree) -> Drawing:
    """A tree as lines and labels. A part's longest branch goes on straight down; the others come before it,
    each one column to the right.

    Raises
    ------
    InputError : the tree cannot be walked
    """
    nodes = tree.in_order()
    treated = {n.name for s in nodes if s.kind == "stage" for n in tree.downstream(s.name)}
    places: dict[str, tuple[int, int]] = {}
    order: list[Node] = []

    def place(node: Node, column: int) -> None:
        places[node.name] = (column, len(order))
        order.append(node)
        after = sorted(tree.children(node.name), key=lambda n: sum(1 for _ in tree.downstream(n.name)))
        for side in after[:-1]:
            place(side, column + 1)
        if after:
            place(after[-1], column)

    place(nodes[0], 0)
    text_x = LEFT + COLUMN * (1 + max(column for column, _ in places.values()))
    pipes: list[DrawnPipe] = []
    labels = []
    for node in order:
        x, y = _at(places[node.name])
        if node.parent is not None:
            up_x, up_y = _at(places[node.parent])
            filtered = node.name in treated
            straight = up_x == x
            pipes.append(DrawnPipe(up_x, up_y, up_x, y - GAP if straight else y, filtered, straight))
            if not straight:
                pipes.append(DrawnPipe(up_x, y, x - GAP, y, filtered, True))
        to = [n.name for n in tree.fed_cold(node.name)]
        words = _words(node, node.name in treated) + (f", on to {' and '.join(to)}" if to else "")
        labels.append(DrawnPart(x, y, text_x, words, _shape(node), node.kind in MARKED))
    return Drawing(180.0, ROW * (len(order) + 0.5), tuple(pipes), tuple(labels))


def _at(place: tuple[int, int]) -> tuple[float, float]:
    return LEFT + COLUMN * place[0], ROW * (place[1] + 0.5)


def _shape(node: Node) -> str:
    return {"stage": "box", "fixture": "ring", "drain": "ring"}.get(node.kind, "dot")


def _words(node: Node, treated: bool) -> str:
    if node.kind == "fixture":
        return f"{node.name}: {'FILTERED' if treated else 'not filtered'}"
    word = PARTS.inside(node.kind)
    return node.name if word.lower() in node.name.lower() else f"{node.name} ({word})"
