"""The pipes as a drawing (Graphviz text): what stands before what, filtered and unfiltered told apart by line,
arrow head and label, not by colour alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from brewwater.branches import Branch
from brewwater.charts.base import Palette
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
    upright: bool = True,
) -> str:
    """The pipe tree from the inlet to each branch.

    Parameters
    ----------
    stages : the train; those with a branch of their own stand on it
    amounts : what passes each branch in a service day, as written
    upright : drawn from top to bottom, for a narrow screen

    Returns
    -------
    DOT text; filtered lines are solid and thick with a full arrow, unfiltered ones dashed with an open arrow
    """
    trunk = [s for s in stages if s.branch is None]
    out = [
        "digraph pipes {",
        f'bgcolor="transparent"; rankdir={"TB" if upright else "LR"}; nodesep=0.25; ranksep=0.35;',
        f'node [fontname="Helvetica", fontsize=12, color="{colours.ink}", fontcolor="{colours.ink}", shape=box, '
        'style="rounded", margin="0.12,0.07"];',
        f'edge [fontname="Helvetica", fontsize=10, color="{colours.muted}", fontcolor="{colours.ink}"];',
        f'inlet [label="{_wrapped(source)}\\nisolator, backflow protection", shape=cds];',
        'tee [label="tee before the filters", shape=plaintext, fontsize=10];',
        "inlet -> tee;",
    ]
    filtered = f'color="{colours.served}", penwidth=3, style=solid, arrowhead=normal'
    plain = f'color="{colours.source}", penwidth=1.6, style=dashed, arrowhead=empty'

    def stage_node(key: str, stage: Stage) -> None:
        around = f"\\n{stage.bypass_percent:g} % goes round" if stage.bypass_percent else ""
        out.append(f'{key} [label="{_wrapped(stage.name)}{around}", shape=box3d, style=""];')

    behind = [b for b in branches if b.filtered]
    last = "tee"
    if behind:
        for i, stage in enumerate(trunk):
            stage_node(f"s{i}", stage)
            out.append(f"{last} -> s{i} [{filtered}];")
            last = f"s{i}"
    for i, branch in enumerate(branches):
        amount = amounts.get(branch.name, "")
        word = "FILTERED" if branch.filtered else "unfiltered"
        shape = 'style="bold,rounded"' if branch.filtered else 'style="dashed,rounded"'
        out.append(f'b{i} [label="{_wrapped(branch.name)}\\n{word}\\n{_text(amount)}", {shape}];')
        at = last if branch.filtered else "tee"
        for j, stage in enumerate(s for s in stages if s.branch == branch.name and branch.filtered):
            stage_node(f"b{i}s{j}", stage)
            out.append(f"{at} -> b{i}s{j} [{filtered}];")
            at = f"b{i}s{j}"
        out.append(f"{at} -> b{i} [{filtered if branch.filtered else plain}];")
    out.append("}")
    return "\n".join(out)
