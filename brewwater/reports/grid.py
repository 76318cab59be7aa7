"""A table as cells, whatever file it came from: head and body, analytes running down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from brewwater.reports.columns import role_of
from brewwater.reports.names import read_label
from brewwater.reports.values import read_value
from brewwater.units import read_unit

MAX_ROWS, MAX_COLUMNS = 4000, 200


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows of cells; ``""`` where a cell is blank or merged into the one before it or above it.

    ``blocks`` are (head, body) pairs, with their ``titles``, where the layout has parted them; else the reader parts
    ``cells`` itself.
    ``lines`` are the lines of the page that the table was made of; ``first`` the
    line of its first row; ``supply`` is named by a heading above it.
    """

    cells: list[list[str]]
    page: int | None = None
    title: str = ""
    blocks: list[tuple[list[list[str]], list[list[str]]]] = field(default_factory=list)
    lines: frozenset[int] = frozenset()
    supply: str | None = None
    first: int = 0
    titles: tuple[str, ...] = ()


def make_grid(rows: Sequence[Sequence[str]], page: int | None = None, title: str = "") -> Grid | None:
    """A grid from raw cells: square, bounded, split where a cell holds one value a line, analytes downwards."""
    cells = [list(row[:MAX_COLUMNS]) for row in rows[:MAX_ROWS]]
    cells = [row for row in cells if any(row)]
    if not cells:
        return None
    width = max(len(r) for r in cells)
    cells = [row + [""] * (width - len(row)) for row in cells]
    cells = [part for row in cells for part in _split(row)]
    cells = upright([[" ".join(c.split()) for c in row] for row in cells])
    return Grid(cells, page, title)


def _split(row: list[str]) -> list[list[str]]:
    """One row for each line where a cell holds several labels, or one label with several units and values."""
    if not any("\n" in c for c in row):
        return [row]
    lines = [[p.strip() for p in c.split("\n") if p.strip()] for c in row]
    labels = next((p for p in lines if p), [])
    many = len(labels)
    if many > 1 and sum(read_label(x) is not None for x in labels) >= max(2, 0.6 * many):
        pass
    else:
        if not labels or read_label(" ".join(labels)) is None:
            return [row]
        counts = {len(p) for p in lines if len(p) > 1 and all(read_unit(x) is not None for x in p)}
        if len(counts) != 1:
            return [row]
        many = counts.pop()
    whole = [p if len(p) == many else None for p in lines]
    values = [p for p in lines[1:] if p and len(p) == many and all(read_value(x) is not None for x in p)]
    if not values:
        return [row]
    return [[p[i] if p is not None else " ".join(lines[j]) for j, p in enumerate(whole)] for i in range(many)]


def upright(cells: list[list[str]]) -> list[list[str]]:
    """The grid with analytes running down: turned where they run across."""
    down = max(sum(read_label(row[j]) is not None for row in cells) for j in range(len(cells[0])))
    across = max(sum(c != "" and read_label(c) is not None for c in row) for row in cells)
    if (across >= 2 and across > down) or (across == 1 == down and _alone_over_figures(cells)):
        return [list(column) for column in zip(*cells, strict=True)]
    return cells


def _alone_over_figures(cells: list[list[str]]) -> bool:
    """Whether the one analyte of a grid heads a column of figures, each beside a name."""
    i, j = next((i, j) for i, row in enumerate(cells) for j, c in enumerate(row) if c and read_label(c) is not None)
    below = [row for row in cells[i + 1 :] if row[j]]
    others = [c for k, c in enumerate(cells[i]) if k != j and c]
    named = all(any(c and not _figure(c) for k, c in enumerate(row) if k < j) for row in below)
    return bool(below) and named and all(_figure(r[j]) for r in below) and all(role_of(c) for c in others)


def beside(cells: list[list[str]]) -> list[list[list[str]]]:
    """The tables of a sheet in which several stand side by side, each with labels of its own."""
    width = max((len(r) for r in cells), default=0)
    rows = [r + [""] * (width - len(r)) for r in cells]
    hits = [sum(read_label(r[j]) is not None for r in rows) for j in range(width)]
    most = max(hits, default=0)
    heads = [{j for j, c in enumerate(r) if role_of(c) == "label"} for r in rows]
    headed = next((h for h in heads if len(h) > 1), set())  # "Parameter | Result | | Parameter | Result"
    at = [j for j, n in enumerate(hits) if n >= (1 if j in headed else max(2, 0.4 * most))]
    kept: list[int] = []
    for j in at:
        between = range(kept[-1] + 1, j) if kept else range(0)
        figures = sum(any(_figure(r[k]) for k in between) for r in rows)
        if not kept or figures >= max(1 if j in headed else 2, 0.5 * hits[j]):
            kept.append(j)
    if len(kept) < 2 or any(hits[j] and not any(_figure(c) for r in rows for c in r[j + 1 : j + 8]) for j in kept[1:]):
        return [cells]
    edges = [0, *kept[1:], width]
    return [[r[a:b] for r in rows] for a, b in pairwise(edges)]


def _figure(text: str) -> bool:
    value = read_value(text) if text else None
    return value is not None and value.has_number


def continued(grid: Grid, before: Grid | None) -> Grid:
    """A table that goes on from the page before, without heads: it takes the heads and the title of that one."""
    if before is None or not grid.blocks or not before.blocks:
        return grid
    (head, body), (last, _) = grid.blocks[0], before.blocks[-1]
    same = body and last and len(body[0]) == len(last[0])
    if not same or any(any(row) for row in head):
        return grid
    titles = list(grid.titles or (grid.title,) * len(grid.blocks))
    titles[0] = titles[0] or (before.titles[-1] if before.titles else before.title)
    return replace(grid, blocks=[(last, body), *grid.blocks[1:]], titles=tuple(titles))
