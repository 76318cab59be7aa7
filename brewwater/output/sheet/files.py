"""Write a plan's printable sheet, calendar and tables into a folder."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from brewwater.errors import InputError
from brewwater.output.calendar_file import calendar_file
from brewwater.output.result import plan_result
from brewwater.output.sheet.html import html_text
from brewwater.output.sheet.pages import pages
from brewwater.output.sheet.pdf import pdf_bytes
from brewwater.output.tables import csv_text, tables, workbook
from brewwater.plan import Plan


def files(plan: Plan, now: dt.datetime | None = None) -> dict[str, bytes]:
    """Every file of the sheet, by name: ``plan.html``, ``plan.pdf``, ``changes.ics``, ``tables.xlsx``
    and a CSV for each table.

    Parameters
    ----------
    plan : a plan
    now : when the calendar was made; the clock's by default
    """
    title = f"{plan.document.name}: water plan"
    result = plan_result(plan)
    sheet, rows = pages(plan, result), tables(plan, result)
    found = {
        "plan.html": html_text(sheet, title).encode(),
        "plan.pdf": pdf_bytes(sheet, title, "A4" if plan.document.units == "metric" else "letter"),
        "changes.ics": calendar_file(plan, now),
        "tables.xlsx": workbook(rows),
    }
    return found | {f"{name}.csv": csv_text(table).encode("utf-8-sig") for name, table in rows.items()}


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
