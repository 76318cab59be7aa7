"""Pages as PDF, with the fonts every reader has; letters outside them need a font found on this machine."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, TableHeadingsDisplay, XPos, YPos
from fpdf.fonts import FontFace, TTFFont

from brewwater.output.owner import Owner
from brewwater.output.sheet.content import Section, SheetPage, Table
from brewwater.output.sheet.diagram import Drawing

_FONT_FOLDERS = (
    "/usr/share/fonts/truetype/dejavu",
    "/usr/share/fonts/dejavu",
    "/usr/share/fonts/TTF",
    "/Library/Fonts",
    "/System/Library/Fonts/Supplemental",
    "C:/Windows/Fonts",
)
_FONT_FILES = (
    ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("Arial Unicode.ttf", "Arial Unicode.ttf"),
    ("arial.ttf", "arialbd.ttf"),
)
_PLAIN = str.maketrans(
    {
        "–": "-",
        "—": "-",
        "‘": "'",
        "’": "'",
        "“": '"',
        "”": '"',
        "…": "...",
        "≤": "<=",
        "≥": ">=",
        "→": ">",
        "₂": "2",
        "₃": "3",
        "₄": "4",
        "μ": "µ",
        "\u202f": " ",
        "\u00a0": " ",
        "☐": "[ ]",
        "−": "-",
    }
)
LINE = 4.0


def pdf_bytes(pages: Sequence[SheetPage], title: str, paper_size: str = "A4") -> bytes:
    """The pages as a PDF, each page of the sheet starting a new one, on "A4" or "letter".

    Characters that no font at hand can draw are printed as "?"; the HTML file has them.
    """
    return pdf_with_pages(pages, title, paper_size)[0]


def pdf_with_pages(pages: Sequence[SheetPage], title: str, paper_size: str = "A4") -> tuple[bytes, int]:
    """The same, and how many sheets of paper it takes."""
    paper = _Paper(_fonts(pages), paper_size)
    paper.set_title(paper.fit(title))
    paper.set_creator("brewwater")
    for page in pages:
        paper.print_page(page)
    return bytes(paper.output()), paper.page


def svg_pdf(svg: str, title: str, paper_size: str = "A4") -> bytes:
    """One page drawn as SVG, as a PDF of the same size: paths and letters, no picture."""
    paper = _Paper(_fonts_for(svg), paper_size)
    paper.set_margin(0)
    paper.set_auto_page_break(False)
    paper.set_title(paper.fit(title))
    paper.set_creator("brewwater")
    paper.add_page()
    paper.svg(svg, 0, 0, paper.w)
    return bytes(paper.output())


def _texts(pages: Sequence[SheetPage]) -> Iterator[str]:
    for page in pages:
        yield from (page.title, page.subtitle, page.whole, page.owner.name if page.owner else "")
        yield from (label.text for label in page.drawing.labels) if page.drawing else ()
        for section in page.sections:
            yield from (section.heading, *section.lines, section.picture)
            if section.table:
                for row in (section.table.header, *section.table.rows):
                    yield from row


def _latin(text: str, errors: str) -> str:
    return text.translate(_PLAIN).encode("latin-1", errors).decode("latin-1")


def _fonts(pages: Sequence[SheetPage]) -> tuple[Path, Path] | None:
    """A regular and a bold font file, where the pages need more than Latin-1 and one is found."""
    return _fonts_for("".join(_texts(pages)))


def _fonts_for(text: str) -> tuple[Path, Path] | None:
    if _latin(text, "ignore") == text.translate(_PLAIN):
        return None
    for folder in map(Path, _FONT_FOLDERS):
        for regular, bold in _FONT_FILES:
            if (folder / regular).is_file() and (folder / bold).is_file():
                return folder / regular, folder / bold
    return None


class _Paper(FPDF):
    def __init__(self, fonts: tuple[Path, Path] | None, size: str) -> None:
        super().__init__(format=size)
        self.set_auto_page_break(True, margin=10)
        self.set_margins(12, 10, 12)
        self.core_only = fonts is None
        self.face = "helvetica"
        if fonts is not None:
            self.face = "sheet"
            self.add_font("sheet", "", fonts[0])
            self.add_font("sheet", "B", fonts[1])

    def fit(self, text: str) -> str:
        """The text with what this paper's font can draw."""
        clean = "".join(c for c in text if c == "\n" or ord(c) >= 32)
        if self.core_only:
            return _latin(clean, "replace")
        font = self.fonts["sheet"]
        assert isinstance(font, TTFFont)
        return "".join(c if c == "\n" or ord(c) in font.cmap else "?" for c in clean)

    def say(self, text: str, size: float, style: str = "", line: float = LINE) -> None:
        """A paragraph over the whole width."""
        self.set_font(self.face, style, size)
        self.multi_cell(0, line, self.fit(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")

    def print_page(self, page: SheetPage) -> None:
        """One page of the sheet."""
        self.add_page(orientation="landscape" if page.landscape else "portrait")
        if page.whole:
            self.set_auto_page_break(False)
            self.svg(page.whole, 0, 0, self.w)
            self.set_auto_page_break(True, margin=10)
            return
        if page.owner is not None:
            self.head(page.owner)
        self.say(page.title, 15, "B", 7)
        self.set_text_color(70)
        self.say(page.subtitle, 8.5)
        self.set_text_color(0)
        if page.drawing:
            self.draw(page.drawing, page.drawing_share)
        for section in page.sections:
            if section.lines or section.table or section.picture:
                self.section(section, 7.6 if page.key == "figures" else 8.6)

    def svg(self, drawn: str, x: float, y: float, width: float) -> float:
        """A drawing at a place, in this paper's own letters; returns its height."""
        found = re.match(r'<svg[^>]*viewBox="0 0 (\S+) (\S+)"[^>]*>(.*)</svg>$', drawn, re.S)
        assert found is not None
        wide, high = float(found[1]), float(found[2])
        face = "Helvetica" if self.core_only else self.face
        whole = (
            f'<svg viewBox="0 0 {wide:g} {high:g}" width="{wide:g}" height="{high:g}" font-family="{face}" '
            f'xmlns="http://www.w3.org/2000/svg">{found[3]}</svg>'
        )
        self.set_font(self.face, "", 10)
        self.image(io.BytesIO(self.fit(whole).encode()), x, y, width)
        return width * high / wide

    def head(self, owner: Owner) -> None:
        """Who gives the paper out: the logo, else the name."""
        if owner.logo is not None:
            wide, high = owner.logo_size
            tall = min(16.0, 55.0 * high / wide)
            self.image(io.BytesIO(owner.logo), self.l_margin, self.get_y(), h=tall)
            self.set_y(self.get_y() + tall + 1.5)
        elif owner.name:
            self.say(owner.name, 10, "B", 5)

    def draw(self, drawing: Drawing, share: float = 1.0) -> None:
        """The branch diagram, shrunk where it is longer than its share of the page."""
        room = min(self.h - self.get_y() - 22, share * self.h)
        scale = min(1.0, room / drawing.height)
        left, top = self.l_margin, self.get_y() + 2

        def at(x: float, y: float) -> tuple[float, float]:
            return left + x * scale, top + y * scale

        for pipe in drawing.pipes:
            self.set_line_width((1.0 if pipe.filtered else 0.3) * scale)
            if not pipe.filtered:
                self.set_dash_pattern(dash=1.0, gap=0.8)
            self.line(*at(pipe.x1, pipe.y1), *at(pipe.x2, pipe.y2))
            self.set_dash_pattern()
            if pipe.arrow:
                down = pipe.x1 == pipe.x2
                sides = ((-0.8, -1.6), (0.8, -1.6)) if down else ((-1.6, -0.8), (-1.6, 0.8))
                self.set_fill_color(0)
                self.set_line_width(0.1)
                self.polygon([at(pipe.x2 + dx, pipe.y2 + dy) for dx, dy in ((0.0, 0.0), *sides)], style="F")
        self.set_line_width(0.4 * scale)
        for label in drawing.labels:
            x, y = at(label.x, label.y)
            half = (1.7 if label.shape == "box" else 1.3 if label.shape == "ring" else 0.9) * scale
            self.set_fill_color(0 if label.shape == "dot" else 255)
            if label.shape == "box":
                self.rect(x - half, y - half, 2 * half, 2 * half, style="DF")
            else:
                self.ellipse(x - half, y - half, 2 * half, 2 * half, style="DF")
            self.set_font(self.face, "B" if label.bold else "", 8.8 * scale)
            self.text(at(label.text_x, 0)[0], y + 1.1 * scale, self.fit(label.text))
        self.set_line_width(0.2)
        self.set_y(top + drawing.height * scale)

    def section(self, section: Section, size: float) -> None:
        """A heading, its lines and its table; a caution is framed."""
        self.ln(1.2)
        top, before = self.get_y(), self.page_no()
        if section.heading:
            self.say(section.heading, size + 1.4, "B", LINE + 0.6)
        for line in section.lines:
            if section.boxes:
                if self.will_page_break(LINE):
                    self.add_page(same=True)
                self.rect(self.l_margin, self.get_y() + 0.7, 2.6, 2.6)
                self.set_x(self.l_margin + 4)
            self.say(line, size, line=LINE * size / 8.6 + 0.2)
        if section.table:
            self.rows(section.table, size)
        if section.picture:
            scale = re.search(r'viewBox="0 0 (\S+) (\S+)"', section.picture)
            assert scale is not None
            if self.will_page_break(self.epw * float(scale[2]) / float(scale[1])):
                self.add_page(same=True)
            self.set_y(self.get_y() + self.svg(section.picture, self.l_margin, self.get_y() + 1, self.epw) + 1)
        if section.caution and self.page_no() == before:
            self.rect(self.l_margin - 1.5, top - 0.5, self.epw + 3, self.get_y() - top + 1)

    def rows(self, table: Table, size: float) -> None:
        """A table with a grey header, repeated on a new page."""
        self.set_font(self.face, "", size - 0.2)
        height = 7.5 if table.form else LINE * size / 8.6
        widths = tuple(round(100 * w) for w in table.widths) or None
        with self.table(
            col_widths=widths,
            line_height=height,
            text_align="LEFT",
            borders_layout=TableBordersLayout.ALL,
            headings_style=FontFace(emphasis="BOLD", fill_color=235),
            padding=(0.3, 0.8),
            repeat_headings=TableHeadingsDisplay.ON_TOP_OF_EVERY_PAGE,
        ) as grid:
            grid.row([self.fit(c) for c in table.header])
            for cells in table.rows:
                grid.row([self.fit(c) for c in cells])
