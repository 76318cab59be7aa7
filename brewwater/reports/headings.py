"""A unit that a heading gives for a whole table: ``All values in mg/L``, ``(mg/l)``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from brewwater.reports.names import read_loose
from brewwater.reports.report import Row
from brewwater.reports.rows import confidence
from brewwater.units import read_unit

# Analytes that a unit of mass for "all values" is not meant for.
_OWN_UNIT = frozenset(
    {"ph", "conductivity", "temperature", "turbidity", "color", "odor", "e_coli", "total_coliform", "fecal_coliform"}
    | {"enterococci", "heterotrophic_plate_count", "langelier_index", "gross_alpha", "gross_beta", "radium", "radon"}
)
_UNIT = re.compile(r"(?:^|[\s(\[])((?:mg|[µμu]g)\s?/\s?(?:l|L|dm3|dm³)|ppm|ppb|mmol/[lL]|meq/[lL])(?=$|[\s)\].,;:])")
# "all units ppm unless noted", "Alle Angaben in mg/l, soweit nicht anders vermerkt"
_SAID = re.compile(
    r"\b(?:all (?:units|values|results|figures|concentrations)(?: are)?(?: (?:in|expressed|reported|given|shown))*"
    r"|(?:units|values|results|figures|concentrations)(?: are)? (?:expressed |reported |given |shown )?in"
    r"|alle (?:angaben|werte|messwerte|waarden|gehalten|verdier|varden|värden|værdier)(?: sind)? (?:in|i)|angaben in"
    r"|(?:toutes les )?valeurs(?: sont)? (?:exprimées )?en|(?:todos los )?(?:valores|resultados) (?:expresados )?en"
    r"|(?:tutti i )?valori (?:sono )?(?:espressi )?in|(?:todos os )?valores (?:expressos )?em|wartości (?:podano )?w)"
    r"[\s:]+((?:mg|[µμu]g)\s?/\s?(?:l|L|dm3|dm³)|ppm|ppb)(?=$|[\s)\].,;:])",
    re.IGNORECASE,
)


def unit_everywhere(texts: Sequence[str]) -> str:
    """The unit that a short line without an analyte or a figure gives; none where two lines differ."""
    found = set()
    for text in texts:
        said = _SAID.search(text)
        if said is not None and len(text) < 200:
            found.add(said.group(1))
            continue
        match = _UNIT.search(text) if len(text) < 70 and not re.search(r"\d", _UNIT.sub("", text)) else None
        if match is not None and read_loose(text) is None and len(_UNIT.findall(text)) == 1 and len(text.split()) < 9:
            found.add(match.group(1))
    return found.pop() if len(found) == 1 else ""


def with_unit(row: Row, unit: str) -> Row:
    """A row without a unit of its own in the unit of its heading."""
    if "unit_missing" not in row.doubts or row.analyte in _OWN_UNIT or read_unit(unit) is None:
        return row
    doubts = tuple(d for d in row.doubts if d != "unit_missing")
    return replace(row, unit=unit, doubts=doubts, confidence=confidence(doubts))
