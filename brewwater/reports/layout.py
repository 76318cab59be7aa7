"""From words with boxes to lines of cells, and from lines to tables whose columns lie where their cells lie."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from brewwater.reports.columns import role_of, year_of
from brewwater.reports.items import is_limit
from brewwater.reports.names import read_label
from brewwater.reports.values import read_value
from brewwater.reports.words import Page, Word
from brewwater.units import read_unit

# A gap between words wider than this share of their height begins a new cell.
_CELL_GAP = {"print": 0.72, "picture": 0.9, "text": 1.5, "grid": 0.0}


@dataclass(frozen=True, slots=True)
class Cell:
    """Words that stand together on one line."""

    text: str
    x0: float
    x1: float
    y0: float
    y1: float

    @property
    def middle(self) -> float:
        return (self.x0 + self.x1) / 2

    @property
    def level(self) -> float:
        return (self.y0 + self.y1) / 2


Line = list[Cell]


def page_lines(page: Page) -> list[Line]:
    """The lines of a page from the top, each a list of cells from the left."""
    if page.form in ("grid", "text"):
        rows: dict[int, list[Word]] = {}
        for word in page.words:
            rows.setdefault(int(word.y0), []).append(word)
        lines = [_cells(sorted(rows[y], key=lambda w: w.x0), page.form) for y in sorted(rows)]
        return lines if page.form == "grid" else _cut_at_columns(lines)
    return [_cells(line, page.form) for line in _levels(_joined(list(page.words)))]


def _joined(words: list[Word]) -> list[Word]:
    """Lowered or raised small figures joined to the word that they touch: ``CaCO`` and ``3`` are one word."""
    if not words:
        return words
    sizes = sorted(w.height for w in words)
    usual = sizes[len(sizes) // 2]
    small = [w for w in words if w.height < 0.8 * usual and len(w.text) <= 3 and w.text.strip("+-").isdigit()]
    if not small:
        return words
    taken: dict[int, Word] = {}
    rest = [w for w in words if w not in small]
    for mark in small:
        for i, word in enumerate(rest):
            overlap = min(word.y1, mark.y1) - max(word.y0, mark.y0)
            if -0.15 * word.height < mark.x0 - word.x1 < 0.2 * word.height and overlap > 0.2 * mark.height:
                if word.text[-1:].isalpha() and mark.y1 > word.y1 - 0.1 * word.height:
                    taken[i] = mark
                break
    joined = {id(m) for m in taken.values()}
    out = [replace(w, text=w.text + taken[i].text, x1=taken[i].x1) if i in taken else w for i, w in enumerate(rest)]
    return out + [m for m in small if id(m) not in joined]


def _levels(words: list[Word]) -> list[list[Word]]:
    """Words gathered into lines by the height of their middle."""
    words.sort(key=lambda w: (w.middle, w.x0))
    out: list[list[Word]] = []
    level = -1e9
    for word in words:
        if out and word.middle - level <= 0.55 * max(min(word.height, out[-1][0].height), 0.1):
            out[-1].append(word)
        else:
            out.append([word])
            level = word.middle
    return [sorted(line, key=lambda w: w.x0) for line in out]


def _cells(line: Sequence[Word], form: str) -> Line:
    out: Line = []
    for word in line:
        last = out[-1] if out else None
        if last is not None and form != "grid":
            gap = word.x0 - last.x1
            height = max(word.height, 0.1)
            if gap < _CELL_GAP[form] * height and not (gap > 0.45 * height and form == "print" and _parts(last, word)):
                out[-1] = Cell(
                    f"{last.text} {word.text}", last.x0, max(last.x1, word.x1), min(last.y0, word.y0), word.y1
                )
                continue
        out.append(Cell(word.text, word.x0, word.x1, word.y0, word.y1))
    return out


# How many of the lines around must begin a cell at a character before a figure or a unit there begins one too.
_AROUND, _AGREE = 15, 3


def _cut_at_columns(lines: list[Line]) -> list[Line]:
    """Lines of text in which a long cell reaches up to the next column, one space between: cut where cells of the
    lines around begin (or end, for figures set to the right), if a figure or a unit stands there."""
    begins = [{c.x0 for c in line[1:]} for line in lines]
    ends = [{c.x1 for c in line[1:] if is_value(c.text)} for line in lines]
    return [
        [part for cell in line for part in _cut_cell(cell, i, begins, ends)] if len(line) < 60 else line
        for i, line in enumerate(lines)
    ]


def _cut_cell(cell: Cell, at: int, begins: Sequence[set[float]], ends: Sequence[set[float]]) -> Line:
    near = range(max(0, at - _AROUND), min(len(begins), at + _AROUND + 1))
    words = list(re.finditer(r"\S+", cell.text))
    for word in words[1:] if len(words) < 16 else ():
        left, right = cell.text[: word.start()].rstrip(), cell.text[word.start() :]
        unit = read_unit(right)
        own_unit = unit is not None and unit.unit not in ("1", "count", "%")
        if (
            right[0] in "(["
            or not (is_value(right) or own_unit)
            or re.search(r"[-–(<>±]$|\b(?:at|bei|à|a|vid|ved|bij|of|to|bis|pH)$", left)
        ):
            continue
        if own_unit and re.search(r"(?:\d|^[-–])$", left):
            continue  # "30 mg/l" is one figure
        start, end = cell.x0 + word.start(), cell.x1
        agree = sum(start in begins[k] for k in near if k != at)
        agree = max(agree, sum(end in ends[k] for k in near if k != at) if is_value(right) and is_value(left) else 0)
        if agree >= _AGREE:
            return [
                Cell(left, cell.x0, cell.x0 + len(left), cell.y0, cell.y1),
                *_cut_cell(Cell(right, start, end, cell.y0, cell.y1), at, begins, ends),
            ]
    return [cell]


def _parts(last: Cell, word: Word) -> bool:
    """Two figures side by side with more than a space between are two cells."""
    return bool(re.search(r"\d[%*]?$", last.text)) and bool(re.match(r"[\d<(]", word.text))


# -- what a cell is ---------------------------------------------------------------------------------


def is_value(text: str) -> bool:
    """A figure, a range, ``ND`` or ``<x``, alone or with a unit or a mark."""
    if len(text) > 60:
        return False
    value = read_value(text)
    if value is None or not value.has_number:
        return False
    rest = value.unit_text.strip(" .;,")
    return not rest or rest[0] in "([%*†‡" or read_unit(rest) is not None


@dataclass
class TablePart:
    """A line of one table's region: the label cell (if any) and the cells right of it."""

    at: int
    label: Cell | None
    cells: Line

    @property
    def level(self) -> float:
        return self.label.level if self.label is not None else self.cells[0].level

    @property
    def name(self) -> str:
        return self.label.text if self.label is not None else ""

    @property
    def height(self) -> float:
        first = self.label or self.cells[0]
        return first.y1 - first.y0

    @property
    def values(self) -> int:
        return sum(is_value(c.text) and year_of(c.text) is None for c in self.cells)

    @property
    def text(self) -> str:
        return " ".join(c.text for c in ([self.label] if self.label else []) + self.cells)


