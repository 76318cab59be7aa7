"""Rows of a whole report set in order: repeats, names of supplies, basis and unit, and what is doubtful."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from brewwater.reference import keyed
from brewwater.reports.checks import CA_TO_HARDNESS
from brewwater.reports.columns import ALL, plain_text
from brewwater.reports.names import read_loose
from brewwater.reports.report import Problem, Row, plan_value
from brewwater.reports.rows import confidence
from brewwater.units import read_unit

# Doubts with which a value may not enter an analysis at all.
USELESS = frozenset(
    {
        "unit_unknown",
        "unit_unfit",
        "implausible",
        "formula",
        "date_not_range",
        "tds_is_conductivity",
        "several_values",
        "supply_unclear",
        "column_unclear",
    }
)
_SAID = {
    "decimal_mark": "its decimal mark could be read two ways",
    "several_values": "several figures stand in one cell; only the first was taken",
    "date_not_range": "a spreadsheet seems to have turned the value into a date; ask for the original (8-13 becomes "
    "13 August)",
    "formula": "the cell holds a formula, which is not evaluated",
    "no_upper_end": "it is printed as more than a value, without an upper end",
    "range_reversed": "its range is printed with the higher end first",
    "average_outside_range": "the mean lies outside the printed range",
    "unit_missing": "no unit is printed",
    "unit_unknown": "its unit is not known",
    "unit_unfit": "its unit does not fit it",
    "supply_unclear": "it is not clear which supply it belongs to",
    "column_unclear": "two columns of the same meaning differ",
    "basis_unclear": "its basis is not printed, and it could be counted in two ways; the analysis spans both",
    "implausible": "it is outside what tap water can be; check the unit and the column",
    "tds_is_conductivity": "dissolved solids are printed in a unit of conductivity",
    "second_figure": "a second figure stands beside it in brackets; only the first was taken",
    "from_prose": "it was read from a sentence",
}


# In these languages a nitrate without a basis is the ion, as the law of the EU counts it.
OTHER_TONGUE = re.compile(r"\b(?:grenzwert|\w*härte|nitrat|dureza|dureté|durezza|hardheid|chlorid)\b", re.IGNORECASE)


def drop_repeats(rows: Sequence[Row]) -> list[Row]:
    """The same line read by two ways (a table and its text) is one row; a weaker reading yields."""
    out: dict[tuple[object, ...], Row] = {}
    apart = _differ(rows)
    tabled = {(r.analyte, r.low, r.high) for r in rows if "from_prose" not in r.doubts}
    for row in rows:
        if "from_prose" in row.doubts and (row.analyte, row.low, row.high) in tabled:
            continue
        key = (
            row.analyte,
            row.low,
            row.typical,
            row.high,
            row.unit.lower(),
            row.supply,
            row.date,
            row.section if apart else "",
        )
        if key not in out or out[key].confidence < row.confidence:
            out[key] = row
    return list(out.values())


def name_supplies(rows: Sequence[Row], name: str) -> tuple[list[Row], tuple[str, ...]]:
    """Supplies in the order of printing; one unnamed supply takes the report's name."""
    rows = [_without_no_name(r) for r in _by_section_and_supply(_by_section(rows))]
    named = list(dict.fromkeys(r.supply for r in rows if r.supply not in (None, ALL)))
    supplies = tuple(
        s for s in named if s is not None and not any(o is not None and o.startswith(f"{s} (") for o in named)
    )
    if not supplies:
        return [replace(r, supply=name) for r in rows], (name,) if rows else ()
    out = []
    for r in rows:
        doubts = r.doubts
        if r.supply is None and "footnoted" in doubts and len(supplies) > 1:
            doubts = (*doubts, "supply_unclear")  # the footnote may say whose figure it is
        unclear = "supply_unclear" in doubts
        supply = r.supply if unclear else r.supply or ALL
        out.append(replace(r, supply=supply, doubts=doubts, confidence=confidence(doubts)))
    return out, supplies


_NO_NAME = re.compile(r"(?:n/?a|n/?r|n/?d|n/?s|[\W\d_]*)", re.IGNORECASE)


def _without_no_name(row: Row) -> Row:
    """``N/A`` or a number over a column names no supply: whose the figure is stays open."""
    if row.supply in (None, ALL) or not _NO_NAME.fullmatch(row.supply or ""):
        return row
    return replace(row, supply=None, doubts=(*row.doubts, "supply_unclear"))


