"""The pack of a unit, read back by something that did not write it."""

from __future__ import annotations

import datetime as dt
import io
import re
import struct
import zlib
from functools import cache
from pathlib import Path
from typing import Any

import pdfplumber
import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from brewwater import cli
from brewwater.errors import InputError
from brewwater.log.entry import Reading
from brewwater.output.owner import LOGO_PIXELS, LOGO_SIZE, clean_logo, owner_of
from brewwater.output.pack.files import pack_files
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document, load_document
from brewwater.planning.quick import quick_document
from brewwater.store import Store
from tests.unit.test_sheet_files import document

MADE = dt.date(2027, 6, 1)
EVIL = "<script>alert(1)</script>"


def a_log(weeks: int) -> list[dict[str, Any]]:
    """Tests, changes and sanitising every other week; some past the limits below, one corrected."""
    lines: list[Reading] = []
    for n in range(weeks):
        day, by = dt.date(2027, 1, 5) + dt.timedelta(days=14 * n), f"hand{n % 2}@example.org"
        common = {"date": day, "recorded_by": by, "recorded_at": f"{day}T09:00:00Z"}
        tested = {**common, "where": "served", "method": "drop_kit", "unit": "ppm"}
        lines.append(Reading(kind="hardness", value=60 + 7 * (n % 6), **tested))
        lines.append(Reading(kind="alkalinity", value=40 + 5 * (n % 4), **tested))
        lines.append(Reading(kind="changed_cartridge", where="Carbon", note=f"{EVIL} {n}", **common))
        lines.append(Reading(kind="sanitised", note=f"Bleach, round {n}", **common))
    lines.append(lines[0].model_copy(update={"id": "f" * 32, "value": 61.5, "corrects": lines[0].id}))
    return [line.model_dump(mode="json") for line in lines]


@cache
def unit_of(which: str) -> Plan:
    if which == "cart":
        made = document(readings=a_log(36), name=f"Corner cart {EVIL}")
        made["machines"][0] |= {"hardness_max_mg_L_as_CaCO3": 90, "alkalinity_max_mg_L_as_CaCO3": 100}
        made["machines"][0] |= {"chloride_max_mg_L": 30}
        return make_plan(load_document(made), search=False)
    draws = {"settings": {"draws": 64}}
    if which == "trailer":
        grit = {"name": "Grit", "medium": "sediment"}
        return make_plan(
            load_document(demo_document().model_dump(mode="json") | draws | {"train": [grit]}), search=False
        )
    kiosk = quick_document(hardness=290, alkalinity=240, drinks=120).model_dump(mode="json")
    stages = document()["train"]
    return make_plan(load_document(kiosk | draws | {"train": stages, "units": "metric"}), search=False)


@cache
def papers(which: str) -> dict[str, bytes]:
    logo = io.BytesIO()
    Image.new("RGB", (300, 100), "navy").save(logo, "PNG")
    return pack_files(unit_of(which), owner_of("Invented Water Works", logo.getvalue()), MADE)


@pytest.fixture(params=["cart", "trailer", "kiosk"])
def made(request: pytest.FixtureRequest) -> tuple[Plan, dict[str, bytes]]:
    return unit_of(request.param), papers(request.param)


@cache
def texts(data: bytes) -> list[str]:
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        return [page.extract_text() for page in pdf.pages]


def cells(data: bytes, header: str) -> list[list[str]]:
    """The rows of the tables whose first head is ``header``, over all pages."""
    found = []
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        for page in pdf.pages:
            for table in page.extract_tables():
                if table and table[0][0] == header:
                    found += [[" ".join((cell or "").split()) for cell in row] for row in table[1:]]
    return found


def test_pages_are_within_their_number(made: tuple[Plan, dict[str, bytes]]) -> None:
    files = made[1]
    assert set(files) == {"client.html", "client.pdf", "inspector.html", "inspector.pdf"}
    client, inspector = texts(files["client.pdf"]), texts(files["inspector.pdf"])
    assert 6 <= len(client) <= 8
    assert len(inspector) <= 2
    assert all(page.strip() for page in (*client, *inspector))
    for page in (
        "As built",
        "Tanks, backflow, filters",
        "Test history",
        "Changes and sanitizing",
        "Next twelve months",
    ):
        assert any(text.startswith(page) or f"\n{page}" in text for text in client), page
    for word in ("Backflow", "Sanitizing log", "Listing to look for", "Food Code 5-205.13"):
        assert any(word in text for text in inspector), word
    assert "Not a test of safe drinking water" in client[0]


def test_nothing_runs_off_the_paper(made: tuple[Plan, dict[str, bytes]]) -> None:
    for name, data in made[1].items():
        if name.endswith(".pdf"):
            with pdfplumber.open(io.BytesIO(data)) as pdf:
                for page in pdf.pages:
                    assert all(c["x0"] >= -1 and c["x1"] <= page.width + 1 for c in page.chars), name
                    assert all(c["top"] >= -1 and c["bottom"] <= page.height + 1 for c in page.chars), name


def test_dates_are_those_of_the_calendar(made: tuple[Plan, dict[str, bytes]]) -> None:
    plan, files = made
    start = plan.document.demand.calendar.start
    end = max(MADE, start).replace(year=max(MADE, start).year + 1)
    due = [d for d in plan.calendar.dues if d.date < end]
    rows = cells(files["client.pdf"], "Change on")
    assert [row[0].split()[0] for row in rows] == [d.date.isoformat() for d in due]
    assert [row[2] for row in rows] == ["-" if d.order_by is None else d.order_by.isoformat() for d in due]
    assert [row[0].endswith("overdue") for row in rows] == [d.date < MADE for d in due]


