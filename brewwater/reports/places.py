"""Headings that name the supply or the sampling point of the tables beneath them."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from brewwater.reports.columns import role_of
from brewwater.reports.layout import Line
from brewwater.reports.names import read_label
from brewwater.reports.settle import names_a_place
from brewwater.reports.words import Page

_WORDS = (
    r"punto (?:di prelievo|di campionamento|de muestreo|de toma)|sampl(?:e|ing) (?:point|location|site|station)"
    r"|(?:water )?(?:supply |quality )?zone(?: name)?|location|treatment (?:works|plant)|entnahmestelle"
    r"|probenahme(?:stelle|ort)|messstelle|versorgungs(?:gebiet|zone|bereich)|wasserwerk|ortsnetz|hochzone|tiefzone"
    r"|point de (?:prélèvement|surveillance)|lieu(?: de prélèvement)?|captage|réseau|unité de distribution"
    r"|monster(?:punt|locatie)|meetpunt|pompstation|productielocatie|voorzieningsgebied|punkt poboru|miejsce poboru"
    r"|ujęcie|suw|stacja uzdatniania|wodociąg|odběrné místo|místo odběru|vodovod|punct de (?:recoltare|prelevare)"
    r"|zona de aprovizionare|provtagningsplats|provpunkt|vattenverk|prøvested|prøvetakingssted|vannverk|vandværk"
    r"|næytteenottopaikka|näytteenottopaikka|vesilaitos|ponto de amostragem|zona de abastecimento|red de distribución"
    r"|zona de abastecimiento|acquedotto|采样地点|采样点|水厂名称"
)
_NAMED = re.compile(rf"(?:^|\b)(?:{_WORDS})\s*[:：]\s*(?P<name>\S[^|]{{1,80}})", re.IGNORECASE)


def place_in(text: str) -> str | None:
    """The supply or sampling point that a line names: ``Sampling point: North works``."""
    match = _NAMED.search(text)
    if match is None:
        return None
    name = re.split(r"\s{2,}", match["name"])[0].strip(" .;,-–")
    return name[:80] if re.search(r"[^\W\d_]{2}", name) else None


def places(texts: Sequence[Sequence[str]]) -> list[list[tuple[int, str]]]:
    """For each page the lines that name a place; none at all where the report names only one."""
    found = [[(i, name) for i, text in enumerate(page) if (name := place_in(text))] for page in texts]
    if len({name for page in found for _, name in page}) < 2:
        return [[] for _ in texts]
    return found


def repeated_heads(texts: Sequence[Sequence[str]]) -> list[list[tuple[int, str]]]:
    """For each page the lone lines that stand above tables with the same heads: they name what the tables are of.

    None at all unless every such table has such a line, and all of them differ.
    """
    counts = Counter(head for page in texts for t in page if (head := _head(t)))
    again = {head for head, n in counts.items() if n >= 2}
    lines = Counter(" ".join(t.split()) for page in texts for t in page)
    found: list[list[tuple[int, str]]] = [[] for _ in texts]
    for p, page in enumerate(texts):
        for i, text in enumerate(page):
            if _head(text) not in again:
                continue
            above = range(i - 1, max(i - 5, -1), -1)
            # a line that repeats over each table is the upper line of its heads
            at = next((j for j in above if page[j].strip() and lines[" ".join(page[j].split())] == 1), None)
            far = at is not None and any(page[j].strip() for j in range(at + 1, i))
            if at is None or not _lone(page[at]) or (far and not _clear_name(page[at])):
                return [[] for _ in texts]
            found[p].append((at, page[at].strip()[:80]))
    names = [name for page in found for _, name in page]
    return found if len(names) >= 2 and len(set(names)) == len(names) else [[] for _ in texts]


def parted(
    pages: Sequence[Page], lines: Sequence[Sequence[Line]], named: Sequence[Sequence[tuple[int, str]]]
) -> tuple[list[Page], list[list[tuple[int, str]]]]:
    """Pages cut above each of their named lines, and the name over each part."""
    parts: list[Page] = []
    names: list[list[tuple[int, str]]] = []
    for page, its_lines, its_names in zip(pages, lines, named, strict=True):
        cuts = [-math.inf, *(min(c.y0 for c in its_lines[i]) for i, _ in its_names), math.inf]
        for k in range(len(cuts) - 1):
            words = tuple(w for w in page.words if cuts[k] <= w.middle < cuts[k + 1])
            if words or len(cuts) == 2:
                parts.append(replace(page, words=words))
                names.append([(0, its_names[k - 1][1])] if k else [])
    return parts, names


def _head(text: str) -> str:
    """A line of heads, so written that equal ones are equal; empty where it is none."""
    cells = [c for c in re.split(r"\s{2,}", text.strip()) if c]
    if len(cells) < 2 or any(ch.isdigit() for ch in text) or any(read_label(c) is not None for c in cells):
        return ""
    return " ".join(text.split()).casefold() if any(role_of(c) for c in cells) else ""


def _lone(text: str) -> bool:
    """Whether a line could be a name: one cell, some letters, no sentence and no figure with a unit."""
    bare = text.strip()
    letters = re.search(r"[^\W\d_]{3}", bare) is not None
    return letters and len(bare) <= 60 and not re.search(r"\s{2,}|[.:;]$", bare) and read_label(bare) is None


def _clear_name(text: str) -> bool:
    """Whether a line further up is surely a name: it does not begin small, and no word of it is about tables."""
    return not text.strip()[:1].islower() and names_a_place(text)


def place_of(top: int, named: Sequence[tuple[int, str]], before: str | None) -> str | None:
    """The place whose heading stands last above a table; the page before's where this page names none above."""
    above = [name for i, name in named if i <= top]
    return above[-1] if above else before
