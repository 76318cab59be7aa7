"""What each column of a table means: the label, the unit, a range, a limit; and which supply it belongs to."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from brewwater.reports.names import read_label
from brewwater.reports.values import read_value
from brewwater.units import PrintedUnit, read_unit

Role = Literal[
    "label",
    "unit",
    "range",
    "average",
    "low",
    "high",
    "value",
    "date",
    "limit",
    "violation",
    "count",
    "method",
    "note",
    "supply",
    "",
]
VALUE_ROLES = frozenset({"range", "average", "low", "high", "value"})

# Tried in this order: a column of limits must never be read as a value.
_PATTERNS: tuple[tuple[Role, str], ...] = (
    (
        "count",
        r"#\s*(?:sampled|months|of|samples|exceed|sites)|no\.?\s*(?:of|exceeding)|number of|number exceed"
        r"|samples (?:taken|collected)|anzahl|nombre de|numero (?:di|de)|número de|aantal|sites (?:over|above)"
        r"|exceed(?:ing|ances?)|\bn\b$|samples? size|frequency|häufigkeit",
    ),
    (
        "limit",
        r"\b(?:mcl|mclg|phg|mrdl|mrdlg|smcl|tt|al|nl|pcv|dlr|mrl|lod|loq|rl|mdl)s?\b|limit|limite|límite|grenz"
        r"|richtwert|standard|guideline|goal|ideal|allowed|maximum contaminant|action level|advisory|parametr"
        r"ic value|norm\b|norme|norma|trinkwv|anforderung|valore di parametro|parameterwert|valor param"
        r"étrico|référence|permitted|permissible|zulässig|höchst\s?(?:wert|gehalt)|reporting|bestimmungs"
        r"grenze|nachweisgrenze|detection limit|\bwho\b|\bepa\b|\beu\b|max\.? allow|prescribed|regulat|target"
        r"|uncertaint|accuracy|unsicherheit|limiet|wettelijk",
    ),
    ("violation", r"violation|compliance|compliant|meets|überschreit|erfüllt|conforme|cumple|voldoet|within limits"),
    ("method", r"method|verfahren|méthode|método|metodo|methode|din\b|lab\.? no|accredit"),
    (
        "date",
        r"\bdates?\b|\byears?\b|sampled|datum|\bjahr\b|\bfecha\b|année|\banno\b|\bdata\b(?! (?:range|value))"
        r"|\baño\b|probenahme|collected|prélèvement",
    ),
    (
        "note",
        r"source|origin|comment|remark|bemerkung|herkunft|notes?\b|typical use|sources/uses|observ|remarque"
        r"|what does|meaning|health effect|describe|description|where it comes|annotation|opmerking|likely",
    ),
    (
        "unit",
        r"^units?\b|\bunits?$|einheit|^unité|^unidad|^unità|^eenheid|^uom$|unit of|^u\.?m\.?$|measure$|maßeinheit"
        r"|^dimension",
    ),
    (
        "label",
        r"constituent|contaminant|parameter|substance|analyte|^analysis$|parámetro|paramètre|parametro|^stoff"
        r"|bezeichnung|determinand|characteristic|property|^test$|^substanz|kenngröße|component|^item$|chemical"
        r"|^compound|bestandteil|untersuchung|messgröße|^stof$|^ions?$|^mineral|inhaltsstoff|^element|^variable"
        r"|quality (?:parameter|indicator)|^name$|^measurement$|paramètres",
    ),
    (
        "range",
        r"\brange|spanne|bereich|von\s*-?\s*bis|rango|gamme|intervall|fourchette|étendue|min\s*[-–/.]+\s*max"
        r"|low\s*[-–/]\s*high|schwankung",
    ),
    (
        "average",
        r"average|\bavg|\bmean\b|mittel|media\b|moyenne|gemiddeld|durchschnitt|typical|median|promedio|medio"
        r"|\bmoy\b|ø",
    ),
    ("low", r"\bmin\b|minimum|minimal|\blow(?:est)?\b|kleinst|mínimo|mini\b|minimo|laagste|niedrigst|^from$|^von$"),
    ("high", r"\bmax\b|maximum|maximal|\bhigh(?:est)?\b|größt|máximo|maxi\b|massimo|hoogste|höchst|^to$|^bis$|peak"),
    (
        "value",
        r"result|level|value|amount|detected|found|measured|reading|wert\b|befund|valor|valeur|valore|waarde"
        r"|resultado|résultat|risultato|percentile|your water|concentration|ergebnis|gehalt|konzentration"
        r"|concentraci|positive samples|concentrazione|resultaat|analyse|our water|reported",
    ),
    (
        "supply",
        r"^(?:water )?(?:zone|supply|plant|location|station|site|system|district|zona|ort|source name|facility"
        r"|sample point|sampling (?:point|location|site)|entnahmestelle|versorgungs(?:gebiet|zone)|wasserwerk"
        r"|water ?works|treatment plant|water system|region|area|service area|well|ville|commune|secteur|lieu"
        r"|point de|punto|comune|locatie|gebied|tap|supply zone|water supply zone|town|city|municipality|id)"
        r"s?(?: name)?$",
    ),
)
_COMPILED = tuple((role, re.compile(pattern, re.IGNORECASE)) for role, pattern in _PATTERNS)
_LABEL = dict(_COMPILED)["label"]
_YEAR = re.compile(r"^(?:fy|cy|year|jahr|année|año|anno)?\s*((?:19|20)\d{2})(?:\s*[-–/]\s*((?:19|20)?\d{2}))?$", re.I)
# System-wide, whatever supply the user takes.
_SYSTEM = re.compile(
    r"^(?:all|all (?:zones|supplies|plants|areas)|distribution system|system[- ]?wide|entire system|verteilnetz"
    r"|gesamt(?:es)? (?:netz|gebiet)|alle|tous|todas?|tutti|distribution|combined system|water system)$",
    re.IGNORECASE,
)
ALL = "all"


def role_of(text: str) -> Role:
    """The role that a header text names, or ``""``."""
    text = " ".join(text.replace("_", " ").split())
    if not text or len(text) > 120:
        return ""
    bare = re.sub(r"\([^)]*\)", " ", text).strip()
    if bare and bare != text and _LABEL.search(bare):
        return "label"  # "Substance (unit of measure)"
    for role, pattern in _COMPILED:
        if pattern.search(text):
            return role
    return ""


def year_of(text: str) -> str | None:
    """``2021`` or ``2020-2021`` where the text is nothing else."""
    match = _YEAR.match(" ".join(text.split()))
    if match is None:
        return None
    return match.group(1) + (f"-{match.group(2)}" if match.group(2) else "")


@dataclass
class Column:
    """One column. ``supply`` and ``date`` come from the header; ``unit`` where the header prints one."""

    role: Role = ""
    supply: str | None = None
    date: str | None = None
    unit: str | None = None
    header: str = ""
    highest: bool = False


def read_columns(header: list[list[str]], body: list[list[str]], before: list[Column] | None) -> list[Column]:
    """Columns from the stacked header texts (``header[level][column]``) and the cells beneath.

    ``before`` are the columns of the header above in the same table: a later header that repeats a role
    without naming supplies keeps theirs.
    """
    width = max((len(r) for r in (*header, *body)), default=0)
    columns = [Column() for _ in range(width)]
    named: list[list[str]] = [[] for _ in range(width)]
    for j, column in enumerate(columns):
        texts = [t for t in dict.fromkeys(row[j] if j < len(row) else "" for row in header) if t]
        column.header = " ".join(texts)
        column.highest = bool(re.search(r"highest|maxim|höchst|max\b", column.header, re.IGNORECASE))
        for text in texts:
            _one_level(column, text, named[j])
    _mixed_names(columns, named)
    _by_content(columns, named, body)
    repeated = _repeats(columns)
    for j, column in enumerate(columns):
        if column.supply is None and column.role in (*VALUE_ROLES, "date") and named[j]:
            column.supply = supply_name(named[j])
        elif column.supply is None and before and repeated and j < len(before):
            column.supply = before[j].supply
    return columns


def _one_level(column: Column, text: str, names: list[str]) -> None:
    year = year_of(text)
    if year is not None:
        column.date = year
        return
    unit = _unit_in(text)
    if unit is not None:
        column.unit = unit
        text = re.sub(r"[(\[]?\s*" + re.escape(unit) + r"\s*[)\]]?", " ", text).strip(" ,;:-")
        if not text:
            return
    text = text.replace("_", " ")
    match = re.search(r"\b((?:19|20)\d{2})\b", text)
    role = role_of(text)
    if role in VALUE_ROLES and match is not None:
        column.date = match.group(1)
    if role:
        if not (column.role in ("limit", "count", "note", "violation") and role in VALUE_ROLES):
            column.role = role
        if role in VALUE_ROLES:
            left = text
            for r, pattern in _COMPILED:
                if r in VALUE_ROLES or r == "date":
                    left = pattern.sub(" ", left)
            left = re.sub(
                r"\b(?:19|20)\d{2}\b|\b(?:of|the|in|water|samples?|detections?|monthly|annual|mg/l)\b",
                " ",
                left,
                flags=re.IGNORECASE,
            )
            left = " ".join(left.split()).strip(" -–:,;/()")
            if len(left) > 1:
                names.append("~" + left)
        return
    names.append(text)


def _unit_in(text: str) -> str | None:
    """A unit that a header prints, alone or in brackets."""
    if (unit := read_unit(text)) is not None and unit.unit not in ("1", "count") and role_of(text) != "unit":
        return text
    for inner in re.findall(r"[(\[]([^()\[\]]{1,30})[)\]]", text):
        found = read_unit(inner)
        if found is not None and found.unit not in ("1", "count"):
            return str(inner)
    return None


def _mixed_names(columns: list[Column], named: list[list[str]]) -> None:
    """``North range | South range``: the words beside a role name a supply only where they tell columns apart."""
    seen: dict[Role, set[str]] = {}
    for column, names in zip(columns, named, strict=True):
        for name in names:
            if name.startswith("~"):
                seen.setdefault(column.role, set()).add(name)
    for column, names in zip(columns, named, strict=True):
        keep = [n.removeprefix("~") for n in names if not n.startswith("~") or len(seen[column.role]) > 1]
        names[:] = keep


def _by_content(columns: list[Column], named: list[list[str]], body: list[list[str]]) -> None:
    """Roles of columns whose header tells none: from what stands beneath."""
    for j, column in enumerate(columns):
        cells = [row[j] for row in body if j < len(row) and row[j]]
        figures = sum((v := read_value(c)) is not None and v.has_number for c in cells)
        # "Surface source" over figures is a supply, not a remark
        if column.role in ("note", "method") and not named[j] and figures > max(1, 0.7 * len(cells)):
            column.role, named[j] = "value", [column.header]
        if column.role:
            continue
        if not cells:
            continue
        need = max(1, 0.6 * len(cells))
        if not any(c.role == "label" for c in columns) and sum(read_label(c) is not None for c in cells) >= need:
            column.role = "label"
        elif sum(_is_unit(c) for c in cells) >= need and not any(c.role == "unit" for c in columns):
            column.role = "unit"
        elif sum(read_value(c) is not None for c in cells) >= 0.5 * len(cells):
            column.role = "value"
        elif column.header and not named[j]:
            column.role = "note"


def _is_unit(text: str) -> bool:
    unit: PrintedUnit | None = read_unit(text)
    return unit is not None and not text.strip().isdigit()


def _repeats(columns: list[Column]) -> bool:
    roles = [c.role for c in columns if c.role in VALUE_ROLES]
    return len(set(roles)) < len(roles)


_GENERIC = re.compile(r"\b(?:service area|water service area|zone of service|versorgungsgebiet)\b", re.IGNORECASE)
_KIND = re.compile(r"\(([^()]*water[^()]*|[^()]*wasser[^()]*|wells?|river|lake)\)", re.IGNORECASE)


def supply_name(names: list[str]) -> str:
    """One name from stacked header texts: the area, and the kind of water where it is printed in brackets."""
    names = [" ".join(n.split()) for n in dict.fromkeys(names)]
    names = [re.sub(r"\s*\([a-z]\)$|\{[^}]*\}", "", n).strip() for n in names]
    names = [re.split(r"\s+including\b", n, flags=re.IGNORECASE)[0] for n in names if n]
    if not names:
        return ALL
    if len(names) == 1 and _SYSTEM.match(names[0]):
        return ALL
    first = names[0]
    if _GENERIC.search(first) and _GENERIC.sub("", first).strip():
        area = _GENERIC.sub("", first).strip(" -–:")
        area = area.capitalize() if area.isupper() else area
        kind = next((m.group(1) for n in names if (m := _KIND.search(n))), None)
        if kind is not None and kind.lower() not in area.lower():
            return f"{area} ({kind})"
        return " ".join([area, *names[1:]])[:120]
    return " ".join(names)[:120]


def is_system(name: str) -> bool:
    """Whether a supply's name means the whole system."""
    return bool(_SYSTEM.match(" ".join(name.split())))
