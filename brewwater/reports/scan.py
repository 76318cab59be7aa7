"""Words with boxes from a picture of a page: a scan, a photo. Needs the extra ``brewwater[scan]``.

The recogniser (rapidocr on onnxruntime) carries its models in its wheel and asks no network. It runs in the bounded
process only (``bounded``), which is told how far it is.
"""

from __future__ import annotations

import importlib.util
import io
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from brewwater.errors import ReportError
from brewwater.reports.bounded import Limits
from brewwater.reports.report import Problem, Report
from brewwater.reports.straighten import straighten
from brewwater.reports.words import Page, Source, Word

FloatArray = NDArray[np.float64]
Image = NDArray[np.uint8]

# Of each page; the clock runs from one sign of progress to the next.
LIMITS = Limits(seconds=20.0, memory=2 << 30)
MAX_PAGES = 20
MAX_PIXELS = 120_000_000
_LONG_SIDE = 2200
_DPI = 200
_BATCH = 24
_MAX_BOXES = 1500
# Processor time of a page: 20 s on two cores.
_PAGE_S = 40.0
# Pieces without a figure below it are left out; one with a figure stays and is doubted.
SURE = 0.85
# The recogniser's boxes are wider than the print: of their height, the type takes this share.
_TYPE_SHARE, _MARGIN = 0.65, 0.16

_MAGIC = (b"\xff\xd8\xff", b"\x89PNG\r\n", b"II*\x00", b"MM\x00*", b"BM", b"GIF8")
INSTALL = "pip install 'brewwater[scan]'"

Tell = Callable[[Any], None]


def available() -> bool:
    """Whether the extra is installed."""
    return all(importlib.util.find_spec(name) is not None for name in ("rapidocr", "onnxruntime"))


def is_picture(head: bytes) -> bool:
    """Whether a file that begins so is a picture."""
    return head.startswith(_MAGIC) or (head[:4] == b"RIFF" and head[8:12] == b"WEBP") or _apple(head)


def _apple(head: bytes) -> bool:
    return head[4:8] == b"ftyp" and head[8:12] in (b"heic", b"heix", b"mif1", b"msf1", b"avif")


def no_extra(name: str) -> ReportError:
    """What is said of a picture where the extra is not installed."""
    return ReportError(
        f"report {name}",
        "a picture",
        f"reading pictures needs the extra scan ({INSTALL})",
        "Install it, or type the values by hand.",
    )


def scan_task(path: str, tell: Tell) -> Any:
    """Read a picture, or a PDF whose pages are pictures, in this process (a task of ``bounded``).

    Raises
    ------
    ReportError : it cannot be opened, or is too large
    """
    from brewwater.reports.files import read_file
    from brewwater.reports.handed import packed
    from brewwater.reports.reading import read_content

    file = Path(path)
    if is_picture(_head(file)):
        image = _opened(file)
        engine = Recogniser()
        tell({"page": 1, "of": 1, "done": 0, "all": 1})
        seen = {1: _page(image, 1, engine, lambda done, of: tell({"page": 1, "of": 1, "done": done, "all": of}))}
        source = Source((seen[1].page,), numbered=False)
    else:
        source = read_file(file)
        bare = _drawn(file, [p.number for p in source.pages if not p.words])
        if not bare:
            return packed(read_content(source, file.stem or file.name), source)
        engine = Recogniser()
        tell({"page": 1, "of": len(bare), "done": 0, "all": 1})
        seen = {p.page.number: p for p in _pdf_pages(file, bare[:MAX_PAGES], engine, tell)}
        remarks = [r for r in source.remarks if r[0] != "no_text"]
        if len(bare) > MAX_PAGES:
            remarks.append(("report_too_long", f"Only {MAX_PAGES} pages that are pictures were read."))
        pages = tuple(seen[p.number].page if p.number in seen else p for p in source.pages)
        source = Source(pages, tuple(remarks), source.numbered)
    if engine.cut:
        remark = ("report_too_long", "A picture holds too much to be read in time; a part of it was left out.")
        source = Source(source.pages, (*source.remarks, remark), source.numbered)
    report = read_content(source, file.stem or file.name)
    made = packed(replace(report, problems=(*report.problems, *_doubts(source, report))), source)
    for kind in ("boxes", "unread_boxes"):
        made[kind] = [box and _as_seen(box, seen) for box in made[kind]]
    return made


@dataclass(frozen=True)
class _Seen:
    """A page made upright, and the pieces of text on it: their upright boxes, and their boxes as they were seen."""

    page: Page
    upright: FloatArray
    seen: FloatArray


