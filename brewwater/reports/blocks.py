"""Tables of a printed page: runs of records under their heads, as grids."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from brewwater.reports.columns import role_of, year_of
from brewwater.reports.grid import Grid
from brewwater.reports.heads import HEAD_LINES, column_at, cut_heads, head_rows, without_lead
from brewwater.reports.labelled import Record, kind_of, pitch_of, records_of
from brewwater.reports.layout import Cell, Line, TablePart, is_head, is_unit_line, is_value, parts_of, regions
from brewwater.reports.names import read_label
from brewwater.reports.turned import turned_tables
from brewwater.reports.words import Page
from brewwater.units import read_unit

_CONNECTS = re.compile(r"^(?:to|bis|à|a|tot|[-–—÷])\s*[\d<nN]|^detect|^[-–—]$", re.IGNORECASE)
_DASHES = re.compile(r"[-–—]+")
_OPEN = re.compile(r"(?:[-–—÷]|\b(?:to|bis|no|not|non))$", re.IGNORECASE)


@dataclass
class Block:
    """Lines of heads, and the records beneath them."""

    head: list[TablePart]
    records: list[Record]
    title: str = ""
    lines: set[int] = field(default_factory=set)


def page_tables(page: Page, lines: Sequence[Line], number: int | None) -> list[Grid]:
    """The tables of a printed page of which ``lines`` are the lines."""
    grids = []
    strips = regions(lines, page.width)
    for region in strips:
        found = [b for b in _blocks(parts_of(lines, region, page.form))]
        ordered = page.form == "text"
        for block in found if ordered else ():
            block.head = cut_heads(block.head)
        for block in found if ordered else ():  # what is no row of it may still be a list or a sentence
            block.lines = {p.at for p in block.head} | {p.at for r in block.records for p in r.parts}
        made = [(g, b) for b in found if (g := (_in_order(b) if ordered else None) or _grid(b)) is not None]
        made = [(_nameless(g) if b.records[0].titled else g, b) for g, b in made]
        if page.form == "text":  # a single column of text is a list, not a table, but for headed ones side by side
            made = [(g, b) for g, b in made if _is_table(g) or (len(strips) > 1 and any(map(any, g[0])))]
        if made:
            grids.append(
                Grid(
                    [row for (head, body), _ in made for row in (*head, *body)],
                    number,
                    made[0][1].title,
                    [g for g, _ in made],
                    frozenset(at for _, b in made for at in b.lines),
                    None,
                    min(p.at for p in made[0][1].records[0].parts),
                    tuple(b.title for _, b in made),
                )
            )
    used = {at for g in grids for at in g.lines}
    grids += _titled(number, lines, used)
    if not grids:
        grids = turned_tables(number, lines)
    return grids


def _nameless(made: tuple[list[list[str]], list[list[str]]]) -> tuple[list[list[str]], list[list[str]]]:
    """A table of one analyte under its title: its heads name no supply."""
    return [[t if role_of(t) else "" for t in row] for row in made[0]], made[1]


def _is_table(made: tuple[list[list[str]], list[list[str]]]) -> bool:
    head, body = made
    width = max(len(r) for r in body)
    figures = [sum(is_value(r[j]) for r in body if j < len(r)) for j in range(1, width)]
    return sum(f >= 0.4 * len(body) for f in figures) >= 2 or (bool(head) and width > 2)


def _titled(number: int | None, lines: Sequence[Line], used: set[int]) -> list[Grid]:
    """Tables of one analyte that name it in their title alone: heads, and a line of figures beneath."""
    out = []
    parts = [TablePart(i, None, list(line)) for i, line in enumerate(lines) if i not in used and line]
    pitch = pitch_of(parts)
    for k, part in enumerate(parts):
        if is_head(part) or part.values < 2 or any(read_label(c.text) for c in part.cells):
            continue
        above = [p for p in parts[max(0, k - 8) : k] if part.level - p.level < 9 * pitch]
        names = [p for p in above if len(p.cells) == 1 and read_label(p.cells[0].text) is not None]
        if not names or not any(is_head(p) for p in above[above.index(names[-1]) :]):
            continue
        title = names[-1]
        head = [p for p in above[above.index(title) + 1 :] if len(p.cells) > 1 or is_head(p) or len(p.text) < 30]
        label = Cell(title.text, -2.0, -1.0, part.cells[0].y0, part.cells[0].y1)
        block = Block(head, [Record(title.text, [TablePart(part.at, label, part.cells)])])
        made = _grid(block)
        if made is not None:
            lines_used = frozenset({part.at, title.at, *(p.at for p in head)})
            made = _nameless(made)
            out.append(Grid([*made[0], *made[1]], number, "", [made], lines_used, None, part.at))
    return out


def _blocks(parts: Sequence[TablePart]) -> list[Block]:
    """Runs of records under their heads."""
    kinds = [kind_of(p) for p in parts]
    pitch = pitch_of(parts)
    out: list[Block] = []
    head: list[TablePart] = []
    body: list[TablePart] = []
    title = ""

    def close() -> None:
        nonlocal head, body, title
        while body and kind_of(body[-1]) == "text":
            body.pop()
        if any(kind_of(p) in ("record", "values") for p in body):
            head = without_lead(head, pitch)
            block = Block(head, records_of(body, head, title, pitch), title)
            block.lines = {p.at for p in body} | {p.at for p in head}
            if block.records:
                out.append(block)
        head, body, title = [], [], ""

    pending: list[TablePart] = []
    for i, part in enumerate(parts):
        kind = kinds[i]
        rows = any(kind_of(p) in ("record", "values") for p in body)
        if kind == "head" and rows and not is_head(part, under_rows=True):
            kind = "text"
        if is_unit_line(part) and (rows or head) and kind_of(parts[min(i + 1, len(parts) - 1)]) == "record":
            above = [p for p in head if not is_unit_line(p)]
            close()
            head, pending = [*above, part], []
            continue
        if kind == "head":
            if rows:
                tail: list[TablePart] = []
                while body and kind_of(body[-1]) in ("text", "label", "head") and len(tail) < 8 and _apart(body):
                    tail.insert(0, body.pop())
                close()
                pending = tail
                alone = [p.text for p in tail if len(p.cells) + (p.label is not None) == 1 and len(p.text) < 60]
                title = alone[-1] if alone else ""
            head = [*head, *pending, part]
            pending = []
            continue
        if not body and kind == "text" and head and _figures_only(part):
            body.append(part)  # cells of the first record that stand above its label
            continue
        if not body and kind == "text":
            pending.append(part)
            pending = pending[-4:]
            if len(part.cells) + (part.label is not None) == 1:
                title = part.text if len(part.text) < 90 else title
            if head:
                head, pending = [*head, *pending][-HEAD_LINES:], []
            continue
        if not body:
            head, pending = [*pending, *head] if not head else [*head, *pending], []
            if kind == "label" and not head and not is_value(part.text):
                title = part.text
        body.append(part)
    close()
    return out


def _apart(body: Sequence[TablePart]) -> bool:
    """Whether the last line stands clear of the last figures: it is no wrapped cell of theirs."""
    last = next((p for p in reversed(body) if p.values), None)
    return last is None or body[-1].level - last.level > 1.4 * (body[-1].height or 1.0)


def _figures_only(part: TablePart) -> bool:
    return (
        part.label is None
        and len(part.cells) > 1
        and all(re.search(r"\d", c.text) and len(c.text) <= 14 and not role_of(c.text) for c in part.cells)
    )


def _narrow(text: str) -> bool:
    return is_value(text) or read_unit(text) is not None or year_of(text) is not None or len(text) <= 12


def _columns(records: Sequence[Record], head: Sequence[TablePart]) -> list[list[float]]:
    """Intervals in which the cells of the body lie."""
    spans: list[list[float]] = []
    cells = [c for r in records for p in r.parts for c in p.cells]
    firm = [c for c in cells if is_value(c.text) or read_unit(c.text) is not None or year_of(c.text) is not None]
    for x0, x1 in sorted((c.x0, c.x1) for c in firm):
        if spans and x0 < spans[-1][1] - 1e-6:
            spans[-1][1] = max(spans[-1][1], x1)
        else:
            spans.append([x0, x1])
    for cell in sorted((c for c in cells if c not in firm), key=lambda c: c.x1 - c.x0):
        over = [s for s in spans if min(s[1], cell.x1) > max(s[0], cell.x0)]
        if not over:
            spans.append([cell.x0, cell.x1])
        elif len(over) == 1 and _narrow(cell.text):
            over[0][0], over[0][1] = min(over[0][0], cell.x0), max(over[0][1], cell.x1)
    return _one_of_two(sorted(spans), records, head)


def _one_of_two(spans: list[list[float]], records: Sequence[Record], head: Sequence[TablePart]) -> list[list[float]]:
    """Neighbours that no row fills both are one column, where one holds dashes or both hold units, or where there are
    more columns than heads: cells set left and cells set right need not overlap."""
    rows: list[dict[int, str]] = []
    for record in records:
        rows.append({column_at(c, spans): c.text for p in record.parts for c in p.cells if c.text})
    heads = max((len(p.cells) + (p.label is not None) for p in head), default=0)
    out = [list(s) for s in spans]
    at = len(out) - 2
    while at >= 0:
        left, right = ({i: row[k] for i, row in enumerate(rows) if k in row} for k in (at, at + 1))
        if left and right and not left.keys() & right.keys():
            dashes = any(all(_DASHES.fullmatch(t) for t in side.values()) for side in (left, right))
            units = all(read_unit(t) is not None or _DASHES.fullmatch(t) for t in (*left.values(), *right.values()))
            if dashes or units or (3 <= heads < len(out) + 1 and len(rows) > 3):
                out[at][1] = max(out[at][1], out.pop(at + 1)[1])
                rows = [{(k if k <= at else k - 1): t for k, t in row.items()} for row in rows]
        at -= 1
    return out


def _grid(block: Block) -> tuple[list[list[str]], list[list[str]]] | None:
    """Head rows and body rows; the first column is the label's."""
    spans = _columns(block.records, block.head)
    if not spans:
        return None
    body: list[list[str]] = []
    for record in block.records:
        held: list[list[Cell]] = [[] for _ in spans]
        for part in record.parts:
            for cell in part.cells:
                held[column_at(cell, spans)].append(cell)
        body.append([record.label, *(_text(cells) for cells in held)])
    labels = [p.label for r in block.records for p in r.parts if p.label is not None]
    left = min((c.x0 for c in labels), default=0.0)
    need = 0.2 * len(body) if len(body) > 4 else 1
    filled = [[row[j + 1] for row in body if row[j + 1]] for j in range(len(spans))]
    numeric = [len(f) >= need and sum(is_value(t) for t in f) >= 0.5 * len(f) for f in filled]
    head = head_rows(block.head, [[left, max((c.x1 for c in labels), default=0.0)], *spans], [False, *numeric])
    for j in reversed(range(1, len(spans) + 1)):
        if len(filled[j - 1]) < need and not any(row[j] for row in head):
            # a stray word, or a part of a label in type set wide: no column of the table
            first = not any(len(f) >= need for f in filled[: j - 1])
            for row in body:
                row[0] = f"{row[0]} {row[j]}".strip() if first else row[0]
                del row[j]
            for row in head:
                del row[j]
    return head, body


