"""Write a plan's printable sheet, calendar and tables into a folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from brewwater.errors import InputError
from brewwater.output.answer import answer
from brewwater.output.calendar_file import calendar_file
from brewwater.output.numbers import Words
from brewwater.output.result import plan_result
from brewwater.output.sheet.content import SheetPage
from brewwater.output.sheet.html import html_text
from brewwater.output.sheet.one_page import one_page, page_html
from brewwater.output.sheet.pages import pages
from brewwater.output.sheet.pdf import pdf_bytes, svg_pdf
from brewwater.output.tables import csv_text, tables, workbook
from brewwater.plan import Plan


def files(plan: Plan, now: dt.datetime | None = None) -> dict[str, bytes]:
    """Every file of the sheet, by name: ``plan.html`` and ``plan.pdf`` (one page), each other sheet as ``.html`` and
    ``.pdf`` under its own name, ``changes.ics``, ``tables.xlsx`` and a CSV for each table.

    Parameters
    ----------
    plan : a plan
    now : when the calendar was made; the clock's by default
    """
    result = plan_result(plan)
    rows = tables(plan, result)
    found = one_page_files(plan)
    for page in pages(plan, result):
        found |= sheet_files(plan, [page], page.key)
    found |= {"changes.ics": calendar_file(plan, now), "tables.xlsx": workbook(rows)}
    return found | {f"{name}.csv": csv_text(table).encode("utf-8-sig") for name, table in rows.items()}


def paper(plan: Plan) -> Literal["A4", "letter"]:
    """The reader's paper."""
    return "A4" if plan.document.units == "metric" else "letter"


def one_page_files(plan: Plan) -> dict[str, bytes]:
    """The plan on one page, as ``plan.html`` and ``plan.pdf``."""
    title, size = f"{plan.document.name}: water plan", paper(plan)
    told = answer(plan, Words(plan.document.units == "metric"))
    svg = one_page(told, plan.document.demand.calendar, size)
    return {"plan.html": page_html(svg, title, size).encode(), "plan.pdf": svg_pdf(svg, title, size)}


def sheet_files(plan: Plan, chosen: Sequence[SheetPage], name: str) -> dict[str, bytes]:
    """Chosen sheets as one HTML and one PDF file."""
    title = f"{plan.document.name}: {', '.join(p.title for p in chosen)}"[:200]
    return {f"{name}.html": html_text(chosen, title).encode(), f"{name}.pdf": pdf_bytes(chosen, title, paper(plan))}


def write_all(plan: Plan, folder: Path) -> list[Path]:
    """Write ``files`` into a folder, made where it is missing; files of the same name are replaced.

    Raises
    ------
    InputError : the folder cannot be written
    """
    made = files(plan)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in made.items():
            (folder / name).write_bytes(content)
    except OSError as error:
        raise InputError(
            "out", str(folder), f"it cannot be written ({error.strerror})", "Name a folder that you may write to."
        ) from None
    return [folder / name for name in made]
