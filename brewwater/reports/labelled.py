"""Each label of a printed table with its values, over however many lines."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from brewwater.reports.layout import TablePart, is_head
from brewwater.reports.names import read_label
from brewwater.units import read_unit

# How many lines away from its label a cell may stand.
_NEAR = 14


@dataclass
class Record:
    """One row of a table: its label, and the cells of all lines that belong to it."""

    label: str
    parts: list[TablePart]
    titled: bool = False


def kind_of(part: TablePart) -> str:
    """``head``, ``record`` (a label with values), ``label``, ``values`` or ``text``."""
    if is_head(part):
        return "head"
    named = part.label is not None and read_label(part.label.text) is not None
    if named:
        return "record" if part.values else "label"
    if part.values:
        return "values"
    return "text"


def pitch_of(parts: Sequence[TablePart]) -> float:
    """The usual step from line to line."""
    steps = sorted(b.level - a.level for a, b in pairwise(parts) if b.level > a.level)
    return steps[len(steps) // 2] if steps else 1.0


def records_of(body: Sequence[TablePart], head: Sequence[TablePart], title: str, pitch: float) -> list[Record]:
    """Each label with its values; lines without a label go to the label that they surround."""
    anchors = [i for i, p in enumerate(body) if kind_of(p) == "record"]
    loose = [i for i, p in enumerate(body) if kind_of(p) == "values"]
    bare = [i for i, p in enumerate(body) if kind_of(p) == "label"]
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
        if kind_of(part) in ("record", "values") or i in records or not part.cells or part.label is not None:
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
