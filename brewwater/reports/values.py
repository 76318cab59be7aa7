"""What a printed value says: a number, a range, ``ND``, ``<2.0``, ``70 [4.1]``; numbers as printed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

Decimal = Literal[".", ",", "?"]


@dataclass(frozen=True, slots=True)
class Value:
    """A cell understood. ``low``, ``typical`` and ``high`` are as printed; None where not printed.

    ``below_detection``: ``ND`` or ``<x`` stands somewhere in it; then ``low`` is 0. ``unit_text`` is what
    followed the number, if anything; ``aside`` a second number in brackets (``70 [4.1]``). ``doubts`` are
    problem codes; a value with doubts is never presented as certain.
    """

    low: float | None = None
    typical: float | None = None
    high: float | None = None
    below_detection: bool = False
    unit_text: str = ""
    aside: float | None = None
    doubts: tuple[str, ...] = ()

    @property
    def is_range(self) -> bool:
        return self.typical is None and not (self.low is None and self.high is None)

    @property
    def has_number(self) -> bool:
        return any(x is not None for x in (self.typical, self.high)) or self.below_detection


NUMBER = r"(?:\d{1,3}(?:[.,'’\u202f\u00a0 ]\d{3})+(?:[.,]\d+)?(?!\d)|\d+(?:[.,]\d+)?|[.,]\d+)"
ND = (
    r"(?:n\.?\s?d\.?|bdl|brl|bql|bmdl|nd|no[nt]?[- ]?detect(?:ed|s|able)?|not detected|not found|absent"
    r"|none detected|u\.?\s?d\.?\s?b\.?|n\.?\s?n\.?|n\.?\s?b\.?|nicht nachweisbar|nicht nachgewiesen"
    r"|unter (?:der )?bestimmungsgrenze|<\s?bg|<\s?ng|<\s?loq|<\s?lod|<\s?mdl|<\s?mrl|<\s?rl|non détecté|non decelable"
    r"|未检出|不得检出|nie wykryto|neustanoveno|nezjistěno|nedetectat|ej påvisad|ej detekterad|ikke påvist|ei todettu"
    r"|não detectado|non détectable|no detectado|no detectable|ausencia|absence|assente|non rilevato|non rilevabile"
    r"|niet aantoonbaar|niet aangetoond|inf(?:érieur)?\.?\s?(?:au\s)?seuil|below detection|trace|traces|n\.r\.l\.)"
)
LESS = r"(?:<\s?=?|≤|less than|kleiner als|unter|inférieur à|menor de|menor que|inferiore a|kleiner dan|inf\. à)"
MORE = r"(?:>\s?=?|≥|more than|greater than|über|größer als)"
_DASH = r"(?:\s*(?:--+|[-–—−‐‑~÷]|\.{2,3}|…)\s*|\s+(?:to|bis|à|a|tot|through|al?|thru|and)\s+)"
_ONE = rf"(?:{ND}|{LESS}\s*{NUMBER}|{NUMBER})"
_END = r"(?P<rest>[^\d].*)?$"

_RE_ND = re.compile(rf"^{ND}\b(?P<rest>.*)$", re.IGNORECASE)
_RE_LESS = re.compile(rf"^{LESS}\s*(?P<a>{NUMBER}){_END}", re.IGNORECASE)
_RE_MORE = re.compile(rf"^{MORE}\s*(?P<a>{NUMBER}){_END}", re.IGNORECASE)
_RE_RANGE = re.compile(rf"^(?:from |von |de |da |entre |van )?(?P<a>{_ONE}){_DASH}(?P<b>{_ONE}){_END}", re.IGNORECASE)
_RE_ONE = re.compile(rf"^(?:ca\.?|approx\.?|about|~|≈|circa|env\.|etwa|=)?\s*(?P<a>{NUMBER}){_END}", re.IGNORECASE)
_MARKS = re.compile(
    r"\{[^}]{0,6}\}|[*†‡§#^]+|[¹²³⁴⁵⁶⁷⁸⁹⁰ªᵃᵇᶜᵈᵉ]+|\((?:[a-z]|[a-z],\s?[a-z])\)|\[[a-z]\]", re.IGNORECASE
)
_NOTHING = re.compile(
    r"^(?:n/?a|n\.a\.|nr|n/r|ns|n/s|none|not (?:required|applicable|tested|sampled|analy[sz]ed|measured|reported)"
    r"|nicht bestimmt|nicht gemessen|k\.\s?a\.|entfällt|see .*|siehe .*|-+|–+|—+|\.+|keine angabe|pass|tbd|\?+)$",
    re.IGNORECASE,
)
_MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec mär mai okt dez janv févr avr juin juil août ene abr ago dic"
_MONTH = "(?:" + "|".join(_MONTHS.split()) + ")[a-z]{0,6}"
_DATE = re.compile(
    rf"^(?:\d{{1,2}}[-. ]{_MONTH}\.?|{_MONTH}\.?[-. ]\d{{1,2}}|\d{{4}}-\d{{2}}-\d{{2}}(?:[ t]\d{{2}}:\d{{2}}.*)?"
    rf"|\d{{1,2}}/\d{{1,2}}/\d{{2,4}}|\d{{1,2}}\.\d{{1,2}}\.(?:19|20)?\d{{2}})(?:[ t,]+\d{{1,2}}[:.]\d{{2}}.*)?$",
    re.IGNORECASE,
)
_ORDINAL = re.compile(r"^\d{1,2}\s*\{?(?:th|st|nd|rd|º|ª)\}?(?:[\s%-]|$)", re.IGNORECASE)
_ASIDE = re.compile(r"^[\s]*[(\[]\s*(?P<in>[^()\[\]]*)[)\]](?P<rest>.*)$")


def decimal_mark(texts: Iterable[str]) -> Decimal:
    """Whether a document writes 1.5 or 1,5: counted over its cells; ``?`` where nothing decides."""
    comma = dot = 0
    for text in texts:
        comma += len(re.findall(r"(?<![\d.,])(?:\d{1,5},\d{1,2}|0,\d+|\d{4,},\d+)(?![\d.,])", text))
        dot += len(re.findall(r"(?<![\d.,])(?:\d{1,5}\.\d{1,2}|0\.\d+|\d{4,}\.\d+)(?![\d.,])", text))
    if comma == dot:
        return "?"
    return "," if comma > dot else "."


def number(text: str, mark: Decimal) -> tuple[float, tuple[str, ...]]:
    """A number as printed, and the doubts about how to read its marks."""
    if " " in text:  # 1 234 may be one number or two cells that ran together
        return number(text.replace(" ", ""), mark)[0], ("decimal_mark",)
    text = re.sub(r"[\u202f\u00a0 '’]", "", text)
    dots, commas = text.count("."), text.count(",")
    if dots and commas:
        last = max(text.rfind("."), text.rfind(","))
        other = "," if text[last] == "." else "."
        return float(text.replace(other, "").replace(text[last], ".")), ()
    if dots + commas == 0:
        return float(text), ()
    sign = "." if dots else ","
    if text.count(sign) > 1:
        return float(text.replace(sign, "")), ()
    whole, part = text.split(sign)
    thousands = len(part) == 3 and whole not in ("", "0") and len(whole) <= 3
    if not thousands:
        doubts = ("decimal_mark",) if mark not in (sign, "?") and mark == "." and sign == "," else ()
        return float((whole or "0") + "." + part), doubts
    if mark == sign:
        return float(whole + "." + part), (() if sign == "." else ("decimal_mark",))
    if mark == "?" and sign == ".":
        return float(whole + "." + part), ("decimal_mark",)
    return float(whole + part), (() if mark != "?" or sign == "," else ("decimal_mark",))


@lru_cache(maxsize=16384)
def read_value(text: str, mark: Decimal = ".") -> Value | None:
    """What a cell says, or None where it holds no value (blank, ``N/A``, words)."""
    raw = " ".join(text.split())
    if not raw or len(raw) > 120:
        return None
    if _ORDINAL.match(raw):
        return None
    if raw[0] in "=@" or (raw[0] in "+-" and len(raw) > 1 and raw[1].isalpha()):
        return Value(doubts=("formula",))
    if _DATE.match(raw):
        return Value(doubts=("date_not_range",))
    noted = _MARKS.sub(" ", re.sub(r"\}\s+(?=[\dN<])", "} ; ", raw))
    marked = re.search(r"\{[^}]*\}|\([a-z]\)|[¹²³⁴⁵⁶⁷⁸⁹ᵃᵇᶜᵈᵉ]", raw) is not None
    clean = " ".join(noted.split())
    if not clean or _NOTHING.match(clean):
        return None
    if clean[0] in "([" and clean[-1] in ")]":
        clean = clean[1:-1].strip()
    value = _main(clean, mark)
    if value is None:
        return None
    if marked:
        value = replace(value, doubts=(*value.doubts, "footnoted"))
    rest = value.unit_text
    aside = _ASIDE.match(rest)
    if aside is not None:
        value = _with_aside(replace(value, unit_text=aside["rest"].strip()), aside["in"].strip(), mark)
    elif re.search(r"\d", rest) and not re.match(r"^\s*[A-Za-zµμ°%/]", rest):
        value = replace(value, unit_text="", doubts=(*value.doubts, "several_values"))
    return value


def _main(text: str, mark: Decimal) -> Value | None:
    match = _RE_RANGE.match(text)
    if match is not None:
        low, a_nd, doubts_a = _end(match["a"], mark, low=True)
        high, b_nd, doubts_b = _end(match["b"], mark, low=False)
        doubts = tuple(dict.fromkeys(doubts_a + doubts_b))
        if low is not None and high is not None and low > high:
            doubts = (*doubts, "range_reversed")
            low, high = high, low
        return Value(low, None, high, a_nd or b_nd, (match["rest"] or "").strip(), None, doubts)
    match = _RE_LESS.match(text)
    if match is not None:
        high, doubts = number(match["a"], mark)
        return Value(0.0, None, high, True, (match["rest"] or "").strip(), None, doubts)
    match = _RE_MORE.match(text)
    if match is not None:
        low, doubts = number(match["a"], mark)
        return Value(low, None, None, False, (match["rest"] or "").strip(), None, (*doubts, "no_upper_end"))
    match = _RE_ND.match(text)
    if match is not None:
        return Value(0.0, None, None, True, (match["rest"] or "").strip())
    match = _RE_ONE.match(text)
    if match is not None:
        one, doubts = number(match["a"], mark)
        return Value(one, one, one, False, (match["rest"] or "").strip(), None, doubts)
    return None


def _end(text: str, mark: Decimal, *, low: bool) -> tuple[float | None, bool, tuple[str, ...]]:
    """One end of a range; ``ND`` and ``<x`` give 0 below, and None or x above."""
    less = _RE_LESS.match(text)
    if less is not None:
        x, doubts = number(less["a"], mark)
        return (0.0 if low else x), True, doubts
    if re.fullmatch(NUMBER, text):
        x, doubts = number(text, mark)
        return x, False, doubts
    return (0.0 if low else None), True, ()


def _with_aside(value: Value, inside: str, mark: Decimal) -> Value:
    """``45 (40-52)`` is a mean with its range; ``70 [4.1]`` a second number, kept apart."""
    bare = re.sub(r"^(?:range|min\s*/?\s*max|bereich|spanne|von)\s*:?\s*", "", inside, flags=re.IGNORECASE)
    inner = _main(bare, mark)
    if inner is None:
        return replace(value, unit_text=value.unit_text.strip() or f"({inside})")
    if inner.is_range and value.typical is not None and inner.high is not None and inner.low is not None:
        if inner.low <= value.typical <= inner.high:
            return replace(
                value,
                low=inner.low,
                high=inner.high,
                below_detection=inner.below_detection,
                doubts=(*value.doubts, *inner.doubts),
            )
        return replace(value, doubts=(*value.doubts, "several_values"))
    if value.is_range and inner.typical is not None and value.low is not None and value.high is not None:
        if value.low <= inner.typical <= value.high:
            return replace(value, typical=inner.typical)
        return replace(value, aside=inner.typical)
    if inner.typical is not None:
        return replace(value, aside=inner.typical)
    return replace(value, doubts=(*value.doubts, "several_values"))