def _as_seen(box: dict[str, Any], pages: dict[int, _Seen]) -> dict[str, Any] | None:
    """A box on the upright page as it lies in the picture: around the same pieces of text."""
    one = pages.get(box["page"])
    if one is None:
        return box
    x, y = (one.upright[:, 0] + one.upright[:, 2]) / 2, (one.upright[:, 1] + one.upright[:, 3]) / 2
    slack = 0.25 * (box["y1"] - box["y0"])
    inside = (x >= box["x0"]) & (x <= box["x1"]) & (y >= box["y0"] - slack) & (y <= box["y1"] + slack)
    if not inside.any():
        return None
    some = one.seen[inside]
    low, high = some[:, :2].min(axis=0), some[:, 2:].max(axis=0)
    return {"page": box["page"], "x0": low[0], "y0": low[1], "x1": high[0], "y1": high[1]}


def _doubts(source: Source, report: Report) -> Iterator[Problem]:
    """What is said of values from pictures: that they are, and which figures the recogniser was not sure of."""
    pictures = [p for p in source.pages if p.form == "picture"]
    if not pictures:
        return
    where = ", ".join(str(p.number) for p in pictures) if source.numbered else ""
    named = f"Page {where} was" if where else "It was"
    yield Problem(
        "from_picture", None, f"{named} read from a picture: compare the figures with it before you use them."
    )
    for page in pictures:
        unsure = [w.text for w in page.words if w.confidence < SURE and any(c.isdigit() for c in w.text)]
        for row in report.rows:
            if row.page not in (None, page.number):
                continue
            hit = next((t for t in unsure if t in (row.text or "").split()), None)
            if hit is not None:
                what = row.analyte.replace("_", " ")
                yield Problem(
                    "picture_unsure", row.analyte, f"{what}: {hit} is hard to read in the picture.", row.supply
                )


def _head(path: Path) -> bytes:
    with path.open("rb") as handle:
        return handle.read(16)


def _drawn(path: Path, numbers: list[int]) -> list[int]:
    """Those pages on which something is drawn that could be print: a picture, or letters as outlines."""
    import pypdfium2
    import pypdfium2.raw as pdfium

    document = pypdfium2.PdfDocument(path)
    found = []
    for number in numbers:
        page = document[number - 1]
        kinds = [o.type for o in page.get_objects(max_depth=3)]
        if pdfium.FPDF_PAGEOBJ_IMAGE in kinds or kinds.count(pdfium.FPDF_PAGEOBJ_PATH) > 100:
            found.append(number)
        page.close()
    document.close()
    return found


def _pdf_pages(path: Path, numbers: list[int], engine: Recogniser, tell: Tell) -> Iterator[_Seen]:
    """The words of those pages of a PDF that hold only a picture; ``numbers`` count from 1."""
    import pypdfium2

    document = pypdfium2.PdfDocument(path)
    for at, number in enumerate(numbers, start=1):
        page = document[number - 1]
        width, height = page.get_size()
        scale = min(_DPI / 72, _LONG_SIDE / max(width, height, 1.0))
        image = np.asarray(page.render(scale=scale, rev_byteorder=True).to_numpy()[..., :3])
        page.close()

        def told(done: int, of: int, at: int = at) -> None:
            tell({"page": at, "of": len(numbers), "done": done, "all": of})

        found = _page(image, number, engine, told)
        page_words = _scaled(found.page, width / max(found.page.width, 1.0), width, height)
        yield _Seen(page_words, found.upright, found.seen)
    document.close()


def _scaled(page: Page, by: float, width: float, height: float) -> Page:
    words = tuple(Word(w.text, w.page, w.x0 * by, w.y0 * by, w.x1 * by, w.y1 * by, w.confidence) for w in page.words)
    return Page(page.number, width, height, words, form="picture")


def _opened(path: Path) -> Image:
    from PIL import Image as Pictures
    from PIL import ImageOps

    name = path.name
    try:
        data = path.read_bytes()
        if _apple(data[:16]):
            raise ReportError(
                f"report {name}", "a HEIC picture", "JPEG, PNG and TIFF pictures are read", "Save it as JPEG."
            )
        with Pictures.open(io.BytesIO(data)) as opened:
            if opened.width * opened.height > MAX_PIXELS:
                raise ReportError(
                    f"report {name}",
                    f"{opened.width} x {opened.height} points",
                    f"a picture may have up to {MAX_PIXELS / 1e6:.0f} million",
                    "Save it smaller, or cut out the table.",
                )
            opened.draft("RGB", (_LONG_SIDE, _LONG_SIDE))
            picture = ImageOps.exif_transpose(opened).convert("RGB")
        picture.thumbnail((_LONG_SIDE, _LONG_SIDE))
        return np.asarray(picture)
    except ReportError:
        raise
    except Exception:  # Pillow raises many kinds on a broken picture
        raise ReportError(f"report {name}", "not readable", "the picture is broken", "Take or save it again.") from None


