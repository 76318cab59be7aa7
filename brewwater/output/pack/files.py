"""The packs as files: each as HTML and PDF, within its number of pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

from brewwater.errors import InputError
from brewwater.output.owner import Owner
from brewwater.output.pack.pages import client_pages, inspector_pages
from brewwater.output.pack.sections import Pack
from brewwater.output.sheet.content import SheetPage
from brewwater.output.sheet.files import paper
from brewwater.output.sheet.html import html_text
from brewwater.output.sheet.pdf import pdf_with_pages
from brewwater.plan import Plan

CLIENT_PAGES, INSPECTOR_PAGES = 8, 2
# Rows of a list, tried in turn until the pages are enough; what is left out is counted on the page.
_ROWS = (24, 18, 12, 8, 5, 3, 2)


def pack_files(plan: Plan, owner: Owner | None = None, made: dt.date | None = None) -> dict[str, bytes]:
    """``client.pdf`` (at most eight pages), ``inspector.pdf`` (at most two), and the same as ``.html``.

    Parameters
    ----------
    plan : of a document that holds the unit's log
    owner : who gives it out
    made : the day it is made on, today by default
    """
    pack = Pack(plan, tuple(plan.document.readings), owner or Owner(), made or dt.date.today())
    found: dict[str, bytes] = {}
    for name, make, most in (("client", client_pages, CLIENT_PAGES), ("inspector", inspector_pages, INSPECTOR_PAGES)):
        title = f"{plan.document.name}: {'water pack' if name == 'client' else 'for the inspector'}"
        pages, pdf = _within(pack, make, most, title)
        found |= {f"{name}.html": html_text(pages, title).encode(), f"{name}.pdf": pdf}
    return found


def _within(
    pack: Pack, make: Callable[[Pack, int], tuple[SheetPage, ...]], most: int, title: str
) -> tuple[tuple[SheetPage, ...], bytes]:
    """The pages with as many rows as fit on so many sheets of paper, and their PDF."""
    for rows in _ROWS:
        pages = make(pack, rows)
        pdf, count = pdf_with_pages(pages, title, paper(pack.plan))
        if count <= most:
            break
    return pages, pdf


def write_files(found: dict[str, bytes], folder: Path, field: str = "--out") -> list[Path]:
    """Write files into a folder, made where it is missing; files of the same name are replaced.

    Raises
    ------
    InputError : the folder cannot be written
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in found.items():
            (folder / name).write_bytes(content)
    except OSError as error:
        why = f"it cannot be written ({error.strerror})"
        raise InputError(field, str(folder), why, "Name a folder that you may write to.") from None
    return [folder / name for name in found]
