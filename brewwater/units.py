"""Units at the edge: a closed list of report units, each with its basis. The only importer of pint.

No text of a user ever reaches pint: ``dH`` would parse there as decihenry and ``fH`` as femtohenry, ``ppm``
does not convert to mg/L, and ``gallon`` is the US gallon. What a report prints is looked up in
``reference/report_units.csv``; only our own expressions from that table go to pint.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from brewwater.errors import UnitError
from brewwater.reference import Row, keyed, table

if TYPE_CHECKING:
    import pint

# Exact by definition (international yard and pound, US gallon of 231 cubic inches, standard gravity).
GAL_L = 3.785411784
FL_OZ_L = GAL_L / 128
GRAIN_MG = 64.79891
LB_KG = 0.45359237
INCH_M = 0.0254
PSI_KPA = 6.894757293168361

# Grams for one equivalent of each basis that stands for another substance.
_EQUIVALENT_G = {"CaCO3": 100.0869 / 2, "CaO": 56.0774 / 2, "HCO3": 61.0168, "CaSO4": 136.14 / 2}
# Basis that counts one atom of the analyte; see ``nucleus_g`` in reference/analytes.csv.
_NUCLEUS = {"N", "S", "Si", "P"}
# Basis that is the analyte's own formula.
_OWN = {
    "calcium": {"Ca"},
    "magnesium": {"Mg"},
    "sodium": {"Na"},
    "potassium": {"K"},
    "chloride": {"Cl"},
    "sulfate": {"SO4"},
    "nitrate": {"NO3"},
    "nitrite": {"NO2"},
    "bicarbonate": {"HCO3"},
    "carbonate": {"CO3"},
    "ammonium": {"NH4"},
    "phosphate": {"PO4"},
    "silica": {"SiO2"},
    "free_chlorine": {"Cl2"},
    "total_chlorine": {"Cl2"},
    "chloramine": {"Cl2"},
    "iron": {"Fe"},
    "manganese": {"Mn"},
    "fluoride": {"F"},
}
# Ca and Mg of a hardness: grams for one equivalent.
_HARDNESS_G = {"Ca": 40.078 / 2, "Mg": 24.305 / 2}
# Natural water conducts 1.116 times as much at 25 °C as at 20 °C: the EU's 2,500 µS/cm at 20 °C is printed
# in German law as 2,790 at 25 °C (source trinkwv_2023); 1 + 0.0191 (T - 25) below 25 °C (source epa_120_1).
_TO_25_FROM_20 = 2790 / 2500
_CONDUCTIVITY_SLOPE_PER_C = 0.0191

BASES = (
    "CaCO3",
    "CaO",
    "HCO3",
    "CO3",
    "CaSO4",
    "N",
    "S",
    "Si",
    "P",
    "NO3",
    "NO2",
    "SO4",
    "SiO2",
    "PO4",
    "NH4",
    "Ca",
    "Mg",
    "Na",
    "K",
    "Cl",
    "Cl2",
    "Fe",
    "Mn",
    "F",
    "ion",
)


@cache
def _plan_units() -> dict[str, str]:
    return {row["analyte"]: row["plan_unit"] for row in table("analytes")}


class _PlanUnits(Mapping[str, str]):
    """Read when first asked for, so that importing this module opens no file."""

    def __getitem__(self, key: str) -> str:
        return _plan_units()[key]

    def __iter__(self):  # type: ignore[no-untyped-def]
        return iter(_plan_units())

    def __len__(self) -> int:
        return len(_plan_units())


PLAN_UNITS: Mapping[str, str] = _PlanUnits()


@dataclass(frozen=True, slots=True)
class PrintedUnit:
    """A printed unit understood: its id in the closed list, and the basis printed with it, if any."""

    unit: str
    basis: str | None = None


@cache
def _spellings() -> dict[str, str]:
    found: dict[str, str] = {}
    for row in table("report_units"):
        for text in (row["unit"], *row["printed"].split("|")):
            found.setdefault(_fold(text), row["unit"])
    return found


def _fold(text: str) -> str:
    text = text.replace("μ", "µ").replace("º", "°").replace("˚", "°").replace("∙", "·").replace("−", "-")
    text = " ".join(text.lower().split())
    text = re.sub(r"\s*/\s*", "/", text)
    text = re.sub(r"\bmicro\s?s/cm", "µs/cm", text)
    return re.sub(r"(?<=[a-zµ])\s*\(?-1\)?$", "-1", text).replace("°  ", "°").replace("° ", "°")


_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
_BASIS = re.compile(
    r"^(?P<unit>.*?)[\s,(\[]*(?:\b(?:as|als|en|como|come|expressed as|exprimé en|expresado como|espresso in"
    r"|ber\. als)\s+)?(?P<basis>calcium carbonate|caco3|ca\s?co3|cao|hco3|co3|caso4|nitrogen|sulfur|no3-n|no2-n"
    r"|nh[34]-n|so4-s|po4-p|no3|no2|nh4|so4|sio2|po4|cl2|cl|ca|mg|na|fe|mn|si|n|s|p|k|f)[-⁻+²2]*[\s)\]]*$",
    re.IGNORECASE,
)
_INNER = re.compile(
    r"^(?P<m>m|µ|u)g[\s-]*\(?(?P<basis>caco3|cao|hco3|no3-n|no2-n|no3|no2|nh4|so4|sio2|po4|cl2|n|s|p|si)[-⁻+]*\)?\s*/\s*l$",
    re.IGNORECASE,
)
_TEMPERATURE = re.compile(r"[\s,(@]*(?:at|bei|à|a|@|op|bij)?\s*(20|25)\s*[°º˚o]?\s*c\)?$", re.IGNORECASE)
_ELEMENT = re.compile(r"^(m|µ|u)g[\s-]*(fe|mn|al|cu|pb|as|na|ca|mg|cl|k|f|zn|ni)\s*/\s*l$", re.IGNORECASE)
_BASIS_ID = {b.lower(): b for b in BASES} | {
    "calcium carbonate": "CaCO3",
    "ca co3": "CaCO3",
    "nitrogen": "N",
    "sulfur": "S",
    "no3-n": "N",
    "no2-n": "N",
    "nh3-n": "N",
    "nh4-n": "N",
    "so4-s": "S",
    "po4-p": "P",
}


def basis_id(text: str) -> str | None:
    """The basis that a text such as ``CaCO₃`` or ``as N`` names, or None."""
    folded = " ".join(text.translate(_SUBSCRIPTS).strip(" ()[]").lower().removeprefix("as ").split())
    return _BASIS_ID.get(folded.rstrip("-+⁻"))


@lru_cache(maxsize=8192)
def read_unit(text: str) -> PrintedUnit | None:
    """What a printed unit means, or None where it is not in the closed list.

    ``text`` may carry a basis (``mg/L as CaCO3``, ``mg N/L``) or a temperature (``µS/cm at 20 °C``, which
    gives the basis ``20C``). Nothing is evaluated; the text is only looked up.
    """
    if len(text) > 80:
        return None
    text = text.translate(_SUBSCRIPTS).strip().strip("[]").strip()
    if text.startswith("(") and text.endswith(")"):
        text = text[1:-1]
    known = _spellings().get(_fold(text))
    if known is not None:
        return PrintedUnit(known)
    at = _TEMPERATURE.search(text)
    if at is not None and at.start() > 0:
        unit = read_unit(text[: at.start()])
        if unit is not None and keyed("report_units", "unit")[unit.unit]["kind"] == "conductivity":
            return PrintedUnit(unit.unit, at.group(1) + "C")
    inner = _INNER.match(_fold(text))
    if inner is not None:
        unit_id = "mg/L" if inner["m"].lower() == "m" else "ug/L"
        return PrintedUnit(unit_id, _BASIS_ID[inner["basis"].lower()])
    element = _ELEMENT.match(_fold(text))
    if element is not None:  # "µg Fe/l": the ion itself
        return PrintedUnit("mg/L" if element.group(1).lower() == "m" else "ug/L")
    split = _BASIS.match(text)
    if split is not None and split["unit"].strip():
        known = _spellings().get(_fold(split["unit"].strip(" ([,")))
        basis = _BASIS_ID[" ".join(split["basis"].lower().split())]
        if known is not None and _row(known)["kind"] in ("mass", "molar", "equivalents"):
            return PrintedUnit(known, basis)
    return None


def _row(unit: str) -> Row:
    return keyed("report_units", "unit")[unit]


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint  # its definitions take a third of a second to read, and most waters come in mg/L

    return pint.UnitRegistry()


_BASE = {
    "mass": "milligram/liter",
    "molar": "millimole/liter",
    "equivalents": "millimole/liter",
    "conductivity": "microsiemens/centimeter",
}


@cache
def _factor(unit: str) -> float:
    """What one of ``unit`` is in the base of its kind (mg/L, mmol/L, meq/L, µS/cm)."""
    row = _row(unit)
    factor = float(row["factor_to_base"])
    base = _BASE.get(row["kind"])
    if base is not None and row["pint"] != base:
        factor *= float(_registry().Quantity(1.0, row["pint"]).to(base).magnitude)
    return factor


def to_plan_units(value: float, unit: str, analyte: str, basis: str | None = None) -> float:
    """``value`` in the plan's unit of ``analyte`` (``PLAN_UNITS``).

    Parameters
    ----------
    value : finite number in ``unit``
    unit : a unit of the closed list as reports print it, with or without its basis (``mg/L as N``)
    analyte : analyte id of ``reference/analytes.csv``
    basis : one of ``BASES`` (``20C`` or ``25C`` for a conductivity); None: what ``unit`` says, else what the
        unit implies (grains and degrees of hardness), else the basis of the plan's unit

    Raises
    ------
    UnitError : the unit or the basis is not in the closed list, or does not fit the analyte
    """
    scale, offset = _line(unit, analyte, basis)
    if not math.isfinite(value):
        raise UnitError(analyte, value, "a finite number is needed", "Give the number again.")
    return value * scale + offset


def from_plan_units(value: float, unit: str, analyte: str, basis: str | None = None) -> float:
    """A plan value of ``analyte`` in another unit: the inverse of ``to_plan_units``, same errors."""
    scale, offset = _line(unit, analyte, basis)
    return (value - offset) / scale


@cache
def _line(unit: str, analyte: str, basis: str | None) -> tuple[float, float]:
    """Scale and offset that turn a printed value into the plan's unit."""
    about = keyed("analytes", "analyte").get(analyte)
    if about is None:
        raise UnitError("analyte", analyte, "it is not a known analyte id", "Use an id such as calcium.")
    printed = read_unit(unit)
    if printed is None and unit == "" and about["kind"] in ("ph", "count"):
        printed = PrintedUnit("1" if about["kind"] == "ph" else "count")
    if printed is None:
        raise UnitError(
            analyte,
            unit,
            "it is not in the list of report units",
            "Use mg/L, ppm, µg/L, gpg, °dH, °fH, mmol/L, meq/L or µS/cm.",
        )
    if printed.unit == "degF" and about["kind"] != "temperature":
        printed = PrintedUnit("fH", printed.basis)  # °F beside a hardness is the French degree
    elif printed.unit == "fH" and about["kind"] == "temperature":
        printed = PrintedUnit("degF", printed.basis)  # and beside a temperature it is Fahrenheit
    row = _row(printed.unit)
    basis = basis or printed.basis
    kind = about["kind"]
    if kind == "temperature" and row["kind"] == "temperature":
        return (1.0, 0.0) if printed.unit == "degC" else (5 / 9, -160 / 9)
    if kind == "conductivity" and row["kind"] == "conductivity":
        return _factor(printed.unit) * _to_25(unit, analyte, basis), 0.0
    if kind in ("mass", "equivalents") and row["kind"] in ("mass", "molar", "equivalents"):
        return _factor(printed.unit) * _mass_factor(about, row, basis, unit), 0.0
    if kind == row["kind"] or (kind == "count" and row["kind"] == "share"):
        return _factor(printed.unit), 0.0
    raise UnitError(
        analyte,
        unit,
        f"a value of {about['name']} is not given in it",
        f"Use a unit that converts to {about['plan_unit']}.",
    )


