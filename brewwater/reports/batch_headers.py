"""What the columns of a CSV of analyses hold, from their headers: contract names and everyday ones.

``Ca``, ``HCO3-``, ``EC (µS/cm)``, ``Calcium [mmol/L]``, ``NO3-N``, ``Alk, mg/L as CaCO3``. A unit is looked up in
the closed list; one that is not there is refused, none at all is mg/L and said so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from brewwater.errors import InputError, UnitError
from brewwater.units import basis_id, read_unit, to_plan_units

# Contract column of each analyte that a batch uses; three of them only stand in for others or check them.
CONTRACT = {
    "temperature": "temperature_C",
    "ph": "pH",
    "calcium": "calcium_mg_L",
    "magnesium": "magnesium_mg_L",
    "sodium": "sodium_mg_L",
    "potassium": "potassium_mg_L",
    "chloride": "chloride_mg_L",
    "sulfate": "sulfate_mg_L",
    "nitrate": "nitrate_mg_L",
    "alkalinity": "alkalinity_mg_L_as_CaCO3",
    "bicarbonate": "bicarbonate",
    "carbonate": "carbonate",
    "conductivity": "conductivity",
}
_ANALYTE = {column: analyte for analyte, column in CONTRACT.items()}
_NAMES = {
    "temperature": "t|temp|temperature|water temp|water temperature",
    "ph": "ph|ph value|ph lab|ph field|lab ph|field ph",
    "calcium": "ca",
    "magnesium": "mg",
    "sodium": "na",
    "potassium": "k",
    "chloride": "cl",
    "sulfate": "so4|sulfate|sulphate",
    "nitrate": "no3",
    "alkalinity": "alk|alkalinity|total alk|t alk|talk|ta|m alk|malk|tac",
    "bicarbonate": "hco3|bicarb|hydrogen carbonate|hydrogencarbonate",
    "carbonate": "co3|carbonate",
    "conductivity": "ec|cond|sc|spc|sp cond|spcond|conductivity|specific conductance",
}
_SYMBOLS = {name: analyte for analyte, names in _NAMES.items() for name in names.split("|")}
_AS_ELEMENT = re.compile(r"^(?:(no3|nitrate) ?(?:- ?| as )?n|n ?- ?no3)$|^(so4|sul(?:f|ph)ate) ?(?:- ?| as )s$", re.I)
# fmt: off
_IDS = (
    "id", "sample id", "sample_id", "sampleid", "sample", "sample no", "lab no", "name", "station", "site",
    "location", "place", "well", "borehole", "source", "code", "no", "nr", "rownames", "probe", "probenahmestelle",
    "messstelle", "ort", "lieu", "echantillon", "échantillon", "muestra", "campione", "label", "water",
)
# fmt: on
_UNITS = frozenset({"unit", "units", "einheit", "einheiten", "unité", "unités", "unità", "unidad", "uom"})
_ASIDE = re.compile(r"\b(?:dissolved|total|field|lab|filtered|unfiltered|measured|ion|diss|tot)\b\.?", re.IGNORECASE)
_IN = frozenset({"in", "en", "als", "as"})
_SLASHED = re.compile(r"\b([munµμ]?)(g|eq|mol|val|S) ?(?:/ ?)?(l|cm|m)\b(?: ?\^?-1)?", re.IGNORECASE)
_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉⁺⁻²³−", "0123456789+-23-")


@dataclass(frozen=True, slots=True)
class UsedColumn:
    """One column that is used: ``quantity`` is a value of ``CONTRACT``, ``id`` or ``units``.

    A cell times ``factor`` plus ``offset`` is in the contract's unit. ``assumed``: the header prints no unit, and
    mg/L was taken.
    """

    place: int
    printed: str
    quantity: str
    factor: float = 1.0
    offset: float = 0.0
    assumed: bool = False

    @property
    def analyte(self) -> str:
        """The analyte's id."""
        return _ANALYTE[self.quantity]


def read_columns(header: Sequence[str], units: Sequence[str] = ()) -> tuple[list[UsedColumn], list[str]]:
    """The columns that are used, and the headers of quantities that stand twice.

    ``units`` are the cells of a second header row that holds nothing but units.

    Raises
    ------
    InputError : a header names an analyte and a unit that is not in the closed list or does not fit it
    """
    found: dict[str, UsedColumn] = {}
    twice: list[str] = []
    for place, printed in enumerate(header):
        text = " ".join(printed.translate(_SUBSCRIPTS).split())
        quantity = _plain_quantity(text)
        column: UsedColumn | None = UsedColumn(place, printed, quantity) if quantity else None
        if column is None:
            column = _everyday(place, printed, text, units[place] if place < len(units) else "")
        if column is None:
            continue
        if column.quantity in found:
            twice.append(printed)
        else:
            found[column.quantity] = column
    if "id" not in found:
        named = _id_place(header, {c.place for c in found.values()})
        if named is not None:
            found["id"] = UsedColumn(named, header[named], "id")
    return list(found.values()), twice


