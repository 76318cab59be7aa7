"""The record of a unit: what was read and done, as pages to show an inspector or to argue a warranty with."""

from __future__ import annotations

from collections.abc import Sequence

from brewwater.log.entry import EVENTS, Reading, standing_readings
from brewwater.output.sheet.content import Section, SheetPage, Table, number
from brewwater.output.sheet.html import html_text
from brewwater.output.sheet.pdf import pdf_bytes
from brewwater.output.vocabulary import LOG, METHODS

WIDTHS = (2.2, 3, 2.6, 2.6, 2, 4, 2.6)


def record_page(unit: str, readings: Sequence[Reading]) -> SheetPage:
    """Every line of the log that still counts, by date; then the corrected and withdrawn ones, so that nothing is
    hidden.

    Parameters
    ----------
    unit : name of the unit
    readings : the whole log, corrections included
    """
    standing = standing_readings(readings)
    kept = {line.id for line in standing}
    replaced = [line for line in readings if line.id not in kept]
    done = [line for line in standing if line.kind in EVENTS]
    span = f"{min(r.date for r in readings)} to {max(r.date for r in readings)}" if readings else "no entries"
    header = ("Date", "What", "Value", "Where", "Method", "Note", "Written")
    sections = [
        Section(
            "Summary",
            (
                f"{len(standing) - len(done)} readings and {len(done)} works, {span}. {len(replaced)} lines corrected "
                "or withdrawn, listed at the end.",
            ),
        ),
        Section("Works", table=Table(header, tuple(_row(r) for r in _by_date(done)), WIDTHS)),
        Section(
            "Readings", table=Table(header, tuple(_row(r) for r in _by_date(standing) if r.kind not in EVENTS), WIDTHS)
        ),
    ]
    if replaced:
        sections.append(
            Section("Corrected or withdrawn", table=Table(header, tuple(map(_row, _by_date(replaced))), WIDTHS))
        )
    return SheetPage("record", f"Record of {unit}", "As written in the log", tuple(sections), landscape=True)


def record_files(unit: str, readings: Sequence[Reading], paper_size: str = "A4") -> dict[str, bytes]:
    """The record as ``record.html`` and ``record.pdf``; ``paper_size`` "A4" or "letter"."""
    page, title = record_page(unit, readings), f"{unit}: record"
    return {"record.html": html_text([page], title).encode(), "record.pdf": pdf_bytes([page], title, paper_size)}


def _by_date(lines: Sequence[Reading]) -> list[Reading]:
    return sorted(lines, key=lambda r: (r.date, r.recorded_at))


def _row(line: Reading) -> tuple[str, ...]:
    value = "" if line.value is None else f"{number(line.value, 6)} {line.unit}".strip()
    written = " ".join(filter(None, (line.recorded_at[:10], line.recorded_by)))
    return (
        line.date.isoformat(),
        LOG.inside(line.kind),
        value,
        line.where,
        METHODS.inside(line.method),
        line.note,
        written,
    )
