"""Words of a text, folded, and stems over them: ``calc*``, ``*harte``, ``residuo fisso``; Chinese without spaces."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉⁺⁻", "0123456789+-")
_LETTERS = str.maketrans({"ß": "ss", "ø": "o", "Ø": "o", "æ": "ae", "Æ": "ae", "ł": "l", "Ł": "l", "đ": "d", "ı": "i"})
# Small words that may stand between the words of a stem.
_LINKS = frozenset(
    [
        "of",
        "de",
        "di",
        "del",
        "della",
        "dei",
        "des",
        "du",
        "la",
        "le",
        "les",
        "el",
        "il",
        "the",
        "van",
        "het",
        "von",
        "der",
        "den",
        "da",
        "do",
        "dos",
        "w",
        "na",
        "d",
        "l",
        "dell",
        "a",
        "en",
    ]
)
_WORD = re.compile(r"\d+(?:[.,]\d+)*|[\u3400-\u9fff]|[^\W\d_]+(?:\d+[^\W\d_]*)*")


def _strip(text: str) -> str:
    text = text.translate(_SUBSCRIPTS).translate(_LETTERS)
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c)).lower()


@lru_cache(maxsize=16384)
def fold(text: str) -> str:
    """Lower case, no accents, single spaces, no punctuation but a point between figures."""
    plain = re.sub(r"(?<=\d),(?=\d)", ".", _strip(text))
    plain = re.sub(r"[^\w.+/%µ]|_|(?<!\d)\.|\.(?!\d)", " ", plain)
    return " ".join(plain.split())


@dataclass(frozen=True, slots=True)
class Token:
    """One word: its folded text, where it stands, and whether within brackets."""

    folded: str
    start: int
    end: int
    inside: bool


def tokens(text: str) -> list[Token]:
    """The words of a text; each Chinese character is a word of its own."""
    out = []
    depth, at = 0, 0
    for match in _WORD.finditer(text):
        between = text[at : match.start()]
        for c in between:
            depth = depth + 1 if c in "([（" else max(0, depth - 1) if c in ")]）" else depth
        at = match.end()
        out.append(Token(_strip(match.group()).replace(",", "."), match.start(), match.end(), depth > 0))
    return out


@dataclass(frozen=True, slots=True)
class Stem:
    """A stem and what it means."""

    meaning: str
    pattern: str


class Stems:
    """Stems, looked up word by word; the longest that fits wins.

    Of equal length, an analyte comes before a word about it, and a whole word before a part of one.
    """

    def __init__(self, stems: Iterable[Stem]) -> None:
        self._exact: dict[str, list[tuple[tuple[str, ...], Stem]]] = defaultdict(list)
        self._begin: dict[str, list[tuple[tuple[str, ...], Stem]]] = defaultdict(list)
        self._end: list[tuple[tuple[str, ...], Stem]] = []
        for stem in stems:
            words = tuple(w for part in stem.pattern.split() for w in _cut(part))
            if not words:
                continue
            if words[0].startswith("*"):
                self._end.append((words, stem))
            elif words[0].endswith("*"):
                self._begin[words[0][:3]].append((words, stem))
            else:
                self._exact[words[0]].append((words, stem))

        cores = "|".join(sorted({re.escape(words[0].strip("*")) for words, _ in self._end})) or r"(?!)"
        self._ending = re.compile(cores)

    def longest(self, words: Sequence[Token], at: int) -> tuple[Stem, int] | None:
        """The longest stem that begins at word ``at``, and how many words it takes."""
        first = words[at].folded
        best: tuple[int, bool, int, int] = (0, False, 0, 0)
        found: tuple[Stem, int] | None = None
        ends = self._end if self._ending.search(first) else ()
        for group, rank in ((self._exact.get(first, ()), 2), (self._begin.get(first[:3], ()), 1), (ends, 0)):
            for pattern, stem in group:
                taken = _fits(pattern, words, at)
                if taken == 1 and _within_run(words, at):
                    continue
                rating = (len(pattern), stem.meaning.startswith("analyte"), rank, len(pattern[0]))
                if taken and rating > best:
                    best, found = rating, (stem, taken)
        return found


def _within_run(words: Sequence[Token], at: int) -> bool:
    """A single Chinese character within a run of them is part of another word."""
    if not "\u3400" <= words[at].folded[0] <= "\u9fff":
        return False
    near = [words[i] for i in (at - 1, at + 1) if 0 <= i < len(words)]
    return any(
        "\u3400" <= w.folded[0] <= "\u9fff" and (w.end == words[at].start or w.start == words[at].end) for w in near
    )


def _cut(part: str) -> list[str]:
    """A stem's word as the text's words are cut: Chinese by character."""
    return list(part) if re.match(r"[\u3400-\u9fff]", part) else [part]


def _fits(pattern: Sequence[str], words: Sequence[Token], at: int) -> int:
    i = at
    for n, piece in enumerate(pattern):
        if n:
            skipped = 0
            while i < len(words) and words[i].folded in _LINKS and skipped < 2 and not _match(piece, words[i].folded):
                i += 1
                skipped += 1
        if i >= len(words) or not _match(piece, words[i].folded):
            return 0
        i += 1
    return i - at


def _match(piece: str, word: str) -> bool:
    if piece[0] == "*":
        core = piece[1:]
        return core[:-1] in word if core.endswith("*") else word.endswith(core)
    return word.startswith(piece[:-1]) if piece[-1] == "*" else word == piece
