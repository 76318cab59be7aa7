"""From a table to rows: which cell is which supply's range, mean, unit and date."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from brewwater.reports.columns import ALL, VALUE_ROLES, Column, is_system, read_columns, role_of, supply_name, year_of
from brewwater.reports.grid import Grid
from brewwater.reports.names import UNSURE_BASIS, Label, read_label
from brewwater.reports.report import Row
from brewwater.reports.values import Decimal, Value, read_value
from brewwater.units import read_unit

# What each doubt leaves of a row's confidence; under 0.7 a person must look.
# "ND" printed as the average beside a range: most samples lie at the range's lower end.
AVERAGE_BELOW = "average_below_detection"
CONFIDENCE = {
    AVERAGE_BELOW: 1.0,
    "decimal_mark": 0.4,
    "several_values": 0.5,
    "date_not_range": 0.0,
    "formula": 0.0,
    "no_upper_end": 0.6,
    "range_reversed": 0.6,
    "average_outside_range": 0.5,
    "unit_missing": 0.5,
    "unit_unknown": 0.3,
    "unit_unfit": 0.6,
    "supply_unclear": 0.4,
    "column_unclear": 0.4,
    "basis_unclear": 0.5,
    "from_prose": 0.75,
    "implausible": 0.2,
    "contradiction": 0.4,
    "basis_by_limit": 0.9,
    "tds_is_conductivity": 0.2,
    "second_figure": 0.6,
    "footnoted": 0.75,
}
_DATE_TEXT = re.compile(r"\b(?:19|20)\d{2}\b")


def table_rows(grid: Grid, mark: Decimal) -> list[Row]:
    """Every row of a grid that names a known analyte and prints a value."""
    return _Reader(grid, mark).run()


@dataclass
class _Block:
    header: list[list[str]]
    body: list[list[str]]


class _Reader:
    def __init__(self, grid: Grid, mark: Decimal) -> None:
        self.grid, self.mark = grid, mark
        width = len(grid.cells[0])
        hits = [sum(read_label(row[j]) is not None for row in grid.cells) for j in range(min(width, 8))]
        self.label_at = hits.index(max(hits))

    def run(self) -> list[Row]:
        found: list[Row] = []
        before: list[Column] | None = None
        for block in self._blocks():
            columns = read_columns(_stack(block.header), block.body, before)
            if before is not None and not block.header and len(columns) == len(before):
                columns = before
            found += self._block_rows(block, columns)
            if any(c.supply not in (None, ALL) for c in columns) or before is None:
                before = columns
        return [replace(r, section=self.grid.title) for r in found]

    # -- header and body -------------------------------------------------------------------------

    def _blocks(self) -> list[_Block]:
        blocks: list[_Block] = []
        now = _Block([], [])
        for row in self.grid.cells:
            if self._is_header(row, bool(now.body)):
                if now.body:
                    blocks.append(now)
                    now = _Block([], [])
                now.header.append(row)
            elif sum(c != "" for c in row) > 1 or read_label(row[self.label_at]) is not None:
                now.body.append(row)
            elif row[0] and not now.body:
                now.header.append(row)
        blocks.append(now)
        return [b for b in blocks if b.body]

    def _is_header(self, row: list[str], under_rows: bool) -> bool:
        label = row[self.label_at]
        if under_rows and label and role_of(label) not in ("label", "supply", "date"):
            return False  # a constituent that is not known: "Härtebereich | mittel | weich"
        filled = [c for c in row if c]
        if label and read_label(label) is not None and not _only_roles(filled):
            return False
        roles = [role_of(c) for c in filled]
        strong = sum(r in (*VALUE_ROLES, "unit", "label", "limit", "date", "violation", "supply") for r in roles)
        numbers = sum(_is_number(c) for c in filled if year_of(c) is None)
        years = sum(year_of(c) is not None for c in filled)
        if numbers:
            return False
        if strong >= 2 or (strong and years) or years >= 2 or (strong and len(filled) <= 2 and label == ""):
            return True
        if role_of(label) in ("label", "supply") or _date_word(label):
            return len(filled) > 1
        return label == "" and len(filled) >= 2 and not any(read_unit(c) for c in filled)

    # -- rows ------------------------------------------------------------------------------------

    def _block_rows(self, block: _Block, columns: list[Column]) -> list[Row]:
        out: list[Row] = []
        label_at = next((j for j, c in enumerate(columns) if c.role == "label"), self.label_at)
        supply_at = next((j for j, c in enumerate(columns) if c.role == "supply" and j != label_at), None)
        unit_at = next((j for j, c in enumerate(columns) if c.role == "unit"), None)
        label: Label | None = None
        above: list[str] = [""] * len(columns)
        supply: str | None = None
        for row in block.body:
            own = read_label(row[label_at])
            if own is not None:
                label = own
            elif row[label_at] or not (unit_at is not None and row[unit_at] and read_unit(row[unit_at])):
                # another constituent, a remark, or a wrapped line: never a value of the analyte above
                label = None if row[label_at] else label
                continue
            if supply_at is not None and row[supply_at]:
                supply = row[supply_at]
            if label is None:
                continue
            cells = row if own is not None else _dates_from(above, row, columns)
            out += self._values(label, cells, columns, label_at, unit_at, supply)
            above = row if own is not None else above
        return out

    def _values(
        self,
        label: Label,
        row: list[str],
        columns: list[Column],
        label_at: int,
        unit_at: int | None,
        supply: str | None,
    ) -> list[Row]:
        groups: dict[tuple[str | None, str | None, str | None], list[int]] = {}
        for j, column in enumerate(columns):
            if j not in (label_at, unit_at) and column.role in VALUE_ROLES:
                groups.setdefault((column.supply, column.date, column.unit), []).append(j)
        merged = _merge_groups(groups)
        date_all = " ".join(row[j] for j, c in enumerate(columns) if c.role == "date" and c.supply is None)
        limit = next((row[j] for j, c in enumerate(columns) if c.role == "limit" and row[j]), None)
        violation = any(
            re.match(r"^(?:yes|y|ja|oui|sí|si|violation)\b", row[j], re.IGNORECASE)
            for j, c in enumerate(columns)
            if c.role == "violation"
        )
        out = []
        for (group_supply, date, unit), at in merged.items():
            value, doubts = self._combine(row, columns, at)
            if value is None:
                continue
            own_date = (
                " ".join(
                    row[j] for j, c in enumerate(columns) if c.role == "date" and c.supply == group_supply and row[j]
                )
                or date_all
            )
            unit_text = (row[unit_at] if unit_at is not None else "") or unit or ""
            beside = [row[label_at], row[unit_at] if unit_at is not None else "", *(row[j] for j in at), own_date]
            name = group_supply if group_supply is not None else supply
            if name is not None and is_system(name):
                name = ALL
            out += make_rows(
                label,
                value,
                unit_text,
                page=self.grid.page,
                text=" ".join(x for x in beside if x),
                supply=name,
                date=_tidy_date(date or own_date),
                doubts=doubts,
                limit=limit,
                violation=violation,
            )
        return out

    def _combine(self, row: list[str], columns: list[Column], at: list[int]) -> tuple[Value | None, tuple[str, ...]]:
        """One value from a supply's range, mean, low and high cells."""
        seen: dict[str, Value] = {}
        doubts: list[str] = []
        for j in at:
            value = read_value(row[j], self.mark) if row[j] else None
            if value is None:
                continue
            role = columns[j].role
            if role in seen and role != "" and seen[role] != value:
                doubts.append("column_unclear")
                continue
            doubts += value.doubts
            seen.setdefault(role, value)
        if not seen:
            return None, ()
        only = next(iter(seen.values())) if len(seen) == 1 else None
        if only is not None:
            if "high" in seen and only.typical is not None:
                only = Value(None, None, only.high, only.below_detection, only.unit_text, only.aside)
            elif "low" in seen and only.typical is not None:
                only = Value(only.low, None, None, only.below_detection, only.unit_text, only.aside)
            return only, tuple(dict.fromkeys(doubts))
        low = high = typical = None
        spread = seen.get("range")
        if spread is not None:
            low, high = spread.low, spread.high
        if "low" in seen:
            low = seen["low"].low if not seen["low"].below_detection else 0.0
        if "high" in seen:
            high = seen["high"].high
        for role in ("average", "value"):
            if role in seen and typical is None:
                middle = seen[role]
                if middle.is_range and low is None and high is None:
                    low, high = middle.low, middle.high
                else:
                    typical = middle.typical
        missing = seen.get("average") or seen.get("value")
        below = any(v.below_detection for v in seen.values())
        if typical is not None and low is None and high is None:
            low = high = typical
        if missing is not None and missing.below_detection:
            if low is None and high is None:
                low, high = missing.low, missing.high
            else:
                doubts.append(AVERAGE_BELOW)
        if typical is not None and low is not None and high is not None and not low <= typical <= high:
            doubts.append("average_outside_range")
        unit_text = next((v.unit_text for v in seen.values() if v.unit_text), "")
        aside = missing.aside if missing is not None else None
        return Value(low, typical, high, below, unit_text, aside), tuple(dict.fromkeys(doubts))


