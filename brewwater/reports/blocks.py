"""Tables of a printed page: head and body parted, wrapped cells joined, each head over the columns it rules."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from brewwater.reports.columns import VALUE_ROLES, role_of, year_of
from brewwater.reports.grid import Grid, make_grid
from brewwater.reports.layout import Cell, Line, TablePart, is_head, is_unit_line, is_value, parts_of, regions
from brewwater.reports.names import read_label
from brewwater.reports.words import Page
from brewwater.units import read_unit

_HEAD_LINES, _HEAD_CELLS = 12, 150
# How many lines away from its label a cell may stand.
_NEAR = 14
_CONNECTS = re.compile(r"^(?:to|bis|à|a|tot|[-–—÷])\s*[\d<nN]|^detect|^[-–—]$", re.IGNORECASE)
_DASHES = re.compile(r"[-–—]+")
_OPEN = re.compile(r"(?:[-–—÷]|\b(?:to|bis|no|not|non))$", re.IGNORECASE)


@dataclass
class Record:
    """One row of a table: its label, and the cells of all lines that belong to it."""

    label: str
    parts: list[TablePart]
    titled: bool = False


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
            block.head = _cut_heads(block.head)
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
        grids = _turned(number, lines)
    return grids


def _turned(number: int | None, lines: Sequence[Line]) -> list[Grid]:
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
        both = any({k, k + 1} <= {_place(c, spans) for c in row} for row in body)
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


def _cut_heads(head: Sequence[TablePart]) -> list[TablePart]:
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


def _over_figures(line: Line, below: Sequence[Line]) -> bool:
    """Whether each analyte on a line stands over a figure of the line beneath, and a name stands left of those."""
    heads = [c for c in line if read_label(c.text) is not None]
    first = line[0]
    if len(heads) != len(line) - (role_of(first.text) in ("supply", "date", "label") and first not in heads):
        return False
    for row in below:
        figures = [c for c in row if is_value(c.text)]
        over = zip(heads, figures, strict=False)
        return (
            len(figures) == len(heads) == len(row) - 1
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
    pitch = _pitch(parts)
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
    kinds = [_kind(p) for p in parts]
    pitch = _pitch(parts)
    out: list[Block] = []
    head: list[TablePart] = []
    body: list[TablePart] = []
    title = ""

    def close() -> None:
        nonlocal head, body, title
        while body and _kind(body[-1]) == "text":
            body.pop()
        if any(_kind(p) in ("record", "values") for p in body):
            head = _without_lead(head, pitch)
            block = Block(head, _records(body, head, title, pitch), title)
            block.lines = {p.at for p in body} | {p.at for p in head}
            if block.records:
                out.append(block)
        head, body, title = [], [], ""

    pending: list[TablePart] = []
    for i, part in enumerate(parts):
        kind = kinds[i]
        rows = any(_kind(p) in ("record", "values") for p in body)
        if kind == "head" and rows and not is_head(part, under_rows=True):
            kind = "text"
        if is_unit_line(part) and (rows or head) and _kind(parts[min(i + 1, len(parts) - 1)]) == "record":
            above = [p for p in head if not is_unit_line(p)]
            close()
            head, pending = [*above, part], []
            continue
        if kind == "head":
            if rows:
                tail: list[TablePart] = []
                while body and _kind(body[-1]) in ("text", "label", "head") and len(tail) < 8 and _apart(body):
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
                head, pending = [*head, *pending][-_HEAD_LINES:], []
            continue
        if not body:
            head, pending = [*pending, *head] if not head else [*head, *pending], []
            if kind == "label" and not head and not is_value(part.text):
                title = part.text
        body.append(part)
    close()
    return out


def _without_lead(head: Sequence[TablePart], pitch: float) -> list[TablePart]:
    """Heads without the lines about the whole report above them: clear of the heads, and begun where the labels are."""
    for i in reversed(range(1, len(head))):
        above, below = head[i - 1], head[i:]
        clear = below[0].level - above.level >= 1.7 * pitch
        spoken = above.label is not None and (not above.cells or ":" in above.name or not role_of(above.name))
        if clear and spoken and read_label(above.name) is None and any(is_head(p) for p in below):
            return list(below)
    return list(head)


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


def _kind(part: TablePart) -> str:
    if is_head(part):
        return "head"
    named = part.label is not None and read_label(part.label.text) is not None
    if named:
        return "record" if part.values else "label"
    if part.values:
        return "values"
    return "text"


def _pitch(parts: Sequence[TablePart]) -> float:
    steps = sorted(b.level - a.level for a, b in pairwise(parts) if b.level > a.level)
    return steps[len(steps) // 2] if steps else 1.0


def _records(body: Sequence[TablePart], head: Sequence[TablePart], title: str, pitch: float) -> list[Record]:
    """Each label with its values; lines without a label go to the label that they surround."""
    anchors = [i for i, p in enumerate(body) if _kind(p) == "record"]
    loose = [i for i, p in enumerate(body) if _kind(p) == "values"]
    bare = [i for i, p in enumerate(body) if _kind(p) == "label"]
    records: dict[int, Record] = {}
    for i in anchors:
        records[i] = Record(body[i].name, [body[i]])
    for i in loose:
        own = body[i].label
        home = _home(i, body, anchors, bare, pitch)
        if own is not None and not (home is not None and body[home].label is None):
            # a name that is not known, or the middle of one that is wrapped over several lines
            joined = _wrapped(i, body, pitch)
            if joined is not None:
                records[i] = Record(joined, [body[i]])
            continue
        if home is None:
            continue
        if home in records:
            records[home].parts.append(body[i])
        else:
            records[home] = Record(body[home].name, [body[home], body[i]])
    if not records and head:
        named = _title_label(head, body, title)
        first = next((p for p in body if p.values), None)
        if named and first is not None:
            return [Record(named, [first], titled=True)]
    for i, part in enumerate(body):
        if _kind(part) in ("record", "values") or i in records or not part.cells or part.label is not None:
            continue
        around = {k: records[k] for k in range(i - _NEAR, i + _NEAR) if k in records}
        near = _nearest(part, around, pitch)
        if near is not None:
            records[near].parts.append(part)
    out = []
    for i in sorted(records):
        record = records[i]
        record.parts.sort(key=lambda p: p.level)
        out += _divide(record)
    return out


def _nearest(part: TablePart, records: Mapping[int, Record], pitch: float) -> int | None:
    """The record that a line of loose cells belongs to: one with an open bracket above it, else the nearest."""
    steps = {
        k: min((abs(p.level - part.level) for p in r.parts if p.values or p.label), default=1e9)
        for k, r in records.items()
    }
    for k, record in records.items():
        above = [c for p in record.parts if 0 < part.level - p.level <= 2.6 * pitch for c in p.cells]
        if any(_unclosed(c.text) and min(c.x1, d.x1) > max(c.x0, d.x0) for c in above for d in part.cells):
            return k
    near = min(steps, key=lambda k: steps[k], default=None)
    return near if near is not None and steps[near] <= 2.6 * pitch else None


def _unclosed(text: str) -> bool:
    return text.count("(") > text.count(")") or bool(re.search(r"\d\s*[-–—]$", text))


def _title_label(head: Sequence[TablePart], body: Sequence[TablePart], title: str) -> str | None:
    """A table of one analyte, named above it: ``Lead (sampled 2010)``."""
    for text in (title, *(p.text for p in head[:2]), *(p.label.text for p in body if p.label is not None)):
        if text and read_label(text) is not None:
            return text
    return None


def _home(i: int, body: Sequence[TablePart], anchors: Sequence[int], bare: Sequence[int], pitch: float) -> int | None:
    """The label that a line of values without one belongs to: the nearest that has none, else the nearest."""
    here = body[i].level
    anchors = anchors[bisect_left(anchors, i - _NEAR) : bisect_right(anchors, i + _NEAR)]
    bare = bare[bisect_left(bare, i - _NEAR) : bisect_right(bare, i + _NEAR)]
    near = [k for k in bare if abs(body[k].level - here) <= 2.2 * pitch]
    between = [k for k in near if not any(min(i, k) < a < max(i, k) for a in anchors)]
    if between:
        return min(between, key=lambda k: abs(body[k].level - here))
    if body[i].label is not None:
        return None
    close = [k for k in anchors if abs(body[k].level - here) <= 1.6 * pitch]
    return min(close, key=lambda k: abs(body[k].level - here)) if close else None


def _wrapped(i: int, body: Sequence[TablePart], pitch: float) -> str | None:
    """A label over several lines: with the line above, the line below, or both."""
    own = body[i].label
    if own is None:
        return None

    def beside(step: int) -> str:
        k = i + step
        if 0 <= k < len(body):
            other = body[k]
            if (
                other.label is not None
                and not other.values
                and abs(other.level - body[i].level) <= max(1.7 * pitch, 2.2 * body[i].height)
            ):
                return other.label.text
        return ""

    above, below = beside(-1), beside(1)
    for text in (f"{above} {own.text} {below}", f"{above} {own.text}", f"{own.text} {below}"):
        if " ".join(text.split()) != own.text and read_label(text) is not None:
            return " ".join(text.split())
    return None


def _divide(record: Record) -> list[Record]:
    """Two lines of values under one label, each with its unit, are two records."""
    full = [p for p in record.parts if p.values >= 1 and any(_unit_near(p, record.parts))]
    if len(full) < 2 or sum(p.values for p in full) < 3:
        return [record]
    rest = [p for p in record.parts if p not in full and p.values == 0]
    out = []
    for part in full:
        beside = [
            p
            for p in rest
            if p.label is not None or abs(p.level - part.level) == min(abs(p.level - f.level) for f in full)
        ]
        units = [p for p in beside if p.label is None]
        shared = [p for p in rest if p.label is not None]
        out.append(Record(record.label, sorted([part, *units, *shared], key=lambda p: p.level)))
    return out


def _unit_near(part: TablePart, parts: Sequence[TablePart]) -> list[bool]:
    texts = [c.text for c in part.cells]
    found = [True for t in texts if (u := read_unit(t)) is not None and u.unit not in ("1", "count", "%")]
    if not found:
        for other in parts:
            if other is part or other.values:
                continue
            for a in other.cells:
                for b in part.cells:
                    if min(a.x1, b.x1) > max(a.x0, b.x0) and read_unit(f"{a.text} {b.text}") is not None:
                        found.append(True)
    return found


# -- columns ------------------------------------------------------------------------------------------


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
        rows.append({_place(c, spans): c.text for p in record.parts for c in p.cells if c.text})
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
                held[_place(cell, spans)].append(cell)
        body.append([record.label, *(_text(cells) for cells in held)])
    labels = [p.label for r in block.records for p in r.parts if p.label is not None]
    left = min((c.x0 for c in labels), default=0.0)
    need = 0.2 * len(body) if len(body) > 4 else 1
    filled = [[row[j + 1] for row in body if row[j + 1]] for j in range(len(spans))]
    numeric = [len(f) >= need and sum(is_value(t) for t in f) >= 0.5 * len(f) for f in filled]
    head = _head_rows(block.head, [[left, max((c.x1 for c in labels), default=0.0)], *spans], [False, *numeric])
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
    if all(len({_place(c, spans) for c in p.cells}) == usual for p in full):
        return None
    heads = [p for p in block.head if len(p.cells) + (p.label is not None) == usual + 1]
    if not heads:
        return None
    head = [[c.text for c in ([p.label] if p.label else []) + p.cells] for p in heads[-1:]]
    body = [[p.name, *(c.text for c in p.cells)] for p in lines if len(p.cells) == usual]
    return head, body


def _place(cell: Cell, spans: Sequence[Sequence[float]]) -> int:
    over = [(min(cell.x1, b) - max(cell.x0, a), -j) for j, (a, b) in enumerate(spans)]
    best = max(over)
    return -best[1]


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


def _head_rows(parts: Sequence[TablePart], spans: list[list[float]], numeric: Sequence[bool]) -> list[list[str]]:
    """Each head's text over every column that it rules, from the top."""
    titles = {id(p) for p in parts if not p.cells and p.label is not None}
    cells = [c for p in parts if id(p) not in titles for c in ([p.label] if p.label else []) + p.cells]
    parts = parts[-_HEAD_LINES:]
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
