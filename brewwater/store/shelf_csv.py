"""The shelf as CSV: one line a cartridge, figures in the sheet's own measure with its unit in the cell.

name,medium,size,rated,reference_hardness,...,bypass_steps
Tall resin,weak_acid,large,1200 gal,,10 gpg,...,0: 0; 1: 15; 2: 30 = 1500 gal
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from brewwater.errors import InputError
from brewwater.store.log_csv import guard, unguard
from brewwater.treatment.shelf import BypassStep, Shelf, ShelfItem
from brewwater.units import GAL_L, PSI_KPA, to_plan_units

MAX_BYTES = 2_000_000
_NUMBER = re.compile(r"^\s*(\d[\d,]*\.?\d*|\.\d+)\s*(.*?)\s*$")
_VOLUME = {
    "": 1.0,
    "gal": 1.0,
    "us gal": 1.0,
    "l": 1 / GAL_L,
    "litres": 1 / GAL_L,
    "liters": 1 / GAL_L,
    "m3": 1000 / GAL_L,
}
_FLOW = {"": 1.0, "gpm": 1.0, "gal/min": 1.0, "l/min": 1 / GAL_L, "l/h": 1 / GAL_L / 60}
_DROP = {"": 1.0, "psi": 1.0, "kpa": 1 / PSI_KPA, "bar": 100 / PSI_KPA}
_PLAIN = {"": 1.0}
_MONTHS = {"": 1.0, "months": 1.0, "years": 12.0}
# the column, the sheet's field, and the units that its cells may carry (the first is meant where none stands)
_AMOUNTS: Mapping[str, tuple[str, Mapping[str, float]]] = {
    "rated": ("rated_gal", _VOLUME),
    "capacity_grains": ("capacity_grains", {"": 1.0, "grains": 1.0}),
    "service_flow": ("service_flow_gpm", _FLOW),
    "clean_pressure_drop": ("clean_pressure_drop_psi", _DROP),
    "drop_at_flow": ("drop_at_flow_gpm", _FLOW),
    "end_pressure_drop": ("end_pressure_drop_psi", _DROP),
    "bed_volume": ("bed_volume_L", {"": 1.0, "l": 1.0, "gal": GAL_L}),
    "rated_output_per_day": ("rated_output_gal_per_day", _VOLUME),
    "rated_pressure": ("rated_pressure_psi", _DROP),
    "life": ("life_months", _MONTHS),
    "reference_bypass_percent": ("reference_bypass_percent", {"": 1.0, "%": 1.0}),
    "micron": ("micron", {"": 1.0, "µm": 1.0, "micron": 1.0}),
    "price": ("price", _PLAIN),
}
_WATERS = {
    "reference_hardness": ("reference_hardness_mg_L_as_CaCO3", "total_hardness"),
    "reference_alkalinity": ("reference_alkalinity_mg_L_as_CaCO3", "alkalinity"),
}
_TEXTS = ("name", "medium", "size", "as_printed", "certificate", "supplier", "note")
COLUMNS = (
    *_TEXTS[:3], *_AMOUNTS, *_WATERS, "reference_chlorine_mg_L", "rated_for", "connection", "bypass_steps",
    "shelf_months", "in_stock", *_TEXTS[3:],
)  # fmt: skip


def _amount(column: str, text: str, units: Mapping[str, float]) -> float:
    match = _NUMBER.match(text)
    unit = match.group(2).lower() if match else ""
    if match is None or unit not in units:
        known = ", ".join(u for u in units if u) or "no unit"
        raise InputError(column, text, f"a number is needed, with one of: {known}", "Write it as the sheet prints it.")
    return float(match.group(1).replace(",", "")) * units[unit]


def _water(column: str, text: str, analyte: str) -> float:
    match = _NUMBER.match(text)
    if match is None:
        raise InputError(column, text, "a number with its unit is needed", "Write it as the sheet prints it: 10 gpg.")
    return to_plan_units(float(match.group(1).replace(",", "")), match.group(2) or "mg/L", analyte)


def _steps(text: str) -> list[dict[str, Any]]:
    found = []
    for part in filter(None, (p.strip() for p in text.split(";"))):
        setting, colon, rest = part.partition(":")
        percent, equals, rated = rest.partition("=")
        if not colon:
            raise InputError("bypass_steps", part, "'setting: percent' is needed", "Write '1: 15; 2: 30 = 1500 gal'.")
        step: dict[str, Any] = {
            "setting": setting.strip(),
            "percent": _amount("bypass_steps", percent, {"": 1, "%": 1}),
        }
        if equals:
            step["rated_gal"] = _amount("bypass_steps", rated, _VOLUME)
        found.append(step)
    return found


def _item(cells: Mapping[str, str]) -> ShelfItem:
    sheet: dict[str, Any] = {}
    for column, (field, units) in _AMOUNTS.items():
        if cells.get(column):
            sheet[field] = _amount(column, cells[column], units)
    for column, (field, analyte) in _WATERS.items():
        if cells.get(column):
            sheet[field] = _water(column, cells[column], analyte)
    if cells.get("reference_chlorine_mg_L"):
        sheet["reference_chlorine_mg_L_as_Cl2"] = _amount(
            "reference_chlorine_mg_L", cells["reference_chlorine_mg_L"], {"": 1, "mg/l": 1, "ppm": 1}
        )
    for column in ("rated_for", "connection"):
        if cells.get(column):
            sheet[column] = cells[column]
    item: dict[str, Any] = {name: cells[name] for name in _TEXTS if cells.get(name)}
    for column, units in (("shelf_months", _MONTHS), ("in_stock", _PLAIN)):
        if cells.get(column):
            item[column] = _amount(column, cells[column], units)
    if not item.get("as_printed") and cells.get("rated"):
        at = cells.get("reference_hardness") or cells.get("reference_alkalinity")
        item["as_printed"] = cells["rated"] + (f" at {at}" if at else "")
    return ShelfItem.model_validate({**item, "sheet": sheet, "bypass_steps": _steps(cells.get("bypass_steps", ""))})


def read(data: bytes | str) -> Shelf:
    """A shelf from CSV text: comma, semicolon or tab between cells; ``name`` and ``medium`` are needed.

    Raises
    ------
    InputError : names the line and the field
    """
    if len(data) > MAX_BYTES:
        raise InputError("shelf file", f"{len(data)} bytes", f"at most {MAX_BYTES} are accepted", "Split it.")
    try:
        text = data.decode("utf-8-sig") if isinstance(data, bytes) else data.removeprefix("\ufeff")
    except UnicodeDecodeError:
        raise InputError("shelf file", "text in another encoding", "UTF-8 is needed", "Save it as CSV UTF-8.") from None
    first = text.partition("\n")[0]
    sheet = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=first.count), strict=True)
    items = []
    try:
        header = [name.strip().lower() for name in next(sheet, [])]
        unknown = [name for name in header if name not in {c.lower() for c in COLUMNS}]
        if unknown or not {"name", "medium"} <= set(header) or len(set(header)) != len(header):
            limit = "its first line must name columns of " + ", ".join(COLUMNS)
            raise InputError("shelf file", ", ".join(header)[:200], limit, "Start from 'brewwater shelf list'.")
        spelled = {c.lower(): c for c in COLUMNS}
        for row in sheet:
            if any(cell.strip() for cell in row):
                if len(row) != len(header):
                    raise InputError("columns", len(row), f"{len(header)} are needed", "Quote cells that hold a comma.")
                items.append(_item({spelled[n]: unguard(cell).strip() for n, cell in zip(header, row, strict=True)}))
        return Shelf(items=tuple(items))
    except csv.Error as error:
        raise InputError(
            f"shelf file line {sheet.line_num}", str(error), "it is not readable as CSV", "Save it again."
        ) from None
    except ValidationError as error:
        one = error.errors(include_url=False)[0]
        place = ".".join(str(p) for p in one["loc"]) or "names"
        raise InputError(
            f"shelf file line {sheet.line_num}, {place}", one.get("input") if one["loc"] else "the names",
            one["msg"].removeprefix("Value error, "), "Correct it.",
        ) from None  # fmt: skip
    except InputError as error:
        if error.field == "shelf file":
            raise
        raise InputError(
            f"shelf file line {sheet.line_num}, {error.field}", error.value, error.limit, error.remedy
        ) from None


def write(shelf: Shelf) -> str:
    """The shelf as CSV text; ``read`` gives the same shelf back."""
    out = io.StringIO(newline="")
    sheet = csv.writer(out, lineterminator="\r\n")
    sheet.writerow(COLUMNS)
    for item in shelf.items:
        cells = {name: getattr(item, name) for name in _TEXTS}
        for column, (field, _) in _AMOUNTS.items():
            value = getattr(item.sheet, field)
            cells[column] = _plain(value.middle if column == "price" and value else value)
        for column, (field, _) in _WATERS.items():
            cells[column] = _plain(getattr(item.sheet, field))
        cells["reference_chlorine_mg_L"] = _plain(item.sheet.reference_chlorine_mg_L_as_Cl2)
        cells["rated_for"], cells["connection"] = item.sheet.rated_for, item.sheet.connection or ""
        cells["bypass_steps"] = "; ".join(_step_text(step) for step in item.bypass_steps)
        cells["shelf_months"], cells["in_stock"] = _plain(item.shelf_months), str(item.in_stock)
        sheet.writerow([guard(cells[name]) for name in COLUMNS])
    return out.getvalue()


def _step_text(step: BypassStep) -> str:
    rated = f" = {_plain(step.rated_gal)} gal" if step.rated_gal is not None else ""
    return f"{step.setting}: {_plain(step.percent)}{rated}"


def _plain(value: float | None) -> str:
    return "" if value is None else repr(float(value)).removesuffix(".0")