def make_rows(
    label: Label,
    value: Value,
    unit_text: str,
    *,
    page: int | None,
    text: str,
    supply: str | None,
    date: str | None,
    doubts: tuple[str, ...] = (),
    limit: str | None = None,
    violation: bool = False,
) -> list[Row]:
    """Rows from one printed value: one, or two where a second unit stands beside it in brackets."""
    doubts = tuple(dict.fromkeys((*doubts, *value.doubts)))
    printed, second = _unit_pair(unit_text)
    own = value.unit_text.strip(" .;,")
    if own and _real_unit(own):
        printed = printed if printed and read_unit(printed) and not _differs(printed, own) else own
    elif own and not printed:
        head = own.split(" ")[0].strip("(),;")
        printed = head if _real_unit(head) else printed
    if not printed and label.unit is not None:
        printed = label.unit_text or label.unit.unit
    found = read_unit(printed) if printed else None
    basis = label.basis or (found.basis if found else None)
    if not printed:
        if label.analyte not in ("ph", "e_coli", "total_coliform", "langelier_index"):
            doubts = (*doubts, "unit_missing")
        printed = {"ph": "1"}.get(label.analyte, "")
    elif found is None:
        doubts = (*doubts, "unit_unknown")
    if basis == UNSURE_BASIS:
        basis, doubts = None, (*doubts, "basis_unclear")
    if value.aside is not None and second is None:
        doubts = (*doubts, "second_figure")
    row = Row(
        analyte=label.analyte,
        low=value.low,
        typical=value.typical,
        high=value.high,
        unit=_tidy_unit(printed),
        basis=basis,
        below_detection=value.below_detection,
        supply=supply,
        date=date,
        page=page,
        text=text[:300],
        confidence=confidence(doubts),
        doubts=tuple(dict.fromkeys(doubts)),
        limit=limit,
        violation=violation,
    )
    if value.aside is None or second is None:
        return [row]
    pair = read_unit(second)
    return [
        row,
        Row(
            analyte=label.analyte,
            low=value.aside,
            typical=value.aside,
            high=value.aside,
            unit=_tidy_unit(second),
            basis=label.basis if label.basis != UNSURE_BASIS else (pair.basis if pair else None),
            supply=supply,
            date=date,
            page=page,
            text=text[:300],
            confidence=confidence(doubts),
            doubts=doubts,
            limit=limit,
        ),
    ]


