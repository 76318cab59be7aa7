"""Text without ruled tables: lines whose cells line up, values a line each, and sentences."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache

from brewwater.reference import table
from brewwater.reports.columns import role_of, year_of
from brewwater.reports.grid import Grid, make_grid
from brewwater.reports.names import Label, fold, read_label
from brewwater.reports.report import Row
from brewwater.reports.tables import make_rows, table_rows
from brewwater.reports.values import Decimal, Value, read_value
from brewwater.units import read_unit

Cell = tuple[float, float, str]
Line = list[Cell]
_HEADER_LINES = 7
# Characters of loose text, and lines, that are read: a long report's text has under a tenth of it.
MAX_LOOSE, MAX_LINES, MAX_LINE = 600_000, 12_000, 600


def text_lines(text: str) -> list[Line]:
    """Cells of plain text, split at tabs and at two or more spaces; the place is the character."""
    text = text[:MAX_LOOSE]
    out: list[Line] = []
    for raw in text.expandtabs(8).splitlines() if "\t" not in text else _tabbed(text):
        cells = [(float(m.start()), float(m.end()), m.group()) for m in re.finditer(r"\S+(?: \S+)*", raw[:2000])]
        if not cells and out and not out[-1]:
            continue
        out.append(cells)
    return out[:MAX_LINES]


def _tabbed(text: str) -> list[str]:
    """Tabs as wide columns of equal width, so that cells line up however long they are."""
    lines = text.splitlines()
    widths: list[int] = []
    for line in lines:
        for j, part in enumerate(line.split("\t")[:60]):
            if j == len(widths):
                widths.append(0)
            if "\t" in line:
                widths[j] = max(widths[j], min(len(part), 200))
    return ["".join(p[:200].ljust(widths[j] + 3) for j, p in enumerate(line.split("\t")[:60])) for line in lines]


def read_lines(lines: Sequence[Line], mark: Decimal, page: int | None) -> list[Row]:
    """Rows of one page's lines (or of a whole text)."""
    found: list[Row] = []
    taken: set[int] = set()
    for first, last in _blocks(lines):
        grid = _align(lines[first:last], page)
        if grid is None:
            continue
        rows = table_rows(grid, mark)
        if rows:
            found += rows
            taken |= set(range(first, last))
    rest = [i for i in range(len(lines)) if i not in taken]
    stacked, used = _stacked([(i, lines[i]) for i in rest], mark, page)
    found += stacked
    plain = [" ".join(c[2] for c in lines[i]) for i in rest if i not in used]
    return found + prose_rows(plain, mark, page)


# -- lines that line up ---------------------------------------------------------------------------


def _is_data(line: Line) -> bool:
    """A label first (within the first two cells), and a value in a later cell."""
    for at in (0, 1):
        if at < len(line) - 1 and read_label(line[at][2]) is not None:
            return any(read_value(c[2]) is not None for c in line[at + 1 :])
    return False


def _is_across(lines: Sequence[Line], i: int) -> bool:
    """A line of several labels with a line of values soon beneath: a table turned on its side."""
    line = lines[i]
    if sum(read_label(c[2]) is not None for c in line) < 3:
        return False
    return any(sum(read_value(c[2]) is not None for c in below) >= 3 for below in lines[i + 1 : i + 4])


def _blocks(lines: Sequence[Line]) -> list[tuple[int, int]]:
    """First and last line of each run of data lines, with the header lines above it."""
    data = [i for i, line in enumerate(lines) if _is_data(line)]
    across = [i for i, line in enumerate(lines) if _is_across(lines, i) and i not in data]
    out: list[tuple[int, int]] = []
    floor = 0
    k = 0
    while k < len(data):
        start = end = data[k]
        k += 1
        while k < len(data) and data[k] - end <= 6:
            end = data[k]
            k += 1
        head = start
        for i in range(start - 1, max(floor, start - _HEADER_LINES) - 1, -1):
            line = lines[i]
            if not line or (len(line) == 1 and len(line[0][2]) > 60):
                if line:
                    break
                continue
            head = i
        out.append((head, end + 1))
        floor = end + 1
    for i in across:
        if any(a <= i < b for a, b in out):
            continue
        end = i + 1
        while end < len(lines) and (
            not lines[end]
            or any(read_value(c[2]) is not None for c in lines[end])
            or all(read_unit(c[2]) for c in lines[end][1:])
        ):
            end += 1
        out.append((max(0, i - 1) if i and len(lines[i - 1]) > 1 else i, end))
    return sorted(out)