@dataclass
class Region:
    """The strip of a page that one column of labels rules; ``begin``: where its first column of figures begins."""

    x0: float
    x1: float
    reach: float
    begin: float = 0.0


def regions(lines: Sequence[Line], width: float) -> list[Region]:
    """Where columns of labels stand: side-by-side tables have one each."""
    spans: list[list[float]] = []
    for line in lines:
        hits = [j for j, c in enumerate(line) if read_label(c.text) is not None and not is_value(c.text)]
        for j in hits:
            after = [k for k in hits if k > j]
            end = after[0] if after else len(line)
            if any(is_value(c.text) for c in line[j + 1 : end]):
                spans.append([line[j].x0, line[j].x1, 1])
    spans.sort()
    merged: list[list[float]] = []
    for x0, x1, n in spans:
        if merged and x0 < merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], x1)
            merged[-1][2] += n
        else:
            merged.append([x0, x1, n])
    most = max((m[2] for m in merged), default=0)
    kept = [m for m in merged if m[2] >= max(1, min(3, 0.25 * most))]
    out = []
    for i, (x0, x1, _) in enumerate(kept):
        reach = kept[i + 1][0] - 1e-3 if i + 1 < len(kept) else width + 1e6
        out.append(Region(x0, x1, reach))
    return out