def _by_section(rows: Sequence[Row]) -> list[Row]:
    """Tables that print the same analytes under different titles, and name no supply: the titles are supplies."""
    sections: dict[str, set[str]] = defaultdict(set)
    for r in rows:
        if r.supply is None and r.section:
            sections[r.section].add(r.analyte)
    titles = list(sections)
    if len(titles) < 2 or not any(
        len(sections[a] & sections[b]) >= max(2, 0.5 * min(len(sections[a]), len(sections[b])))
        for i, a in enumerate(titles)
        for b in titles[i + 1 :]
    ):
        return list(rows)
    if not all(names_a_place(t) for t in titles) or not _differ(rows):
        return list(rows)
    return [replace(r, supply=_place_name(r.section)[:120]) if r.supply is None and r.section else r for r in rows]


_NO_PLACE = re.compile(
    r"\b(?:data|analys[ie]s|results?|contaminants?|quality|report|tables?|summary|parameters?|substances?|detected|regulated"
    r"|datos|analisis|análisis|calidad|contaminantes|resultados|parametri|risultati|parameter|ergebnisse|untersuchung\w*"
    r"|messwerte|kwaliteit|résultats|analyses|wyniki|vannkvalitet|vattenkvalit\w*|sampled|monitoring|monitoreo|mineral\w*|minéral\w*|propert(?:y|ies)|physi\w*|fysi\w*|físic\w*|fisic\w*|fizyczn\w*|chemi\w*|quím\w*|chimi\w*|kemi\w*|wskaźniki|kenngrö\w+|parametrar|caracter\w*|caractér\w*|microbio\w*|mikrobio\w*|bacterio\w*|bakterio\w*|organolept\w*|metals|metalle|inorganic|organic|anion\w*|cation\w*|kation\w*|nutrient\w*)\b",
    re.IGNORECASE,
)


# What a title says before it names the place: "Results of the water of", "Wyniki badań wody z ujęcia w".
_OPENING = re.compile(
    r"(?:results?|of|the|water|analys[ei]s|tests?|quality|for|from|in|at|on|by|data|report|table|wyniki|badan|wody|z|ujecia"
    r"|w|na|dla|jakosc|parametry|ergebnisse|der|des|die|untersuchung|trinkwasser|wasser|wasserwerte|analysen?|resultats?"
    r"|de|l|eau|du|la|le|les|qualite|resultados|analisis|del|agua|el|los|risultati|analisi|acqua|dell[oa]?|di|delle"
    r"|kwaliteit|van|het|drinkwater|resultaten|vannkvalitet|vattenkvalitet|kvalita|pitne|vody|rozbor|calitatea|apei"
    r"|buletin|vandkvalitet)$"
)


def _place_name(title: str) -> str:
    words = title.split()
    k = 0
    while k < len(words) - 1 and _OPENING.match(plain_text(words[k]).strip(".,:-–'’")):
        k += 1
    return " ".join(words[k:])


def names_a_place(title: str) -> bool:
    """Whether a title could name a place: it is not about the table, its substances or an analyte."""
    return not _NO_PLACE.search(title) and read_loose(title) is None


def _differ(rows: Sequence[Row]) -> bool:
    """Whether titles print different figures of the same analytes: a translation prints the same ones."""
    seen: dict[tuple[str, str], dict[str, tuple[float | None, ...]]] = defaultdict(dict)
    for r in rows:
        if r.section:
            seen[r.analyte, r.unit.lower()][r.section] = (r.low, r.typical, r.high)
    pairs = [set(v.values()) for v in seen.values() if len(v) > 1]
    return sum(len(p) > 1 for p in pairs) > 0.3 * len(pairs)


def _by_section_and_supply(rows: Sequence[Row]) -> list[Row]:
    """One column head under several titles (``treated water`` of two works): the title is part of the name."""
    figures: dict[tuple[str, str, str], dict[str, tuple[float | None, ...]]] = defaultdict(dict)
    for r in rows:
        if r.supply not in (None, ALL) and r.section:
            figures[str(r.supply), r.analyte, r.unit.lower()][r.section] = (r.low, r.typical, r.high)
    apart: dict[str, int] = defaultdict(int)
    for (supply, _, _), by_title in figures.items():
        apart[supply] += len(set(by_title.values())) > 1
    both = {s for s, n in apart.items() if n > 1}
    return [
        replace(r, supply=f"{_place_name(r.section)}: {r.supply}"[:120]) if r.supply in both and r.section else r
        for r in rows
    ]


