"""The record of a unit on paper."""

from __future__ import annotations

import datetime as dt
import io

import pdfplumber

from brewwater.log.entry import Reading
from brewwater.output.sheet.record import record_files, record_page

DAY = dt.date(2027, 3, 1)


def log() -> list[Reading]:
    wrong = Reading(date=DAY, kind="hardness", value=510, unit="ppm", where="served")
    right = Reading(date=DAY, kind="hardness", value=51, unit="ppm", where="served", corrects=wrong.id)
    change = Reading(date=DAY + dt.timedelta(days=3), kind="changed_cartridge", where="Resin", note="<b>leaked</b>")
    meter = Reading(date=DAY - dt.timedelta(days=3), kind="meter_gal", value=384, unit="gal")
    return [wrong, right, change, meter]


def test_every_line_is_on_the_record() -> None:
    sections = {s.heading: s for s in record_page("Corner cart", log()).sections}
    tables = {name: s.table.rows for name, s in sections.items() if s.table}
    assert [row[2] for row in tables["Readings"]] == ["384 gal", "51 ppm"]
    assert [row[3] for row in tables["Works"]] == ["Resin"]
    assert [row[2] for row in tables["Corrected or withdrawn"]] == ["510 ppm"]
    assert sections["Summary"].lines[0].startswith("2 readings and 1 works, 2027-02-26 to 2027-03-04. 1 lines")


def test_record_in_html_and_pdf() -> None:
    found = record_files("Corner cart", log())
    assert b"&lt;b&gt;leaked" in found["record.html"]
    with pdfplumber.open(io.BytesIO(found["record.pdf"])) as pdf:
        text = pdf.pages[0].extract_text()
    assert "Record of Corner cart" in text
    assert "384 gal" in text


def test_empty_log() -> None:
    assert "no entries" in record_page("Corner cart", []).sections[0].lines[0]
    assert record_files("Corner cart", [])["record.pdf"].startswith(b"%PDF")


def test_a_long_log_runs_over_pages_with_its_header() -> None:
    many = [Reading(date=DAY + dt.timedelta(days=i), kind="meter_gal", value=10 * i, unit="gal") for i in range(120)]
    with pdfplumber.open(io.BytesIO(record_files("Corner cart", many)["record.pdf"])) as pdf:
        texts = [page.extract_text() for page in pdf.pages]
    assert len(texts) > 2
    assert all("Method" in text for text in texts)
    assert "1,190 gal" in texts[-1]
