"""From a file to grids and lines, whatever its form; guards against hostile and broken files.

Nothing in a file is executed or fetched: no formula is evaluated, no script run, no link followed.
"""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
import zipfile
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from brewwater.errors import ReportError
from brewwater.reports.grid import MAX_COLUMNS, MAX_ROWS, Grid, make_grid
from brewwater.reports.lines import MAX_LOOSE, Line, text_lines

MAX_BYTES = 30_000_000
MAX_TEXT_BYTES = 4_000_000
MAX_XLSX_BYTES = 40_000_000
# For the process that reads a pdf or a workbook.
SECONDS = 6.0
MEMORY = 480 * 1024 * 1024
FORMS = "pdf, csv, xlsx, html, md or txt"


@dataclass
class Content:
    """What a file holds: tables, loose lines by page, and remarks on what could not be read."""

    grids: list[Grid] = field(default_factory=list)
    lines: list[tuple[int | None, list[Line]]] = field(default_factory=list)
    remarks: list[tuple[str, str]] = field(default_factory=list)
    pages: int | None = None

    def texts(self) -> list[str]:
        """Every cell and line, for what is judged on the whole text."""
        cells = [c for g in self.grids for row in g.cells for c in row if c]
        return cells + [" ".join(c[2] for c in line) for _, lines in self.lines for line in lines if line]


def _no(path: str, value: str, limit: str, remedy: str) -> ReportError:
    return ReportError(f"report {path}", value, limit, remedy)


def read_file(path: Path) -> Content:
    """The content of a report file.

    Raises
    ------
    ReportError : the file is missing, empty, too large, encrypted, broken or of another form
    """
    name = path.name
    try:
        if not path.is_file():
            raise _no(name, str(path), "it is not a file", "Check the path.")
        size = path.stat().st_size
        if size == 0:
            raise _no(name, "0 bytes", "the file is empty", "Download or export it again.")
        if size > MAX_BYTES:
            raise _no(
                name,
                f"{size / 1e6:.0f} MB",
                f"a report may have up to {MAX_BYTES / 1e6:.0f} MB",
                "Give only the pages with the tables of results.",
            )
        with path.open("rb") as handle:
            head = handle.read(2048)
            if head.lstrip()[:5] == b"%PDF-" or b"%PDF-" in head[:1024]:
                return _pdf(path)
            if head[:4] == b"PK\x03\x04" or path.suffix.lower() in (".xlsx", ".xlsm"):
                return _xlsx(path)
            data = head + handle.read()
    except OSError as error:
        raise _no(name, str(path), f"it cannot be read ({type(error).__name__})", "Check the path.") from None
    return read_bytes(data, name)


def read_bytes(data: bytes, name: str) -> Content:
    """The content of a text file (csv, html, md, txt), from its bytes."""
    suffix = Path(name).suffix.lower()
    if suffix == ".pdf":
        raise _no(name, "no PDF header", "it is not a PDF although its name says so", "Download it again.")
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise _no(
            name,
            "an old or encrypted office file",
            f"a report is {FORMS}",
            "Save it without a password as xlsx or csv.",
        )
    if len(data) > MAX_TEXT_BYTES:
        raise _no(
            name,
            f"{len(data) / 1e6:.1f} MB of text",
            f"text may have up to {MAX_TEXT_BYTES / 1e6:.0f} MB",
            "Give only the part with the results.",
        )
    text = _decode(data, name)
    if text.count("<") > 200_000:
        raise _no(name, f"{text.count('<')} tags", "a page may have up to 200,000", "Give only the table of results.")
    start = text.lstrip()[:400].lower()
    marked = start.startswith(("<!doctype html", "<html", "<table", "<head", "<body"))
    if suffix in (".html", ".htm", ".xhtml") or marked:
        return _html(text)
    if suffix in (".csv", ".tsv"):
        return _csv(text)
    if suffix in (".md", ".markdown") or re.search(r"^\s*\|.*\|\s*$\n\s*\|[\s:|-]+\|\s*$", text, re.MULTILINE):
        return _markdown(text)
    return plain(text)


