"""Which analyte a printed label means, with the unit and the basis that the label itself carries.

The synonyms are data (``reference/analyte_names.csv``); a label must match one whole, apart from brackets,
footnote marks and a few words about where or how it was sampled. What does not match is not guessed.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache, lru_cache

from brewwater.reference import table
from brewwater.units import PrintedUnit, basis_id, read_unit

# Written beside a basis: it may stand for either, and the report must be asked.
UNSURE_BASIS = "?"


@dataclass(frozen=True, slots=True)
class Label:
    """A label understood. ``basis`` is None (not printed), a basis id, or ``UNSURE_BASIS``.

    ``unit_text`` is the unit that the label itself prints, ``unit`` what it means.
    """

    analyte: str
    unit: PrintedUnit | None = None
    basis: str | None = None
    unit_text: str = ""


_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉⁺⁻", "0123456789+-")
_MARK = re.compile(
    r"\{[^}]{0,4}\}|[*†‡§#¹²³⁴⁵⁶⁷⁸⁹⁰ªᵃᵇᶜᵈ•►▪]+|\((?:[a-z]|\d{1,2})\)|\[(?:[a-z]|\d{1,2})\]",
    re.IGNORECASE,
)
_BRACKET = re.compile(r"[(\[]([^()\[\]]{0,60})[)\]]")
_UNIT_NAME = re.compile(r"[_ ](mg|ug|µg|ng)[_ ]l(?:[_ ]|$)", re.IGNORECASE)
# Words about the sample, not about the analyte.
_ASIDE = re.compile(
    r"\b(?:at (?:the )?(?:customer'?s? )?taps?|at consumer'?s taps?|tap water|distribution system|treated water"
    r"|finished water|in (?:the )?(?:tap )?water|raw water|entry point|source water|(?:annual |yearly )?average"
    r"|(?:in )?residual as cl2|90th percentile|90th|percentile|residential taps?|calculated|measured|reported"
    r"|berechnet|gemessen|filtered|unfiltered|field|laboratory|lab|titration|by icp|\bicp\b"
    r"|consumer taps?|compliance monitoring)\b",
    re.IGNORECASE,
)
_AS = re.compile(
    r"(?:\b(?:as|als|en|como|come|in|expressed as|exprimé en|expresado como|espresso come|ber(?:echnet)? als)\s+)"
    r"(caco3|ca co3|calcium carbonate|cao|hco3-?|no3-?|no2-?|nitrogen|n|s|so4|sio2|po4|p|cl2|ca|mg|na|si|nh[34])"
    r"(?=$|[\s,;)\]])",
    re.IGNORECASE,
)


@lru_cache(maxsize=8192)
def fold(text: str) -> str:
    """Lower case, no accents, single spaces, punctuation that carries no meaning left out."""
    text = text.translate(_SUBSCRIPTS).replace("_", " ")
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    plain = plain.lower().replace("ß", "ss").replace("’", "'").replace("–", "-").replace("—", "-")
    plain = re.sub(r"(?<=\d),(?=\d)", ".", plain)
    plain = re.sub(r"[,:;=()\[\]\"?|]", " ", plain)
    return " ".join(plain.replace("°", " ").split()).strip(" .-")


def _tight(folded: str) -> str:
    return re.sub(r"[\s.'-]", "", folded)


@cache
def _names() -> dict[str, tuple[str, str | None]]:
    """Folded synonym to analyte and basis; and once more without spaces and hyphens."""
    found: dict[str, tuple[str, str | None]] = {}
    for row in table("analyte_names"):
        entry = (row["analyte"], row["basis"] or None)
        found.setdefault(fold(row["name"]), entry)
    for name, entry in list(found.items()):
        if len(_tight(name)) > 3:
            found.setdefault("~" + _tight(name), entry)
    return found


@cache
def _symbols() -> frozenset[str]:
    return frozenset(row["name"] for row in table("analyte_names") if len(row["name"]) <= 3)


def _look(text: str) -> tuple[str, str | None] | None:
    folded = fold(text)
    if not folded:
        return None
    names = _names()
    if len(folded) <= 2 and folded != "ph" and text.strip() not in _symbols():
        return None  # "NA" is not sodium, "as" is not arsenic
    return names.get(folded) or (names.get("~" + _tight(folded)) if len(_tight(folded)) > 3 else None)


@lru_cache(maxsize=8192)
def read_label(text: str) -> Label | None:
    """The analyte that a label names, or None. The label may hold a unit and a basis: ``Calcium (mg/L)``."""
    text = " ".join(text.split())
    if not 0 < len(text) <= 160 or not any(c.isalpha() for c in text):
        return None
    hit = _look(text)
    if hit is not None:
        return Label(hit[0], None, hit[1])
    text = text.translate(_SUBSCRIPTS)
    unit: PrintedUnit | None = None
    unit_text = ""
    basis: str | None = None
    work = _UNIT_NAME.sub(lambda m: f" ({m.group(1)}/L) ", text)
    bare = _MARK.sub(" ", work)
    hit = _look(bare)
    if hit is not None:
        return Label(hit[0], None, hit[1])
    as_ = _AS.search(bare.replace("_", " "))
    inside = [m.group(1) for m in _BRACKET.finditer(bare)]
    for part in inside:
        found = read_unit(part)
        if found is not None and found.unit not in ("1", "count"):
            if unit is None:
                unit, unit_text = found, part.strip()
        elif basis_id(part) is not None and basis is None and part.strip().lower() not in ("ca", "mg", "na", "k"):
            basis = basis_id(part)
    if as_ is not None:
        basis = basis_id(as_.group(1))
        bare = bare.replace("_", " ").replace(as_.group(0), " ")
    outside = " ".join(_BRACKET.sub(" ", bare).split())
    if _look(outside) is None:
        outside, tail, tail_text = _split_tail(outside)
        if unit is None:
            unit, unit_text = tail, tail_text
    outside = re.sub(r"^\d{1,2}[.)]\s+", "", outside)
    tried = [outside, _ASIDE.sub(" ", outside), _ASIDE.sub(" ", bare), *_rounds(outside)]
    for candidate in tried:
        candidate = re.sub(r"[\s,;:–-]+$", "", candidate).strip(" ,;:-–")
        hit = _look(candidate)
        if hit is not None:
            own = basis or (unit.basis if unit else None)
            return Label(hit[0], unit, own or hit[1], unit_text)
    return None


def _rounds(text: str) -> list[str]:
    """``Hardness, total`` is ``total hardness``; ``Calcium - Ca`` is calcium."""
    out = []
    parts = [p.strip() for p in re.split(r"[,;/]| [-–:] ", text) if p.strip()]
    if len(parts) == 2:
        out.append(f"{parts[1]} {parts[0]}")
        first, second = _look(_ASIDE.sub(" ", parts[0])), _look(_ASIDE.sub(" ", parts[1]))
        if (
            first is not None
            and (second is None or second[0] == first[0])
            and (second is not None or not _ASIDE.sub(" ", parts[1]).strip())
        ):
            out.append(parts[0])
    return out


def _split_tail(text: str) -> tuple[str, PrintedUnit | None, str]:
    """A unit at the end of a label: ``Calcium, mg/L``, ``Gesamthärte in °dH``."""
    words = text.split(" ")
    for start in range(1, len(words)):
        tail = " ".join(words[start:])
        if len(tail) > 40 or not (("/" in tail) or ("°" in tail) or tail.lower() in _BARE_UNITS):
            continue
        unit = read_unit(tail)
        if unit is not None and unit.unit not in ("1", "count"):
            head = re.sub(r"[\s,;:–-]*(?:\bin)?[\s,;:–-]*$", "", " ".join(words[:start]))
            return head, unit, tail
    return text, None, ""


_BARE_UNITS = frozenset({"ppm", "ppb", "ppt", "gpg", "grains", "ntu", "fnu", "mmol", "mval", "dh", "fh", "µs", "us"})