def settle(row: Row, english: bool) -> Row:
    """Unit and basis against the analyte; what stays unclear gets a doubt."""
    doubts = list(row.doubts)
    basis = row.basis
    unit = read_unit(row.unit)
    mass = unit is not None and unit.unit in ("mg/L", "ug/L", "g/L", "ng/L")
    about = keyed("analytes", "analyte").get(row.analyte)
    if about is None:
        return row
    if row.analyte == "total_dissolved_solids" and unit is not None and unit.unit in ("uS/cm", "mS/m", "mS/cm"):
        doubts.append("tds_is_conductivity")
    if basis is None and mass and row.analyte in ("total_hardness", "alkalinity"):
        basis = "CaCO3"
    if basis is None and unit is not None and unit.unit == "gpg":
        basis = "CaCO3"
    if basis is None and mass and row.analyte in ("nitrate", "nitrite"):
        basis = _by_limit(row)
        if basis is not None:
            doubts.append("basis_by_limit")
        elif english:
            doubts.append("basis_unclear")
        else:
            basis = "NO3" if row.analyte == "nitrate" else "NO2"
    if "unit_missing" not in doubts and "unit_unknown" not in doubts and "tds_is_conductivity" not in doubts:
        top = next((v for v in (row.high, row.typical, row.low) if v is not None), 1.0)
        plan = plan_value(top, row, basis)
        if plan is None:
            doubts.append("unit_unfit")
        elif _implausible(row.analyte, plan):
            doubts.append("implausible")
    doubts = list(dict.fromkeys(doubts))
    return replace(row, basis=basis, doubts=tuple(doubts), confidence=confidence(doubts))


def _implausible(analyte: str, plan: float) -> bool:
    row = keyed("plausible_ranges", "analyte").get(analyte)
    return row is not None and not (float(row["low"]) <= plan <= float(row["high"]))


def _by_limit(row: Row) -> str | None:
    """Nitrate against a limit of 10 is as N, against 45 or 50 as NO3 (US federal; California and EU)."""
    match = re.search(r"\d+(?:\.\d+)?", row.limit or "")
    if match is None or read_unit(row.unit) is None or read_unit(row.unit).unit != "mg/L":  # type: ignore[union-attr]
        return None
    limit = float(match.group())
    if row.analyte == "nitrate":
        return {10.0: "N", 45.0: "NO3", 50.0: "NO3", 44.3: "NO3"}.get(limit)
    return {1.0: "N", 0.5: "NO2", 3.0: "NO2", 0.1: "NO2"}.get(limit)


def calcium_basis(rows: list[Row], supplies: Iterable[str]) -> tuple[list[Row], list[Problem]]:
    """Calcium without a basis: settled by hardness and magnesium where they are printed, else asked."""
    problems: list[Problem] = []
    out = list(rows)
    for supply in supplies:

        def middle(analyte: str, supply: str = supply) -> float | None:
            for r in rows:
                if r.analyte == analyte and r.supply in (supply, ALL) and not set(r.doubts) & USELESS:
                    x = (
                        r.typical
                        if r.typical is not None
                        else ((r.low + r.high) / 2 if r.low is not None and r.high is not None else None)
                    )
                    if x is not None:
                        return plan_value(x, r, r.basis)
            return None

        calcium, magnesium, hardness = middle("calcium"), middle("magnesium"), middle("total_hardness")
        if calcium is None or hardness is None or hardness <= 0:
            continue
        as_ion = CA_TO_HARDNESS * calcium + (4.118 * magnesium if magnesium is not None else 0)
        fits = as_ion <= 1.08 * hardness + 3
        if magnesium is not None:
            fits = abs(as_ion - hardness) <= max(0.15 * hardness, 5)
        if fits:
            continue
        whole = calcium + magnesium if magnesium is not None else None
        both = whole is not None and abs(whole - hardness) <= max(0.08 * hardness, 3)
        alone = magnesium is not None and abs(calcium + 4.118 * magnesium - hardness) <= max(0.08 * hardness, 3)
        if not (both or alone or (magnesium is None and calcium <= hardness)):
            continue
        what = "they add up to it as they stand" if both else "calcium would make more than it"
        problems.append(
            Problem(
                "calcium_as_caco3",
                "calcium",
                f"{supply}: hardness of {hardness:.0f} mg/L as CaCO3 "
                f"does not fit calcium of {calcium:.0f} mg/L as the ion ({as_ion:.0f} as CaCO3); "
                f"{what}: probably printed as CaCO3. The analysis spans both.",
                supply,
            )
        )
        for i, r in enumerate(out):
            if (
                r.supply in (supply, ALL)
                and r.basis is None
                and (r.analyte == "calcium" or (r.analyte == "magnesium" and both))
            ):
                doubts = tuple(dict.fromkeys((*r.doubts, "basis_unclear")))
                out[i] = replace(r, doubts=doubts, confidence=confidence(doubts))
    return out, problems


def row_problems(row: Row) -> list[Problem]:
    out = []
    for doubt in row.doubts:
        said = _SAID.get(doubt)
        if said is None or doubt == "from_prose":
            continue
        where = f"{row.supply}, " if row.supply else ""
        page = f", page {row.page}" if row.page else ""
        out.append(
            Problem(
                doubt,
                row.analyte,
                f"{where}{row.analyte.replace('_', ' ')}: {said} ({(row.text or '')[:80]}{page}).",
                None if row.supply == ALL else row.supply,
            )
        )
    return out