def _decode(data: bytes, name: str) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    if b"\x00" in data[:4096]:
        raise _no(name, "a binary file", f"a report is {FORMS}", "Export it in one of these forms.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def plain(text: str) -> Content:
    """Content of pasted or plain text."""
    delimiter = _delimiter(text)
    if delimiter is not None:
        return _csv(text, delimiter)
    return _bounded(Content(lines=[(None, text_lines(text))]), text)


def _bounded(content: Content, text: str) -> Content:
    if len(text) > MAX_LOOSE:
        content.remarks.append(("report_too_long", "Only the first part of the text was read; give the results alone."))
    return content


def _delimiter(text: str) -> str | None:
    """The delimiter of text whose lines nearly all have the same number of it, two or more."""
    lines = [line for line in text.splitlines()[:200] if line.strip()]
    for mark in (";", "|", ","):
        counts = [line.count(mark) for line in lines]
        if len(lines) >= 3 and counts:
            usual = max(set(counts), key=counts.count)
            if usual >= 2 and counts.count(usual) >= 0.8 * len(lines):
                return mark
    return None


def _csv(text: str, delimiter: str | None = None) -> Content:
    lines = text.splitlines()[:MAX_ROWS]
    if delimiter is None:
        counts = {m: sum(line.count(m) > 0 for line in lines[:200]) + 0.001 * text[:20000].count(m) for m in ";\t|,"}
        if counts[","] and counts[";"] and counts[";"] >= 0.5 * counts[","]:
            counts[","] = 0  # semicolons part the fields where commas are decimal marks
        delimiter = max(counts, key=lambda m: counts[m])
    csv.field_size_limit(1_000_000)
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter))
    except csv.Error:
        rows = [line.split(delimiter) for line in lines]
    content = Content()
    part: list[list[str]] = []
    # a blank line parts two tables only where a new header follows; keep them together otherwise
    for row in rows:
        part.append(row)
    grid = make_grid(part)
    if grid is not None:
        content.grids.append(grid)
    content.lines.append((None, [[(0.0, 1.0, r[0])] for r in rows if len([c for c in r if c.strip()]) == 1 and r[0]]))
    return content


def _xlsx(path: Path) -> Content:
    name = path.name
    try:
        with zipfile.ZipFile(path) as archive:
            infos = archive.infolist()
            whole = sum(i.file_size for i in infos)
            if any(i.flag_bits & 1 for i in infos):
                raise _no(name, "encrypted", "a report may have no password", "Save it without a password.")
            if len(infos) > 2000 or whole > MAX_XLSX_BYTES:
                raise _no(
                    name,
                    f"{whole / 1e6:.0f} MB unpacked",
                    f"up to {MAX_XLSX_BYTES / 1e6:.0f} MB are read",
                    "Save only the sheet with the results, as csv.",
                )
            if not any(i.filename.startswith("xl/") for i in infos):
                raise _no(name, "an archive", f"a report is {FORMS}", "Unpack it and give the file inside.")
    except ReportError:
        raise
    except Exception as error:  # zipfile raises many kinds on a broken archive
        raise _no(name, type(error).__name__, "the workbook is broken", "Save it again, or as csv.") from None
    found = _worker("xlsx", path)
    content = Content()
    for title, rows in found["sheets"]:
        grid = make_grid(rows, None, title)
        if grid is not None:
            content.grids.append(grid)
            lone = [[(0.0, 1.0, c) for c in r if c] for r in grid.cells if sum(c != "" for c in r) == 1]
            content.lines.append((None, lone))
    if found["stopped"]:
        content.remarks.append(("report_too_long", "The workbook is too large: only a part of it was read."))
    return content