def _to_25(unit: str, analyte: str, basis: str | None) -> float:
    if basis in (None, "25C"):
        return 1.0
    if basis == "20C":
        return _TO_25_FROM_20
    match = re.fullmatch(r"(\d{1,2})C", basis or "")
    if match is None or not 5 <= int(match.group(1)) <= 35:
        raise UnitError(analyte, basis, "a conductivity is at 5 to 35 °C", "Write 20C or 25C.")
    return 1 / (1 + _CONDUCTIVITY_SLOPE_PER_C * (int(match.group(1)) - 25))


def _mass_factor(about: Row, row: Row, basis: str | None, unit: str) -> float:
    """From mg/L, mmol/L or meq/L on a basis to mg/L of the plan's basis."""
    analyte = about["analyte"]
    if row["basis"]:
        if basis not in (None, row["basis"]):
            raise UnitError(
                analyte, f"{unit} as {basis}", f"{row['unit']} always counts as {row['basis']}", "Leave the basis out."
            )
        basis = row["basis"]
    molar = float(about["molar_mass_g"]) if about["molar_mass_g"] else None
    charge = float(about["charge"]) if about["charge"] else None
    if row["kind"] == "mass":
        if basis in (None, "ion") or basis in _OWN.get(analyte, ()):
            return 1.0
        if about["kind"] == "equivalents" and basis == "CaCO3":
            return 1.0
        if molar and basis in _NUCLEUS and about["nucleus_g"]:
            return molar / float(about["nucleus_g"])
        if molar and charge and basis in _EQUIVALENT_G and _substance_fits(analyte, basis):
            return molar / charge / _EQUIVALENT_G[basis]
        if analyte == "total_hardness" and basis in _HARDNESS_G:
            return _EQUIVALENT_G["CaCO3"] / _HARDNESS_G[basis]
        raise UnitError(
            analyte,
            f"{unit} as {basis}",
            f"{about['name']} is not counted as {basis}",
            "Use the basis that the report prints.",
        )
    if not molar:
        raise UnitError(analyte, unit, f"{about['name']} has no molar mass", "Use mg/L.")
    if row["kind"] == "molar":
        return molar
    if not charge:
        raise UnitError(analyte, unit, f"{about['name']} has no equivalents", "Use mg/L or mmol/L.")
    return molar / charge


