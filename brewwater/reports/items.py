"""A line without columns cut into its label, units, figures and words; figures that ran together parted."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache

from brewwater.reference import keyed
from brewwater.reports.names import TEMPERATURE, Label, mentions, read_label
from brewwater.reports.values import LESS, MORE, ND, read_value
from brewwater.units import read_unit

_UNITS = r"(?:mg|µg|μg|ug|ng|mmol|mval|meq)\s?/\s?(?:[lL]|dm3|m3)|[µμu]S/cm|mS/[cm]+|NTU|FTU|FNU|NFU|°\s?[dDfF][hH]?"
_BASES = r"(?:CaCO3|HCO3|NO3|NO2|NH4|SO4|PO4|SiO2|Cl2|Cl|Pt|F|N)"
_GLUE = tuple(
    (re.compile(pattern), fill)
    for pattern, fill in (
        (rf"(?<=[A-Za-zÀ-ÿ’'*)])(?=(?:{_UNITS})(?![a-z]))", " "),
        (r"(?<=[A-Za-zà-ÿ°])(?=Unit[àéa]\b)|(?<=pH)(?=unit)", " "),
        (rf"((?:{_UNITS})\s?{_BASES})(?=[<>≤≥\d])", r"\1 "),
        (rf"((?:{_UNITS}))(?=[<>≤≥\d])", r"\1 "),
        (r"([Uu]nit[àéa] pH)(?=\d)", r"\1 "),
        (r"(°\s?C)(?=\d)", r"\1 "),
        (r"(?<=\d)(?=[≤≥<>])", " "),
        (r"(?<=\d)(?=(?:Nota|Note)\b)", " "),
    )
)


@lru_cache(maxsize=8192)
def unglue(line: str) -> str:
    """Spaces where a label, its unit and its figure ran together."""
    line = line.replace("\u00a0", " ")
    for pattern, fill in _GLUE:
        line = pattern.sub(fill, line)
    return " ".join(line.split())


@dataclass(frozen=True, slots=True)
class Item:
    """A part of a line: ``unit``, ``value``, ``blank`` (a dash where nothing is) or ``word``."""

    kind: str
    text: str
    start: int = 0


# In running text a space parts two figures; several marks in one figure are figures that ran together.
_FIGURE = r"(?:\d+(?:[.,]\d+)+|\d+|[.,]\d+)"
_ONE = rf"(?:{ND}\b|(?:{LESS}|{MORE})\s*(?:{_FIGURE})|(?:{_FIGURE}))"
_DASH = r"(?:\s*(?:--+|[-–—−‐‑~÷]|\.{2,3}|…)\s*|\s+(?:to|bis|à|a|tot|through|al?|do|e|and|und|y|et|til|till)\s+)"
_VALUE = re.compile(rf"{_ONE}(?:{_DASH}{_ONE})?(?![\d.,]*\d)", re.IGNORECASE)
_SPACE = re.compile(r"\s+")


def cut(text: str) -> list[Item]:
    """The items of what follows a label."""
    out: list[Item] = []
    at = 0
    while at < len(text):
        space = _SPACE.match(text, at)
        if space is not None:
            at = space.end()
            continue
        unit = _unit_at(text, at)
        if unit:
            out.append(Item("unit", unit, at))
            at += len(unit)
            continue
        value = _VALUE.match(text, at)
        if value is not None and value.end() > at and not _inside_word(text, at, value.end()):
            out.append(Item("value", value.group(), at))
            at = value.end()
            continue
        word = re.match(r"[-–—]+(?=\s|$)", text[at:])
        if word is not None:
            out.append(Item("blank", word.group(), at))
            at += word.end()
            continue
        word = re.match(r"\([^()]*\)|\S+", text[at:])
        size = word.end() if word is not None else 1
        if re.search(r"\w", text[at : at + size]):
            out.append(Item("word", text[at : at + size], at))
        at += size
    return out


def _inside_word(text: str, start: int, end: int) -> bool:
    before, after = text[start - 1 : start], text[end : end + 1]
    if before.isalpha() or (before in "-/.," and before and start > 1 and not text[start - 2 : start - 1].isspace()):
        return True
    return (after.isalpha() and not _unit_at(text, end)) or after in ("/", ":") or text[end : end + 3] in ("th ", "st ")


def _unit_at(text: str, at: int) -> str:
    """The longest unit that begins here."""
    if text[at].isdigit() or text[at] in "<>-–(":
        return ""
    ends = [m.end() for m in re.finditer(r"\S+", text[at : at + 60])][:5]
    for end in reversed(ends):
        part = text[at : at + end]
        bare = part.rstrip(".,;:)")
        found = read_unit(bare)
        if found is not None and not (found.unit == "count" and "/" not in bare):
            return bare
    return ""


@dataclass(frozen=True, slots=True)
class Entry:
    """A label with what stands behind it on its line."""

    label: Label
    name: str
    items: tuple[Item, ...]


# "Degrees Clark  17.9": the unit is the name.
_DEGREES = re.compile(r"(degrees? (?:clark|french|german))\W{1,4}(?=\d)", re.IGNORECASE)
_ACID = re.compile(r"(?:pH|KS|K_S)\s*4[.,]3", re.IGNORECASE)
_REMARK = re.compile(r"\([^()]*[^\W\d_]{4}[^()]*\)")
_NOTE_MARK = re.compile(r"(?<=[^\W\d_])\s?[(\[]\d{1,2}[)\]]")  # "Fluoride (1)" points to a footnote
_FIRST = re.compile(r"(?<![\w.,/])[<≤>≥]?\s?\d|(?:^|\s)(?:nd|n\.\s?[dn]\.?)(?=\s|$)", re.IGNORECASE)


@lru_cache(maxsize=8192)
def entry(line: str) -> Entry | None:
    """A line that begins with a label, cut; None where it begins otherwise."""
    line = re.sub(r"^[\s•*·►▪|>-]+(?=\S)", "", unglue(line))
    if not line or len(line) > 300:
        return None
    degrees = _DEGREES.match(line)
    if degrees is not None and (label := read_label(degrees.group(1))) is not None:
        return Entry(label, degrees.group(1), tuple(cut(line[degrees.end() :])))
    found = mentions(line)
    if not found or found[0].start > 24:
        return None
    masked = _ACID.sub(lambda m: "_" * len(m.group()), TEMPERATURE.sub(lambda m: "_" * len(m.group()), line))
    masked = _NOTE_MARK.sub(lambda m: "_" * len(m.group()), masked)
    masked = _REMARK.sub(lambda m: "_" * len(m.group()), masked)
    stops = [m.start() for m in _FIRST.finditer(masked)]
    ends = [
        len(line),
        *(s for s in stops if s >= found[0].end - 3),
        *(i for i in _unit_starts(line) if i >= found[0].end and masked[i] != "_"),
    ]
    ends += [m.end() for m in re.finditer(r"[:=]", line) if m.end() > found[0].start]
    for end in sorted(set(ends)):
        name = line[:end].strip(" :;=,|–-")
        label = read_label(name)
        if label is None:
            continue
        rest = [e for e in sorted(set(ends)) if e > end and _same(line[:e], label)]
        between = cut(line[end : rest[-1]]) if rest else []
        if any(i.kind == "word" for i in between) and not any(i.kind == "value" for i in between):
            continue  # the label goes on: "Total Dissolved Solids (TDS): Est, ppm"
        items = [i for i in cut(line[end:].lstrip(" :;=,|")) if i.kind != "word" or re.search(r"\w", i.text)]
        return Entry(label, name, tuple(items))
    return None


def _same(text: str, label: Label) -> bool:
    wide = read_label(text.strip(" :;=,|–-"))
    return wide is not None and wide.analyte == label.analyte


def _unit_starts(line: str) -> list[int]:
    return [m.start() for m in re.finditer(r"\S+", line) if m.start() and _unit_at(line, m.start())]


# -- limits and figures that ran together -------------------------------------------------------------


@cache
def _limits(analyte: str) -> frozenset[str]:
    row = keyed("report_limits", "analyte").get(analyte)
    return frozenset(_plain(x) for x in row["printed"].split("|")) if row is not None else frozenset()


def _plain(text: str) -> str:
    text = re.sub(r"[\s()≤≥<>=*]|[–—−÷]", lambda m: "-" if m.group() in "–—−÷" else "", text).replace(",", ".")
    return "-".join(re.sub(r"(\.\d*?)0+$", r"\1", p).rstrip(".") if "." in p else p for p in text.split("-"))


def is_limit(text: str, analyte: str) -> bool:
    """Whether a printed text is a usual legal limit of an analyte, or says itself that it is one."""
    if re.match(r"\s*(?:[≤≥>]|max|min|mindest|anbefal|moins|entre|inf|sup|<\s*\d{2})", text, re.IGNORECASE):
        return True
    return _plain(text) in {_plain(x) for x in _limits(analyte)}


def part_figures(text: str, analyte: str) -> tuple[str, str] | None:
    """``4.540.0`` where 40.0 is a limit of the analyte: value and limit; None where nothing says where to cut."""
    head = re.match(r"^<?\s*[\d.,]+", text)
    if head is None:
        return None
    best: tuple[str, str] | None = None
    for i in range(1, len(head.group())):
        left, right = text[:i].strip(), text[i:]
        if not left or not right[0].isdigit() or left[-1] in ".,<" or left[-1:] == "<":
            continue
        value = re.sub(r"^(<?\s*\d+[.,]\d\d)[.,]00$", r"\1", left)
        if read_value(value, "." if "." in value else ",") is None or not re.fullmatch(r"<?\s*\d+(?:[.,]\d+)?", value):
            continue
        if _plain(right) in {_plain(x) for x in _limits(analyte)} and (right[0] != "0" or right[1:2] in (".", ",")):
            marks = len(re.findall(r"[.,]", value))
            if best is None or marks >= len(re.findall(r"[.,]", best[0])):
                best = (value, right)
    return best
