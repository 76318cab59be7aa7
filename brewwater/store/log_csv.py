"""The log as CSV: a spreadsheet shows every cell as text or a number, and what it saves can be read back."""

from __future__ import annotations

import csv
import io
import re
import uuid
from collections import Counter
from collections.abc import Iterable

from brewwater.errors import InputError
from brewwater.log.entry import Reading, reading_from_text

COLUMNS = (
    "id",
    "date",
    "kind",
    "value",
    "unit",
    "where",
    "method",
    "note",
    "corrects",
    "recorded_at",
    "recorded_by",
)
MAX_BYTES = 5_000_000
MAX_ROWS = 20_000
_NAMESPACE = uuid.UUID("6f0d3c1e-7d3f-4f5e-9b59-3b6c2f4b8a10")
# A cell that starts like this is run as a formula by spreadsheets; so is the part after a separator where the
# reader's own separator differs from the comma. One apostrophe more makes it text; reading takes it off.
_FORMULA = re.compile(r"""(^|[;\t\r\n"|])( *)('*)([=+\-@＝＋－＠])""")
_GUARDED = re.compile(r"""(^|[;\t\r\n"|])( *)'('*)([=+\-@＝＋－＠])""")


def guard(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula; ``unguard`` gives the same text back."""
    return _FORMULA.sub(r"\1\2'\3\4", cell)


def unguard(cell: str) -> str:
    """The text behind a guarded cell."""
    return _GUARDED.sub(r"\1\2\3\4", cell)


def write(readings: Iterable[Reading]) -> str:
    """The log as CSV text, UTF-8, one line each, in the order kept."""
    out = io.StringIO(newline="")
    sheet = csv.writer(out, lineterminator="\r\n")
    sheet.writerow(COLUMNS)
    for reading in readings:
        row = reading.model_dump(mode="json")
        value = "" if reading.value is None else repr(reading.value).removesuffix(".0")
        sheet.writerow([value if name == "value" else guard(str(row[name] or "")) for name in COLUMNS])
    return out.getvalue()


def read(data: bytes | str) -> list[Reading]:
    """The readings in a CSV text. Needs the columns date, kind, value; the others may be missing.

    A line without an id gets one that follows from its content, so that reading the same file twice adds
    nothing twice.

    Raises
    ------
    InputError : names the line and the field
    """
    if len(data) > MAX_BYTES:
        raise InputError("log file", f"{len(data)} bytes", f"at most {MAX_BYTES} are accepted", "Split it.")
    try:
        text = data.decode("utf-8-sig") if isinstance(data, bytes) else data.removeprefix("\ufeff")
    except UnicodeDecodeError:
        raise InputError("log file", "text in another encoding", "UTF-8 is needed", "Save it as CSV UTF-8.") from None
    sheet = csv.reader(io.StringIO(text, newline=""), strict=True)
    found: list[Reading] = []
    seen: Counter[tuple[str, ...]] = Counter()
    try:
        header = [name.strip().lower() for name in next(sheet, [])]
        unknown = [name for name in header if name not in COLUMNS]
        missing = {"date", "kind", "value"} - set(header)
        if unknown or missing or len(set(header)) != len(header):
            limit = "its first line must name columns of " + ", ".join(COLUMNS)
            raise InputError("log file", ", ".join(header), limit, "Start from an exported log.")
        for row in sheet:
            if not any(cell.strip() for cell in row):
                continue
            if len(found) >= MAX_ROWS:
                raise InputError("log file", f"over {MAX_ROWS} lines", f"at most {MAX_ROWS} are accepted", "Split it.")
            found.append(_line(header, row, seen))
    except csv.Error as error:
        raise InputError(
            f"log file line {sheet.line_num}", str(error), "it is not readable as CSV", "Save it as CSV again."
        ) from None
    except InputError as error:
        if error.field == "log file":
            raise
        raise InputError(
            f"log file line {sheet.line_num}, {error.field}", error.value, error.limit, error.remedy
        ) from None
    return found


def _line(header: list[str], row: list[str], seen: Counter[tuple[str, ...]]) -> Reading:
    if len(row) != len(header):
        raise InputError("columns", len(row), f"{len(header)} are needed", "Quote cells that hold a comma.")
    cells = {name: unguard(cell) if name != "value" else cell for name, cell in zip(header, row, strict=True)}
    if not cells.get("id"):
        content = tuple(f"{k}={v}" for k, v in sorted(cells.items()) if k not in ("id", "recorded_at", "recorded_by"))
        seen[content] += 1
        cells["id"] = uuid.uuid5(_NAMESPACE, f"{seen[content]}|" + "|".join(content)).hex
    more = {
        name: cells[name]
        for name in ("id", "where", "method", "corrects", "recorded_at", "recorded_by")
        if cells.get(name)
    }
    return reading_from_text(
        cells["date"], cells["kind"], cells["value"], cells.get("unit", ""), cells.get("note", ""), **more
    )
