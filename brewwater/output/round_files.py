"""The round as files: stops and parts as CSV, the dates as a calendar."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from brewwater.output.calendar_file import round_calendar
from brewwater.output.round import Stop, parts_list, round_table
from brewwater.store.log_csv import guard

HEADS = ("unit", "name", "state", "due", "order_by", "number", "cartridge", "place", "governed_by", "parts")


def round_files(found: Sequence[Stop]) -> dict[str, bytes]:
    """By name of the file: ``round.csv``, ``parts.csv`` (what to load) and ``round.ics``."""
    rows = [{**row, "parts": ", ".join(stop.parts)} for row, stop in zip(round_table(found), found, strict=True)]
    return {
        "round.csv": _table(HEADS, ([row[head] for head in HEADS] for row in rows)),
        "parts.csv": _table(("part", "count"), parts_list(found).items()),
        "round.ics": round_calendar(found),
    }


def _table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    text = io.StringIO(newline="")
    sheet = csv.writer(text, lineterminator="\r\n")
    sheet.writerow(heads)
    sheet.writerows([guard(str("" if cell is None else cell)) for cell in row] for row in rows)
    return text.getvalue().encode()