class Recogniser:
    """The text recogniser, loaded when first used."""

    def __init__(self) -> None:
        from rapidocr import RapidOCR

        self.cut = False  # whether some of a page was left unread for want of time
        self._engine = RapidOCR(
            params={
                "Global.use_cls": False,
                "Global.log_level": "critical",
                "Global.max_side_len": _LONG_SIDE,
                "EngineConfig.onnxruntime.intra_op_num_threads": min(2, os.cpu_count() or 1),
                "EngineConfig.onnxruntime.inter_op_num_threads": 1,
            }
        )

    def read(self, image: Image, told: Callable[[int, int], None]) -> tuple[FloatArray, list[str], FloatArray]:
        """Corners of each piece of text, shape (pieces, 4, 2), clockwise from the upper left; texts; confidences.

        ``told`` hears how many of how many pieces are read.
        """
        bgr = np.ascontiguousarray(image[..., ::-1])
        try:
            crops, found = self._engine.detect_and_crop(bgr, {})
        except Exception as error:  # nothing that looks like text
            if "empty" not in str(error):
                raise
            return np.zeros((0, 4, 2)), [], np.zeros(0)
        quads = np.asarray(found.boxes, dtype=np.float64)[:_MAX_BOXES]
        order = sorted(range(len(quads)), key=lambda i: crops[i].shape[1] / max(crops[i].shape[0], 1))
        texts, scores = [""] * len(quads), np.zeros(len(quads))
        told(0, len(quads))
        begun = time.process_time()
        for start in range(0, len(order), _BATCH):
            if time.process_time() - begun > _PAGE_S:
                self.cut = True
                break
            part = order[start : start + _BATCH]
            answer = self._engine.recognize_txt([crops[i] for i in part])
            for i, text, score in zip(part, answer.txts or [], answer.scores, strict=False):
                texts[i], scores[i] = text, score
            told(min(start + _BATCH, len(order)), len(order))
        return quads, texts, scores


def _page(image: Image, number: int, engine: Recogniser, told: Callable[[int, int], None]) -> _Seen:
    """The words of one picture, its lines made level and its columns upright."""
    quads, texts, scores = engine.read(image, told)
    if len(quads) >= 8 and _sideways(quads):
        image = np.rot90(image)
        quads, texts, scores = engine.read(image, told)
    if len(quads) >= 8 and float(np.median(scores)) < 0.6:  # on its head, or not to be read at all
        other = engine.read(np.rot90(image, 2), told)
        if float(np.median(other[2])) > float(np.median(scores)):
            quads, texts, scores = other
    height, width = image.shape[:2]
    boxes = straighten(quads, float(width), float(height))
    tall, middle = boxes[:, 3] - boxes[:, 1], (boxes[:, 1] + boxes[:, 3]) / 2
    margin = np.minimum(_MARGIN * tall, 0.2 * (boxes[:, 2] - boxes[:, 0]))
    half = _TYPE_SHARE * tall / 2
    boxes = np.stack([boxes[:, 0] + margin, middle - half, boxes[:, 2] - margin, middle + half], axis=1)
    words = [
        word
        for box, text, score in zip(boxes, texts, scores, strict=True)
        if score >= SURE or any(c.isdigit() for c in text)
        for word in _parted(text, box, number, float(score))
    ]
    page = Page(number, float(width), float(height), tuple(words), form="picture")
    size = np.array([width, height, width, height], dtype=np.float64)
    bounds = np.concatenate([quads.min(axis=1), quads.max(axis=1)], axis=1) if len(quads) else np.zeros((0, 4))
    return _Seen(page, boxes / size, bounds / size)


def _sideways(quads: FloatArray) -> bool:
    across = np.linalg.norm(quads[:, 1] - quads[:, 0], axis=1)
    down = np.linalg.norm(quads[:, 3] - quads[:, 0], axis=1)
    return float(np.median(across / np.maximum(down, 1.0))) < 0.8


def _parted(text: str, box: FloatArray, page: int, score: float) -> Iterator[Word]:
    """The words of a piece of text, each with its share of the box by its letters."""
    x0, y0, x1, y1 = (float(v) for v in box)
    each = (x1 - x0) / max(len(text), 1)
    at = 0
    for part in text.split():
        at = text.index(part, at)
        yield Word(part, page, x0 + at * each, y0, x0 + (at + len(part)) * each, y1, score)
        at += len(part)