def _in_order(block: Block) -> tuple[list[list[str]], list[list[str]]] | None:
    """Text whose columns do not line up, but whose lines all hold as many cells: the cells in their order."""
    lines = [r.parts[0] for r in block.records if len(r.parts) == 1]
    counts = [len(p.cells) for p in lines]
    if len(lines) < 3:
        return None
    usual = max(set(counts), key=counts.count)
    if usual < 2 or counts.count(usual) < 0.8 * len(block.records):
        return None
    spans = _columns(block.records, block.head)
    full = [p for p in lines if len(p.cells) == usual]
    if all(len({column_at(c, spans) for c in p.cells}) == usual for p in full):
        return None
    heads = [p for p in block.head if len(p.cells) + (p.label is not None) == usual + 1]
    if not heads:
        return None
    head = [[c.text for c in ([p.label] if p.label else []) + p.cells] for p in heads[-1:]]
    body = [[p.name, *(c.text for c in p.cells)] for p in lines if len(p.cells) == usual]
    return head, body


def _text(cells: Sequence[Cell]) -> str:
    """The text of one cell that may run over several lines; a second figure beneath is kept apart."""
    if not cells:
        return ""
    cells = sorted(cells, key=lambda c: (round(c.level, 1), c.x0))
    pieces = [c.text for c in cells]
    whole = " ".join(pieces)
    if (
        len(pieces) == 1
        or is_value(whole)
        or not any(re.search(r"\d|^n[.o]|^detect", p, re.IGNORECASE) for p in pieces)
    ):
        return whole
    for length in range(1, len(pieces)):  # a remark above or beneath a figure: "90th % value"
        for start in range(len(pieces) - length + 1):
            some = " ".join(pieces[start : start + length])
            rest = pieces[:start] + pieces[start + length :]
            if is_value(some) and not _OPEN.search(some) and not any(is_value(r) or _CONNECTS.match(r) for r in rest):
                return some
    return whole