def understood(header: Sequence[str]) -> int:
    """How many headers mean something here; for finding the delimiter."""
    count = 0
    for printed in header:
        text = " ".join(printed.translate(_SUBSCRIPTS).split())
        if _plain_quantity(text) or text.casefold() in _IDS or _analyte_of(_name_and_unit(text)[0])[0]:
            count += 1
    return count


def _plain_quantity(text: str) -> str | None:
    if text in _ANALYTE and _ANALYTE[text] not in ("bicarbonate", "carbonate", "conductivity"):
        return text
    if text == "id":
        return "id"
    return "units" if text.casefold() in _UNITS else None


def _everyday(place: int, printed: str, text: str, unit_below: str) -> UsedColumn | None:
    name, unit, basis = _name_and_unit(text)
    analyte, element = _analyte_of(name)
    if analyte is None:
        return None
    basis = element or basis
    if not unit and unit_below.strip() not in ("", "-"):
        unit = unit_below.strip()
    assumed = False
    if not unit:
        unit = {"temperature": "°C", "ph": "", "conductivity": "µS/cm"}.get(analyte, "mg/L")
        assumed = analyte not in ("temperature", "ph")
    if analyte == "temperature" and unit.casefold() in ("c", "deg c", "degc", "celsius"):
        unit = "°C"
    if analyte == "ph":
        return UsedColumn(place, printed, CONTRACT[analyte])
    try:
        offset = to_plan_units(0.0, unit, analyte, basis)
        factor = to_plan_units(1.0, unit, analyte, basis) - offset
    except UnitError as error:
        raise InputError(f"column {printed!r}", unit, str(error.limit), "Correct the header.") from None
    return UsedColumn(place, printed, CONTRACT[analyte], factor, offset, assumed)


def unit_factor(unit: str, column: UsedColumn) -> float | None:
    """Factor of a unit that stands in the row itself, or None where it is no unit of that quantity."""
    try:
        return to_plan_units(1.0, unit, column.analyte) if read_unit(unit) is not None else None
    except UnitError:
        return None


def _name_and_unit(text: str) -> tuple[str, str, str | None]:
    """A header parted into name, unit and basis; the last two empty where there is none."""
    work = text.replace("_", " ")
    work = _SLASHED.sub(r"\1\2/\3", work)
    basis: str | None = None
    unit = ""
    for inner in re.findall(r"[(\[]([^()\[\]]*)[)\]]", work):
        if read_unit(inner) is not None and not unit:
            unit = inner.strip()
        elif basis_id(inner) is not None:
            basis = basis_id(inner)
        elif _ASIDE.sub("", inner).strip(" ,;") and not unit:
            unit = inner.strip()  # refused later, by name
    bare = " ".join(re.sub(r"[(\[][^()\[\]]*[)\]]", " ", work).split())
    words = re.split(r"[\s,;:]+", bare)
    for start in range(1, len(words)):
        tail = " ".join(words[start:])
        name = " ".join(w for i, w in enumerate(words[:start]) if i < start - 1 or w.casefold() not in _IN)
        if _analyte_of(name)[0] is None:
            continue
        if read_unit(tail) is not None or (tail in ("C", "degC") and start == 1):
            return name, unit or tail, basis
        if re.match(r"as ", tail) and basis_id(tail) is not None:
            return name, unit, basis_id(tail)
    glued = re.fullmatch(r"(t|temp|temperature)C", bare, re.IGNORECASE)
    return (glued.group(1), "°C", None) if glued else (bare, unit, basis)


def _analyte_of(name: str) -> tuple[str | None, str | None]:
    """Analyte of a header's name, and the element that it counts as (``NO3-N``)."""
    element = _AS_ELEMENT.match(name)
    if element is not None:
        return ("sulfate", "S") if element.group(2) else ("nitrate", "N")
    plain = " ".join(_ASIDE.sub(" ", name).split()).casefold().strip(" .:-")
    for tried in (plain, re.sub(r"(?: ?\d?[+-]+| ?[+-]\d?)$", "", " ".join(name.split()).casefold())):
        if tried in _SYMBOLS:
            return _SYMBOLS[tried], None
    if len(plain) < 4:
        return None, None
    from brewwater.reports.names import read_label

    label = read_label(name)
    return (label.analyte, None) if label is not None and label.analyte in CONTRACT else (None, None)


def _id_place(header: Sequence[str], used: set[int]) -> int | None:
    """The column that names the samples: a usual word for it, else the first that is nothing else."""
    folded = [" ".join(h.replace("_", " ").casefold().split()) for h in header]
    for word in _IDS:
        if word in folded and folded.index(word) not in used:
            return folded.index(word)
    free = [i for i in range(len(header)) if i not in used]
    return free[0] if free and free[0] == 0 else None