def confidence(doubts: Sequence[str]) -> float:
    """The least that the doubts leave."""
    return min((CONFIDENCE.get(d, 0.5) for d in doubts), default=1.0)


def _stack(header: list[list[str]]) -> list[list[str]]:
    """Header rows with merged cells filled to the right, but never under a finished column head."""
    out: list[list[str]] = []
    for level, row in enumerate(header):
        filled = list(row)
        if sum(c != "" for c in row) == 1 and level < len(header) - 1 and len(row) > 2:
            continue  # a section title over the whole width
        for j in range(1, len(filled)):
            if filled[j] == "" and filled[j - 1] != "" and _may_spread(filled[j - 1]):
                finished = any(role_of(above[j]) not in ("", *VALUE_ROLES) for above in out)
                if not finished:
                    filled[j] = filled[j - 1]
        out.append(filled)
    return out


def _may_spread(text: str) -> bool:
    return role_of(text) in ("", *VALUE_ROLES)


def _merge_groups(
    groups: dict[tuple[str | None, str | None, str | None], list[int]],
) -> dict[tuple[str | None, str | None, str | None], list[int]]:
    """Columns without a unit of their own join those of the same supply and date that have one."""
    units: dict[tuple[str | None, str | None], set[str]] = {}
    for supply, date, unit in groups:
        if unit is not None:
            units.setdefault((supply, date), set()).add(unit)
    out: dict[tuple[str | None, str | None, str | None], list[int]] = {}
    for (supply, date, unit), at in groups.items():
        own = units.get((supply, date), set())
        key = (supply, date, unit if unit is not None or len(own) != 1 else next(iter(own)))
        out[key] = sorted(out.get(key, []) + at)
    return out


