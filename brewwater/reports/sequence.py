"""Text whose columns are lost: cells a line each, or figures after a label in the order of the columns.

A label and what follows it is a record; the lines above the first record name the columns in their order. Each
record's figures are laid on the columns where they fit best: a legal limit on a column of limits, no column left
empty without need.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise

from brewwater.reports.columns import VALUE_ROLES, Role, role_of, year_of
from brewwater.reports.grid import Grid
from brewwater.reports.headings import unit_everywhere
from brewwater.reports.items import Entry, Item, cut, entry, is_limit, part_figures, unglue
from brewwater.reports.names import mentions, read_label
from brewwater.reports.prose import TAGGED
from brewwater.reports.values import read_value
from brewwater.units import read_unit

_FAR = 12  # lines without a record that end a table
_SKIP: tuple[Role, ...] = ("unit", "label", "note", "method", "violation")


@dataclass
class PrintedRecord:
    """A label with its unit and its figures, in the order of printing."""

    entry: Entry
    lines: list[int]
    units: list[str] = field(default_factory=list)
    figures: list[str] = field(default_factory=list)
    glued: bool = False
    barred: bool = False

    @property
    def analyte(self) -> str:
        return self.entry.label.analyte


@dataclass(frozen=True, slots=True)
class Head:
    """A column's head: its role, and its text where that names a supply or a year."""

    role: Role
    text: str


def read_sequences(lines: Sequence[tuple[int, str]], page: int | None) -> list[Grid]:
    """Tables in lines of text, as grids with a head that says what was understood."""
    split = _split_bars(lines)
    barred = len(split) != len(lines)
    lines = split
    out: list[Grid] = []
    runs = _runs(lines, barred)
    before = 0
    heads: list[Head] = []
    for first, records in runs:
        head_lines = [t for _, t in lines[before:first]]
        own = _heads(head_lines)
        apart = _heads(head_lines, apart=True)
        if len(apart) > len(own) and _as_many(records, apart) > _as_many(records, own):
            own = apart
        heads = own or heads
        title = _title(head_lines, bool(own))
        grid = _grid(records, own or (heads if _fits(records, heads) else []), page, title)
        if grid is not None:
            out.append(grid)
        last = records[-1].lines[-1]
        before = next((k for k, (i, _) in enumerate(lines) if i > last), len(lines))
    return out


