"""Which analyte a printed label means: a small grammar over stems, in many languages.

Every word of a label has a role: the core of an analyte (``calc*``, ``*härte``), a formula (``SO4-S``), a
qualifier (total, free, carbonate), a basis (as CaCO3), a unit, a temperature, or a word about the sample. Words
that have none are kept in ``Label.unknown``: then it is a mention of the analyte, not surely its label. The stems
are data (``reference/analyte_stems.csv``).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from brewwater.reference import table
from brewwater.reports.stems import Stem, Stems, Token, fold, tokens
from brewwater.units import PrintedUnit, basis_id, read_unit

# Written beside a basis: it may stand for either, and the report must be asked.
UNSURE_BASIS = "?"


@dataclass(frozen=True, slots=True)
class Label:
    """A label understood. ``basis`` is None (not printed), a basis id, or ``UNSURE_BASIS``.

    ``unit_text`` is the unit that the label itself prints, ``unit`` what it means. ``unknown`` are words outside
    brackets that have no role in a label.
    """

    analyte: str
    unit: PrintedUnit | None = None
    basis: str | None = None
    unit_text: str = ""
    unknown: tuple[str, ...] = ()


_MARK = re.compile(
    r"\{[^}]{0,4}\}|[*†‡§#¹²³⁴⁵⁶⁷⁸⁹⁰ªᵃᵇᶜᵈ•►▪]+|\((?:[a-z]|\d{1,2})\)|\[(?:[a-z]|\d{1,2})\]", re.IGNORECASE
)
_BRACKET = re.compile(r"[(\[]([^()\[\]]{0,80})[)\]]")
_UNIT_NAME = re.compile(r"[_ ](mg|ug|µg|ng)[_ ]l(?:[_ ]|$)", re.IGNORECASE)
_AS = re.compile(
    r"(?:\b(?:as|als|en|como|come|in|jako|som|ca|w przeliczeniu na|expressed as|exprimée? en|expresad[oa] como"
    r"|espress[oa] (?:come|in)|ber(?:echnet)? als)\s+|以)"
    r"(caco[3₃]|ca co3|calcium carbonate|cao|hco[3₃]|no[32]|nitrogen|n|s|so4|sio2|po4|p|cl2|ca|mg|na|si|nh[34])"
    r"(?=$|[\s,;)\]\-⁻计])",
    re.IGNORECASE,
)
TEMPERATURE = re.compile(
    r"(?:@|\b(?:at|bei|à|a|op|bij|ved|vid|w|przy|při|pri|la|em|til)\b)?\s*(?:temp\.?\s*)?\b(20|25|105|110|180|260)"
    r"(?:[.,]0)?\s*[°º˚o]?\s*(?:deg(?:rees)?\.?|grad)?\s*c\b\.?"
    r"|(?:@|\b(?:at|bei|à|a|op|bij|ved|vid)\b)\s*(20|25|180)\s*[°º]?",
    re.IGNORECASE,
)
_ACID_CAPACITY = re.compile(r"\bK[\s_]*S?\s*[\s_]*S\s*[\s_]*4[.,]3\b")
_DEGREES = re.compile(r"degrees? (?:clark|french|german)", re.IGNORECASE)
_NUMBERING = re.compile(r"^\s*(?:\d{1,3}|[a-z])[.)]\s+")
# A formula as it stands after a name or alone: analyte and basis.
_FORMULAS = {
    "Ca": ("calcium", "Ca"), "Mg": ("magnesium", "Mg"), "Na": ("sodium", "Na"), "K": ("potassium", "K"),
    "Cl": ("chloride", "Cl"), "SO4": ("sulfate", "SO4"), "SO4-S": ("sulfate", "S"), "NO3": ("nitrate", "NO3"),
    "NO3-N": ("nitrate", "N"), "N-NO3": ("nitrate", "N"), "NO2": ("nitrite", "NO2"), "NO2-N": ("nitrite", "N"),
    "N-NO2": ("nitrite", "N"), "HCO3": ("bicarbonate", "HCO3"), "CO3": ("carbonate", "CO3"),
    "NH4": ("ammonium", "NH4"), "NH4-N": ("ammonium", "N"), "NH3-N": ("ammonium", "N"), "N-NH4": ("ammonium", "N"),
    "NH3": ("ammonium", None), "PO4": ("phosphate", "PO4"), "PO4-P": ("phosphate", "P"), "SiO2": ("silica", "SiO2"),
    "Fe": ("iron", "Fe"), "Mn": ("manganese", "Mn"), "F": ("fluoride", "F"), "Cl2": ("chlorine", "Cl2"),
    "Cu": ("copper", None), "Pb": ("lead", None), "Zn": ("zinc", None), "Al": ("aluminum", None),
    "As": ("arsenic", None), "Ba": ("barium", None), "Cd": ("cadmium", None), "Cr": ("chromium", None),
    "Hg": ("mercury", None), "Ni": ("nickel", None), "Sb": ("antimony", None), "Se": ("selenium", None),
    "B": ("boron", None), "CaCO3": (None, "CaCO3"), "CaO": (None, "CaO"), "Si": ("silica", "Si"),
    "N": (None, "N"), "S": (None, "S"), "P": (None, "P"), "TH": ("hardness", None), "CO2": ("carbon_dioxide", None),
    "ClO2": ("chlorine_dioxide", None), "O2": (None, None), "Ag": ("silver", None), "Sr": ("strontium", None),
}  # fmt: skip
_FORMULA = re.compile(
    r"(?<![A-Za-z\d])(?:N-NO[32]|N-NH4|NO[32]-N|NH[34]-N|SO4-S|PO4-P|CaCO3|HCO3|SiO2|SO4|NO[32]|NH[34]|CO[32]|PO4|ClO2|Cl2"
    r"|CaO|O2|Ca|Mg|Na|Cl|Fe|Mn|Cu|Pb|Zn|Al|As|Ba|Cd|Cr|Hg|Ni|Sb|Se|Si|Ag|Sr|TH|[KFBNSP])(?:\s?\d?[-+⁻⁺−]{1,2})?"
    r"(?![A-Za-zÀ-ÿ\d])"
)
_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉⁺⁻", "0123456789+-")
# Cores that stand for one of several analytes until their qualifiers are read.
_HARD = "hardness"
_SINGLE = frozenset("KFBNSP")


@cache
def _grammar() -> Stems:
    return Stems(
        Stem(f"{row['kind']}:{row['meaning']}", part)
        for row in table("analyte_stems")
        for part in row["stems"].split("|")
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """A word or several with its role: ``core``, ``formula``, ``word``, ``number`` or ``unknown``."""

    role: str
    meaning: str
    start: int
    end: int
    inside: bool
    basis: str | None = None


def _parts(text: str) -> list[_Part]:
    """Every word of a text with its role in a label."""
    out: list[_Part] = []
    formulas = {m.start(): m for m in _FORMULA.finditer(text)}
    words = tokens(text)
    grammar = _grammar()
    i = 0
    while i < len(words):
        word = words[i]
        match = formulas.get(word.start)
        found = grammar.longest(words, i)
        if match is not None and (found is None or words[i + found[1] - 1].end <= match.end()):
            analyte, basis = _FORMULAS[re.sub(r"\s?\d?[-+⁻⁺−]+$", "", _core_formula(match.group()))]
            out.append(_Part("formula", analyte or "", match.start(), match.end(), word.inside, basis))
            while i < len(words) and words[i].start < match.end():
                i += 1
            continue
        if found is not None:
            stem, length = found
            kind, meaning = stem.meaning.split(":", 1)
            last = words[i + length - 1]
            out.append(_Part("core" if kind == "analyte" else "word", meaning, word.start, last.end, word.inside))
            i += length
            continue
        role = "number" if word.folded[:1].isdigit() else "unknown"
        out.append(_Part(role, word.folded, word.start, word.end, word.inside))
        i += 1
    return out


def _core_formula(text: str) -> str:
    text = text.replace("−", "-").replace("⁻", "-").replace("⁺", "+")
    for formula in sorted(_FORMULAS, key=len, reverse=True):
        if text.startswith(formula):
            return formula
    return text


def _resolve(parts: Sequence[_Part]) -> tuple[str, str | None] | None:
    """Analyte and basis of the cores, formulas and qualifiers together; None where they contradict."""
    cores = list(dict.fromkeys(p.meaning for p in parts if p.role == "core"))
    outside = list(dict.fromkeys(p.meaning for p in parts if p.role == "core" and not p.inside))
    words = {p.meaning for p in parts if p.role == "word"}
    formulas = [p for p in parts if p.role == "formula"]
    if "other" in outside or (cores[:1] == ["other"]):
        return None
    basis: str | None = None
    if not cores:
        named = [p for p in formulas if p.meaning]
        if not named or len({p.meaning for p in named}) > 1:
            return None
        basis = next((p.basis for p in formulas if p.basis and p.meaning == ""), named[0].basis)
        return _finish(named[0].meaning, words, basis)
    core = _one(outside or cores, cores, words)
    if core is None:
        return None
    if core.startswith("="):
        core, _, given = core[1:].partition("/")
        basis = given or None
    for p in formulas:
        if p.basis is None:
            continue
        if (
            p.meaning in ("", core)
            or {core, p.meaning} <= {"hardness", "calcium"}
            or core in ("chlorine", "alkalinity")
        ):
            basis = p.basis if basis in (None, UNSURE_BASIS) else basis
    return _finish(core, words, basis)


def _one(first: Sequence[str], cores: Sequence[str], words: set[str]) -> str | None:
    """The analyte of several cores; ``=analyte/basis`` where the combination itself says it."""
    have = set(cores)
    if "carbonate_hardness" in have:
        return "carbonate_hardness"
    if {"nitrate", "nitrite"} <= set(first):
        return "nitrate_plus_nitrite"
    if "hardness" in have:
        if "carbonate" in have or "carbonate" in words or "bicarbonate" in have:
            return "noncarbonate_hardness" if "noncarbonate" in words else "carbonate_hardness"
        if {"calcium", "magnesium"} <= have:
            return "hardness"
        if "calcium" in set(first) and "total" not in words:
            return "=calcium/CaCO3"
        if "magnesium" in set(first) and "total" not in words:
            return "=magnesium/CaCO3"
        if "noncarbonate" in words:
            return "noncarbonate_hardness"
        return "hardness"
    if "alkalinity" in have:
        if "phenol" in words and "total" not in words:
            return None
        if "bicarbonate" in have:  # "Alkalinity (as bicarbonate)"
            return f"=bicarbonate/{UNSURE_BASIS}"
        if "carbonate" in set(first) or "carbonate" in words:
            return f"=carbonate/{UNSURE_BASIS}"
        return "alkalinity"
    if {"calcium", "magnesium"} <= set(first):
        return "hardness" if "total" in words and len(set(first)) == 2 else None
    if first[0] == "calcium" and "carbonate" in set(first):
        return None
    if first[0] == "chlorine" and set(first) <= {"chlorine", "solids"}:
        return "chlorine"  # "cloro residuo"
    if len(set(first)) == 1 or (first[0] in ("solids", "conductivity", "ph", "e_coli", "total_coliform")):
        return first[0]
    # a name in two languages, or a name and its short form, are the same analyte; anything else is not one label
    return None


def _finish(core: str, words: set[str], basis: str | None) -> tuple[str, str | None]:
    if core == "hardness":
        if "carbonate" in words:
            return "carbonate_hardness", basis
        return ("noncarbonate_hardness" if "noncarbonate" in words else "total_hardness"), basis
    if core == "chlorine":
        return (
            "free_chlorine" if "free" in words else "combined_chlorine" if "combined" in words else "total_chlorine"
        ), (None if basis == "Cl2" else basis)
    if core == "solids":
        return "total_dissolved_solids", None
    if core == "chromium" and "hexavalent" in words:
        return "hexavalent_chromium", None
    return core, basis


@lru_cache(maxsize=8192)
def read_loose(text: str) -> Label | None:
    """The analyte that a text is about, with the words that a label would not hold in ``unknown``."""
    text = " ".join(text.split())
    if not 0 < len(text) <= 200 or not any(c.isalpha() for c in text):
        return None
    unit = _unit(text)
    if unit is not None:  # "mg/l HCO3" stands in a column of units; "Degrees Clark" is how a hardness is named
        return Label("total_hardness", unit, unit.basis, text) if _DEGREES.fullmatch(text) else None
    text = text.translate(_SUBSCRIPTS)
    text = _ACID_CAPACITY.sub("KS4.3", text)
    bare = _UNIT_NAME.sub(lambda m: f" ({m.group(1)}/L) ", text).replace("_", " ")
    bare = _NUMBERING.sub("", _MARK.sub(" ", bare))
    unit_text, basis = "", None
    as_ = _AS.search(bare)
    for part in (m.group(1) for m in _BRACKET.finditer(bare)):
        found = _unit(part)
        if found is not None and unit is None:
            unit, unit_text = found, part.strip()
            bare = bare.replace(part, " ", 1)
    if as_ is not None:
        basis = basis_id(as_.group(1))
        bare = bare.replace(as_.group(0), " ", 1)
    warm = TEMPERATURE.search(bare)
    if warm is not None:
        bare = TEMPERATURE.sub(" ", bare)
        bare = re.sub(r"[(\[]\s*[)\]]", " ", bare).rstrip()
    if unit is None:
        bare, unit, unit_text = _split_tail(bare)
    parts = _parts(bare)
    found_here = _resolve(parts)
    if found_here is None:
        return None
    analyte, own = found_here
    basis = basis or (unit.basis if unit else None) or own
    if warm is not None and analyte == "conductivity":
        degrees = warm.group(1) or warm.group(2)
        basis = basis or (f"{degrees}C" if degrees in ("20", "25") else None)
    if basis == "25C" or (basis == _own_basis(analyte) and analyte not in _ASKED):
        basis = None
    unknown = tuple(
        p.meaning
        for p in parts
        if not p.inside and (p.role == "unknown" or (p.role == "number" and not _expected(p.meaning, analyte)))
    )
    if analyte == "alkalinity" and any(p.meaning in ("8.2", "8,2") for p in parts):
        return None
    return Label(analyte, unit, basis, unit_text, unknown)


# Analytes whose own basis, where it is printed, says what would else be asked.
_ASKED = frozenset({"nitrate", "nitrite", "sulfate", "bicarbonate", "carbonate", "ammonium", "phosphate", "silica"})


def _own_basis(analyte: str) -> str | None:
    return next((b for a, b in _FORMULAS.values() if a == analyte and b not in (None, "N", "S", "P", "Si")), None)


def _expected(number: str, analyte: str) -> bool:
    if analyte == "alkalinity":
        return number in ("4.3", "4,3", "4.5", "4,5", "4", "3")
    return analyte in ("radium", "copper", "lead") and number in ("90", "226", "228")


def _unit(text: str) -> PrintedUnit | None:
    found = read_unit(text)
    return found if found is not None and found.unit not in ("1", "count") else None


@lru_cache(maxsize=8192)
def read_label(text: str) -> Label | None:
    """The analyte that a label names, or None. The label may hold a unit and a basis: ``Calcium (mg/L)``."""
    found = read_loose(text)
    if found is None or found.unknown:
        return _in_two_languages(text)
    return found


def _in_two_languages(text: str) -> Label | None:
    """``Alumini / Aluminio``: a label whose other half names nothing that is known."""
    halves = [h.strip() for h in re.split(r"\s+[/|]\s+", text)]
    if len(halves) != 2 or not all(re.match(r"[^\W\d_]{2}", h) for h in halves):
        return None
    labels = [found for h in halves if (found := read_loose(h)) is not None and not found.unknown]
    other = [h for h in halves if (found := read_loose(h)) is None or found.unknown]
    return labels[0] if len(labels) == 1 and len(other) == 1 and read_loose(other[0]) is None else None


def _split_tail(text: str) -> tuple[str, PrintedUnit | None, str]:
    """A unit at the end of a label: ``Calcium, mg/L``, ``Gesamthärte in °dH``, ``durezza in gradi francesi``."""
    closing = re.search(r"\s*\([^()]*\)\s*$", text)
    if closing is not None and closing.start() > 0:  # "Nitrat mg/l (Höchstwert 40)"
        head, unit, tail = _split_tail(text[: closing.start()])
        if unit is not None:
            return head, unit, tail
    words = text.split(" ")
    for start in range(max(1, len(words) - 4), len(words)):
        tail = " ".join(words[start:]).strip(" ,;:")
        if not 1 < len(tail) <= 40 or (len(tail) == 2 and "°" not in tail and tail.lower() not in _BARE_UNITS):
            continue
        if not ("/" in tail or "°" in tail or len(words) - start > 1 or tail.lower() in _BARE_UNITS):
            continue
        unit = _unit(tail)
        if unit is not None:
            head = re.sub(r"[\s,;:–-]*(?:\bin)?[\s,;:–-]*$", "", " ".join(words[:start]))
            return head, unit, tail
    return text, None, ""


_BARE_UNITS = frozenset(
    {"ppm", "ppb", "ppt", "gpg", "grains", "ntu", "fnu", "mmol", "mval", "dh", "fh", "µs", "us", "umhos", "mmho"}
)


def without_bases(found: Sequence[Mention], text: str) -> list[Mention]:
    """Mentions of an analyte, not of a basis: ``144 mg/L as calcium carbonate`` is not about calcium."""
    bases = [m.span() for m in _AS.finditer(text)]
    return [
        m for m in found if not any(m.start < b and a < m.end and not mentions(text[m.start : a]) for a, b in bases)
    ]


@dataclass(frozen=True, slots=True)
class Mention:
    """An analyte named somewhere in a line: where its name begins and ends."""

    label: Label
    start: int
    end: int
    rank: str = "name"


@lru_cache(maxsize=8192)
def mentions(text: str) -> tuple[Mention, ...]:
    """Every analyte that a line names, in the order of printing, each with the words that belong to its label."""
    text = text.translate(_SUBSCRIPTS)
    parts = _parts(text)
    out: list[Mention] = []
    run: list[_Part] = []

    def close() -> None:
        while len(run) > 1 and run[0].role == "word" and _JOINS.fullmatch(text[run[0].start : run[0].end]):
            run.pop(0)  # "68 mg/L and magnesium": the unit is not of its name
        cores = [p for p in run if p.role == "core"]
        marks = [p for p in run if p.role == "formula" and p.meaning and not _weak(text, p)]
        if cores or marks:
            first, last = run[0], run[-1]
            label = read_loose(text[first.start : last.end]) or _try([*cores, *marks], text)
            if label is not None:
                out.append(Mention(replace(label, unknown=()), first.start, last.end, "name" if cores else "formula"))
        run.clear()

    for part in parts:
        gap = text[run[-1].end : part.start] if run else ""
        if run and (part.role in ("unknown", "number") or re.search(r"[.;:|=<>≤≥]|\d|\s-\s|\s[–—]\s", gap)):
            close()
        if part.role in ("core", "word", "formula"):
            run.append(part)
    close()
    return tuple(out)


_JOINS = re.compile(r"mg|[µμu]g|ng|m?l|and|und|et|och|og|oraz", re.IGNORECASE)


def _weak(text: str, part: _Part) -> bool:
    """A single letter, or a short formula that may be a word, is a mention only at the head of its line."""
    word = text[part.start : part.end]
    return len(word) == 1 or (word in ("As", "Na", "Al", "Se", "Ni", "Si", "TH", "Cl", "Ba", "Sr") and part.start > 3)


def _try(parts: Iterable[_Part], text: str) -> Label | None:
    for part in parts:
        label = read_loose(text[part.start : part.end])
        if label is not None:
            return label
    return None


__all__ = ["UNSURE_BASIS", "Label", "Mention", "Token", "fold", "mentions", "read_label", "read_loose"]
