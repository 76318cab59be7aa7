"""A table on its side: analytes across, a line of figures for each supply."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from brewwater.reports.columns import role_of
from brewwater.reports.grid import Grid, make_grid
from brewwater.reports.heads import column_at
from brewwater.reports.layout import Line, is_value
from brewwater.reports.names import read_label
from brewwater.units import read_unit

_DASHES = re.compile(r"[-–—]+")


def turned_tables(number: int | None, lines: Sequence[Line]) -> list[Grid]:
    """A table on its side: a line of analytes, and lines of figures beneath it."""
    for i, line in enumerate(lines):
        named = sum(read_label(c.text) is not None for c in line)
        under = [row for row in lines[i + 1 : i + 3] if not all(read_unit(c.text) is not None for c in row)]
        few = 0 < named < 3 and _over_figures(line, under[:1])
        if named < 3 and not few:
            continue
        least = named if few else 3
        rows = [k for k in range(i + 1, min(i + 40, len(lines))) if _figures_in(lines[k], least)]
        if not rows or rows[0] - i > 4:
            continue
        levels = [_level(lines[k]) for k in range(i, rows[-1] + 1) if lines[k]]
        pitch = min((b - a for a, b in pairwise(levels) if b > a), default=1.0)
        top = max(0, i - 1)
        if top < i and (not lines[top] or _level(line) - _level(lines[top]) > 1.7 * pitch):
            top = i  # a line about the whole report
        last = rows[0]
        for k in rows:
            last = k if k - last <= 2 else last
        body = [lines[k] for k in rows if k <= last]
        spans: list[list[float]] = []
        for cell in sorted((c for row in body for c in row), key=lambda c: c.x0):
            if spans and cell.x0 < spans[-1][1] - 1e-6:
                spans[-1][1] = max(spans[-1][1], cell.x1)
            else:
                spans.append([cell.x0, cell.x1])
        _join_spans(spans, body, named + 1)
        _widen(spans, line)
        tops = [lines[k] for k in range(top, rows[0])]
        units = [row for row in tops if sum(read_unit(c.text) is not None for c in row) >= 0.6 * len(row)]
        heads = [row for row in tops if row not in units and (row is line or _aligned(row, spans))]
        cells = [_columns_text(heads, spans), *(_columns_text([_under_heads(row, line)], spans) for row in units)]
        cells += [_columns_text([row], spans) for row in body]
        made = make_grid([list(c) for c in zip(*cells, strict=True)] if few else cells, number)
        if made is not None:
            return [replace(made, lines=frozenset(range(top, last + 1)))]
    return []


def _figures_in(line: Line, least: int) -> bool:
    """A row of figures; one of which some are blank holds dashes in their place."""
    values = sum(is_value(c.text) for c in line)
    dashes = sum(_DASHES.fullmatch(c.text) is not None for c in line)
    return values >= least or (values > 0 and values + dashes >= max(least, len(line) - 1))


def _join_spans(spans: list[list[float]], body: Sequence[Line], wanted: int) -> None:
    """Where there are more columns than heads, neighbours that no row fills both are one: set left and set right."""
    k = len(spans) - 2
    while k >= 1 and len(spans) > wanted:
        both = any({k, k + 1} <= {column_at(c, spans) for c in row} for row in body)
        if not both:
            spans[k][1] = max(spans[k][1], spans.pop(k + 1)[1])
        k -= 1


def _under_heads(row: Line, heads: Line) -> Line:
    """Units, each standing where the one head above it stands: they line up with the heads, not with the figures."""
    out = []
    for cell in row:
        over = [h for h in heads if min(h.x1, cell.x1) > max(h.x0, cell.x0)]
        out.append(replace(cell, x0=over[0].x0, x1=over[0].x1) if len(over) == 1 else cell)
    return out


def _widen(spans: list[list[float]], heads: Line) -> None:
    """Columns reach under their heads, where there is a head for each column of figures."""
    named = [c for c in heads if read_label(c.text) is not None]
    if len(named) != len(spans) - 1:
        return
    for k, cell in enumerate(named, start=1):
        after = spans[k + 1][0] if k + 1 < len(spans) else cell.x1
        if spans[k - 1][1] <= cell.x0 and cell.x1 <= after:
            spans[k] = [min(spans[k][0], cell.x0), max(spans[k][1], cell.x1)]


def _level(line: Line) -> float:
    return line[0].level if line else 0.0


def _over_figures(line: Line, below: Sequence[Line]) -> bool:
    """Whether each analyte on a line stands over a figure of the line beneath, and a name stands left of those."""
    heads = [c for c in line if read_label(c.text) is not None]
    first = line[0]
    if len(heads) != len(line) - (role_of(first.text) in ("supply", "date", "label") and first not in heads):
        return False
    for row in below:
        figures = [c for c in row if is_value(c.text) or _DASHES.fullmatch(c.text)]
        over = zip(heads, figures, strict=False)
        return (
            len(figures) == len(heads) == len(row) - 1
            and any(is_value(c.text) for c in figures)
            and not is_value(row[0].text)
            and read_label(row[0].text) is None
            and all(min(h.x1, f.x1) > max(h.x0, f.x0) for h, f in over)
        )
    return False


def _aligned(row: Line, spans: Sequence[Sequence[float]]) -> bool:
    """Whether the cells of a line stand over columns, as the wrapped lines of heads do."""
    return all(any(min(c.x1, b) > max(c.x0, a - 2) for a, b in spans) or c.x0 > spans[0][0] for c in row) and all(
        len(c.text) < 30 for c in row
    )


def _columns_text(rows: Sequence[Line], spans: Sequence[Sequence[float]]) -> list[str]:
    out = [""] * len(spans)
    for row in rows:
        for cell in row:
            nearest = min(
                range(len(spans)),
                key=lambda j: (max(0.0, spans[j][0] - cell.x1, cell.x0 - spans[j][1]), abs(spans[j][0] - cell.x0)),
            )
            out[nearest] = f"{out[nearest]} {cell.text}".strip()
    return out
