"""A report handed from the process that reads it to the one that asked for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from brewwater.reports.bounded import Limits, Watch, run
from brewwater.reports.places_on_page import boxes_of
from brewwater.reports.report import Report
from brewwater.reports.words import Source


@cache
def _form() -> TypeAdapter[Report]:
    return TypeAdapter(Report)


def report_from(
    task: str, arguments: Mapping[str, Any], name: str, limits: Limits | None = None, watch: Watch | None = None
) -> Report:
    """The report that a task of ``bounded.TASKS`` reads, in a process of its own. Raises what ``bounded.run`` does."""
    return _form().validate_python(run(task, arguments, name, limits or Limits(), watch), strict=False)


def packed(report: Report, source: Source) -> Any:
    """A report as something for JSON, with where its rows stand on the pages it was read from."""
    rows = boxes_of(source.pages, [(r.page if source.numbered else None, r.text) for r in report.rows])
    unread = boxes_of(source.pages, [(u.page if source.numbered else None, u.text) for u in report.unread])
    return _form().dump_python(replace(report, boxes=rows, unread_boxes=unread), mode="json")


def report_of(file: Path, watch: Watch | None = None) -> Report:
    """The report in a file: its text, or where it is a picture what can be recognised in it.

    Raises
    ------
    ReportError : it cannot be read, or is a picture and the extra that reads pictures is not installed
    Cancelled : the watch asked to stop
    """
    from brewwater.reports import scan

    arguments = {"path": str(file)}
    picture = False
    with suppress(OSError), file.open("rb") as handle:
        picture = scan.is_picture(handle.read(16))
    if picture:
        if not scan.available():
            raise scan.no_extra(file.name)
        return report_from("scan", arguments, file.name, scan.LIMITS, watch)
    report = report_from("report", arguments, file.name, None, watch)
    if not any(p.code == "no_text" for p in report.problems):
        return report
    if scan.available():
        return report_from("scan", arguments, file.name, scan.LIMITS, watch)
    problems = tuple(
        replace(p, message=f"{p.message} Reading pictures needs the extra scan ({scan.INSTALL}).")
        if p.code == "no_text"
        else p
        for p in report.problems
    )
    return replace(report, problems=problems)


def report_task(path: str, tell: Callable[[Any], None]) -> Any:
    """Read a file in this process, whatever it costs."""
    from brewwater.reports.files import read_file
    from brewwater.reports.reading import read_content

    del tell
    file = Path(path)
    source = read_file(file)
    return packed(read_content(source, file.stem or file.name), source)


def text_task(text: str, name: str, tell: Callable[[Any], None]) -> Any:
    """Read pasted text in this process, whatever it costs."""
    from brewwater.reports.files import plain
    from brewwater.reports.reading import read_content

    del tell
    source = plain(text)
    return packed(read_content(source, name), source)


def page_task(path: str, number: int, width: int, tell: Callable[[Any], None]) -> Any:
    """A page of a PDF, or a picture, as PNG of that width in pixels: ``{"png": base64}``."""
    import base64
    import io

    from PIL import Image, ImageOps

    del tell
    file = Path(path)
    if file.suffix.lower() == ".pdf":
        import pypdfium2

        document = pypdfium2.PdfDocument(file)
        page = document[number - 1]
        wide, high = page.get_size()
        scale = min(width / max(wide, 1.0), 3000 / max(high, 1.0))
        picture = page.render(scale=scale).to_pil().convert("RGB")
    else:
        with Image.open(file) as opened:
            opened.draft("RGB", (2 * width, 3 * width))
            picture = ImageOps.exif_transpose(opened).convert("RGB")
        picture.thumbnail((width, 3 * width))
    made = io.BytesIO()
    picture.save(made, "PNG")
    return {"png": base64.b64encode(made.getvalue()).decode()}
