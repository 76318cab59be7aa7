"""A table as cells, whatever file it came from: head and body, analytes running down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from brewwater.reports.names import read_label
from brewwater.reports.values import read_value
from brewwater.units import read_unit

MAX_ROWS, MAX_COLUMNS = 4000, 200


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows of cells; ``""`` where a cell is blank or merged into the one before it or above it.

    ``blocks`` are (head, body) pairs where the layout has parted them; else the reader parts ``cells`` itself.
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
    if across >= 2 and across > down:
        return [list(column) for column in zip(*cells, strict=True)]
    return cells