def parts_of(lines: Sequence[Line], region: Region, form: str = "print") -> list[TablePart]:
    """The lines of a region. A cell that begins left of the labels is no part of it, nor one beyond its figures."""
    out = _parts_within(lines, region)
    if form == "text":
        return out
    rows = [p for p in out if p.label is not None and p.values and read_label(p.label.text) is not None]
    need = 1 if len(rows) < 3 else max(2, 0.2 * len(rows))
    cells = [c for p in rows for c in p.cells]
    figures = [c for c in cells if is_value(c.text)]
    reach = max((c.x1 for c, n in _seen(figures, figures) if n >= need), default=region.reach)
    short = [c for c in cells if len(c.text) <= 12]
    reach = max([reach, *(c.x1 for c, n in _seen(short, short) if n >= max(need, 0.5 * len(rows)))])
    for head in (c for p in out if is_head(p) for c in p.cells if role_of(c.text) in ("limit", "unit")):
        under = [c for c in cells if min(c.x1, head.x1) > max(c.x0, head.x0)]  # "max. 250 mg/l", "- mg/l"
        if head.x1 > reach and len(under) >= need:
            reach = max(reach, head.x1, *(c.x1 for c in under))
    units = [c for c in cells if read_unit(c.text) is not None]
    aligned = frozenset(id(c) for c, n in _seen(units, units) if n >= max(2, 0.2 * len(rows)))
    firm = [c for c in cells if is_value(c.text) or id(c) in aligned]
    held = [c.x0 for c, n in _seen(firm, cells) if n >= max(2, 0.3 * len(rows))]
    end = max(region.x1, min(held, default=region.x1))
    return _parts_within(lines, Region(region.x0, region.x1, min(region.reach, reach), end), aligned)


def _seen(some: Sequence[Cell], cells: Sequence[Cell]) -> list[tuple[Cell, int]]:
    """Each of some cells, and how many of the others stand above or below it."""
    begins, ends = sorted(c.x0 for c in cells), sorted(c.x1 for c in cells)
    return [(c, bisect_left(begins, c.x1) - bisect_right(ends, c.x0)) for c in some]


def _parts_within(lines: Sequence[Line], region: Region, units: frozenset[int] | None = None) -> list[TablePart]:
    out = []
    for at, line in enumerate(lines):
        label: Cell | None = None
        cells: Line = []
        for cell in line:
            if cell.x0 >= region.reach or cell.x1 <= region.x0 - 1e-6:
                continue
            over = min(cell.x1, region.x1) - max(cell.x0, region.x0)
            if label is None and not cells and over > 0 and not is_value(cell.text):
                label = cell
            elif label is not None and not cells and _goes_on(label, cell, region, units):
                label = Cell(f"{label.text} {cell.text}", label.x0, cell.x1, label.y0, cell.y1)  # type set wide
            elif cell.x0 >= region.x0 - 1e-6:
                cells.append(cell)
        if label is not None or cells:
            out.append(TablePart(at, label, cells))
    return out


def _goes_on(label: Cell, cell: Cell, region: Region, units: frozenset[int] | None) -> bool:
    """Whether a cell beside a label is more of the label, in type set wide; not a unit or figure of its own column."""
    if units is None or id(cell) in units or is_value(cell.text):
        return False
    if re.search(r"\d", cell.text) and is_limit(cell.text, ""):
        return False  # "max. 1,5 mg/l" in a column before the values
    near = cell.x0 - label.x1 < 3 * (cell.y1 - cell.y0) and cell.x1 < region.begin
    return cell.x0 < region.x1 or (near and re.match(r"[^\W\d_(]|\(|°", cell.text) is not None)


def is_head(part: TablePart, under_rows: bool = False) -> bool:
    """A line of column heads: several words of roles and no figures. Under rows more of them are asked for."""
    texts = [c.text for c in ([part.label] if part.label else []) + part.cells]
    words = [t for t in texts if len(t) <= 48 and not re.search(r"[,;]$|[a-z]\.$", t)]
    strong = sum(role_of(t) not in ("", "note") for t in words)
    years = sum(year_of(t) is not None for t in texts)
    if part.label is not None and read_label(part.label.text) is not None and (part.values or strong < 2):
        return False
    if part.values and part.values >= strong:
        return False
    if years >= 2:
        return True
    if len(texts) == 1 or len(words) < 0.6 * len(texts):
        return False
    if under_rows:
        return strong >= 3 or (strong >= 2 and part.label is not None and role_of(part.label.text) == "label")
    return strong >= 2 or (strong >= 1 and len(texts) <= 4)


def is_unit_line(part: TablePart) -> bool:
    """A unit alone over the figures below it."""
    if part.label is not None or len(part.cells) != 1:
        return False
    unit = read_unit(part.cells[0].text)
    return unit is not None and unit.unit not in ("1", "count", "%") and not is_value(part.cells[0].text)
