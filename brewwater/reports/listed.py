"""An analyte on a line of its own, and its figures beneath it, a line each with a word for what it is.

Hardness (as CaCO3)
Average: 47 mg/L
Range: 39 - 58 mg/L
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from brewwater.reports.columns import VALUE_ROLES, role_of
from brewwater.reports.grid import Grid
from brewwater.reports.items import cut, unglue
from brewwater.reports.names import read_label

_SPOKEN = re.compile(r"\s*[•*·-]?\s*(?P<word>[^\W\d_][^:\d]{1,34}?)\s*:\s*(?P<rest>\S.*)")
# Fewer analytes than this so written are left to the reading of sentences.
_LEAST = 2


def read_listed(lines: Sequence[tuple[int, str]], page: int | None) -> list[Grid]:
    """Such lists as grids: the words are the heads."""
    found: list[tuple[list[int], list[str], list[str]]] = []
    k = 0
    while k < len(lines):
        taken = _one(lines, k)
        k += 1
        if taken is not None:
            found.append(taken)
            k = next(j for j in range(k, len(lines)) if lines[j][0] == taken[0][-1]) + 1
    if len(found) < _LEAST:
        return []
    blocks: list[tuple[list[list[str]], list[list[str]]]] = []
    for _, head, row in found:
        if blocks and blocks[-1][0] == [head]:
            blocks[-1][1].append(row)
        else:
            blocks.append(([head], [row]))
    cells = [row for head, body in blocks for row in (*head, *body)]
    used = frozenset(i for at, _, _ in found for i in at)
    return [Grid(cells, page, "", blocks, used, None, found[0][0][0])]


def _one(lines: Sequence[tuple[int, str]], k: int) -> tuple[list[int], list[str], list[str]] | None:
    """The lines, the heads and the row of the analyte that line ``k`` names; None where it names none."""
    at, text = lines[k]
    name = text.strip().rstrip(":")
    if re.search(r"\d", re.sub(r"[(\[][^()\[\]]*[)\]]|CaCO3", "", name)) or read_label(name) is None:
        return None
    used, head, row, unit = [at], ["Parameter", "Unit"], [name, ""], ""
    for i, line in lines[k + 1 : k + 12]:
        match = _SPOKEN.fullmatch(line)
        if match is None:
            if line.strip() or len(head) > 2:
                break
            continue
        role = role_of(match["word"])
        if not role or read_label(match["word"]) is not None:
            break
        items = cut(unglue(match["rest"]))
        value = next((x.text for x in items if x.kind == "value"), "")
        used.append(i)
        if role in (*VALUE_ROLES, "limit") and value:
            unit = unit or next((x.text for x in items if x.kind == "unit"), "")
            head.append(match["word"])
            row.append(value)
    row[1] = unit
    return (used, head, row) if any(role_of(h) in VALUE_ROLES for h in head[2:]) else None