def _align(lines: Sequence[Line], page: int | None) -> Grid | None:
    """A grid from lines of cells: columns are where the cells of the data lines lie."""
    rows = [line for line in lines if line]
    wide = [
        line
        for line in rows
        if _is_data(line)
        or sum(read_label(c[2]) is not None for c in line) >= 3
        or sum(read_value(c[2]) is not None for c in line) >= 3
    ]
    if not wide:
        return None
    spans: list[list[float]] = []
    for x0, x1, _ in sorted((c for line in wide for c in line), key=lambda c: c[0]):
        if spans and x0 < spans[-1][1] - 1e-6:
            spans[-1][1] = max(spans[-1][1], x1)
        else:
            spans.append([x0, x1])
    counts = [len(line) for line in wide]
    usual = max(set(counts), key=counts.count)
    full = [line for line in wide if len(line) == usual]
    ragged = len(full) >= 0.8 * len(wide) and any(
        len({_column_of(x0, x1, spans) for x0, x1, _ in line}) < usual for line in full
    )
    if len(spans) < 2 or ragged:
        spans = _by_left_edge(full if ragged else wide)
    cells = []
    for line in rows:
        if ragged and len(line) == usual:  # every line has all its cells, whatever its spacing
            cells.append([text for _, _, text in line])
            continue
        row = [""] * len(spans)
        for x0, x1, text in line:
            at = _column_of(x0, x1, spans)
            row[at] = f"{row[at]} {text}".strip()
        cells.append(row)
    heads = [line[0][2] for line in rows[: rows.index(wide[0])] if len(line) == 1 and len(line[0][2]) < 80]
    return make_grid(_join_header(cells), page, heads[-1] if heads else "")


def _by_left_edge(lines: Sequence[Line]) -> list[list[float]]:
    """Long labels may overhang the next column: then columns begin where most cells begin."""
    most = max(lines, key=len)
    starts = [c[0] for c in most]
    return [[a, b] for a, b in zip(starts, [*starts[1:], max(c[1] for c in most) + 1e3], strict=True)]


def _column_of(x0: float, x1: float, spans: list[list[float]]) -> int:
    """The first column that a cell overlaps, or the nearest."""
    over = [(min(x1, b) - max(x0, a), j) for j, (a, b) in enumerate(spans)]
    touched = [j for width, j in over if width > 0]
    if touched:
        return touched[0]
    return max(over)[1]


def _join_header(cells: list[list[str]]) -> list[list[str]]:
    """A head wrapped over two lines (``SAMPLE`` above ``DATE``) is one cell."""
    first = next(
        (i for i, row in enumerate(cells) if read_label(row[0]) is not None and any(read_value(c) for c in row[1:])),
        None,
    )
    if first is None or first < 2:
        return cells
    upper, lower = cells[first - 2], cells[first - 1]
    if any(u and not w for u, w in zip(upper, lower, strict=True)) or not any(upper[1:]):
        wrapped = [
            u and w and role_of(f"{u} {w}") != "" and role_of(u) == "" and len(u.split()) == 1 and u.isupper()
            for u, w in zip(upper, lower, strict=True)
        ]
        if any(wrapped):
            both = [f"{u} {w}".strip() if x else w for u, w, x in zip(upper, lower, wrapped, strict=True)]
            kept = ["" if x else u for u, x in zip(upper, wrapped, strict=True)]
            return [*cells[: first - 2], kept, both, *cells[first:]]
    return cells


# -- a label, and its value on the next line ------------------------------------------------------


def _stacked(lines: Sequence[tuple[int, Line]], mark: Decimal, page: int | None) -> tuple[list[Row], set[int]]:
    out: list[Row] = []
    used: set[int] = set()
    flat = [(i, line[0][2]) for i, line in lines if len(line) == 1 and len(line[0][2]) <= 80]
    k = 0
    while k < len(flat) - 1:
        label = read_label(flat[k][1])
        if label is None:
            k += 1
            continue
        value: Value | None = None
        unit = ""
        texts = [flat[k][1]]
        used_here = [flat[k][0]]
        for n in range(k + 1, min(k + 4, len(flat))):
            text = flat[n][1]
            if flat[n][0] - used_here[-1] > 2 or (read_label(text) is not None and read_unit(text) is None):
                break
            found = read_unit(text)
            got = read_value(text, mark)
            if found is not None and not unit and not text.isdigit():
                unit = text
            elif got is not None and value is None:
                value = got
            else:
                break
            texts.append(text)
            used_here.append(flat[n][0])
        if value is not None:
            out += make_rows(label, value, unit, page=page, text=" ".join(texts), supply=None, date=None)
            used |= set(used_here)
            k += len(used_here)
        else:
            k += 1
    return out, used


# -- sentences ------------------------------------------------------------------------------------

