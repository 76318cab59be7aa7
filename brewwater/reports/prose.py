"""Values in sentences and in ``name: value unit`` lines; never certain enough to outweigh a table."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from brewwater.reports.columns import year_of
from brewwater.reports.items import Item, cut, unglue
from brewwater.reports.names import Label, Mention, mentions, without_bases
from brewwater.reports.report import Row
from brewwater.reports.rows import make_rows
from brewwater.reports.values import Decimal, Value, read_value
from brewwater.units import basis_id, read_unit

MAX_LINE = 600
# Words that may stand between a name and its value.
_LINK = frozenset(
    [
        "is",
        "was",
        "are",
        "were",
        "of",
        "about",
        "approximately",
        "averages",
        "averaged",
        "averaging",
        "average",
        "mean",
        "ranges",
        "ranged",
        "ranging",
        "range",
        "from",
        "between",
        "around",
        "at",
        "level",
        "levels",
        "content",
        "concentration",
        "value",
        "values",
        "in",
        "the",
        "our",
        "your",
        "water",
        "typically",
        "currently",
        "measured",
        "tested",
        "as",
        "total",
        "liegt",
        "beträgt",
        "betragen",
        "bei",
        "von",
        "zwischen",
        "ca",
        "etwa",
        "der",
        "des",
        "die",
        "das",
        "est",
        "de",
        "entre",
        "la",
        "le",
        "les",
        "es",
        "del",
        "di",
        "è",
        "tra",
        "fra",
        "circa",
        "bedraagt",
        "tussen",
        "environ",
        "aproximadamente",
        "media",
        "mittel",
        "im",
        "durchschnittlich",
        "durchschnitt",
        "an",
        "on",
        "with",
        "has",
        "it",
        "expressed",
        "to",
        "and",
        "mittlere",
        "mittleren",
        "ligger",
        "är",
        "er",
        "vid",
        "på",
        "mellan",
        "wynosi",
        "średnio",
        "około",
        "je",
        "je",
        "hodnota",
        "este",
        "on",
        "keskimäärin",
        "noin",
        "här",
        "und",
        "et",
        "y",
        "e",
        "i",
        "reported",
        "result",
        "results",
        "now",
        "our",
        "gemiddeld",
        "gemiddelde",
        "moyenne",
        "valor",
        "valore",
        "wert",
        "trinkwasser",
        "drinking",
        "tap",
        "eau",
        "agua",
        "acqua",
        "est.",
        "est",
        "jest",
        "leży",
        "leaving",
        "entering",
        "plant",
        "plants",
        "treatment",
        "works",
        "system",
        "distribution",
        "network",
        "zone",
        "town",
        "city",
        "district",
        "finished",
        "treated",
        "supply",
        "supplied",
        "delivered",
        "customers",
        "for",
        "this",
        "that",
        "s",
    ]
)
AVOID = re.compile(
    r"\b(?:mcl|mclg|phg|limit|limits|goal|standard|action level|grenzwert|maximum (?:contam|permi|allow)|exceed"
    r"|guideline|allowed|permitted|advisory|recommend|considered|classified|soft water|hard water|moderately|very hard"
    r"|less than or|límite|limite|norm|below|above|ideal|optimal|target|should|härtebereich|weich|generally accepted"
    r"|perfectly|neutral|scale|minimum concentration|for instance|example|up to|at least|must|may not|health effect"
    r"|härtegrad|medelhårt|mjukt|dopuszczaln\w*|norma|gränsvärde\w*|grenseverdi\w*|grænseværdi\w*|raja-arvo\w*|would|regulat|deficit|increase|reduce|adding)\b",
    re.IGNORECASE,
)
# A sentence that speaks of the law from here on.
LIMIT = re.compile(
    r"\b(?:legal(?:ly)?|limits?|maximum (?:contaminant|permitted|allowable)|grenzwert\w*|valeurs? limites?"
    r"|limites? (?:de|legal)"
    r"|limite di legge|límites?|gränsvärde\w*|grenseverdi\w*|grænseværdi\w*|raja-arvo\w*|dopuszczaln\w*|norm(?:en|a|y)?"
    r"|limitn\w*|valor param\w*|wettelijk\w*)\b",
    re.IGNORECASE,
)
_RESULT = re.compile(
    r"\b(?:our|your|results?|measured|found|detected|average\w*|unser\w*|gemessen\w*|messwert\w*|mesuré\w*|moyenne|media|medid\w*"
    r"|gemiddeld\w*|gemeten|uppmätt\w*|wynik\w*|wyniós\w*)\b",
    re.IGNORECASE,
)
_TAGS = (
    (
        "high",
        re.compile(
            r"^\(?(?:max\.?|maximum|highest|maximal|hoogste?|höchst\w*|massimo|máximo|maks\.?)\)?[,.]?$", re.IGNORECASE
        ),
    ),
    (
        "low",
        re.compile(
            r"^\(?(?:min\.?|minimum|lowest|minimal|laagste?|niedrigst\w*|minimo|mínimo)\)?[,.]?$", re.IGNORECASE
        ),
    ),
    (
        "typical",
        re.compile(
            r"^\(?(?:mean|av\.?|avg\.?|averaged?|averages|averaging|mittel\w*|moyenne|media|promedio|gemiddeld\w*|medel)\)?[,.]?$",
            re.IGNORECASE,
        ),
    ),
)


# "(minimum 7,2 - maximum 7,6)" behind a mean
TAGGED = re.compile(
    r"\(((?:min|max|maks|hoog|laag|höchst|niedrigst|mín|máx|mass|from|von|range|de)[^\W\d]*\.?:?\s*[<\d][^()]*)\)",
    re.IGNORECASE,
)


@dataclass
class _Found:
    text: str
    unit: str = ""
    tag: str = ""
    basis: str | None = None
    said: bool = False  # words stand between it and the figure before


def prose_rows(lines: Sequence[str], mark: Decimal, page: int | None) -> list[Row]:
    """Values that sentences and lines print beside a name."""
    out: list[Row] = []
    asked: Mention | None = None
    for sentence in _sentences(lines):
        if sentence.rstrip().endswith("?"):
            asked = _question(sentence)
        if len(sentence) > MAX_LINE or not any(c.isdigit() for c in sentence):
            continue
        found = without_bases([m for m in mentions(sentence) if m.rank == "name" or m.start == 0], sentence)
        if not found and asked is not None:
            out += _answer(asked, sentence, mark, page)
        for k, mention in enumerate(found):
            following = next((m for m in found[k + 1 :] if m.label.analyte != mention.label.analyte), None)
            tail = sentence[mention.end : following.start if following else len(sentence)]
            at_once = re.match(r"[\s,:=]{0,3}[<≤]?\s?\d", tail) is not None
            around = ("" if at_once else sentence[max(0, mention.start - 50) : mention.end]) + tail[:60]
            if (
                AVOID.search(_before_comparison(around))
                or _of_the_law(sentence, mention)
                or (mention.label.analyte == "ph" and re.match(r"\s*(?:4[.,][35]|8[.,]2)\b", tail))
            ):
                continue
            values = _values(tail)
            if values:
                out += _rows(mention, values, sentence, mark, page)
    return out


_COMPARED = re.compile(
    r"\d\S*\s?[^\s,]{0,12},?\s+(?:which is |and )?(?:well|far|much)\s+(?:below|under|within)\b", re.IGNORECASE
)


def _before_comparison(text: str) -> str:
    """A text up to where a figure is compared: ``41 mg/L, well below the guideline``."""
    found = re.search(
        r"\d\S*\s?[^\s,]{0,12},?\s+(?:which is |and )?(?:well|far|much)\s+(?:below|under|within)\b", text, re.IGNORECASE
    )
    return text if found is None else text[: found.start()]


def _of_the_law(sentence: str, mention: Mention) -> bool:
    """Whether a figure behind a mention is a limit that the sentence has begun to speak of, and no result."""
    near = sentence[max(0, mention.start - 24) : mention.end + 24]
    return LIMIT.search(sentence[: mention.start]) is not None and _RESULT.search(near) is None


def _question(sentence: str) -> Mention | None:
    """The one analyte that a question without a figure is about."""
    found = mentions(sentence)
    one = len({m.label.analyte for m in found}) == 1 and not re.search(r"\d", sentence)
    return found[0] if one else None


def _answer(asked: Mention, sentence: str, mark: Decimal, page: int | None) -> list[Row]:
    """The figure of a sentence that names no analyte, under the question that does."""
    first = next((i for i in cut(sentence) if i.kind == "value" and year_of(i.text) is None), None)
    if first is None or AVOID.search(sentence[: first.start + 60]):
        return []
    begin = max(0, first.start - 40)
    values = _values(" " + " ".join(w for w in sentence[begin:].split(" ") if w))
    values = values or _values(sentence[first.start :])
    known = read_unit(values[0].unit) if values else None
    if known is None and asked.label.analyte != "ph":
        return []
    return [r for r in _rows(Mention(asked.label, 0, 0), values, sentence, mark, page) if "unit_unfit" not in r.doubts]


def _sentences(lines: Sequence[str]) -> list[str]:
    """Sentences, over the ends of lines where a line is broken within one."""
    out: list[str] = []
    paragraph = ""
    for raw in lines:
        line = unglue(raw)
        broken = len(paragraph) > 50 and not re.search(r"[.:;!?]$", paragraph) and line[:1].islower()
        if broken:
            paragraph += f" {line}"
            continue
        if paragraph:
            out.append(paragraph)
        paragraph = line
    if paragraph:
        out.append(paragraph)
    return [s for p in out for s in re.split(r"(?<=[a-z\d)][.;!?])\s+(?=[A-ZÀ-Þ])", p) if s]


def _values(tail: str) -> list[_Found]:
    """The values of a name, in their order, with unit and tag (mean, highest); none where too much stands between."""
    bracket = re.match(r"\s*\(([^()]{0,40})\)", tail)
    unit_before, basis = "", None
    if bracket is not None:
        inside = bracket.group(1)
        if read_unit(inside) is not None:
            unit_before = inside
        basis = basis_id(re.sub(r"^(?:total )?(?:as|als|in|en|como|come)\s+", "", inside, flags=re.IGNORECASE))
        if not re.search(r"\d[\d.,]*\s*(?:mg|ppm|gpg|°)", inside):
            tail = tail[bracket.end() :]
    items = cut(TAGGED.sub(r" \1 ", tail))
    out: list[_Found] = []
    strange = 0
    tag = ""
    said = False
    for k, item in enumerate(items):
        if item.kind == "word":
            named = _tag(item.text)
            said = said or re.search(r"[^\W\d_]{3}", item.text) is not None
            if named and out and item.text.startswith("("):
                out[-1].tag = named
            elif named:
                tag = named
            else:
                word = item.text.strip("().,;:-–—=").lower()
                basis_here = basis_id(word)
                if out and basis_here is not None:
                    out[-1].basis = basis_here
                elif word and word not in _LINK:
                    inner = read_unit(item.text.strip("()"))
                    strange += inner is None
            if strange > 1 and not out:
                return []
            if strange > 4:
                break
        elif item.kind == "unit":
            if out and not out[-1].unit and _beside(items, k):
                out[-1].unit = item.text
            elif not out:
                unit_before = item.text
        elif item.kind == "value":
            if year_of(item.text) is not None and not (k + 1 < len(items) and items[k + 1].kind == "unit"):
                continue
            out.append(_Found(item.text, "", tag, basis, said))
            tag, said = "", False
            strange = 0
    for found in out:
        found.unit = found.unit or unit_before
    return out


def _beside(items: Sequence[Item], k: int) -> bool:
    return items[k - 1].kind == "value" or (k > 1 and items[k - 1].kind == "word" and items[k - 2].kind == "value")


def _tag(word: str) -> str:
    return next((tag for tag, pattern in _TAGS if pattern.match(word)), "")


def _rows(mention: Mention, values: list[_Found], sentence: str, mark: Decimal, page: int | None) -> list[Row]:
    label = mention.label
    label_unit = label.unit is not None
    first = values[0]
    if not first.unit and not label_unit and label.analyte != "ph":
        tail = sentence[mention.end :]
        bare = re.match(r"^[\s•*|-]*$", sentence[: mention.start]) and re.match(
            rf"\s*[:=|]?\s*{re.escape(first.text)}\b[\s.,;*†]*(?:$|\(|or over)", tail
        )
        if not bare:
            return []
    own = [
        v
        for v in values
        if v is first
        or (v.tag and _same_unit(v.unit, first.unit))
        or (v.unit and v.unit == first.unit and _around(v, first, mark))
    ]
    value = _together(own, mark)
    if value is None:
        return []
    certain = re.match(r"^[\s•*|-]*$", sentence[: mention.start]) is not None and re.match(
        rf"\s*(?:\([^()]*\))?\s*[:=|]?\s*{re.escape(first.text)}", sentence[mention.end :]
    )
    doubts = () if certain else ("from_prose",)
    date = re.match(r"^\s*((?:19|20)\d{2}(?:\s?[/-]\s?\d{2,4})?)\b", sentence)
    made = make_rows(
        _based(label, first.basis),
        value,
        first.unit,
        page=page,
        text=sentence[:300],
        supply=None,
        date=date.group(1) if date else None,
        doubts=doubts,
    )
    for other in values:
        if other in own or not (other.unit or other.basis) or other.tag:
            continue
        second = read_value(other.text, mark)
        known = read_unit(other.unit)
        if second is not None and ((known is not None and known.unit != "1") or other.basis is not None):
            made += make_rows(
                _based(replace(label, unit=None, unit_text=""), other.basis),
                second,
                other.unit,
                page=page,
                text=sentence[:300],
                supply=None,
                date=date.group(1) if date else None,
                doubts=doubts,
            )
    return made


def _same_unit(unit: str, other: str) -> bool:
    one, two = read_unit(unit), read_unit(other)
    return unit in ("", other) or (one is not None and two is not None and one.unit == two.unit)


def _around(spread: _Found, middle: _Found, mark: Decimal) -> bool:
    """A range about a single figure: ``averages 9.4 grains and ranges from 8.1 to 10.6 grains``."""
    around, at = _read(spread, mark), _read(middle, mark)
    if not spread.said or around is None or not around.is_range or at is None or at.typical is None:
        return False
    return around.low is not None and around.high is not None and around.low <= at.typical <= around.high


def _read(found: _Found, mark: Decimal) -> Value | None:
    """Its value; ``between 40 and 52`` is a range."""
    return read_value(found.text.replace(" and ", " - ").replace(" und ", " - "), mark)


def _based(label: Label, basis: str | None) -> Label:
    return replace(label, basis=basis) if basis is not None and label.basis is None else label


def _together(values: Sequence[_Found], mark: Decimal) -> Value | None:
    """One value of several with tags: ``290 (max), 169 (mean)``; ``7.6 to 32.7 with an average of 17.2``."""
    first = _read(values[0], mark)
    if first is None or not first.has_number:
        return None
    if len(values) == 1 and not values[0].tag:
        return first
    low, typical, high = first.low, first.typical, first.high
    if values[0].tag in ("high", "low") and typical is not None:
        low, high, typical = (None, typical, None) if values[0].tag == "high" else (typical, None, None)
    for other in values[1:]:
        read = _read(other, mark)
        if read is None:
            continue
        if read.is_range and _around(other, values[0], mark):
            low, high = read.low, read.high
        elif other.tag == "typical":
            typical = read.typical
        elif other.tag == "high":
            high = read.high
            if low == typical and first.typical is not None:
                low = None
        elif other.tag == "low":
            low = read.low
    return replace(first, low=low, typical=typical, high=high)