def test_warranty_evidence_against_the_log() -> None:
    files = papers("cart")
    rows = {row[0]: row for row in cells(files["client.pdf"], "The manual states")}
    log = a_log(36)
    # by hand: 60 + 7 k for k = 0..5 is past 90 for k = 5 alone, six of 36; the corrected line (k = 0) is 61.5
    assert rows["Hardness"][1:4] == ["at most 90 mg/L as CaCO3", "36", "Past the limit in 6"]
    assert rows["Alkalinity"][1:4] == ["at most 100 mg/L as CaCO3", "36", "Within"]
    assert rows["Chloride"][1:4] == ["at most 30 mg/L", "0", "Not tested"]
    each = cells(files["client.pdf"], "Date")
    past = sorted(row[0] for row in each if "Past the limit" in row)
    truth = sorted(x["date"] for x in log if x["kind"] == "hardness" and x["value"] > 90)
    assert past == truth[-len(past) :]
    assert len(past) >= 2


def test_who_and_when_and_how_many_are_left_out() -> None:
    files = papers("cart")
    rows = cells(files["client.pdf"], "Done on")
    changed = [row for row in rows if row[1] == "Changed a cartridge"]
    newest = dt.date(2027, 1, 5) + dt.timedelta(days=14 * 35)
    assert changed[0][0] == changed[0][5] == newest.isoformat()
    assert {row[4] for row in changed} == {"hand0@example.org", "hand1@example.org"}
    page = next(text for text in texts(files["client.pdf"]) if text.startswith("Changes and sanitizing"))
    left_out = re.search(r"(\d+) older lines", page)
    assert left_out
    assert int(left_out[1]) + len(changed) == 36
    assert "power off, cool, close the valve" in page  # the caution at the step
    assert "Never mix bleach with descaler" in page


def test_html_is_escaped_and_asks_for_nothing(made: tuple[Plan, dict[str, bytes]]) -> None:
    for name, data in made[1].items():
        if name.endswith(".html"):
            page = data.decode()
            assert "<script" not in page
            assert not re.search(r"""(src|href|url)\s*[=(]\s*["']?https?:""", page)
            assert "img-src data:" in page
            assert page.count("data:image/png;base64,") == 1
    assert b"&lt;script&gt;" in papers("cart")["client.html"]


def test_a_logo_is_its_pixels_alone() -> None:
    beside = PngInfo()
    beside.add_text("Comment", "secret place")
    given = io.BytesIO()
    Image.new("RGBA", (2000, 500), (10, 20, 30, 128)).save(given, "PNG", pnginfo=beside)
    picture, size = clean_logo(given.getvalue())
    assert b"secret" in given.getvalue()
    assert b"secret" not in picture
    assert size[0] <= LOGO_SIZE[0]
    assert size[1] <= LOGO_SIZE[1]
    with Image.open(io.BytesIO(picture)) as kept:
        assert (kept.mode, kept.info) == ("RGB", {})
    photo = io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "secret place"
    Image.new("RGB", (40, 40), "red").save(photo, "JPEG", exif=exif)
    assert b"secret" in photo.getvalue()
    assert b"secret" not in clean_logo(photo.getvalue())[0]


def png_of(width: int, height: int) -> bytes:
    """A small PNG that says it is large: what unpacks to far more than it weighs."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress(bytes(1 + width) * min(height, 2000), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


GIF = io.BytesIO()
Image.new("RGB", (9, 9)).save(GIF, "GIF")


@pytest.mark.parametrize(
    ("data", "limit"),
    [
        (png_of(30_000, 30_000), f"at most {LOGO_PIXELS} pixels"),
        (png_of(2_000, 2_001), f"at most {LOGO_PIXELS} pixels"),
        (png_of(900, 900)[:60], "a PNG or JPEG is needed"),
        (b"GIF89a not at all", "a PNG or JPEG is needed"),
        (GIF.getvalue(), "a PNG or JPEG is needed"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "a PNG or JPEG is needed"),
        (b"%PDF-1.4", "a PNG or JPEG is needed"),
        (bytes(2_000_001), "bytes are read"),
    ],
)
def test_a_logo_that_cannot_be_used_is_one_line(data: bytes, limit: str) -> None:
    with pytest.raises(InputError) as error:
        owner_of("Works", data)
    assert limit in str(error.value)
    assert "\n" not in str(error.value)


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path / "data"))
    with Store.open_default() as store:
        ref = store.create_unit("Corner cart").ref
        store.save_plan(ref, document(settings={"draws": 32}), 0)
        store.add_reading_text(ref, date="2027-02-01", kind="hardness", value="70", unit="ppm", where="served")
    out = tmp_path / "papers"
    assert cli.main(["pack", "Corner cart", "--out", str(out), "--owner", "Works", "--date", "2027-06-01"]) == 0
    assert sorted(p.name for p in out.iterdir()) == ["client.html", "client.pdf", "inspector.html", "inspector.pdf"]
    assert "70 ppm" in " ".join(texts((out / "client.pdf").read_bytes()))
    bad = tmp_path / "logo.png"
    bad.write_bytes(b"no picture")
    capsys.readouterr()
    for wrong in (["--logo", str(bad)], ["--logo", str(tmp_path)], ["--date", "soon"], ["--owner", "x" * 81]):
        assert cli.main(["pack", "Corner cart", "--out", str(out), *wrong]) == 2
        said = capsys.readouterr().err
        assert said.startswith(f"brewwater: {wrong[0]}: ")
        assert said.count("\n") == 1
    assert cli.main(["pack", "nobody", "--out", str(out)]) == 2
