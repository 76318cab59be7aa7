"""Tables as CSV and as a workbook, safe to open in a spreadsheet: no text of the user becomes a formula."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from brewwater.output.result import plan_result
from brewwater.output.result_schema import AtBaseResult, Percentiles, PlanResult, WaterResult
from brewwater.output.sheet.content import unknown_capacities
from brewwater.output.vocabulary import governed
from brewwater.plan import Plan

Cell = str | float | int | None
Rows = Sequence[Sequence[Cell]]
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?([eE][+-]?\d+)?")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def safe(value: Cell) -> Cell:
    """Text that a spreadsheet would read as a formula gets an apostrophe in front; numbers stay numbers."""
    if not isinstance(value, str):
        return value
    text = _CONTROL.sub("", value)
    bare = text.lstrip(" \t\r\n\u00a0\u3000")
    if bare[:1] in set("=+-@\uff1d\uff0b\uff0d\uff20") or text[:1] in ("\t", "\r", "\n"):
        return text if _NUMBER.fullmatch(text) else "'" + text
    return text


def tables(plan: Plan, result: PlanResult | None = None) -> Mapping[str, Rows]:
    """The plan's tables by name; the first row of each is its header. ``result``: the plan's, where at hand."""
    result = result or plan_result(plan)
    changes: list[Sequence[Cell]] = [
        (
            "cartridge",
            "medium",
            "change",
            "early",
            "expected",
            "late",
            "next_fitted",
            "order_by",
            "governed_by",
            "share_left",
        )
    ]
    media = {s.name: s.medium for s in plan.candidate.stages}
    unknown = unknown_capacities(plan)
    for d in plan.calendar.dues:
        early, late, fitted, order = (
            None if day is None else day.isoformat() for day in (d.early, d.late, d.fitted, d.order_by)
        )
        changes.append(
            (
                d.cartridge,
                media[d.cartridge],
                d.number,
                early,
                d.date.isoformat(),
                late,
                fitted,
                order,
                governed(d.governs, d.cartridge not in unknown),
                round(d.left[1], 3),
            )
        )
    scale: list[Sequence[Cell]] = [("machine", "descale", "early", "expected", "late")]
    for s in plan.calendar.descales:
        early, late = (None if day is None else day.isoformat() for day in (s.early, s.late))
        scale.append((s.machine, s.number, early, s.date.isoformat(), late))
    money: list[Sequence[Cell]] = [("line", f"amount_{result.yearly_cost.currency}")]
    money += [(line.name, line.amount) for line in result.yearly_cost.lines]
    money.append(("Total", result.yearly_cost.expected))
    waters: list[Sequence[Cell]] = [("water", "measure", "p10", "p50", "p90")]
    waters += _water("as it comes", result.source_water)
    for served in result.served:
        waters += _water(f"served: {served.branch}", served.water)
    branches: list[Sequence[Cell]] = [
        (
            "branch",
            "filtered",
            "gal_per_service_day_p10",
            "p50",
            "p90",
            "filter_life_share_p50",
            "filtering_cost_p50",
            "if_not_filtered",
        )
    ]
    for b in result.branches:
        branches.append(
            (
                b.name,
                "yes" if b.filtered else "no",
                *_ends(b.gallons_per_service_day),
                b.filter_life_share.p50,
                b.filtering_cost.p50,
                b.if_not_filtered,
            )
        )
    verdicts: list[Sequence[Cell]] = [
        ("water", "branch", "subject", "status", "share_in_range", "why", "source"),
        *((v.water, v.branch, v.subject, v.status, v.share, v.why, v.source) for v in result.verdicts),
    ]
    found: dict[str, Rows] = {} if result.made_at_base is None else {"made_at_base": _at_base(result.made_at_base)}
    return found | {
        "changes": changes,
        "descales": scale,
        "cost": money,
        "water": waters,
        "branches": branches,
        "verdicts": verdicts,
    }


def _at_base(at: AtBaseResult) -> Rows:
    rows: list[Sequence[Cell]] = [
        (
            "way",
            "expected_year",
            "p10",
            "p50",
            "p90",
            "fits",
            "fresh_gal_p50",
            "waste_gal_p50",
            "reject_gal_p50",
            "membrane_hours_p50",
            "carried_tank_gal",
            "base_tank_gal",
        )
    ]
    for w in at.ways:
        hours = None if w.membrane_hours is None else w.membrane_hours.p50
        rows.append(
            (
                w.name,
                w.expected,
                *_ends(w.total),
                {True: "yes", False: "no", None: None}[w.passes],
                w.fresh_gal.p50,
                w.waste_gal.p50,
                w.reject_gal.p50,
                hours,
                w.carried_tank_gal,
                w.base_tank_gal,
            )
        )
    return rows


def _ends(p: Percentiles) -> tuple[float | None, float | None, float | None]:
    return p.p10, p.p50, p.p90


def _water(name: str, water: WaterResult) -> list[Sequence[Cell]]:
    return [(name, field, *_ends(getattr(water, field))) for field in type(water).model_fields]


def csv_text(rows: Rows) -> str:
    """One table as CSV (RFC 4180), every cell made safe."""
    out = io.StringIO(newline="")
    csv.writer(out).writerows([[safe(cell) for cell in row] for row in rows])
    return out.getvalue()


def workbook(found: Mapping[str, Rows]) -> bytes:
    """All tables as one workbook, a sheet each; text cells are typed as text, so none is a formula."""
    book = Workbook(write_only=True)
    for name, rows in found.items():
        sheet = book.create_sheet(name[:31])
        for index, row in enumerate(rows):
            cells = []
            for value in row:
                cell = WriteOnlyCell(sheet, value=safe(value))
                if isinstance(value, str):
                    cell.data_type = "s"
                if index == 0:
                    cell.font = Font(bold=True)
                cells.append(cell)
            sheet.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
