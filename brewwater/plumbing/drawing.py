"""The tree as a drawing, in Graphviz' DOT text: filtered and unfiltered pipes differ in line, arrow, label and
colour."""

from __future__ import annotations

import textwrap

from brewwater.plumbing.tree import PlumbingTree

SHAPES = {
    "source": "cds",
    "fresh_tank": "cylinder",
    "product_tank": "cylinder",
    "pump": "ellipse",
    "stage": "box3d",
    "tee": "point",
    "fixture": "house",
    "heater": "cylinder",
    "isolator": "octagon",
    "drain": "invhouse",
    "relief": "invhouse",
}
FILTERED = 'color="{}", penwidth=3, style=solid, arrowhead=normal'
UNFILTERED = 'color="{}", penwidth=1.5, style=dashed, arrowhead=empty'


def _text(text: str) -> str:
    """Words of a user in short lines, harmless inside a quoted label."""
    plain = "".join(c if c.isprintable() else " " for c in text.replace("\\", " ").replace('"', "'"))
    return "\\n".join(textwrap.wrap(plain, 14)) or "?"


def drawing(
    tree: PlumbingTree, upright: bool = True, ink: str = "#000000", filtered: str = "#0b6e4f", plain: str = "#5c6670"
) -> str:
    """A tree as DOT text.

    Parameters
    ----------
    upright : from top to bottom, for a narrow screen
    ink, filtered, plain : colour of words and outlines, and of the two kinds of pipe

    Raises
    ------
    InputError : the tree cannot be walked
    """
    nodes = tree.in_order()
    ids = {node.name: f"n{i}" for i, node in enumerate(nodes)}
    treated = {n.name for s in nodes if s.kind == "stage" for n in tree.downstream(s.name)}
    out = [
        "digraph pipes {",
        f'bgcolor="transparent"; rankdir={"TB" if upright else "LR"}; nodesep=0.2; ranksep=0.3;',
        f'node [fontname="Helvetica", fontsize=11, shape=box, color="{ink}", fontcolor="{ink}"]; '
        f'edge [fontname="Helvetica", fontsize=9, fontcolor="{ink}"];',
    ]

    def line(after: bool) -> str:
        return FILTERED.format(filtered) if after else UNFILTERED.format(plain)

    for node in nodes:
        label = _text(node.name)
        if node.kind == "fixture":
            label += "\\n" + ("FILTERED" if node.name in treated else "unfiltered")
        shape = SHAPES.get(node.kind, "box")
        extra = ", width=0.1, xlabel=" + f'"{label}"' if shape == "point" else ""
        out.append(f'{ids[node.name]} [label="{label}", shape={shape}{extra}];')
    for node in nodes:
        if node.parent is not None:
            after = node.name in treated
            word = ', label="filtered"' if after and node.kind == "fixture" else ""
            if node.cold_from is not None:
                word = ', label="hot"'
            out.append(f"{ids[node.parent]} -> {ids[node.name]} [{line(after)}{word}];")
        if node.cold_from is not None:
            out.append(f'{ids[node.cold_from]} -> {ids[node.name]} [{line(node.cold_from in treated)}, label="cold"];')
    return "\n".join([*out, "}"])
