"""Scans and photos: made level and upright, read where the extra is installed, refused in one line where it is not."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from fpdf import FPDF
from PIL import Image, ImageDraw, ImageFont

from brewwater.cli import main
from brewwater.errors import ReportError
from brewwater.reports import bounded, read_report, scan
from brewwater.reports.straighten import straighten

TABLE = [
    ("Parameter", "Unit", "Range", "Average"),
    ("Calcium", "mg/L", "40 - 52", "45"),
    ("Magnesium", "mg/L", "9.1 - 14", "12"),
    ("Total Hardness as CaCO3", "mg/L", "140 - 188", "162"),
    ("Alkalinity as CaCO3", "mg/L", "110 - 140", "126"),
    ("pH", "", "7.2 - 7.9", "7.6"),
    ("Chloride", "mg/L", "18 - 30", "22"),
]
extra = pytest.mark.skipif(not scan.available(), reason="the extra brewwater[scan] is not installed")


def picture(path: Path, lean: float = 0.0) -> Path:
    """A page with a table, photographed at a slant."""
    page = Image.new("RGB", (1200, 620), "white")
    draw, font = ImageDraw.Draw(page), ImageFont.load_default(size=26)
    for i, line in enumerate(TABLE):
        for text, x in zip(line, (60, 520, 680, 950), strict=True):
            draw.text((x, 60 + 70 * i), text, fill="black", font=font)
    page.rotate(lean, fillcolor="white", resample=Image.Resampling.BICUBIC).save(path)
    return path


def pdf_of(image: Path, path: Path) -> Path:
    made = FPDF()
    made.add_page()
    made.image(str(image), x=10, y=10, w=190)
    made.output(str(path))
    return path


def test_a_page_seen_at_an_angle_is_made_level_and_upright() -> None:
    rng = np.random.default_rng(3)
    columns, rows = np.arange(120, 1700, 190.0), np.arange(150, 2300, 60.0)
    x, y = (a.ravel() for a in np.meshgrid(columns, rows))
    wide = rng.uniform(50, 130, x.size)
    corners = np.stack(
        [np.stack([x, y], 1), np.stack([x + wide, y], 1), np.stack([x + wide, y + 26], 1), np.stack([x, y + 26], 1)], 1
    )

    def seen(points: np.ndarray) -> np.ndarray:
        """A turn by 2 degrees, and a page that recedes to the right and the top."""
        u, v = points[..., 0], points[..., 1]
        turn = np.radians(2.0)
        u, v = u * np.cos(turn) - v * np.sin(turn), u * np.sin(turn) + v * np.cos(turn)
        far = 1 + 2.5e-5 * u + 1.5e-5 * (2400 - v)
        return np.stack([u / far, v / far], -1)

    boxes = straighten(seen(corners) + rng.normal(0, 0.7, corners.shape), 1800, 2400)
    level = ((boxes[:, 1] + boxes[:, 3]) / 2).reshape(len(rows), len(columns))
    left = boxes[:, 0].reshape(len(rows), len(columns))
    before = seen(corners)
    assert np.ptp(before[:, 0, 1].reshape(level.shape), axis=1).max() > 40  # the lines did lean
    assert np.ptp(level, axis=1).max() < 8
    assert np.ptp(left, axis=0).max() < 30
    assert np.all(np.diff(level[:, 0]) > 40)


@pytest.fixture
def without(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scan, "available", lambda: False)


def test_without_the_extra_a_picture_is_refused_with_what_to_do(tmp_path: Path, without: None) -> None:
    photo = picture(tmp_path / "photo.png")
    with pytest.raises(ReportError, match=r"a picture.*pip install 'brewwater\[scan\]'.*type the values"):
        read_report(photo)
    bare = pdf_of(photo, tmp_path / "scan.pdf")
    (said,) = [p.message for p in read_report(bare).problems if p.code == "no_text"]
    assert "picture" in said
    assert "brewwater[scan]" in said
    assert "type the values" in said


@pytest.mark.parametrize("json", [[], ["--json"]])
def test_without_the_extra_the_command_line_says_so_in_both_forms(
    tmp_path: Path, without: None, json: list[str], capfd: pytest.CaptureFixture[str]
) -> None:
    photo = picture(tmp_path / "photo.png")
    for file in (photo, pdf_of(photo, tmp_path / "scan.pdf")):
        status = main(["report", str(file), *json])
        said = "".join(capfd.readouterr())
        assert status == (0 if json and file.suffix == ".pdf" else 2)  # a PDF has pages to tell of
        assert "picture" in said
        assert "brewwater[scan]" in said


def test_files_that_only_look_like_pictures(tmp_path: Path) -> None:
    assert scan.is_picture(b"\xff\xd8\xff\xe0 JFIF")
    assert scan.is_picture(b"\x89PNG\r\n\x1a\n")
    assert scan.is_picture(b"RIFF....WEBPVP8 ")
    assert not scan.is_picture(b"RIFF....WAVEfmt ")
    assert not scan.is_picture(b"%PDF-1.7")
    if scan.available():
        (tmp_path / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0" + bytes(range(256)) * 20)
        with pytest.raises(ReportError, match="the picture is broken"):
            read_report(tmp_path / "broken.jpg")


@extra
@pytest.mark.parametrize("form", ["png", "pdf"])
def test_a_slanting_table_is_read_and_said_to_be_from_a_picture(tmp_path: Path, form: str) -> None:
    file = picture(tmp_path / "photo.png", lean=1.5)
    if form == "pdf":
        file = pdf_of(file, tmp_path / "scan.pdf")
    heard: list[dict[str, int]] = []
    report = read_report(file, bounded.Watch(progress=heard.append))
    values = {r.analyte: (r.low, r.typical, r.high) for r in report.rows}
    assert values == {
        "calcium": (40, 45, 52),
        "magnesium": (9.1, 12, 14),
        "total_hardness": (140, 162, 188),
        "alkalinity": (110, 126, 140),
        "ph": (7.2, 7.6, 7.9),
        "chloride": (18, 22, 30),
    }
    assert "from_picture" in {p.code for p in report.problems}
    assert heard[-1]["done"] == heard[-1]["all"] >= 20


@extra
def test_the_reading_of_a_picture_can_be_stopped(tmp_path: Path) -> None:
    heard: list[dict[str, int]] = []
    watch = bounded.Watch(progress=heard.append, cancelled=lambda: bool(heard))
    with pytest.raises(bounded.Cancelled):
        read_report(picture(tmp_path / "photo.png"), watch)


@extra
@pytest.mark.skipif(not os.environ.get("BREWWATER_PHOTO"), reason="half a minute of processor time: BREWWATER_PHOTO=1")
def test_the_photo_of_a_dense_page(samples: Path) -> None:
    """Four supplies on one page, seen at an angle in uneven light: at least 80 % right, nothing wrong and certain."""
    from tests.reports import score

    folder = samples / "reports" / "more"
    (photo,) = score.run(folder, folder / "truth.csv", fast=True, only="photo")
    assert photo.count("right") >= 0.8 * len(photo.figures)
    assert photo.wrong == 0
