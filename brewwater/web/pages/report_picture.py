"""The page of a report as a picture, with boxes around what was taken, what is doubtful, and what was not read."""

from __future__ import annotations

import base64
import io
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import streamlit as st

from brewwater.errors import InputError
from brewwater.reports import Report, bounded
from brewwater.reports.words import Box
from brewwater.web.widgets import fields

KINDS = ["jpg", "jpeg", "png", "tif", "tiff", "webp"]
Kind = Literal["taken", "doubtful", "left", "unread"]
_WIDTH = 1400  # pixels: a page at reading size
# outline and fill of each kind; a pattern tells them apart too: the doubtful are filled, the unread are dashed
_INK = (24, 36, 43)
_AMBER = (255, 196, 0, 90)
_GREY = (110, 120, 125)


@dataclass(frozen=True)
class MarkedBox:
    """A box on the page with the number of its row."""

    box: Box
    kind: Kind
    number: int | None


def beside(name: str, data: bytes, report: Report, marks: Sequence[MarkedBox]) -> None:
    """The page with most of the marks, or another that is asked for; the printed lines where there is no picture."""
    counts = Counter(m.box.page for m in marks if m.kind != "unread") or Counter(m.box.page for m in marks)
    if counts:
        pages = sorted({m.box.page for m in marks})
        best = max(pages, key=lambda p: (counts[p], -p))
        page = best
        if len(pages) > 1:
            if st.session_state.get("report_page_of") != (name, len(data)):
                st.session_state["report_page_of"] = (name, len(data))
                st.session_state["report_page"] = best
            page = fields.pick("Page of the report", pages, key="report_page")
        picture = _drawn(data, Path(name).suffix.lower(), page, tuple(m for m in marks if m.box.page == page))
        if picture is not None:
            whole = st.toggle("The whole page", key="report_whole")
            some = picture if whole else picture.crop(_around([m for m in marks if m.box.page == page], picture.size))
            st.image(some, caption=f"Page {page}. Boxed: read. Filled: look at it. Dashed: not read.")
            return
    texts = list(dict.fromkeys(r.text for r in report.rows if r.text))
    with st.container(height=320):
        st.markdown("**Where it stands**")
        st.text("\n".join(texts[:80]) or "The report gives no text for these values.")


def _around(marks: Sequence[MarkedBox], size: tuple[int, int]) -> tuple[int, int, int, int]:
    """The part of the page that holds the marks and their headings, so that it can be read beside the values."""
    wide, high = size
    x0, x1 = min(m.box.x0 for m in marks) - 0.06, max(m.box.x1 for m in marks) + 0.03
    y0, y1 = min(m.box.y0 for m in marks) - 0.08, max(m.box.y1 for m in marks) + 0.03
    return int(max(x0, 0) * wide), int(max(y0, 0) * high), int(min(x1, 1) * wide), int(min(y1, 1) * high)


@st.cache_data(max_entries=8, show_spinner=False)
def _page(data: bytes, suffix: str, number: int) -> bytes | None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"report{suffix}"
        path.write_bytes(data)
        try:
            found = bounded.run("page", {"path": str(path), "number": number, "width": _WIDTH}, "page")
        except InputError:  # a page that cannot be drawn is shown as text instead
            return None
    return base64.b64decode(found["png"])


def _drawn(data: bytes, suffix: str, number: int, marks: Sequence[MarkedBox]) -> Any:
    plain = _page(data, suffix, number)
    if plain is None:
        return None
    from PIL import Image, ImageDraw, ImageFont

    picture = Image.open(io.BytesIO(plain)).convert("RGB")
    draw = ImageDraw.Draw(picture, "RGBA")
    wide, high = picture.size
    size = max(14, wide // 70)
    font = ImageFont.load_default(size=size)
    for mark in marks:
        box = mark.box
        corners = (box.x0 * wide - 6, box.y0 * high - 4, box.x1 * wide + 6, box.y1 * high + 4)
        if mark.kind in ("unread", "left"):
            _dashed(draw, corners)
        else:
            draw.rectangle(corners, outline=_INK, width=2, fill=_AMBER if mark.kind == "doubtful" else None)
        if mark.number is not None:
            at = (max(corners[0] - size, size), (corners[1] + corners[3]) / 2)
            draw.ellipse((at[0] - size, at[1] - size, at[0] + size, at[1] + size), fill=_INK)
            draw.text(at, str(mark.number), fill="white", font=font, anchor="mm")
    return picture


def _dashed(draw: Any, corners: tuple[float, float, float, float]) -> None:
    x0, y0, x1, y1 = corners
    for start, end, fixed, level in ((x0, x1, y0, True), (x0, x1, y1, True), (y0, y1, x0, False), (y0, y1, x1, False)):
        at = start
        while at < end:
            to = min(at + 8, end)
            draw.line((at, fixed, to, fixed) if level else (fixed, at, fixed, to), fill=_GREY, width=2)
            at += 14
