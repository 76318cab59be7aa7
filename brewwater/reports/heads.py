"""The heads of a printed table: which lines are heads, wrapped ones joined, each over the columns it rules."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from brewwater.reports.columns import VALUE_ROLES, role_of, year_of
from brewwater.reports.layout import Cell, Line, TablePart, is_head, is_value
from brewwater.reports.names import read_label

HEAD_LINES, _HEAD_CELLS = 12, 150


def cut_heads(head: Sequence[TablePart]) -> list[TablePart]:
    """Heads of text that only one space parts are cut where a head above or beneath begins at the same character."""
    begins = [{c.x0 for q in head if q is not p for c in q.cells} for p in head]
    out = []
    for part, starts in zip(head, begins, strict=True):
        cells: Line = []
        for cell in part.cells:
            words, at = [m.start() for m in re.finditer(r"\S+", cell.text)], 0
            cuts = [w for w in words[1:] if cell.x0 in starts and cell.x0 + w in starts]
            for end in [*cuts, len(cell.text)]:
                text = cell.text[at:end].strip()
                cells.append(Cell(text, cell.x0 + at, cell.x0 + at + len(text), cell.y0, cell.y1))
                at = end
        out.append(TablePart(part.at, part.label, cells))
    return out


def without_lead(head: Sequence[TablePart], pitch: float) -> list[TablePart]:
    """Heads without the lines about the whole report above them: clear of the heads, and begun where the labels are."""
    for i in reversed(range(1, len(head))):
        above, below = head[i - 1], head[i:]
        clear = below[0].level - above.level >= 1.7 * pitch
        spoken = above.label is not None and (not above.cells or ":" in above.name or not role_of(above.name))
        if clear and spoken and read_label(above.name) is None and any(is_head(p) for p in below):
            return list(below)
    return list(head)


def column_at(cell: Cell, spans: Sequence[Sequence[float]]) -> int:
    """The column that a cell covers most."""
    over = [(min(cell.x1, b) - max(cell.x0, a), -j) for j, (a, b) in enumerate(spans)]
    best = max(over)
    return -best[1]


def head_rows(parts: Sequence[TablePart], spans: list[list[float]], numeric: Sequence[bool]) -> list[list[str]]:
    """Each head's text over every column that it rules, from the top."""
    titles = {id(p) for p in parts if not p.cells and p.label is not None}
    cells = [c for p in parts if id(p) not in titles for c in ([p.label] if p.label else []) + p.cells]
    parts = parts[-HEAD_LINES:]
    alone = {id(p.cells[0]) for p in parts if p.label is None and len(p.cells) == 1 and len(p.cells[0].text) > 45}
    cells = [c for c in cells if len(c.text) < 90 and id(c) not in alone]
    cells = cells[-_HEAD_CELLS:]
    cells = _merge_down([c for c in cells if year_of(c.text) is not None or not is_value(c.text)])
    cells.sort(key=lambda c: (c.y1, c.x0))
    levels: list[list[Cell]] = []
    for cell in sorted(cells, key=lambda c: c.y0):
        if levels and cell.y0 < min(c.y1 for c in levels[-1]) - 1e-6:
            levels[-1].append(cell)
        else:
            levels.append([cell])
    full = [sorted(level, key=lambda c: c.x0) for level in levels if len(level) == len(spans)]
    ordered = {id(c): [j] for level in full for j, c in enumerate(level)}  # a head for each column, in their order

    def under_it(cell: Cell) -> list[int]:
        return ordered.get(id(cell)) or _under(cell, spans)

    roles = [""] * len(spans)
    for cell in cells:
        role = "date" if year_of(cell.text) else role_of(cell.text)
        for j in under_it(cell) if role else ():
            roles[j] = roles[j] or role
    ruled = [j for j in range(1, len(spans)) if roles[j] in ("", "date", *VALUE_ROLES) and (numeric[j] or roles[j])]
    out: list[list[str]] = []
    bottom = [""] * len(spans)
    for level in levels:
        row = [""] * len(spans)
        level.sort(key=lambda c: c.x0)
        names = [c for c in level if not role_of(c.text) and year_of(c.text) is None and c.x1 > spans[0][1]]
        names = [] if all(id(c) in ordered for c in level) else names
        shared = _groups(names, spans, ruled, roles)
        if len(level) == 1 == len(names) and len(ruled) > 1 and _over_first(level[0], spans[ruled[0]]):
            shared = dict.fromkeys(ruled, level[0])  # one name over the first of its columns is over all of them
        for j, cell in shared.items():
            row[j] = cell.text
        under = {id(cell): under_it(cell) for cell in level if not (shared and cell in names)}
        if len(level) == 1 and len(spans) > 2 and under:
            at = under[id(level[0])]
            if len(at) > 3 or 0 in at or (names and len(at) > 1):
                continue  # a title over the whole
        for cell in level:
            at = under.get(id(cell), [])
            for j in at:
                if len(at) == 1:
                    bottom[j] = f"{bottom[j]} {cell.text}".strip()
                else:
                    row[j] = f"{row[j]} {cell.text}".strip()
        if any(row):
            out.append(row)
    return [*out, bottom]


