"""Cells of a workbook as text; no formula is evaluated."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

MAX_SHEETS, MAX_ROWS, MAX_COLUMNS = 20, 4000, 200


def stopwatch(seconds: float) -> Callable[[], bool]:
    """Says when the time is up: by this process's own time, and by the clock with a little more."""
    start, begun = time.process_time(), time.monotonic()
    return lambda: time.process_time() - start > 0.7 * seconds or time.monotonic() - begun > seconds


def workbook(path: str, seconds: float) -> dict[str, Any]:
    """Cells of each sheet as text: ``{"sheets": [[title, rows]], "stopped": bool}``; no formula is evaluated."""
    import openpyxl

    over = stopwatch(seconds)
    book = openpyxl.load_workbook(path, read_only=True, data_only=True, keep_links=False)
    sheets: list[list[Any]] = []
    stopped = len(book.worksheets) > MAX_SHEETS
    for sheet in book.worksheets[:MAX_SHEETS]:
        rows: list[list[str]] = []
        for row in sheet.iter_rows(max_row=MAX_ROWS, max_col=MAX_COLUMNS, values_only=True):
            if over():
                stopped = True
                break
            rows.append(["" if c is None else f"{c:.10g}" if isinstance(c, float) else str(c)[:2000] for c in row])
        sheets.append([str(sheet.title), rows])
    book.close()
    return {"sheets": sheets, "stopped": stopped}
