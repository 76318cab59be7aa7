"""Words with boxes from a PDF, through pdfium."""

from __future__ import annotations

import ctypes
from collections.abc import Callable, Iterable
from typing import Any

MAX_PAGES, MAX_CHARS_PER_PAGE = 60, 30_000
# A gap over this share of the size of the type parts two words where no space is printed.
_GAP = 0.22
_RAISED, _SMALL = 0.15, 0.82

# text, x0, y0, x1, y1
Raw = tuple[str, float, float, float, float]


class _Char:
    """A character with its box: x to the right, y downwards."""

    __slots__ = ("base", "size", "text", "x0", "x1", "y0", "y1")

    def __init__(self, text: str, box: tuple[float, float, float, float], size: float) -> None:
        self.text, self.size = text, size
        self.x0, self.y0, self.x1, self.y1 = box
        self.base = self.y1


def characters(page: Any, height: float) -> Iterable[_Char | None]:
    """The characters of a page in their order; None where pdfium sees a space or the end of a line."""
    import pypdfium2.raw as pdfium

    text = page.get_textpage()
    handle = text.raw
    count = pdfium.FPDFText_CountChars(handle)
    rect = pdfium.FS_RECTF()
    pointer = ctypes.byref(rect)
    for i in range(min(count, MAX_CHARS_PER_PAGE + 1)):
        code = pdfium.FPDFText_GetUnicode(handle, i)
        letter = chr(code) if 0 < code < 0x110000 and not 0xD800 <= code < 0xE000 else " "
        if letter.isspace() or not letter.isprintable():
            yield None
            continue
        if not pdfium.FPDFText_GetLooseCharBox(handle, i, pointer):
            continue
        box = (rect.left, height - rect.top, rect.right, height - rect.bottom)
        yield _Char(letter, box, max(rect.top - rect.bottom, 0.1))
    text.close()


_LEAST_TURNED = 3  # letters one above the other that are a turned head


def _turned(chars: list[_Char | None]) -> tuple[list[_Char | None], list[Raw]]:
    """The characters that run level, and heads set upright: each one word, lying where it ends next to its column."""
    level: list[_Char | None] = []
    out: list[Raw] = []
    run: list[_Char | None] = []
    way = 0

    def close() -> None:
        nonlocal run, way
        held = [c for c in run if c is not None]
        if len(held) < _LEAST_TURNED:
            level.extend(run)
        else:
            text = "".join(c.text if c is not None else " " for c in run).strip()
            low, wide = max(c.y1 for c in held), held[0].x1 - held[0].x0
            out.append((text, min(c.x0 for c in held), low - 0.8 * wide, max(c.x1 for c in held), low))
            level.append(None)
        run, way = [], 0

    last: _Char | None = None
    for char in chars:
        if char is None:
            run.append(None)
            continue
        if last is not None and run:
            wide, step = last.x1 - last.x0, char.y1 - last.y1
            same = abs(char.x0 - last.x0) < 0.3 * wide and abs(char.x1 - last.x1) < 0.3 * wide
            on = same and 0.1 * wide < abs(step) < 1.5 * wide and way in (0, 1 if step > 0 else -1)
            if on:
                way = 1 if step > 0 else -1
            else:
                close()
        run.append(char)
        last = char
    close()
    return level, out


def words(chars: Iterable[_Char | None]) -> list[Raw]:
    """Characters gathered into words; footnote marks in braces, lowered figures joined to their formula."""
    chars, out = _turned(list(chars))
    now: list[_Char] = []
    space = False
    for char in chars:
        if char is None:
            space = True
            continue
        last = now[-1] if now else None
        if last is not None and not _joins(last, char, space, now):
            out.append(_word(now))
            now = []
        now.append(char)
        space = False
    if now:
        out.append(_word(now))
    return out


def _joins(last: _Char, char: _Char, space: bool, now: list[_Char]) -> bool:
    if char.x0 == last.x0 and char.y1 == last.y1:
        return True  # letters of one glyph
    gap = char.x0 - last.x1
    size = max(last.size, char.size)
    overlap = min(last.y1, char.y1) - max(last.y0, char.y0)
    if overlap < 0.25 * min(last.size, char.size) or not -0.6 * size < gap < 0.6 * size:
        return False
    if abs(last.size - char.size) < 0.12 * size and abs(last.y1 - char.y1) < 0.12 * size:
        return gap < (0.03 if space else _GAP) * size  # pdfium sees spaces where type is only spread
    # another size or height: a mark or a lowered figure belongs to the word that it touches
    return gap < (0.12 if space else _GAP) * size


def _word(chars: list[_Char]) -> Raw:
    big = max(c.size for c in chars)
    plain = [c for c in chars if c.size > _SMALL * big] or chars
    base = max(c.y1 for c in plain)
    text = ""
    for i, char in enumerate(chars):
        raised = char.size < _SMALL * big and base - char.y1 > _RAISED * big
        if raised and i and (chars[i - 1].text.isdigit() or chars[i - 1].text in "D.)*%]" or text.endswith("}")):
            text = text[:-1] + char.text + "}" if text.endswith("}") else text + "{" + char.text + "}"
        else:
            text += char.text
    # pdfium's loose boxes hold the leading too: about 0.7 of them is the size of the type
    top = min(c.y0 for c in plain)
    return (text, chars[0].x0, top + 0.2 * (base - top), max(c.x1 for c in chars), base - 0.1 * (base - top))


def extract(path: str, over: Callable[[], bool]) -> dict[str, Any]:
    """``{"pages": [{"width", "height", "words", "images"}], "of": pages, "stopped": why or None}``, or an error."""
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(path)
    except pypdfium2.PdfiumError as error:
        return {"error": "encrypted" if "assword" in str(error) or "ecurity" in str(error) else "broken"}
    pages: list[dict[str, Any]] = []
    stopped = None
    for number in range(min(len(document), MAX_PAGES)):
        if over():
            stopped = "time"
            break
        page = document[number]
        width, height = page.get_size()
        chars = list(characters(page, height))
        if len(chars) > MAX_CHARS_PER_PAGE:
            stopped, chars = "dense", []
        found = [[t, *(round(v, 2) for v in box)] for t, *box in words(chars)]
        pages.append({"width": width, "height": height, "words": found})
        page.close()
    whole = len(document)
    document.close()
    if whole > MAX_PAGES:
        stopped = stopped or "pages"
    return {"pages": pages, "of": whole, "stopped": stopped}