def _fits(records: Sequence[PrintedRecord], heads: Sequence[Head]) -> bool:
    """Whether the heads of the table before may rule this one: most records print no more than they name."""
    columns = [h for h in heads if h.role in (*VALUE_ROLES, "limit", "date")]
    values = [h for h in columns if h.role != "limit"]
    counts = [len(_stripped(r.figures)) for r in records]
    return bool(values) and max(counts) <= len(columns) and sorted(counts)[len(counts) // 2] >= len(values)


def _as_many(records: Sequence[PrintedRecord], heads: Sequence[Head]) -> int:
    """How many records print a figure for each column."""
    columns = sum(h.role not in _SKIP for h in heads)
    return sum(len(r.figures) == columns for r in records)


def _split_bars(lines: Sequence[tuple[int, str]]) -> list[tuple[int, str]]:
    """Lines of a table written with bars, a cell at a time: each cell is one line."""
    barred = sum(t.strip().endswith("|") for _, t in lines)
    if barred < 8 or barred < 0.3 * sum(bool(t.strip()) for _, t in lines):
        return list(lines)
    out: list[tuple[int, str]] = []
    cell, start = "", 0
    for i, text in lines:
        for k, part in enumerate(re.split(r"(\|)", text)):
            if part == "|":
                out.append((start, cell.strip()))
                cell = ""
            elif part.strip():
                start = i if not cell else start
                cell = f"{cell} {part.strip()}".strip()
            del k
    if cell:
        out.append((start, cell))
    return [(i, t) for i, t in out if t]


def _runs(lines: Sequence[tuple[int, str]], barred: bool) -> list[tuple[int, list[PrintedRecord]]]:
    """Runs of records: the index of the first line of each, and its records."""
    out: list[tuple[int, list[PrintedRecord]]] = []
    now: list[PrintedRecord] = []
    first = 0
    k = since = 0
    above = ""
    while k < len(lines):
        found, used = _record(lines, k, barred)
        if found is None:
            text = lines[k][1]
            above = _unit_above(text) or (above if text.strip() and since < 2 else "")
            since += bool(text.strip()) + (len(text) > 90)
            if now and (since > _FAR or _starts_head(lines, k)):
                out.append((first, now))
                now = []
            k += 1
            continue
        if not now:
            first = k
        if above and not found.units and found.analyte != "ph":
            found.units.append(above)
        now.append(found)
        since = 0
        k += used
    if now:
        out.append((first, now))
    return out


def _unit_above(text: str) -> str:
    """A unit alone on a line, or at the end of a line of other figures: it stands over the figures below."""
    items = cut(unglue(text)) if len(text) < 80 else []
    if not items or items[-1].kind != "unit" or (len(items) < 2 and len(text.split()) > 2):
        return ""
    if len(items) > 1 and items[-2].kind != "value":
        return ""
    unit = read_unit(items[-1].text)
    before = [i for i in items[:-1] if i.kind == "unit"]
    alone = len(items) == 1
    return items[-1].text if unit is not None and unit.unit in ("mg/L", "ug/L") and (before or alone) else ""


def _starts_head(lines: Sequence[tuple[int, str]], k: int) -> bool:
    """A head begins here: a word for the column of labels or units, or a whole line of heads."""
    text = lines[k][1]
    if role_of(text) in ("label", "unit") and len(text) < 60:
        return True
    return len([h for h in _line_heads(text) if h.role]) >= 3


def _record(lines: Sequence[tuple[int, str]], k: int, barred: bool) -> tuple[PrintedRecord | None, int]:
    """The record that begins at line ``k``, and how many lines it takes."""
    number, text = lines[k]
    if not text.strip() or len(text) > 200 or text.strip()[0] in "([":
        return None, 1
    found = entry(text)
    if found is None:
        joined = _two_line_label(lines, k)
        if joined is None:
            return None, 1
        found, extra = joined
    else:
        extra = 0
    record = PrintedRecord(found, [number], glued=unglue(text) != " ".join(text.split()), barred=barred)
    unit = found.label.unit_text
    if unit:
        record.units.append(unit)
    figures = [i for i in found.items if i.kind in ("value", "blank")]
    words = [i for i in found.items if i.kind == "word"]
    if figures:
        if not _plain_tail(found.items, text) or TAGGED.search(text) or re.search(r"\d[^=]*=\s*\d", text):
            return None, 1
        _take(record, found.items)
        return (record, 1) if any(f != "-" for f in record.figures) else (None, 1)
    if len(words) > 3:
        return None, 1
    _take(record, found.items)
    used = 1 + extra
    record.lines += [lines[k + n][0] for n in range(1, used)]
    blanks = 0
    while k + used < len(lines) and len(record.figures) < 24:
        number, text = lines[k + used]
        bare = text.strip()
        if not bare:
            blanks += 1
            if blanks > 3:
                break
            used += 1
            continue
        if bare.startswith("(") and not record.figures and _widen(record, bare):
            record.lines.append(number)
            used += 1
            continue
        if _begins(bare, record):
            break
        cell = _cell(bare, record)
        if cell is None:
            break
        blanks = 0
        used += 1
        record.lines.append(number)
    if not any(f != "-" for f in record.figures):
        return None, 1
    return record, used


def _widen(record: PrintedRecord, bracket: str) -> bool:
    """A label that goes on in brackets on the next line: ``Säurekapazität`` / ``(KS bis pH 4,3)``."""
    wide = entry(f"{record.entry.name} {bracket}")
    if wide is None or wide.label.analyte != record.analyte or any(i.kind == "value" for i in wide.items):
        return False
    record.entry = wide
    return True


def _begins(text: str, record: PrintedRecord) -> bool:
    """Whether a line begins another record."""
    label = read_label(text)
    if label is not None and not (label.analyte == record.analyte == "ph"):
        return read_unit(text) is None or label.analyte == "ph"
    found = entry(text)
    return found is not None and any(i.kind == "value" for i in found.items) and _is_start(text, record)


def _is_start(text: str, record: PrintedRecord) -> bool:
    found = entry(text)
    return found is not None and found.label.analyte != record.analyte


def _two_line_label(lines: Sequence[tuple[int, str]], k: int) -> tuple[Entry, int] | None:
    """A label wrapped over two lines: ``Säurekapazität`` and ``(KS bis pH 4,3)``."""
    for n in (1, 2):
        if k + n < len(lines) and lines[k + n][1].strip().startswith("("):
            found = entry(f"{lines[k][1]} {lines[k + n][1]}")
            if found is not None and not any(i.kind == "value" for i in found.items):
                return found, n
    return None


def _cell(text: str, record: PrintedRecord) -> str | None:
    """One line as a cell of a record: taken, and what it was; None where it ends the record."""
    if text.startswith(("±", "+/-", "+-")) or (text.startswith("(") and not re.search(r"\d", text)):
        return "remark"  # how sure a figure is, or a word about it
    if len(text) <= 3 and set(text) <= set("-–—/"):
        first = record.analyte == "ph" and not record.figures and not record.units
        (record.units if first else record.figures).append("-")  # pH has no unit
        return "blank"
    if read_unit(text) is not None and read_value(text) is None:
        record.units.append(text)
        return "unit"
    items = cut(unglue(text))
    kinds = [i.kind for i in items]
    values = kinds.count("value")
    words = kinds.count("word")
    if values and words == 0:
        _take(record, items)
        return "value"
    if values and words <= 4 and len(text) <= 48 and is_limit(text, record.analyte):
        record.figures.append(text)
        return "limit"
    if values == 0 and len(text) <= 40 and words <= 4 and record.figures == [] and role_of(text) == "":
        unit = next((i.text for i in items if i.kind == "unit"), None)
        if unit:
            record.units.append(unit)
            record.figures.append(text)
        return "word"
    if values == 0 and record.figures and len(text) <= 30 and any(i.kind == "unit" for i in items):
        record.figures.append(text)  # "mg/l none": a limit's cell that holds the unit alone
        return "limit"
    if values <= 2 and len(text) > 40 and not record.figures:
        return "prose"
    long = len(text) > 60 and words > 6
    return "prose" if (long or (record.barred and words > 3)) and len(record.figures) <= 1 else None


def _plain_tail(items: Sequence[Item], line: str) -> bool:
    """Figures of a table, not of a sentence: few words stand between them."""
    words = [i for i in items if i.kind == "word" and re.search(r"[^\W\d_]", i.text) and not i.text.startswith("(")]
    inner = [i for i in items if i.kind == "value"]
    before = [i for i in words if inner and i.start < inner[0].start]
    return len(words) <= 2 and len(before) <= 1 and not re.search(r"[a-z]{3,}\.\s*$", line)


def _take(record: PrintedRecord, items: Sequence[Item]) -> None:
    for item in items:
        if item.kind == "unit":
            record.units.append(item.text)
            if record.figures and len(record.units) > 1:
                record.figures[-1] += f" {item.text}"
        elif item.kind == "value":
            record.figures.append(item.text)
        elif item.kind == "blank":
            record.figures.append("-")
        elif re.match(r"^(?:nota|note|fn)\b", item.text, re.IGNORECASE):
            return


# -- the heads ----------------------------------------------------------------------------------------


def _line_heads(text: str) -> list[Head]:
    """Heads on one line, by the capital letters that begin them, or by wide gaps."""
    text = re.sub(r"(?<=[a-zà-ÿ?)*])(?=[A-ZÀ-Þ][a-zà-ÿ])", "  ", text.strip())
    cells = [c for c in re.split(r"\s{2,}|\t", text) if c]
    if len(cells) < 3:
        cells = [c.strip() for c in re.split(r"(?<=\S)\s+(?=[A-ZÀ-ÞŻŚŁ(]|(?:19|20)\d\d\b)", text) if c.strip()]
        joined: list[str] = []
        for c in cells:
            if joined and (c.startswith("(") or joined[-1].endswith((":", ","))):
                joined[-1] += f" {c}"
            else:
                joined.append(c)
        cells = joined
    return [Head("date" if year_of(c) else role_of(c), c) for c in cells]


def _heads(lines: Sequence[str], *, apart: bool = False) -> list[Head]:
    """The columns that the lines above a table name, in their order; limits in two lines are one, or ``apart``."""
    lines = [t.strip() for t in lines if not unit_everywhere([t])]
    for text in reversed(lines[-6:]):
        found = _line_heads(text)
        roles = [h.role for h in found if h.role]
        if (
            len(found) >= 2
            and len(roles) >= 2
            and ("label" in roles or "unit" in roles or len(roles) >= 3 or "limit" in roles)
        ):
            return found
    out: list[Head] = []
    closed = False
    for text in lines[-40:]:
        if not text or re.fullmatch(r"\([^()]*\)\s*", text):
            continue
        if len(text) > 44 or (len(text) > 24 and re.search(r"[a-z]\.$", text)):
            out, closed = [], False
            continue
        role: Role = "date" if year_of(text) else role_of(text)
        if not role and (re.match(r"^[\d<>]", text) or read_unit(text) is not None):
            closed = True  # rows of other constituents under the heads
            continue
        if closed and role not in ("label", "unit"):
            continue
        if closed:
            out, closed = [], False
        if role == "label" and any(h.role not in ("label", "") for h in out) and read_label(text) is None:
            if any(h.role in VALUE_ROLES for h in out):
                continue  # a section title under the heads
            out = []
        out.append(Head(role, text))
    known = [h for h in out if h.role]
    if len(known) < 1 or not any(h.role in (*VALUE_ROLES, "limit", "date") for h in known):
        return []
    start = next(k for k, h in enumerate(out) if h.role)
    out = out[start:]
    merged: list[Head] = []
    for head in out:
        if merged and head.role == merged[-1].role == "limit" and not apart:
            merged[-1] = Head("limit", f"{merged[-1].text} {head.text}")
        else:
            merged.append(head)
    return merged


def _title(lines: Sequence[str], has_head: bool) -> str:
    """A short line above the heads that names the table."""
    for text in reversed([t.strip() for t in lines if t.strip()][-9:]):
        named = not role_of(text) or len(text.split()) > 3
        wordy = re.search(r"[^\W\d_]{3}", text) and not re.search(r"[.;:]$", text) and not text.startswith(("*", "("))
        if 6 < len(text) < 90 and named and wordy and len(_line_heads(text)) < 4:
            return text
    return ""


# -- figures on columns -------------------------------------------------------------------------------


def _columns(heads: Sequence[Head], most: int) -> list[Head]:
    """The heads that rule figures; names without a role only where they fill the count of figures."""
    kept = [h for h in heads if h.role not in _SKIP and h.role != ""]
    names = [h for h in heads if h.role == "" and len(h.text) < 40]
    if names and len(kept) < most:
        begun = [h for h in heads if h.role in ("label", "unit")]
        after = heads.index(begun[-1]) if begun else -1
        some = [h for h in heads if h in kept or (h in names and (heads.index(h) > after or not begun))]
        if len(some) <= most + 1:
            kept = some
    return kept


def _lay(record: PrintedRecord, columns: Sequence[Head]) -> tuple[list[str] | None, bool]:
    """A record's figures on the columns, and whether only one way of doing so is good."""
    figures = list(record.figures)
    if len(figures) < len(columns) or any(len(re.findall(r"[.,]", f)) > 1 for f in figures):
        limits = any(h.role == "limit" for h in columns)
        figures = _parted(figures, record.analyte, len(columns), limits, record.glued)
    while len(figures) > len(columns) and figures[-1] == "-":
        figures.pop()
    if len(figures) > len(columns):
        figures = figures[: len(columns)] if columns and columns[-1].role == "limit" else figures
    if len(figures) > len(columns):
        return None, False
    scored = []
    for at in combinations(range(len(columns)), len(figures)):
        cost = 0.0
        for j, column in enumerate(columns):
            if j not in at:
                cost += 0.3 if column.role in ("limit", "count") else 1.0
        for j, text in zip(at, figures, strict=True):
            limit = is_limit(text, record.analyte)
            if columns[j].role == "limit":
                cost -= 0.6 if limit else 0.0
            elif re.match(r"\s*[≤≥>]|.*[a-z]{4}", text) and text != "-":
                cost += 2.0
            elif limit and any(c.role == "limit" for c in columns):
                cost += 0.5
        row = [""] * len(columns)
        for j, text in zip(at, figures, strict=True):
            row[j] = text
        cost += 3.0 * _disorder(row, columns)
        scored.append((cost, row))
    if not scored:
        return None, False
    scored.sort(key=lambda s: s[0])
    best = [t for t, c in zip(scored[0][1], columns, strict=True) if c.role not in ("limit", "count")]
    other = next(
        (
            s
            for s in scored[1:]
            if [t for t, c in zip(s[1], columns, strict=True) if c.role not in ("limit", "count")] != best
        ),
        None,
    )
    return scored[0][1], other is None or other[0] - scored[0][0] > 0.05


def _disorder(row: Sequence[str], columns: Sequence[Head]) -> bool:
    """Whether lowest, mean and highest would stand in the wrong order."""
    seen = {}
    for text, column in zip(row, columns, strict=True):
        value = read_value(text) if text else None
        if column.role in ("low", "average", "high") and value is not None and value.high is not None:
            seen[column.role] = value.high
    order = [seen[r] for r in ("low", "average", "high") if r in seen]
    return any(a > b for a, b in pairwise(order))


def _parted(figures: Sequence[str], analyte: str, wanted: int, limits: bool, glued: bool) -> list[str]:
    out: list[str] = []
    for text in figures:
        marks = len(re.findall(r"[.,]", text.split(" -")[0].split(" –")[0]))
        pair = part_figures(text, analyte) if (limits and glued and len(figures) < wanted) or marks > 1 else None
        out += list(pair) if pair is not None else [re.sub(r"^(<?\s*\d+[.,]\d\d)[.,]00$", r"\1", text)]
    return out


def _grid(records: Sequence[PrintedRecord], heads: Sequence[Head], page: int | None, title: str) -> Grid | None:
    counts = sorted(len(_stripped(r.figures)) for r in records)
    usual = max(set(counts), key=lambda c: (counts.count(c), c))
    columns = _columns(heads, max(usual, *counts) if heads else usual)
    values = [h for h in columns if h.role not in ("limit", "count")]
    if not columns or not values or len(values) > 12 or (counts[-1] == 1 and len(values) > 1):
        columns = []
    body: list[list[str]] = []
    for record in records:
        rows = _row(record, columns)
        body += rows
    if not body:
        return None
    width = max(len(r) for r in body)
    body = [r + [""] * (width - len(r)) for r in body]
    texts = [h.text if not (h.role == "limit" and role_of(h.text) != "limit") else "limit" for h in columns]
    head = ["Parameter", "Unit", *(texts or ["Result"])]
    head += [""] * (width - len(head))
    lines = frozenset(i for r in records for i in r.lines)
    if records[0].barred:
        lines = frozenset(range(min(lines), max(lines) + 1))
    return Grid([head, *body], page, title, [([head], body)], lines, None, records[0].lines[0])


def _stripped(figures: Sequence[str]) -> list[str]:
    out = list(figures)
    while out and out[-1] == "-":
        out.pop()
    return out


def _row(record: PrintedRecord, columns: Sequence[Head]) -> list[list[str]]:
    name = record.entry.name
    unit = "" if record.entry.label.unit_text else next(iter(record.units), "")
    if columns:
        laid, sure = _lay(record, columns)
        if laid is not None:
            if not sure and any(c.role != "limit" for c in columns):
                laid = [f"{t} {{?}}" if t and t != "-" else t for t in laid]
            if not unit and not record.entry.label.unit_text:
                unit = _unit_within(laid)
            cells = [t if columns[j].role == "limit" or not _wordy(t) else "" for j, t in enumerate(laid)]
            return [[name, unit, *cells]]
        return [[name, unit, f"{record.figures[0]} ; {' ; '.join(record.figures[1:])}"]]
    figures = _stripped(record.figures)
    figures = _parted(figures, record.analyte, 1, False, record.glued) if figures else []
    if not figures:
        return []
    return [[name, unit, *_alone(figures, record)]]


def _alone(figures: Sequence[str], record: PrintedRecord) -> list[str]:
    """Figures under no heads: the first, and a limit after it; more are told."""
    if len(figures) == 1 or all(is_limit(f, record.analyte) for f in figures[1:]):
        return [figures[0]]
    with_units = [f for f in figures if re.search(r"[A-Za-z°µ]", f)]
    if len(with_units) >= 1 and len(figures) == 2:
        return [figures[0]]
    return [f"{figures[0]} ; {' ; '.join(figures[1:])}"]


def _wordy(text: str) -> bool:
    return bool(re.search(r"[a-zà-ÿ]{4}", text)) and read_value(text) is None


def _unit_within(cells: Sequence[str]) -> str:
    """A unit that stands only in the limit's cell."""
    for text in cells:
        for item in cut(text):
            if item.kind == "unit":
                return item.text
    return ""


__all__ = ["Entry", "mentions", "read_sequences", "replace"]
