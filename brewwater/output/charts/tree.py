"""The pipes as a drawing (Graphviz text): what stands before what, filtered and unfiltered told apart by line,
arrow head and label, not by colour alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from brewwater.output.charts.base import Palette
from brewwater.output.vocabulary import bypass, stage_name
from brewwater.plumbing import Branch
from brewwater.treatment import Stage


def _text(text: str) -> str:
    return text.replace("\\", " ").replace('"', "'").replace("\n", " ")


def _wrapped(text: str, width: int = 18) -> str:
    lines = [""]
    for word in _text(text).split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return "\\n".join(lines)


def branch_drawing(
    stages: Sequence[Stage],
    branches: Sequence[Branch],
    amounts: Mapping[str, str],
    colours: Palette,
    source: str = "Water in",
) -> str:
    """The pipe tree: the trunk runs down, each branch leaves it to the right, unfiltered ones first.

    Parameters
    ----------
    stages : the train; those with a branch of their own stand on it
    amounts : what passes each branch in a service day, as written

    Returns
    -------
    DOT text; filtered lines are solid and thick with a full arrow, unfiltered ones dashed with an open arrow
    """
    filtered = f'color="{colours.served}", penwidth=3, style=solid, arrowhead=normal'
    plain = f'color="{colours.source}", penwidth=1.6, style=dashed, arrowhead=empty'
    out = [
        "digraph pipes {",
        'bgcolor="transparent"; rankdir=TB; nodesep=0.35; ranksep=0.25; splines=line;',
        f'node [fontname="Helvetica", fontsize=13, color="{colours.ink}", fontcolor="{colours.ink}", shape=box, '
        'style="rounded", margin="0.14,0.08"];',
        f'edge [color="{colours.muted}"];',
        f'inlet [label="{_wrapped(source)}\\nisolator\\nbackflow protection", shape=cds];',
    ]
    last, line = "inlet", plain

    def stage_node(key: str, stage: Stage) -> None:
        around = f"\\n{bypass(stage.bypass_percent)}" if stage.bypass_percent else ""
        out.append(f'{key} [label="{_wrapped(stage_name(stage))}{around}", shape=box3d, style="", penwidth=1.5];')

    def tee(number: int, branch: Branch) -> None:
        nonlocal last
        out.append(f'tee{number} [shape=point, width=0.09, color="{colours.ink}"];')
        out.append(f"{last} -> tee{number} [{line}, arrowhead=none, weight=10];")
        last = f"tee{number}"
        word = "FILTERED" if branch.filtered else "unfiltered"
        shape = 'style="bold,rounded"' if branch.filtered else 'style="dashed,rounded"'
        out.append(
            f'b{number} [label="{_wrapped(branch.name)}\\n{word}\\n{_text(amounts.get(branch.name, ""))}", {shape}];'
        )
        row, at = [last], last
        for j, stage in enumerate(s for s in stages if s.branch == branch.name and branch.filtered):
            key = f"b{number}s{j}"
            stage_node(key, stage)
            out.append(f"{at} -> {key} [{line}];")
            row.append(key)
            at = key
        out.append(f"{at} -> b{number} [{line}];")
        out.append(f"{{rank=same; {'; '.join([*row, f'b{number}'])};}}")

    numbered = list(enumerate(branches))
    for number, branch in numbered:
        if not branch.filtered:
            tee(number, branch)
    if any(b.filtered for b in branches):
        line = filtered
        for i, stage in enumerate(s for s in stages if s.branch is None):
            stage_node(f"s{i}", stage)
            out.append(f"{last} -> s{i} [{line}, weight=10];")
            last = f"s{i}"
        for number, branch in numbered:
            if branch.filtered:
                tee(number, branch)
    out.append("}")
    return "\n".join(out)