class _Html(HTMLParser):
    """Tables and the text outside them. Scripts and styles are dropped unread."""

    _SKIP = frozenset({"script", "style", "noscript", "template", "svg", "iframe", "object"})
    _BREAK = frozenset({"br", "p", "div", "li", "h1", "h2", "h3", "h4", "h5", "h6", "tr", "dt", "dd", "section"})

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[tuple[str, list[list[str | None]]]] = []
        self.text: list[str] = []
        self._open: list[tuple[list[list[str | None]], dict[int, int]]] = []
        self._cell: list[str] | None = None
        self._span = (1, 1)
        self._skip = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in self._SKIP:
            self._skip += 1
        elif tag == "table" and len(self._open) < 5:
            self._open.append(([], {}))
            self._cell = None
        elif tag == "tr" and self._open:
            self._end_cell()
            self._new_row()
        elif tag in ("td", "th") and self._open:
            self._end_cell()
            if not self._open[-1][0]:
                self._new_row()
            scenario = dict(attrs)
            self._span = (_small(scenario.get("colspan")), _small(scenario.get("rowspan")))
            self._cell = []
        elif tag in ("sup",):
            self.handle_data("{")
        elif tag in self._BREAK:
            self.handle_data("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag in self._SKIP:
            self._skip = max(0, self._skip - 1)
        elif tag in ("td", "th", "tr"):
            self._end_cell()
        elif tag == "sup":
            self.handle_data("}")
        elif tag == "table" and self._open:
            self._end_cell()
            self._close_table()

    def _close_table(self) -> None:
        said = [t.strip() for t in "".join(self.text[-60:]).splitlines() if t.strip()]
        self.tables.append((said[-1] if said and len(said[-1]) < 100 else "", self._open.pop()[0]))

    def handle_data(self, data: str) -> None:
        if self._skip:
            return
        if self._cell is not None:
            self._cell.append(data)
        elif not self._open:
            self.text.append(data)

    def _new_row(self) -> None:
        rows, held = self._open[-1]
        if len(rows) < MAX_ROWS:
            rows.append([])
        self._fill(rows, held)

    def _fill(self, rows: list[list[str | None]], held: dict[int, int]) -> None:
        """Cells of an earlier row that reach down into this one stay blank here."""
        while held.get(len(rows[-1]), 0) > 0:
            held[len(rows[-1])] -= 1
            rows[-1].append(None)

    def _end_cell(self) -> None:
        if self._cell is None or not self._open:
            return
        rows, held = self._open[-1]
        text = re.sub(r"\{([^{}]*)\}", _superscript, "".join(self._cell))
        text = "\n".join(" ".join(p.split()) for p in text.split("\n") if p.strip())
        self._cell = None
        across, down = self._span
        for i in range(across):
            if len(rows[-1]) >= MAX_COLUMNS:
                break
            if down > 1:
                held[len(rows[-1])] = down - 1
            rows[-1].append(text if i == 0 else None)
        self._fill(rows, held)

    def close(self) -> None:
        super().close()
        self._end_cell()
        while self._open:
            self._close_table()


def _superscript(match: re.Match[str]) -> str:
    """A raised sign of a unit or an ion stays; a raised figure or letter is a footnote mark."""
    inner = match.group(1).strip()
    return inner if re.fullmatch(r"[-+−]?\d?[-+−]?", inner) and re.search(r"[-+−]", inner) else "{" + inner[:4] + "}"


def _small(text: str | None) -> int:
    return min(int(text), 60) if text and text.isdigit() and len(text) < 4 and int(text) > 0 else 1


def _html(text: str) -> Content:
    parser = _Html()
    parser.feed(text)
    parser.close()
    grids = [g for title, t in parser.tables if (g := make_grid(t, None, title)) is not None]
    text = "".join(parser.text)
    return _bounded(Content(grids=grids, lines=[(None, text_lines(text))]), text)


def _markdown(text: str) -> Content:
    content = Content()
    rest: list[str] = []
    part: list[list[str | None]] = []

    def close() -> None:
        said = [r.strip() for r in rest[-3:] if r.strip()]
        grid = make_grid(part, None, said[-1] if said and len(said[-1]) < 100 else "") if part else None
        if grid is not None:
            content.grids.append(grid)
        part.clear()

    for line in text.splitlines()[: 5 * MAX_ROWS]:
        bare = line.strip()
        if bare.count("|") >= 2 or (part and "|" in bare):
            if not re.fullmatch(r"[\s|:+-]+", bare):
                cells = re.split(r"(?<!\\)\|", bare.removeprefix("|").removesuffix("|"))
                part.append([re.sub(r"\*\*|__|`", "", c).replace("<br>", "\n").strip() for c in cells])
            continue
        close()
        rest.append(re.sub(r"\*\*|__|`|^[#>\s]+|^\s*[-*+]\s+", "", line))
    close()
    content.lines.append((None, text_lines("\n".join(rest))))
    return content


_WHY = {
    "encrypted": ("encrypted", "a report may have no password", "Save a copy without a password."),
    "memory": (
        "too large inside",
        "reading it needs more memory than is allowed",
        "Give only the pages with the tables of results.",
    ),
    "broken": ("not readable", "its structure is broken", "Download it again, or save it once more."),
}


def _worker(kind: str, path: Path) -> dict[str, Any]:
    """A file read in a process of its own, so that it can be stopped in time and held in memory."""
    script = Path(__file__).with_name("worker.py")
    command = [sys.executable, "-I", str(script), kind, str(path.resolve()), str(SECONDS), str(MEMORY)]
    try:
        done = subprocess.run(command, capture_output=True, timeout=SECONDS + 2, check=False)
    except subprocess.TimeoutExpired:
        raise _no(
            path.name,
            f"over {SECONDS:.0f} s",
            "it takes too long to read",
            "Give only the pages with the tables of results.",
        ) from None
    try:
        found: dict[str, Any] = json.loads(done.stdout)
    except ValueError:
        found = {"error": "memory" if done.returncode else "broken"}
    if "error" in found:
        raise _no(path.name, *_WHY[found["error"]])
    return found


def _pdf(path: Path) -> Content:
    found = _worker("pdf", path)
    whole = int(found["of"])
    content = Content(pages=whole)
    for number, page in enumerate(found["pages"], start=1):
        content.grids += [g for title, t in page["tables"] if (g := make_grid(t, number, title)) is not None]
        content.lines.append((number, [[(c[0], c[1], c[2]) for c in line] for line in page["lines"]]))
    read = len(found["pages"])
    if found["stopped"] in ("pages", "time") or read < whole:
        content.remarks.append(
            (
                "report_too_long",
                f"Only the first {read} of {whole} pages were read; give the pages with the tables alone.",
            )
        )
    elif found["stopped"] == "dense":
        content.remarks.append(("page_too_dense", "A page holds too much to be a table of results; it was left out."))
    if not any(page.get("chars") for page in found["pages"]):
        content.remarks.append(
            (
                "no_text",
                "The pages hold pictures and no text (a scan): type the values by hand, or ask for the original file.",
            )
        )
    return content