def _over_first(cell: Cell, span: Sequence[float]) -> bool:
    return abs(cell.x0 - span[0]) < 1.5 * (cell.y1 - cell.y0)


def _groups(
    names: Sequence[Cell], spans: Sequence[Sequence[float]], ruled: Sequence[int], roles: Sequence[str]
) -> dict[int, Cell]:
    """Which of the names on one level rules which columns; none where each stands over one column of its own."""
    if not names:
        return {}
    times = Counter(roles[j] for j in ruled if roles[j])
    ruled = [j for j in ruled if roles[j] != "date" or times["date"] > 1]  # one date is for all of them
    again = len(names) < len(ruled) and any(n == len(names) > 1 for n in times.values())
    blank = [j for j in ruled if not roles[j]]
    if len(blank) == len(names) and not again:
        return dict(zip(blank, names, strict=True))
    wide = any(not _own_column(c, spans) for c in names)
    return _share(names, spans, ruled, roles) if len(names) > 1 and (wide or again) else {}


def _merge_down(cells: list[Cell]) -> list[Cell]:
    """Heads wrapped over several lines are one: each lies over exactly one below, and that under no other."""
    cells = sorted(cells, key=lambda c: c.y0)
    times = Counter(c.text for c in cells)
    changed = True
    while changed:
        changed = False
        for i, upper in enumerate(cells):
            below = [c for c in cells if c is not upper and _touches(upper, c)]
            if len(below) != 1:
                continue
            lower = below[0]
            if role_of(lower.text) and not role_of(upper.text) and times[upper.text] == 1 < times[lower.text]:
                continue  # a name over the first of several columns that repeat their heads
            if sum(_touches(c, lower) for c in cells if c is not lower) != 1:
                continue
            if (
                role_of(lower.text)
                and not role_of(upper.text)
                and (len(upper.text) > 14 and upper.x1 - upper.x0 > 1.3 * (lower.x1 - lower.x0))
            ):
                continue
            cells[i] = Cell(
                f"{upper.text.removesuffix('-')}{'' if upper.text.endswith('-') else ' '}{lower.text}",
                min(upper.x0, lower.x0),
                max(upper.x1, lower.x1),
                upper.y0,
                lower.y1,
            )
            cells.remove(lower)
            changed = True
            break
    return cells


def _touches(upper: Cell, lower: Cell) -> bool:
    height = min(upper.y1 - upper.y0, lower.y1 - lower.y0)
    gap = lower.y0 - upper.y1
    over = min(upper.x1, lower.x1) - max(upper.x0, lower.x0)
    one = min(height, 0.6 * (lower.y1 - lower.y0) + 1)
    return (
        lower.y0 > upper.y0
        and -0.5 * height < gap < 0.75 * one
        and over > 0.2 * min(upper.x1 - upper.x0, lower.x1 - lower.x0)
    )


def _under(cell: Cell, spans: Sequence[Sequence[float]]) -> list[int]:
    hit = [
        j
        for j, (a, b) in enumerate(spans)
        if min(cell.x1, b) - max(cell.x0, a) > 0.3 * min(b - a, cell.x1 - cell.x0)
        or (cell.x0 <= (a + b) / 2 <= cell.x1)
    ]
    if len(hit) > 1 and 0 in hit and role_of(cell.text) != "label":
        hit.remove(0)
    if hit:
        return hit
    gaps = [(max(a - cell.x1, cell.x0 - b), j) for j, (a, b) in enumerate(spans)]
    gap, j = min(gaps)
    return [j] if gap < 4 * (cell.y1 - cell.y0) else []


def _own_column(cell: Cell, spans: Sequence[Sequence[float]]) -> bool:
    return len(_under(cell, spans)) == 1


def _share(
    names: Sequence[Cell], spans: Sequence[Sequence[float]], at: Sequence[int], roles: Sequence[str]
) -> dict[int, Cell]:
    """Group heads over the columns of figures: runs of columns whose middles lie nearest to the heads' middles.

    Where the roles beneath repeat (range, mean, date), a run begins where they begin again.
    """
    n, k = len(at), len(names)
    if k > n or k == 0:
        return {}
    first = roles[at[0]]
    repeats = first and sum(roles[j] == first for j in at) > 1
    far = 10 * max(b for _, b in spans)
    best: dict[tuple[int, int], tuple[float, int]] = {(0, 0): (0.0, 0)}
    for g in range(1, k + 1):
        for end in range(g, n - (k - g) + 1):
            options = []
            for start in range(g - 1, end):
                if (g - 1, start) not in best:
                    continue
                middle = (spans[at[start]][0] + spans[at[end - 1]][1]) / 2
                broken = far if repeats and roles[at[start]] != first else 0.0
                options.append((best[(g - 1, start)][0] + abs(middle - names[g - 1].middle) + broken, start))
            if options:
                best[(g, end)] = min(options)
    out: dict[int, Cell] = {}
    end = n
    for g in range(k, 0, -1):
        start = best[(g, end)][1]
        for i in range(start, end):
            out[at[i]] = names[g - 1]
        end = start
    return out