def _substance_fits(analyte: str, basis: str) -> bool:
    if basis == "HCO3":
        return analyte in ("alkalinity", "carbonate")
    if basis in ("CaO", "CaSO4"):
        return analyte in ("total_hardness", "calcium", "magnesium", "alkalinity")
    return analyte not in ("free_chlorine", "total_chlorine", "chloramine", "iron", "manganese")


_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


def number_and_unit(text: str) -> tuple[float, str] | None:
    """The number that ``text`` opens with and the words behind it; None where it opens with none."""
    match = _NUMBER.match(text)
    return None if match is None else (float(match.group(1)), match.group(2))


def percent(share: float, digits: int = 0) -> str:
    """A share, 0 to 1, as it is written in every sentence: ``80 %``."""
    return f"{100 * share:.{digits}f} %"


def plain(value: float | None, digits: int = 3) -> str:
    """A number as it is written in a sentence: ``digits`` significant ones, thousands set off, never an exponent."""
    if value is None or not math.isfinite(value):
        return "not known"
    rounded = float(f"{value:.{digits}g}")
    if rounded == 0 or abs(rounded) < 1e-9:  # less is the arithmetic's own
        return "0"
    decimals = max(digits - 1 - math.floor(math.log10(abs(rounded))), 0)
    text = f"{rounded:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if decimals else text
