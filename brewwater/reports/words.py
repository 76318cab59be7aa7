"""The common ground of every form of report: words with boxes on pages.

Whatever turns a file into words (PDF, text, HTML, workbook, picture) gives a :class:`Source`; everything after
reads only that. Boxes run from the upper left corner, y downwards. On a printed page and on a picture the unit is
free (points, pixels): only proportions to the height of the words are used. On a ``grid`` page x and y count
columns and rows, and a word is a whole cell; on a ``text`` page they count characters and lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["print", "picture", "grid", "text"]


@dataclass(frozen=True, slots=True)
class Word:
    """One word (on a ``grid`` page one cell) with its box. ``page`` counts from 1; ``confidence`` 0 to 1."""

    text: str
    page: int
    x0: float
    y0: float
    x1: float
    y1: float
    confidence: float = 1.0

    @property
    def height(self) -> float:
        return self.y1 - self.y0

    @property
    def middle(self) -> float:
        """Height of the middle of the word on the page."""
        return (self.y0 + self.y1) / 2


@dataclass(frozen=True, slots=True)
class Rule:
    """A ruled line of a table: level or upright, as a box without thickness."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def level(self) -> bool:
        return abs(self.y1 - self.y0) <= abs(self.x1 - self.x0)


@dataclass(frozen=True, slots=True)
class Box:
    """A box on a page, as shares of its width and height from the upper left corner."""

    page: int
    x0: float
    y0: float
    x1: float
    y1: float


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its words in any order, its ruled lines where the source knows them, a title (a sheet's name).

    ``above`` are the lines that stand over a grid."""

    number: int
    width: float
    height: float
    words: tuple[Word, ...]
    rules: tuple[Rule, ...] = ()
    form: Form = "print"
    title: str = ""
    above: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """All words, in their order."""
        return " ".join(w.text for w in self.words)


@dataclass(frozen=True, slots=True)
class Source:
    """A whole report as words. ``numbered``: pages are real pages, so a row may name its page.

    ``remarks`` are ``(code, message)`` pairs on what was not read (too many pages, no text).
    """

    pages: tuple[Page, ...]
    remarks: tuple[tuple[str, str], ...] = ()
    numbered: bool = True
