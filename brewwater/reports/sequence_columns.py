"""Figures behind a label laid on the columns where they fit best."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise

from brewwater.reports.columns import VALUE_ROLES, Role, role_of
from brewwater.reports.grid import Grid
from brewwater.reports.items import Entry, cut, is_limit, part_figures
from brewwater.reports.sequence_heads import Head
from brewwater.reports.values import read_value

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


def fits(records: Sequence[PrintedRecord], heads: Sequence[Head]) -> bool:
    """Whether the heads of the table before may rule this one: most records print no more than they name."""
    columns = [h for h in heads if h.role in (*VALUE_ROLES, "limit", "date")]
    values = [h for h in columns if h.role != "limit"]
    counts = [len(stripped(r.figures)) for r in records]
    return bool(values) and max(counts) <= len(columns) and sorted(counts)[len(counts) // 2] >= len(values)


def as_many(records: Sequence[PrintedRecord], heads: Sequence[Head]) -> int:
    """How many records print a figure for each column."""
    columns = sum(h.role not in _SKIP for h in heads)
    return sum(len(r.figures) == columns for r in records)


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


def laid_out(records: Sequence[PrintedRecord], heads: Sequence[Head], page: int | None, title: str) -> Grid | None:
    counts = sorted(len(stripped(r.figures)) for r in records)
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


def stripped(figures: Sequence[str]) -> list[str]:
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
    figures = stripped(record.figures)
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