# What may stand between a name and its value; anything else, and the value is not taken.
_LINK = (
    r"\s*(?:\((?P<bracket>[^()]{0,40})\)\s*)?(?P<link>(?:[:=|,–-]|\.{2,}|\b(?:is|was|are|were|of|about|approximately|averag(?:es?|ed|ing)"
    r"|rang(?:es?|ed|ing)|from|between|around|at|level|levels|content|concentration|value|in|the|our|your|water"
    r"|typically|currently|measured|tested|as|caco3|total|liegt|beträgt|betragen|bei|von|zwischen|ca|etwa|der|des"
    r"|est|de|entre|la|le|es|del?|è|di|tra|fra|circa|bedraagt|tussen|environ|aproximadamente|media|mittel|im|durchschnitt(?:lich)?"
    r"|average|mean)\b\.?|\s)*)\s*"
)
_VALUE = (
    r"(?P<value>(?:<\s?|less than )?\d[\d.,]*(?:\s*(?:-{1,2}|–|—|to|bis|and|und|et|à|y|e|a|tot|en)\s*\d[\d.,]*)?"
    r"|nd\b|not detected|nicht nachweisbar)"
)
_UNIT = (
    r"\s*(?P<unit>(?:grains?\s*(?:per|/)\s*gal(?:lon)?|gpg|grains|mg\s*/\s*l(?:iter)?|mg/l|ppm|ppb|[µμu]g\s*/\s*l"
    r"|°\s?[dfe]h?|[µμu]s\s*/\s*cm|[µμu]mhos?\s*/\s*cm|ms\s*/\s*[cm]+|mmol\s*/\s*l|meq\s*/\s*l|mval\s*/\s*l|ntu|fnu"
    r"|grad deutscher härte|degrees? clark|milligrams per lit(?:er|re)|parts per million)"
    r"(?:\s*\(?(?:as|als|en|como|come)?\s*(?:caco3|caco₃|cao|hco3|no3|n|so4|calcium carbonate)\b\)?)?)?"
)
_AVOID = re.compile(
    r"\b(?:mcl|mclg|phg|limit|limits|goal|standard|action level|grenzwert|maximum|exceed|guideline|allowed|permitted"
    r"|advisory|recommend|considered|classified|soft water|hard water|moderately|very hard|less than or|límite"
    r"|limite|norm|below|above|softener|ideal|optimal|target|should|härtebereich|weich|hart)\b",
    re.IGNORECASE,
)


@cache
def _prose_patterns() -> dict[str, re.Pattern[str]]:
    """Patterns by the first word of the name, so that a line is searched only where a name may begin."""
    by_word: dict[str, list[str]] = {}
    for name in {r["name"] for r in table("analyte_names")}:
        if len(fold(name)) > 3 or fold(name) in ("ph", "tds"):
            by_word.setdefault(_WORD.findall(name)[0].lower(), []).append(name)
    out = {}
    for word, names in by_word.items():
        joined = "|".join(re.escape(n).replace(r"\ ", r"\s+") for n in sorted(names, key=len, reverse=True))
        out[word] = re.compile(rf"(?P<name>{joined})(?![\w+-]){_LINK}{_VALUE}{_UNIT}", re.IGNORECASE)
    return out


_WORD = re.compile(r"\w+")


def _matches(line: str) -> list[re.Match[str]]:
    out: list[re.Match[str]] = []
    end = 0
    patterns = _prose_patterns()
    for word in _WORD.finditer(line):
        pattern = patterns.get(word.group().lower())
        if pattern is None or word.start() < end or (word.start() and line[word.start() - 1] in "-_"):
            continue
        match = pattern.match(line, word.start())
        if match is not None:
            out.append(match)
            end = match.end()
    return out


def prose_rows(lines: Sequence[str], mark: Decimal, page: int | None) -> list[Row]:
    """Values in sentences and in ``name: value unit`` lines; never certain enough to outweigh a table."""
    out: list[Row] = []
    for line in lines:
        if len(line) > MAX_LINE or not any(c.isdigit() for c in line):
            continue
        for match in _matches(line):
            label = read_label(match["name"])
            value = read_value(match["value"].rstrip(".,").replace(" and ", " - ").replace(" und ", " - "), mark)
            unit = (match["unit"] or "").strip()
            around = line[max(0, match.start() - 50) : match.end() + 40]
            year = not unit and year_of(match["value"].rstrip(".,"))
            if label is None or value is None or year or _AVOID.search(around):
                continue
            bracket = match["bracket"] or ""
            if not unit and read_unit(bracket) is not None:
                unit = bracket
            if not unit and label.analyte != "ph":
                tail = line[match.end() :].lstrip(" .,;*†")
                if tail or line[: match.start()].strip(" -*•|"):
                    continue
            label = _with_basis(label, bracket)
            doubts = (
                ()
                if re.match(r"^[\s*•|-]*$", line[: match.start()]) and match["link"].strip(" .") in ("", ":", "=", "|")
                else ("from_prose",)
            )
            aside = re.match(r"\s*[(\[]([^()\[\]]{1,40})[)\]]", line[match.end() :])
            out += make_rows(
                label, value, unit, page=page, text=line.strip()[:300], supply=None, date=None, doubts=doubts
            )
            if aside is not None:
                other = read_value(aside.group(1), mark)
                if other is not None and other.unit_text and read_unit(other.unit_text) is not None:
                    out += make_rows(
                        label,
                        other,
                        other.unit_text,
                        page=page,
                        text=line.strip()[:300],
                        supply=None,
                        date=None,
                        doubts=doubts,
                    )
    return out


def _with_basis(label: Label, bracket: str) -> Label:
    inner = read_label(f"{label.analyte.replace('_', ' ')} ({bracket})") if bracket else None
    if inner is not None and inner.basis and inner.analyte == label.analyte:
        return Label(label.analyte, label.unit, inner.basis, label.unit_text)
    return label
