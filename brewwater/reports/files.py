"""From a file to words with boxes, whatever its form; guards against hostile and broken files.

Nothing in a file is executed or fetched: no formula is evaluated, no script run, no link followed.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from brewwater.errors import ReportError
from brewwater.reports.pdfwords import extract
from brewwater.reports.sheets import stopwatch, workbook
from brewwater.reports.words import Page, Source, Word

MAX_BYTES = 30_000_000
MAX_TEXT_BYTES = 4_000_000
MAX_XLSX_BYTES = 40_000_000
# Seconds after which the rest of a pdf or a workbook is left unread, and said so.
SECONDS = 10.0
MAX_ROWS, MAX_COLUMNS = 4000, 200
# Characters of loose text, and lines, that are read: a long report's text has under a tenth of it.
MAX_LOOSE, MAX_LINES, MAX_LINE = 600_000, 12_000, 2000
FORMS = "pdf, csv, xlsx, html, json, md or txt"


def _no(path: str, value: str, limit: str, remedy: str) -> ReportError:
    return ReportError(f"report {path}", value, limit, remedy)


def read_file(path: Path) -> Source:
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


def read_bytes(data: bytes, name: str) -> Source:
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
    if suffix == ".json" or (text.lstrip()[:1] in "[{" and text.rstrip()[-1:] in "]}"):
        found = _json(text)
        if found is not None:
            return found
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


def plain(text: str) -> Source:
    """Pasted or plain text as words: x counts characters, y lines."""
    delimiter = _delimiter(text)
    if delimiter is not None:
        return _csv(text, delimiter)
    return _source([_text_page(text, 1)], text)


def _source(pages: Sequence[Page | None], text: str = "", remarks: Sequence[tuple[str, str]] = ()) -> Source:
    """Pages of a file that has no page numbers of its own, counted in their order."""
    kept = [p for p in pages if p is not None]
    numbered = tuple(
        replace(p, number=i, words=tuple(replace(w, page=i) for w in p.words)) for i, p in enumerate(kept, start=1)
    )
    said = list(remarks)
    if len(text) > MAX_LOOSE:
        said.append(("report_too_long", "Only the first part of the text was read; give the results alone."))
    return Source(numbered, tuple(said), numbered=False)


def _text_page(text: str, number: int) -> Page:
    lines = text[:MAX_LOOSE].expandtabs(8).splitlines() if "\t" not in text else _tabbed(text[:MAX_LOOSE])
    words = tuple(
        Word(m.group(), number, float(m.start()), float(y), float(m.end()), y + 1.0)
        for y, line in enumerate(lines[:MAX_LINES])
        for m in re.finditer(r"\S+", line[:MAX_LINE])
    )
    return Page(number, max((w.x1 for w in words), default=1.0), float(len(lines)), words, form="text")


def _tabbed(text: str) -> list[str]:
    """Tabs as wide columns of equal width, so that cells line up however long they are."""
    lines = text.splitlines()
    widths: list[int] = []
    for line in lines:
        for j, part in enumerate(line.split("\t")[:60]):
            if j == len(widths):
                widths.append(0)
            if "\t" in line:
                widths[j] = max(widths[j], min(len(part), 200))
    return ["".join(p[:200].ljust(widths[j] + 3) for j, p in enumerate(line.split("\t")[:60])) for line in lines]


def _grid_page(rows: Sequence[Sequence[str | None]], title: str = "", above: Sequence[str] = ()) -> Page | None:
    """A table's cells as words; None in a cell is the reach of the one before it or above it.

    ``above`` are the lines that stand over it; the last of them is its title where none is given.
    """
    title = title or (above[-1] if above and len(above[-1]) < 100 else "")
    words = []
    width = 0
    for y, row in enumerate(rows[:MAX_ROWS]):
        width = max(width, min(len(row), MAX_COLUMNS))
        for x, cell in enumerate(row[:MAX_COLUMNS]):
            text = _clean(cell)
            if text:
                reach = x + 1
                while reach < len(row) and row[reach] is None:
                    reach += 1
                words.append(Word(text, 1, float(x), float(y), float(reach), y + 1.0))
    if not words:
        return None
    return Page(1, float(width), float(len(rows)), tuple(words), form="grid", title=title, above=tuple(above))


def _clean(cell: str | None) -> str:
    if cell is None:
        return ""
    text = "".join(c if c.isprintable() or c == "\n" else " " for c in str(cell)[:2000])
    return text.strip().removeprefix("'") if text.strip() not in ("nan", "None") else ""


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


def _json(text: str) -> Source | None:
    """Records of a JSON document (the longest list of objects in it) as a table; None where there is none."""
    try:
        whole = json.loads(text)
    except (ValueError, RecursionError):
        return None
    found: list[list[dict[str, Any]]] = []

    def look(part: Any, depth: int) -> None:
        if isinstance(part, list) and len(part) and all(isinstance(x, dict) for x in part):
            found.append(part)
        if depth < 4:
            inner = part.values() if isinstance(part, dict) else part if isinstance(part, list) else ()
            for x in list(inner)[:100]:
                look(x, depth + 1)

    look(whole, 0)
    if not found:
        return _source([_grid_page([[k, str(v)] for k, v in whole.items()])]) if isinstance(whole, dict) else None
    records = max(found, key=len)[:MAX_ROWS]
    keys = list(dict.fromkeys(k for r in records for k, v in r.items() if not isinstance(v, dict | list)))[:MAX_COLUMNS]
    rows = [["" if r.get(k) is None else str(r.get(k)) for k in keys] for r in records]
    return _source([_grid_page([keys, *rows])])


def _csv(text: str, delimiter: str | None = None) -> Source:
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
    lone = "\n".join(r[0] for r in rows if r and r[0] and len([c for c in r if c.strip()]) == 1)
    return _source([_grid_page(rows), _text_page(lone, 1) if lone else None])


def _xlsx(path: Path) -> Source:
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
    try:
        found = _checked(workbook(str(path), SECONDS), path)
    except (MemoryError, ReportError):
        raise
    except Exception:  # openpyxl and zipfile raise many kinds on a broken workbook
        raise _no(path.name, *_WHY["broken"]) from None
    remarks = []
    if found["stopped"]:
        remarks.append(("report_too_long", "The workbook is too large: only a part of it was read."))
    return _source([_grid_page(rows, title) for title, rows in found["sheets"]], "", remarks)


class _Html(HTMLParser):
    """Tables and the text outside them. Scripts and styles are dropped unread."""

    _SKIP = frozenset({"script", "style", "noscript", "template", "svg", "iframe", "object"})
    _BREAK = frozenset({"br", "p", "div", "li", "h1", "h2", "h3", "h4", "h5", "h6", "tr", "dt", "dd", "section"})

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[tuple[tuple[str, ...], list[list[str | None]]]] = []
        self._told = 0
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
            attributes = dict(attrs)
            self._span = (_small(attributes.get("colspan")), _small(attributes.get("rowspan")))
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
        since = self.text[max(self._told, len(self.text) - 60) :]
        self.tables.append((tuple(t.strip() for t in "".join(since).splitlines() if t.strip()), self._open.pop()[0]))
        self._told = len(self.text) if not self._open else self._told

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
    return min(int(text), 60) if text and text.isdecimal() and len(text) < 4 and int(text) > 0 else 1


def _html(text: str) -> Source:
    parser = _Html()
    parser.feed(text)
    parser.close()
    text = "".join(parser.text)
    return _source([*(_grid_page(t, above=above) for above, t in parser.tables), _text_page(text, 1)], text)


def _markdown(text: str) -> Source:
    pages: list[Page | None] = []
    rest: list[str] = []
    part: list[list[str | None]] = []

    def close() -> None:
        if part:
            pages.append(_grid_page(part, above=[r.strip() for r in rest[-8:] if r.strip()]))
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
    return _source([*pages, _text_page("\n".join(rest), 1)], text)


_WHY = {
    "encrypted": ("encrypted", "a report may have no password", "Save a copy without a password."),
    "memory": (
        "too large inside",
        "reading it needs more memory than is allowed",
        "Give only the pages with the tables of results.",
    ),
    "broken": ("not readable", "its structure is broken", "Download it again, or save it once more."),
}


def _checked(found: dict[str, Any], path: Path) -> dict[str, Any]:
    if "error" in found:
        raise _no(path.name, *_WHY[found["error"]])
    return found


def _pdf(path: Path) -> Source:
    found = _checked(extract(str(path), stopwatch(SECONDS)), path)
    whole = int(found["of"])
    pages = tuple(
        Page(
            number,
            page["width"],
            page["height"],
            tuple(Word(t, number, x0, y0, x1, y1) for t, x0, y0, x1, y1 in page["words"]),
        )
        for number, page in enumerate(found["pages"], start=1)
    )
    remarks = []
    read = len(pages)
    if found["stopped"] in ("pages", "time") or read < whole:
        remarks.append(
            (
                "report_too_long",
                f"Only the first {read} of {whole} pages were read; give the pages with the tables alone.",
            )
        )
    elif found["stopped"] == "dense":
        remarks.append(("page_too_dense", "A page holds too much to be a table of results; it was left out."))
    if not any(page.words for page in pages):
        remarks.append(
            (
                "no_text",
                "The pages hold pictures and no text (a scan): type the values by hand, or ask for the original file.",
            )
        )
    return Source(pages, tuple(remarks))
