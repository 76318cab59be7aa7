"""One page to rows, by its form; and the lines of it that hold an analyte and a figure and gave none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from brewwater.reports.blocks import page_tables
from brewwater.reports.grid import Grid, beside, continued, make_grid
from brewwater.reports.headings import unit_everywhere, with_unit
from brewwater.reports.layout import Line
from brewwater.reports.listed import read_listed
from brewwater.reports.places import place_of
from brewwater.reports.prose import prose_rows
from brewwater.reports.report import Row, Unread
from brewwater.reports.rownumbers import without_row_numbers
from brewwater.reports.sequence import read_sequences
from brewwater.reports.tables import table_rows
from brewwater.reports.unread import unread_lines
from brewwater.reports.values import Decimal
from brewwater.reports.words import Page


def read_page(
    page: Page,
    lines: list[Line],
    mark: Decimal,
    *,
    numbered: bool,
    places: Sequence[tuple[int, str]] = (),
    before: str | None = None,
    table: Grid | None = None,
    unit: str = "",
) -> tuple[list[Row], list[Unread], Grid | None, str]:
    """Rows of a page of which ``lines`` are the lines, and those that stay unread.

    ``places`` are the lines that name a sampling point, ``before`` is the one of the page before,
    ``table`` the last table of that page, ``unit`` what a heading gave for all values before it; the last table and
    the heading's unit of this one are returned too.
    """
    number = page.number if numbered else None
    lines = lines if page.form == "grid" else without_row_numbers(lines)
    if page.form == "grid":
        parts = [make_grid(part, number, page.title) for part in beside(_rows(page))]
        grids = [replace(grid, lines=frozenset(range(len(lines)))) for grid in parts if grid is not None]
    else:
        grids = page_tables(page, lines, number)
        if page.form in ("print", "picture") and grids:
            grids[0] = continued(grids[0], table)
    texts = line_texts(lines)
    used = {at for grid in grids for at in grid.lines}
    loose = [(i, t) for i, t in enumerate(texts) if i not in used]
    if page.form != "grid":
        listed = read_listed(loose, number)
        spoken = {at for grid in listed for at in grid.lines}
        grids += [*listed, *read_sequences([(i, t) for i, t in loose if i not in spoken], number)]
    everywhere = unit_everywhere([*page.above, *texts]) or unit
    rows: list[Row] = []
    taken: dict[int, set[str]] = {}
    for grid in grids:
        found = table_rows(replace(grid, supply=place_of(grid.first, places, before)), mark)
        found = [with_unit(r, everywhere) for r in found] if everywhere else found
        rows += found
        used |= grid.lines
        for at in grid.lines:
            taken.setdefault(at, set()).update(r.analyte for r in found)
    if page.form != "grid":
        rows += _prose([(i, t) for i, t in loose if i not in used], mark, number, places, before)
    last = next((g for g in reversed(grids) if g.blocks), table)
    return rows, unread_lines(lines, rows, number, taken), last, everywhere


def _prose(
    lines: Sequence[tuple[int, str]],
    mark: Decimal,
    page: int | None,
    places: Sequence[tuple[int, str]],
    before: str | None,
) -> list[Row]:
    """Rows from sentences, each stretch between two headings of places for its own place."""
    stretches: dict[str | None, list[str]] = {}
    for i, text in lines:
        stretches.setdefault(place_of(i, places, before), []).append(text)
    return [replace(r, supply=place) for place, texts in stretches.items() for r in prose_rows(texts, mark, page)]


def line_texts(lines: list[Line]) -> list[str]:
    """Each line as one text, wide gaps kept as two spaces."""
    return ["  ".join(c.text for c in line) for line in lines]


def _rows(page: Page) -> list[list[str]]:
    width = max((int(w.x0) + 1 for w in page.words), default=0)
    out = [[""] * width for _ in range(int(page.height))]
    for word in page.words:
        out[int(word.y0)][int(word.x0)] = word.text
    return out
