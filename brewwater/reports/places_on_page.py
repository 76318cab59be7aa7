"""Where on its page a row or an unread line stands, for a person who compares it with the print."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from brewwater.reports.layout import Cell, page_lines
from brewwater.reports.words import Box, Page


@dataclass(frozen=True, slots=True)
class _Line:
    words: Counter[str]
    cells: tuple[Cell, ...]


def boxes_of(pages: Sequence[Page], texts: Sequence[tuple[int | None, str | None]]) -> tuple[Box | None, ...]:
    """The box of each text on its page (None: on any): the line that shares the most words with it.

    A text without such a line, or on a page that is no picture of a page (a grid, plain text), has none.
    """
    lines: dict[int, list[_Line]] = {}
    for page in pages:
        if page.form in ("print", "picture"):
            lines[page.number] = list(_lines(page))
    sizes = {p.number: (p.width, p.height) for p in pages}
    found: list[Box | None] = []
    for number, text in texts:
        wanted = Counter((text or "").split())
        near = [(n, line) for n, some in lines.items() if number in (n, None) for line in some]
        best = max(near, key=lambda p: (_shared(wanted, p[1].words), -sum(p[1].words.values())), default=None)
        if best is None or _shared(wanted, best[1].words) < max(1.0, 0.4 * sum(wanted.values())):
            found.append(None)
            continue
        cells = [c for c in best[1].cells if wanted & Counter(c.text.split())] or list(best[1].cells)
        wide, high = sizes[best[0]]
        found.append(
            Box(
                best[0],
                min(c.x0 for c in cells) / wide,
                min(c.y0 for c in cells) / high,
                max(c.x1 for c in cells) / wide,
                max(c.y1 for c in cells) / high,
            )
        )
    return tuple(found)


def _shared(wanted: Counter[str], words: Counter[str]) -> float:
    """Words in common; a figure counts for more than a word, since it is what is looked for."""
    return sum(n * (1.5 if any(c.isdigit() for c in w) else 1.0) for w, n in (wanted & words).items())


def _lines(page: Page) -> list[_Line]:
    out = []
    for cells in page_lines(page):
        if not cells or page.width <= 0 or page.height <= 0:
            continue
        words: Counter[str] = Counter()
        for cell in cells:
            words.update(cell.text.split())
        out.append(_Line(words, tuple(cells)))
    return out
