"""Files that are broken or meant to harm: one clear line, in time and in memory, nothing executed."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import time
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pytest
from fpdf import FPDF
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brewwater.errors import BrewwaterError, ReportError
from brewwater.reports import read_report
from brewwater.reports import scan as pictures

SECONDS, MEMORY_MB = 10, 1024
EXAMPLES = int(os.environ.get("BREWWATER_MUTATIONS", "300"))
TABLE = [
    ("Parameter", "Unit", "Range", "Average"),
    ("Calcium", "mg/L", "40-52", "45"),
    ("Magnesium", "mg/L", "9-14", "12"),
    ("Total hardness", "gpg", "8.0-11", "9.4"),
    ("Alkalinity", "ppm", "110-140", "126"),
    ("pH", "", "7.2-7.9", "7.6"),
    ("Chloride", "mg/L", "ND-30", "<2.0"),
    ("Nitrate (as N)", "ppm", "0.5-2.1", "1.1"),
]


def pdf(pages: int = 1) -> FPDF:
    made = FPDF()
    made.set_font("Helvetica", size=9)
    for _ in range(pages):
        made.add_page()
        with made.table() as table:
            for line in TABLE:
                row = table.row()
                for cell in line:
                    row.cell(cell)
    return made


def encrypted(path: Path) -> None:
    made = pdf()
    made.set_encryption(owner_password="owner", user_password="user")
    made.output(str(path))


def scan(path: Path) -> None:
    made = FPDF()
    made.add_page()
    made.rect(10, 10, 150, 200, style="F")
    made.output(str(path))


def workbook(path: Path) -> None:
    book = openpyxl.Workbook()
    for line in TABLE:
        book.active.append(line)
    book.save(path)


def zip_bomb(path: Path, rows: int = 4000, size: int = 50_000) -> None:
    """A sheet of 200 MB in a file of 200 kB."""
    plain = io.BytesIO()
    book = openpyxl.Workbook()
    book.active.append(["Calcium", "mg/L", 40])
    book.save(plain)
    with zipfile.ZipFile(plain) as source, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for info in source.infolist():
            data = source.read(info)
            if info.filename == "xl/worksheets/sheet1.xml":
                with out.open(info.filename, "w", force_zip64=True) as sheet:
                    sheet.write(data.split(b"<sheetData>")[0] + b"<sheetData>")
                    for _ in range(rows):
                        sheet.write(b'<row><c t="inlineStr"><is><t>' + b"A" * size + b"</t></is></c></row>")
                    sheet.write(b"</sheetData></worksheet>")
            else:
                out.writestr(info, data)


def stream_bomb(path: Path) -> None:
    """A page whose content grows to 400 MB."""
    packer = zlib.compressobj(9)
    packed = b"".join(packer.compress(b" " * 4_000_000) for _ in range(100)) + packer.flush()
    parts = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 612 792] /Contents 4 0 R /Resources << >> >>",
        b"<< /Length %d /Filter /FlateDecode >>\nstream\n" % len(packed) + packed + b"\nendstream",
    ]
    data, places = b"%PDF-1.4\n", []
    for i, part in enumerate(parts, 1):
        places.append(len(data))
        data += b"%d 0 obj\n" % i + part + b"\nendobj\n"
    table = b"xref\n0 5\n0000000000 65535 f \n" + b"".join(b"%010d 00000 n \n" % p for p in places)
    path.write_bytes(data + table + b"trailer << /Size 5 /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF" % len(data))


def sparse(path: Path) -> None:
    with path.open("wb") as handle:
        handle.write(b"%PDF-1.7\n")
        handle.truncate(200_000_000)


HOSTILE = {
    "encrypted.pdf": (encrypted, "password"),
    "empty.pdf": (lambda p: p.write_bytes(b""), "empty"),
    "huge.pdf": (sparse, "30 MB"),
    "pages.pdf": (lambda p: pdf(300).output(str(p)), "report_too_long"),
    "scan.pdf": (scan, "no_text"),
    "stream.pdf": (stream_bomb, ""),
    "bomb.xlsx": (zip_bomb, "unpacked"),
    "almost.xlsx": (lambda p: zip_bomb(p, rows=700), ""),
    "noise.pdf": (lambda p: p.write_bytes(b"%PDF-1.4\n" + bytes(range(256)) * 400), "structure is broken"),
    "nested.pdf": (lambda p: p.write_bytes(b"%PDF-1.4\n1 0 obj " + b"[" * 200_000), "structure is broken"),
    "noise.bin": (lambda p: p.write_bytes(bytes(range(256)) * 400), "binary"),
    "tags.html": (lambda p: p.write_text("<div>" * 600_000), "tags"),
    "cells.html": (lambda p: p.write_text("<table>" + "<tr><td colspan=99999999 rowspan=9999999>Iron" * 9000), ""),
    "digits.txt": (lambda p: p.write_text("\n".join("Calcium: " + "1 - " * 300 for _ in range(3000))), ""),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_gives_a_clear_message_in_time_and_memory(tmp_path: Path, name: str) -> None:
    write, says = HOSTILE[name]
    write(tmp_path / name)
    program = (
        "import resource, sys, time\n"
        "from brewwater.errors import ReportError\n"
        "from brewwater.reports import read_report\n"
        "start = time.process_time()\n"
        "try:\n"
        "    r = read_report(sys.argv[1]); print(*[p.code + ' ' + p.message for p in r.problems] or ['nothing'])\n"
        "except ReportError as e:\n"
        "    print(e)\n"
        "used = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        # the high-water mark of this program alone: ru_maxrss would count the test runner that started it
        "own = next(int(x.split()[1]) for x in open('/proc/self/status') if x.startswith('VmHWM'))\n"
        "print(max(own, used.ru_maxrss) // 1024, round(time.process_time() - start + used.ru_utime, 1))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / name)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    *message, used = done.stdout.strip().splitlines()
    memory, seconds = used.split()
    assert says in " ".join(message), message
    assert len(message) == 1, message
    assert float(memory) <= MEMORY_MB
    assert float(seconds) <= SECONDS  # of processor time, so that a busy machine does not decide


def test_a_formula_is_shown_and_not_evaluated(tmp_path: Path) -> None:
    path = tmp_path / "formula.csv"
    path.write_text("parameter,unit,value\nCalcium,mg/L,\"=cmd|' /c calc'!A1\"\nMagnesium,mg/L,=6*2\nSodium,mg/L,11\n")
    report = read_report(path)
    assert set(report.analysis()) == {"sodium"}
    assert {(p.code, p.field) for p in report.problems} >= {("formula", "calcium"), ("formula", "magnesium")}
    assert all(r.high is None for r in report.rows if r.analyte != "sodium")


def test_a_formula_in_a_workbook_has_no_value(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for line in (("Parameter", "Unit", "Value"), ("Calcium", "mg/L", "=6*7"), ("Sodium", "mg/L", 11)):
        book.active.append(line)
    book.save(tmp_path / "f.xlsx")
    assert set(read_report(tmp_path / "f.xlsx").analysis()) == {"sodium"}


def test_a_script_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_text(
        "<html><head><script>document.write('Sodium 99 mg/L')</script></head><body onload=alert(1)><table>"
        "<tr><th>Parameter<th>Unit<th>Value<tr><td>Calcium<td>mg/L<td>40<script>1</script></table>"
        "<iframe src='http://127.0.0.1:9/'></iframe><script>Magnesium: 12 mg/L</script></body></html>"
    )
    report = read_report(path)
    assert {r.analyte: r.typical for r in report.rows} == {"calcium": 40.0}


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.pdf", tmp_path):
        with pytest.raises(ReportError, match="not a file"):
            read_report(path)


def sound_files(folder: Path) -> list[Path]:
    pdf().output(str(folder / "a.pdf"))
    workbook(folder / "a.xlsx")
    lines = [",".join(line) for line in TABLE]
    (folder / "a.csv").write_text("\n".join(lines))
    (folder / "b.csv").write_text("\n".join(";".join(line).replace(".", ",") for line in TABLE), encoding="cp1252")
    (folder / "a.txt").write_text("\n".join("".join(c.ljust(20) for c in line) for line in TABLE))
    (folder / "b.txt").write_text("The average hardness is 9.4 gpg (161 ppm). pH: 7.6\nCalcium\n45\nmg/L\n")
    (folder / "a.md").write_text("\n".join("| " + " | ".join(line) + " |" for line in TABLE))
    rows = "".join("<tr>" + "".join(f"<td rowspan=1>{c}</td>" for c in line) + "</tr>" for line in TABLE)
    (folder / "a.html").write_text(f"<html><h2>North</h2><table>{rows}</table><p>pH: 7.5</p></html>")
    (folder / "a.json").write_text(json.dumps({"data": [dict(zip(TABLE[0], line, strict=True)) for line in TABLE[1:]]}))
    # text forms more often: a pdf and a workbook each cost more
    return [folder / n for n in ("a.csv", "b.csv", "a.txt", "b.txt", "a.md", "a.html", "a.json") for _ in range(3)] + [
        folder / "a.pdf",
        folder / "a.xlsx",
    ]


CHANGE = st.tuples(
    st.sampled_from(["flip", "drop", "double", "insert", "cut", "swap"]),
    st.floats(0, 1),
    st.floats(0, 1),
    st.one_of(
        st.binary(max_size=8),
        st.sampled_from(
            [
                b"|",
                b"<",
                b">",
                b"\n",
                b"\x00",
                b"-",
                b"NaN",
                b"1e999",
                b"9" * 40,
                b"\xff\xfe",
                "½".encode(),
                b'"',
                b";",
                b"<td colspan=7>",
            ]
        ),
    ),
)


def mutate(data: bytes, changes: list[tuple[str, float, float, bytes]]) -> bytes:
    for kind, a, b, extra in changes:
        if not data:
            return extra
        i, j = sorted((int(a * (len(data) - 1)), int(b * (len(data) - 1))))
        if kind == "flip":
            data = data[:i] + bytes([data[i] ^ (1 + j % 255)]) + data[i + 1 :]
        elif kind == "drop":
            data = data[:i] + data[min(j, i + 40) :]
        elif kind == "double":
            data = data[:j] + data[i:j][:400] + data[j:]
        elif kind == "insert":
            data = data[:i] + extra + data[i:]
        elif kind == "cut":
            data = data[: max(i, j)]
        else:
            data = data[j:] + data[:j] if i % 2 else data[:i] + extra + data[j:]
    return data


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Path]]:
    """Sound files of every form; a page that loses its text is not looked at as a picture, which costs seconds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pictures, "available", lambda: False)
        yield sound_files(tmp_path_factory.mktemp("sound"))


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(which=st.integers(0, 22), changes=st.lists(CHANGE, min_size=1, max_size=6))
def test_a_mutated_file_never_gives_a_traceback(
    originals: list[Path], which: int, changes: list[tuple[str, float, float, bytes]]
) -> None:
    original = originals[which]
    path = original.with_name("mutated" + original.suffix)
    path.write_bytes(mutate(original.read_bytes(), changes))
    begun, said, report = time.monotonic(), "", None
    try:
        report = read_report(path)
    except BrewwaterError as error:  # one clear line is a good answer, but not that the reader itself failed
        said = str(error)
    assert "broke off" not in said
    assert "too long" not in said
    assert time.monotonic() - begun < 20
    if report is None:
        return
    for supply in report.supplies:
        assert report.supply(supply).name
        report.to_json(supply)
    report.to_json()
