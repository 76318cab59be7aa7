"""Nothing in silence: the lines that name an analyte and print a figure, and gave no row."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise

from brewwater.reports.columns import year_of
from brewwater.reports.items import cut, entry, unglue
from brewwater.reports.layout import Line, is_value
from brewwater.reports.names import Mention, mentions, read_label
from brewwater.reports.prose import AVOID
from brewwater.reports.report import Row, Unread
from brewwater.units import read_unit

_NUMBER = re.compile(r"\d+(?:[.,]\d+)*")
# What a number in a sentence may be besides a figure of the water.
_ASIDE = re.compile(
    r"\b(?:19|20)\d{2}\b|(?<![\d.,])\d{1,2}([./-])\d{1,2}\1\d{2,4}(?![\d.,])|\d+(?:[.,]\d+)?\s*(?:%|percent|prozent|°\s?C\b|years?|days?|hours?"
    r"|minutes?|seconds?|million|billion|feet|miles|gallons?|people|homes|samples?|parameters?|times)|§\s*\d+"
    r"|\b\d{3}[.-]\d{3}[.-]\d{4}\b|\b[A-Z]{2,}[\s/-]?\d[\d.-]*|\bpage \d+|\bNr?\.\s?\d+",
    re.IGNORECASE,
)


# "Degrees Clark  17.9": a figure under a name that is a unit.
_DEGREES = re.compile(
    r"\s*(?:degrees? (?:clark|french|german)|(?:clark|french|german) degrees?)\W{0,4}\d", re.IGNORECASE
)


def unread_lines(
    lines: Sequence[Line], rows: Sequence[Row], page: int | None, taken: Mapping[int, Collection[str]]
) -> list[Unread]:
    """Parts of lines with an analyte and a figure of which no row of the page took that analyte with one of them.

    ``taken`` says which analytes the tables of each line gave.
    """
    printed: dict[str, set[str]] = defaultdict(set)
    for row in rows:
        printed[row.analyte] |= {_number(x) for x in _NUMBER.findall(row.text or "")}
        printed[row.analyte] |= {f"{x:g}" for x in (row.low, row.typical, row.high) if x is not None}
    out = []
    for at, line in enumerate(lines):
        for text in _segments(line):
            why = _why(text, printed, taken.get(at))
            if why is not None:
                out.append(Unread(page, " ".join(text.split())[:300], why))
                break
        else:
            out += _headed(lines, at, printed, page)
    return out


def _headed(lines: Sequence[Line], at: int, printed: Mapping[str, set[str]], page: int | None) -> list[Unread]:
    """Analytes that head columns of figures, of which no row took one."""
    line = lines[at]
    if any(is_value(c.text) for c in line) or sum(len(c.text) for c in line) > 400:
        return []
    below = next((row for row in lines[at + 1 : at + 4] if any(is_value(c.text) for c in row)), None)
    if below is None or any(read_label(c.text) is not None for c in below):
        return []
    figures = [c for c in below if is_value(c.text)]
    open_ = [
        (cell, figure)
        for cell in line
        if (label := read_label(cell.text)) is not None and label.analyte not in printed
        for figure in figures
        if min(cell.x1, figure.x1) > max(cell.x0, figure.x0)
    ]
    return [
        Unread(page, f"{cell.text} {figure.text}"[:300], "a figure stands under this name, but the table was not read")
        for cell, figure in open_
    ]


def _segments(line: Line) -> list[str]:
    """The parts of a line that each may hold a label and its figures: a cell, and the short cells right of it."""
    out = []
    for k, cell in enumerate(line):
        if not mentions(unglue(cell.text)) and not re.match(r"degrees? \w|\w+ degrees?$", cell.text, re.IGNORECASE):
            continue
        text = cell.text
        if len(cell.text) <= 60:
            for other in line[k + 1 :]:
                if len(other.text) > 24 or read_label(other.text) is not None:
                    break
                text += f" {other.text}"
        out.append(text)
    return out


def _why(text: str, printed: Mapping[str, set[str]], taken: Collection[str] | None) -> str | None:
    line = unglue(text)
    named = [m for m in mentions(line) if m.rank == "name" or m.start == 0]
    if not named:
        return (
            "a hardness in degrees, and no place says of what water" if taken is None and _DEGREES.match(line) else None
        )
    items = cut(_ASIDE.sub(" ", line[named[0].end :]) if len(line) > 60 else line[named[0].end :])
    figures = [_number(x) for i in items if i.kind == "value" and not year_of(i.text) for x in _NUMBER.findall(i.text)]
    if not figures:
        return None
    if any(m.label.analyte in (taken or ()) or set(figures) & printed.get(m.label.analyte, set()) for m in named):
        return _left_over(line, named, printed) if taken is None else None
    if taken is None and named[0].start > 0 and AVOID.search(line):
        return None  # a limit or an explanation, no figure of this water
    name = named[0].label.analyte.replace("_", " ")
    if _sentence(line, named[0]):
        if AVOID.search(line) or len(named) > 2 or not _unit_beside(line):
            return None
        return f"{name} and a figure stand in a sentence whose meaning is not clear"
    if taken is not None:
        return f"{name} stands in a table, but its figures lie under no column of values"
    return f"{name} and a figure stand in one line, but no unit or place says how they belong together"


def _left_over(line: str, named: Sequence[Mention], printed: Mapping[str, set[str]]) -> str | None:
    """Another analyte on a line of which one was read, with a figure right behind its name that no row took."""
    for m in named[1:] if not AVOID.search(line) else ():
        figure = re.match(r"[\s:=]{1,3}[<≤]?\s?(\d+(?:[.,]\d+)?)\s?(?:mg|[µμu]g|ppm|ppb|°|mmol|[µμ]S)", line[m.end :])
        if figure is not None and _number(figure.group(1)) not in printed.get(m.label.analyte, ()):
            return f"{m.label.analyte.replace('_', ' ')} and a figure stand behind another's on one line"
    return None


def _number(text: str) -> str:
    text = text.replace(",", ".")
    if text.count(".") > 1:
        return text
    return re.sub(r"(\.\d*?)0+$", r"\1", text).rstrip(".") if "." in text else text.lstrip("0") or "0"


def _sentence(line: str, mention: Mention) -> bool:
    """A line of running text: more words than a label, its unit and a remark."""
    words = re.findall(r"[^\W\d_]{3,}", line)
    found = entry(line)
    return len(words) > 7 or (found is None and mention.start > 30)


def _unit_beside(line: str) -> bool:
    items = cut(line)
    return any(
        a.kind == "value"
        and b.kind == "unit"
        and (u := read_unit(b.text)) is not None
        and u.unit not in ("%", "count", "1")
        for a, b in pairwise(items)
    ) or bool(re.search(r"\bph\b\D{0,60}\d", line, re.IGNORECASE))
