"""Reads one PDF or workbook in its own process, within limits of time and memory, and prints it as JSON.

Run as a script, so that it imports nothing of brewwater: a hostile file can only cost this process.
"""

from __future__ import annotations

import json
import logging
import sys
import time
import warnings
from collections.abc import Callable, Iterable
from typing import Any

MAX_PAGES, MAX_CHARS_PER_PAGE = 60, 30_000
MAX_SHEETS, MAX_ROWS, MAX_COLUMNS = 20, 4000, 200
_RAISED, _SMALL = 0.15, 0.82


def stopwatch(seconds: float) -> Callable[[], bool]:
    """Says when the time is up: by this process's own time, and by the clock with a little more."""
    start, begun = time.process_time(), time.monotonic()
    return lambda: time.process_time() - start > 0.7 * seconds or time.monotonic() - begun > seconds


def mark_superscripts(chars: list[dict[str, Any]]) -> None:
    """Put raised small characters that follow a figure in braces: ``12.0`` with a footnote 1 is not 12.01."""
    before: dict[str, Any] | None = None
    for char in chars:
        text = char["text"]
        if not text.strip():
            continue
        if before is not None and (
            char["size"] < _SMALL * before["size"]
            and before["bottom"] - char["bottom"] > _RAISED * before["size"]
            and -1 < char["x0"] - before["x1"] < before["size"]
            and char["top"] < before["bottom"]
            and (before["text"].isdigit() or before["text"] in "D.)*%]")
            and len(text) == 1
        ):
            char["text"] = "{" + text + "}"
            continue  # a footnote of two characters is measured from the figure too
        before = char


def page_content(page: Any) -> tuple[list[tuple[str, list[list[str | None]]]], list[list[tuple[float, float, str]]]]:
    """Ruled tables of a page with the line above each, and the other lines as ``(x0, x1, text)`` cells."""
    mark_superscripts(page.chars)
    found = [t for t in page.find_tables() if len(t.rows) > 1 and len(t.rows[0].cells) > 1]
    boxes = [t.bbox for t in found]

    def outside(item: dict[str, Any]) -> bool:
        middle = ((item["x0"] + item["x1"]) / 2, (item["top"] + item["bottom"]) / 2)
        return not any(b[0] <= middle[0] <= b[2] and b[1] <= middle[1] <= b[3] for b in boxes)

    words = [w for w in page.extract_words(x_tolerance_ratio=0.15, keep_blank_chars=False) if outside(w)]
    lines = list(lines_of(words))
    tables = []
    for table, box in zip(found, boxes, strict=True):
        above = [(y, cells) for y, cells in lines if box[1] - 45 < y < box[1] and cells[0][0] < box[2]]
        title = " ".join(c[2] for c in max(above)[1]) if above else ""
        tables.append((title, table.extract()))
    return tables, [cells for _, cells in lines]


def lines_of(words: list[dict[str, Any]]) -> Iterable[tuple[float, list[tuple[float, float, str]]]]:
    """Words gathered into lines by their height, and into cells by the gaps between them."""
    words.sort(key=lambda w: ((w["top"] + w["bottom"]) / 2, w["x0"]))
    line: list[dict[str, Any]] = []
    level = -1e9
    for word in words:
        middle = (word["top"] + word["bottom"]) / 2
        if line and middle - level > 0.45 * max(word["bottom"] - word["top"], 1):
            yield level, _cells(line)
            line = []
        level = middle if not line else level
        line.append(word)
    if line:
        yield level, _cells(line)


def _cells(line: list[dict[str, Any]]) -> list[tuple[float, float, str]]:
    line.sort(key=lambda w: w["x0"])
    cells: list[list[Any]] = []
    for word in line:
        height = max(word["bottom"] - word["top"], 1)
        if cells and word["x0"] - cells[-1][1] < 0.62 * height:
            cells[-1][1] = word["x1"]
            cells[-1][2] += " " + word["text"]
        else:
            cells.append([word["x0"], word["x1"], word["text"]])
    return [(c[0], c[1], c[2]) for c in cells]


def extract(path: str, seconds: float) -> dict[str, Any]:
    """What a PDF holds: ``{"pages": [{"tables", "lines"}], "of": pages, "stopped": why or None}``, or an error."""
    import pdfplumber
    from pdfminer.pdfdocument import PDFPasswordIncorrect

    over = stopwatch(seconds)
    try:
        with pdfplumber.open(path) as pdf:
            pages: list[dict[str, Any]] = []
            stopped = None
            for page in pdf.pages[:MAX_PAGES]:
                if over():
                    stopped = "time"
                    break
                if len(page.chars) > MAX_CHARS_PER_PAGE or len(page.edges) > 20_000:
                    pages.append({"tables": [], "lines": []})
                    stopped = "dense"
                    continue
                tables, lines = page_content(page)
                pages.append({"tables": tables, "lines": lines, "chars": len(page.chars), "images": len(page.images)})
                page.close()
            if len(pdf.pages) > MAX_PAGES:
                stopped = stopped or "pages"
            return {"pages": pages, "of": len(pdf.pages), "stopped": stopped}
    except PDFPasswordIncorrect:
        return {"error": "encrypted"}
    except MemoryError:
        return {"error": "memory"}
    except RecursionError:
        return {"error": "broken"}
    except Exception as error:  # pdfminer raises anything on a broken file; all of it means one thing here
        text = f"{type(error).__name__} {error!r} {error.__cause__!r} {error.__context__!r}"
        return {"error": "encrypted" if "Password" in text or "Encryption" in text else "broken"}


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


def main() -> None:
    """``worker.py pdf|xlsx FILE SECONDS BYTES``: JSON on standard output."""
    kind, path, seconds, memory = sys.argv[1], sys.argv[2], float(sys.argv[3]), int(sys.argv[4])
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds) + 3, int(seconds) + 4))
    except (ImportError, ValueError, OSError):
        pass  # no such limit on this system; the caller's time limit still holds
    logging.disable(logging.CRITICAL)
    warnings.simplefilter("ignore")
    try:
        found = extract(path, seconds) if kind == "pdf" else workbook(path, seconds)
    except MemoryError:
        found = {"error": "memory"}
    except Exception:  # openpyxl and zipfile raise many kinds on a broken workbook
        found = {"error": "broken"}
    json.dump(found, sys.stdout)


if __name__ == "__main__":
    main()
