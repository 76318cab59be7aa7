"""From a table to rows: which cell is which supply's range, mean, unit and date."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from brewwater.reports.columns import ALL, VALUE_ROLES, Column, is_system, read_columns, role_of, year_of
from brewwater.reports.grid import Grid
from brewwater.reports.items import is_limit
from brewwater.reports.names import Label, read_label, read_loose
from brewwater.reports.report import Row
from brewwater.reports.rows import AVERAGE_BELOW, confidence, make_rows
from brewwater.reports.settle import names_a_place
from brewwater.reports.values import Decimal, Value, decimal_mark, read_value
from brewwater.units import read_unit

_DATE_TEXT = re.compile(r"\b(?:19|20)\d{2}\b")


def table_rows(grid: Grid, mark: Decimal) -> list[Row]:
    """Every row of a grid that names a known analyte and prints a value."""
    return _Reader(grid, mark).run()


@dataclass
class _Block:
    header: list[list[str]]
    body: list[list[str]]
    title: str = ""


class _Reader:
    def __init__(self, grid: Grid, mark: Decimal) -> None:
        self.grid, self.mark = grid, mark
        self.marks: dict[int, Decimal] = {}
        width = 1 if grid.blocks else len(grid.cells[0])
        hits = [sum(read_label(row[j]) is not None for row in grid.cells) for j in range(min(width, 8))]
        self.label_at = hits.index(max(hits))

    def run(self) -> list[Row]:
        found: list[Row] = []
        before: list[Column] | None = None
        for block in self._blocks():
            columns = read_columns(block.header if self.grid.blocks else _stack(block.header), block.body, before)
            if before is not None and not block.header and len(columns) == len(before):
                columns = before
            own = block.title if block.title and _is_title(block.title) and names_a_place(block.title) else ""
            found += [replace(r, section=own or self.grid.title) for r in self._block_rows(block, columns)]
            if any(c.supply not in (None, ALL) for c in columns) or before is None:
                before = columns
        turned = [r for r in found if "range_reversed" in r.doubts]
        if len(turned) > 2 and not any(_rises(r) for r in found if r not in turned):
            # this table prints the higher end first throughout
            found = [_undoubted(r, "range_reversed") for r in found]
        return found

    # -- header and body -------------------------------------------------------------------------

    def _blocks(self) -> list[_Block]:
        if self.grid.blocks:
            titles = self.grid.titles or (self.grid.title,) * len(self.grid.blocks)
            return [_Block(h, b, t) for (h, b), t in zip(self.grid.blocks, titles, strict=True)]
        blocks: list[_Block] = []
        now = _Block([], [])
        for row in self.grid.cells:
            if self._is_header(row, bool(now.body)):
                if now.body:
                    blocks.append(now)
                    now = _Block([], [], now.title)
                now.header.append(row)
            elif sum(c != "" for c in row) > 1 or read_label(row[self.label_at]) is not None:
                now.body.append(row)
            elif row[0] and not now.body:
                now.header.append(row)
                now.title = row[0] if names_a_place(row[0]) or not now.title else now.title
            elif row[0] and _is_title(row[0]) and (names_a_place(row[0]) or not now.title):
                blocks.append(now)
                now = _Block([], [], row[0])
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
        if len(filled) == 1 and roles[0] == "label" and row[0] and self.label_at:
            return False  # a section's title: "Chemical parameters"
        numbers = sum(_is_number(c) for c in filled if year_of(c) is None)
        years = sum(year_of(c) is not None for c in filled)
        if numbers:
            return False
        if strong >= 2 or (strong and years) or years >= 2 or (strong and len(filled) <= 2 and label == ""):
            return True
        if role_of(label) in ("label", "supply") or _date_word(label):
            return len(filled) > 1
        first = strong and not under_rows and read_label(label) is None  # "Waterworks | North | South | Limit"
        return (label == "" or bool(first)) and len(filled) >= 2 and not any(read_unit(c) for c in filled)

    # -- rows ------------------------------------------------------------------------------------

    def _block_rows(self, block: _Block, columns: list[Column]) -> list[Row]:
        out: list[Row] = []
        self.marks = {
            j: mark
            for j, c in enumerate(columns)
            if c.role in VALUE_ROLES and (mark := decimal_mark([r[j] for r in block.body if j < len(r)])) != "?"
        }
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
        row = row + [""] * (len(columns) - len(row))  # a row that breaks off before its last columns
        groups: dict[tuple[str | None, str | None, str | None], list[int]] = {}
        for j, column in enumerate(columns):
            if j not in (label_at, unit_at) and column.role in VALUE_ROLES:
                groups.setdefault((column.supply, column.date, column.unit), []).append(j)
        merged = _without_summary(_merge_groups(groups), columns, row)
        date_all = " ".join(row[j] for j, c in enumerate(columns) if c.role == "date" and c.supply is None)
        limits = [row[j] for j, c in enumerate(columns) if c.role == "limit" and row[j]]
        limit = next((t for t in limits if is_limit(t, label.analyte)), limits[0] if limits else None)
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
            if not unit_text and label.unit is None:  # a unit that stands beside its column
                others = [t for j, t in enumerate(row) if j != label_at and columns[j].role not in VALUE_ROLES]
                unit_text = next((t for t in others if _is_unit(t)), "")
            if not unit_text and label.unit is None:  # printed in the limit's cell alone
                unit_text = next((u for t in limits if (u := _unit_after(t))), "")
            beside = [row[label_at], row[unit_at] if unit_at is not None else "", *(row[j] for j in at), own_date]
            name = group_supply if group_supply is not None else supply or self.grid.supply
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
        marks = self.marks
        seen: dict[str, Value] = {}
        doubts: list[str] = []
        periods = [v for j in at if columns[j].period and (v := read_value(row[j], marks.get(j, self.mark)))]
        if len(periods) > 1:
            at = [j for j in at if not columns[j].period]
            seen["range"] = _over_periods(periods)
        for j in at:
            text = row[j].replace(" {?}", "")
            value = read_value(text, marks.get(j, self.mark)) if text else None
            if text != row[j]:
                doubts.append("column_unclear")  # a line's figures could be laid on the columns in several ways
            if value is None:
                continue
            role = columns[j].role
            if role in seen and role != "" and seen[role] != value:
                doubts.append("column_unclear")
                continue
            doubts += value.doubts
            if (
                role in ("low", "high")
                and value.is_range
                and not value.below_detection
                and None not in (value.low, value.high)
            ):
                doubts.append("column_unclear")  # a range where one end should stand: perhaps a limit
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


def _over_periods(values: Sequence[Value]) -> Value:
    """The range over the quarters or months of a supply."""
    below = any(v.below_detection for v in values)
    lows = [x for v in values if (x := v.low if v.low is not None else v.typical) is not None]
    highs = [x for v in values if (x := v.high if v.high is not None else v.typical) is not None]
    unit = next((v.unit_text for v in values if v.unit_text), "")
    return Value(0.0 if below else min(lows, default=None), None, max(highs, default=None), below, unit)


def _is_title(text: str) -> bool:
    """Whether a line of one cell may be the title of the rows beneath it."""
    return 2 < len(text) < 60 and read_loose(text) is None and not role_of(text) and not re.search(r"[.;:]$", text)


def _is_unit(text: str) -> bool:
    unit = read_unit(text) if text else None
    return unit is not None and unit.unit not in ("1", "count", "%")


def _rises(row: Row) -> bool:
    return row.low is not None and row.high is not None and row.low < row.high and not row.below_detection


def _undoubted(row: Row, doubt: str) -> Row:
    doubts = tuple(d for d in row.doubts if d != doubt)
    return replace(row, doubts=doubts, confidence=confidence(doubts))


def _stack(header: list[list[str]]) -> list[list[str]]:
    """Header rows with merged cells filled to the right, but never under a finished column head."""
    out: list[list[str]] = []
    for level, row in enumerate(header):
        filled = list(row)
        lone = sum(c != "" for c in row) == 1 and (row[0] != "" or len(row) > 2)
        last = level == len(header) - 1 and (level == 0 or not row[0] or role_of(row[0]) != "label")
        if lone and not last:
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


def _without_summary(
    groups: dict[tuple[str | None, str | None, str | None], list[int]], columns: list[Column], row: list[str]
) -> dict[tuple[str | None, str | None, str | None], list[int]]:
    """The highest or mean over all supplies says nothing more where each supply has its own figure beside it."""
    own = [at for (supply, _, _), at in groups.items() if supply is not None]
    if len(own) < 2 or not any(read_value(row[j]) for at in own for j in at if row[j]):
        return groups
    return {
        key: at
        for key, at in groups.items()
        if key[0] is not None or not all(columns[j].role in ("high", "average") for j in at)
    }


def _unit_after(limit: str) -> str:
    """The unit at the end of a limit: ``max. 0,2 mg/l``, ``- mg/l``."""
    words = limit.split()
    return next((tail for i in range(len(words)) if _is_unit(tail := " ".join(words[i:]))), "")


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