def _dates_from(above: list[str], row: list[str], columns: list[Column]) -> list[str]:
    """A second line of the same analyte (another unit) takes the date printed once for both."""
    return [a if not c and col.role == "date" else c for a, c, col in zip(above, row, columns, strict=False)]


def _only_roles(cells: list[str]) -> bool:
    return len(cells) > 1 and all(role_of(c) for c in cells)


def _date_word(text: str) -> bool:
    return role_of(text) == "date"


def _is_number(text: str) -> bool:
    value = read_value(text)
    return value is not None and value.has_number and not value.unit_text


def _tidy_date(text: str | None) -> str | None:
    text = re.sub(r"\{[^}]*\}|[()]", " ", text or "")
    words = list(dict.fromkeys(text.split()))
    joined = " ".join(words)
    return joined[:40] if _DATE_TEXT.search(joined) or re.search(r"\d", joined) else None


def _unit_pair(text: str) -> tuple[str, str | None]:
    """``ppm [gpg]`` prints two units; the second belongs to the number in brackets."""
    text = text.strip()
    if not text or read_unit(text) is not None:
        return text, None
    match = re.match(r"^(?P<a>[^\[(]+)[\[(](?P<b>[^\])]+)[\])]$", text)
    if match and read_unit(match["a"].strip()) and read_unit(match["b"].strip()):
        return match["a"].strip(), match["b"].strip()
    parts = [p.strip() for p in re.split(r"\s+(?:or|/|\|)\s+", text)]
    if len(parts) == 2 and all(read_unit(p) for p in parts):
        return parts[0], parts[1]
    return text, None


def _real_unit(text: str) -> bool:
    unit = read_unit(text)
    return unit is not None and unit.unit not in ("1", "count")


def _differs(a: str, b: str) -> bool:
    left, right = read_unit(a), read_unit(b)
    return left is not None and right is not None and left.unit != right.unit


def _tidy_unit(text: str) -> str:
    return re.sub(r"\s*/\s*", "/", " ".join(text.replace("μ", "µ").split()))[:40]


__all__ = ["CONFIDENCE", "confidence", "make_rows", "supply_name", "table_rows"]
