"""``read_report`` and ``read_text``: content to rows, rows to supplies, what is doubtful said aloud."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from brewwater.errors import ReportError
from brewwater.reports import disinfectant
from brewwater.reports.analysis import Disinfectant, Measurement
from brewwater.reports.bounded import Watch
from brewwater.reports.checks import cross_check
from brewwater.reports.grid import Grid
from brewwater.reports.layout import page_lines
from brewwater.reports.pages import line_texts, read_page
from brewwater.reports.places import parted, places, repeated_heads
from brewwater.reports.readings import analysis_of
from brewwater.reports.report import Problem, Report, Row, Unread
from brewwater.reports.settle import OTHER_TONGUE, calcium_basis, drop_repeats, name_supplies, row_problems, settle
from brewwater.reports.values import decimal_mark
from brewwater.reports.words import Page, Source


def read_report(path: str | Path, watch: Watch | None = None) -> Report:
    """Read a water report: pdf, csv, xlsx, html, json, md or txt.

    Parameters
    ----------
    path : the file, up to 30 MB; of a pdf the first 60 pages are read. Nothing in it is executed. A picture, and a
        pdf of pictures, is read where the extra ``brewwater[scan]`` is installed.
    watch : hears how far the reading of a picture is, and can stop it

    Returns
    -------
    Report : rows as printed, problems, and for each supply an analysis in intervals with unit and basis

    Raises
    ------
    ReportError : the file is missing, empty, too large, encrypted, broken or of another form
    Cancelled : the watch has stopped it (``brewwater.reports.bounded``)

    Sources of the names, units and plausible ranges: reference/analyte_stems.csv, report_units.csv,
    report_limits.csv, plausible_ranges.csv.
    """
    from brewwater.reports.handed import report_of

    return report_of(Path(path), watch)


def read_text(text: str, name: str = "pasted text") -> Report:
    """Read a report from pasted text (lines, tab or semicolon separated).

    Raises
    ------
    ReportError : the text is empty or over 4 million characters
    """
    if not text.strip():
        raise ReportError("report", "empty text", "nothing was pasted", "Paste the lines with the results.")
    if len(text) > 4_000_000:
        raise ReportError("report", f"{len(text)} characters", "up to 4,000,000 are read", "Paste only the results.")
    from brewwater.reports.handed import report_from

    return report_from("text", {"text": text, "name": name}, name)


def read_content(content: Source, name: str) -> Report:
    """A report from its words."""
    lines = [page_lines(page) for page in content.pages]
    texts = [text for page in lines for text in line_texts(page)]
    mark = decimal_mark(texts)
    rows: list[Row] = []
    unread: list[Unread] = []
    pages: Sequence[Page] = content.pages
    named = places([line_texts(page) for page in lines])
    if not any(named):
        pages, named = parted(pages, lines, repeated_heads([line_texts(page) for page in lines]))
        lines = [page_lines(page) for page in pages]
    before: str | None = None
    table: Grid | None = None
    unit = ""
    for page, its_lines, its_places in zip(pages, lines, named, strict=True):
        its_rows, open_, table, unit = read_page(
            page, its_lines, mark, numbered=content.numbered, places=its_places, before=before, table=table, unit=unit
        )
        rows += its_rows
        unread += open_
        before = its_places[-1][1] if its_places else before
    problems = [Problem(code, None, message) for code, message in content.remarks]
    rows = drop_repeats(rows)
    rows, supplies = name_supplies(rows, name)
    english = not OTHER_TONGUE.search(" ".join(texts)[:200_000])
    if not any(r.analyte == "haloacetic_acids" for r in rows):
        rows = [replace(r, analyte="haloacetic_acids") if r.analyte == "haa5" else r for r in rows]
    rows = [settle(r, english) for r in rows]
    rows, found = calcium_basis(rows, supplies)
    problems += found
    for row in rows:
        problems += row_problems(row)
    readings: dict[str, dict[str, Measurement]] = {}
    kinds: dict[str, Disinfectant] = {}
    said, sentence = disinfectant.from_text(texts)
    for supply in supplies:
        readings[supply], found = analysis_of(rows, supply)
        problems += found
        problems += [Problem(f.code, f.field, f"{supply}: {f.message}", supply) for f in cross_check(readings[supply])]
        by_value = disinfectant.from_values(readings[supply])
        kinds[supply] = by_value if by_value != "unknown" else said
        if by_value != "unknown" and said not in ("unknown", by_value):
            kinds[supply] = "unknown"
            problems.append(
                Problem(
                    "disinfectant_conflict",
                    "total_chlorine",
                    f"{supply}: the figures say {by_value}, a sentence says otherwise: {sentence}",
                    supply,
                )
            )
    if said == "unknown" and sentence:
        problems.append(Problem("disinfectant_conflict", "total_chlorine", f"The sentences differ: {sentence}"))
    if not rows:
        problems.append(Problem("nothing_found", None, "No value of a known analyte was found in the report."))
    return Report(
        rows=tuple(rows),
        supplies=supplies,
        problems=tuple(dict.fromkeys(problems)),
        name=name,
        pages=len(content.pages) if content.numbered else None,
        unread=tuple(unread),
        disinfectants=kinds,
        notice=disinfectant.notice_in(texts),
        readings=readings,
    )
