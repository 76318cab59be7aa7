"""Text whose columns are lost: cells a line each, or figures after a label in the order of the columns.

A label and what follows it is a record; the lines above the first record name the columns in their order. Each
record's figures are laid on the columns where they fit best: a legal limit on a column of limits, no column left
empty without need.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from brewwater.reports.columns import role_of
from brewwater.reports.grid import Grid
from brewwater.reports.items import Entry, Item, cut, entry, is_limit, unglue
from brewwater.reports.names import mentions, read_label
from brewwater.reports.prose import TAGGED
from brewwater.reports.sequence_columns import PrintedRecord, as_many, fits, laid_out
from brewwater.reports.sequence_heads import Head, heads_in, line_heads, title_in
from brewwater.reports.values import read_value
from brewwater.units import read_unit

_FAR = 12  # lines without a record that end a table


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
        own = heads_in(head_lines)
        apart = heads_in(head_lines, apart=True)
        if len(apart) > len(own) and as_many(records, apart) > as_many(records, own):
            own = apart
        heads = own or heads
        title = title_in(head_lines, bool(own))
        grid = laid_out(records, own or (heads if fits(records, heads) else []), page, title)
        if grid is not None:
            out.append(grid)
        last = records[-1].lines[-1]
        before = next((k for k, (i, _) in enumerate(lines) if i > last), len(lines))
    return out


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
    return len([h for h in line_heads(text) if h.role]) >= 3


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
        if _several(text):
            return None, 1  # "Chloride 9 mg/l | Sulfate 23 mg/l"
        _take(record, found.items)
        triple = _TRIPLE.search(text)
        if triple is not None:
            record.figures[:] = [_of_three(triple.groups(), [t for _, t in lines[:k]])]
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


_ONE = r"(<?\s?\d+(?:[.,]\d+)?)"
_TRIPLE = re.compile(rf"(?<![\d/]){_ONE}\s+/\s+{_ONE}\s+/\s+{_ONE}(?![\d/])")
_THREE_WORDS = re.compile(r"([^\W\d_]+\.?)\s*/\s*([^\W\d_]+\.?)\s*/\s*([^\W\d_]+\.?)")


def _several(text: str) -> bool:
    """Whether a line holds several analytes, each with a figure."""
    found = [m for m in mentions(text) if m.rank == "name" and re.match(r"[\s:=]{0,3}[<\d]", text[m.end :])]
    return len({m.label.analyte for m in found}) > 1


def _of_three(figures: Sequence[str], above: Sequence[str]) -> str:
    """``8,4 / 7,9 / 8,8`` under ``mean / min / max``: the mean with its range; in doubt where no line says so."""
    for text in reversed(above):
        words = _THREE_WORDS.search(text)
        roles = [role_of(w) for w in words.groups()] if words is not None else []
        if sorted(roles) == ["average", "high", "low"]:
            by = dict(zip(roles, figures, strict=True))
            return f"{by['average']} ({by['low']} - {by['high']})"
    return f"{figures[0]} {{?}}"


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
