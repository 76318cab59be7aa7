"""``read_report`` and ``read_text``: content to rows, rows to supplies, what is doubtful said aloud."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from brewwater.errors import ReportError
from brewwater.records import Span
from brewwater.reference import keyed
from brewwater.reports import disinfectant
from brewwater.reports.analysis import Disinfectant, Measurement
from brewwater.reports.checks import CA_TO_HARDNESS, cross_check
from brewwater.reports.columns import ALL
from brewwater.reports.files import Content
from brewwater.reports.lines import read_lines
from brewwater.reports.report import Problem, Report, Row, applies, plan_value
from brewwater.reports.tables import AVERAGE_BELOW, confidence, table_rows
from brewwater.reports.values import decimal_mark
from brewwater.units import read_unit

# Bases that an unclear value may have, by analyte; the first is the analyte's own.
_EITHER = {
    "bicarbonate": ("HCO3", "CaCO3"),
    "carbonate": ("CO3", "CaCO3"),
    "nitrate": ("NO3", "N"),
    "nitrite": ("NO2", "N"),
    "ammonium": ("NH4", "N"),
    "phosphate": ("PO4", "P"),
    "calcium": ("Ca", "CaCO3"),
    "magnesium": ("Mg", "CaCO3"),
}
# Doubts with which a value may not enter an analysis at all.
_USELESS = frozenset(
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
_OTHER_TONGUE = re.compile(r"\b(?:grenzwert|\w*härte|nitrat|dureza|dureté|durezza|hardheid|chlorid)\b", re.IGNORECASE)


def read_report(path: str | Path) -> Report:
    """Read a water report: pdf, csv, xlsx, html, md or txt.

    Parameters
    ----------
    path : the file, up to 30 MB; of a pdf the first 60 pages are read. Nothing in it is executed.

    Returns
    -------
    Report : rows as printed, problems, and for each supply an analysis in intervals with unit and basis

    Raises
    ------
    ReportError : the file is missing, empty, too large, encrypted, broken or of another form

    Sources of the names, units and plausible ranges: reference/analyte_names.csv, report_units.csv,
    plausible_ranges.csv.
    """
    from brewwater.reports.handed import report_from

    file = Path(path)
    return report_from("report", {"path": str(file)}, file.name)


def read_text(text: str, name: str = "pasted text") -> Report:
    """Read a report from pasted text (lines, tab or semicolon separated).

    Raises
    ------
    ReportError : the text is empty or over 4 million characters
    """
    if not text.strip():
        raise ReportError("report", "empty text", "nothing was pasted", "Paste the lines with the results.")
    if len(text) > 4_000_000:
        raise ReportError("report", f"{len(text)} characters", "up to 4,000,000 are read", "Paste only the results.")
    from brewwater.reports.handed import report_from

    return report_from("text", {"text": text, "name": name}, name)


def read_content(content: Content, name: str) -> Report:
    """A report from tables and lines."""
    texts = content.texts()
    mark = decimal_mark(texts)
    rows: list[Row] = []
    for grid in content.grids:
        rows += table_rows(grid, mark)
    for page, lines in content.lines:
        rows += read_lines(lines, mark, page)
    problems = [Problem(code, None, message) for code, message in content.remarks]
    rows = _drop_repeats(rows)
    rows, supplies = _name_supplies(rows, name)
    english = not _OTHER_TONGUE.search(" ".join(texts)[:200_000])
    if not any(r.analyte == "haloacetic_acids" for r in rows):
        rows = [replace(r, analyte="haloacetic_acids") if r.analyte == "haa5" else r for r in rows]
    rows = [_settle(r, english) for r in rows]
    rows, found = _calcium_basis(rows, supplies)
    problems += found
    for row in rows:
        problems += _row_problems(row)
    readings: dict[str, dict[str, Measurement]] = {}
    kinds: dict[str, Disinfectant] = {}
    said, sentence = disinfectant.from_text(texts)
    for supply in supplies:
        readings[supply], found = _analysis(rows, supply)
        problems += found
        problems += [Problem(f.code, f.field, f"{supply}: {f.message}", supply) for f in cross_check(readings[supply])]
        by_value = disinfectant.from_values(readings[supply])
        kinds[supply] = by_value if by_value != "unknown" else said
        if by_value != "unknown" and said not in ("unknown", by_value):
            kinds[supply] = "unknown"
            problems.append(
                Problem(
                    "disinfectant_conflict",
                    "total_chlorine",
                    f"{supply}: the figures say {by_value}, a sentence says otherwise: {sentence}",
                    supply,
                )
            )
    if said == "unknown" and sentence:
        problems.append(Problem("disinfectant_conflict", "total_chlorine", f"The sentences differ: {sentence}"))
    if not rows:
        problems.append(Problem("nothing_found", None, "No value of a known analyte was found in the report."))
    return Report(
        rows=tuple(rows),
        supplies=supplies,
        problems=tuple(dict.fromkeys(problems)),
        name=name,
        pages=content.pages,
        disinfectants=kinds,
        notice=disinfectant.notice_in(texts),
        readings=readings,
    )


def _drop_repeats(rows: Sequence[Row]) -> list[Row]:
    """The same line read by two ways (a table and its text) is one row; a weaker reading yields."""
    out: dict[tuple[object, ...], Row] = {}
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
            row.page,
            row.section,
        )
        if key not in out or out[key].confidence < row.confidence:
            out[key] = row
    return list(out.values())


def _name_supplies(rows: Sequence[Row], name: str) -> tuple[list[Row], tuple[str, ...]]:
    """Supplies in the order of printing; one unnamed supply takes the report's name."""
    rows = _by_section(rows)
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
    return [replace(r, supply=r.section[:120]) if r.supply is None and r.section else r for r in rows]


def _settle(row: Row, english: bool) -> Row:
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


def _calcium_basis(rows: list[Row], supplies: Iterable[str]) -> tuple[list[Row], list[Problem]]:
    """Calcium without a basis: settled by hardness and magnesium where they are printed, else asked."""
    problems: list[Problem] = []
    out = list(rows)
    for supply in supplies:

        def middle(analyte: str, supply: str = supply) -> float | None:
            for r in rows:
                if r.analyte == analyte and r.supply in (supply, ALL) and not set(r.doubts) & _USELESS:
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


def _row_problems(row: Row) -> list[Problem]:
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


def _analysis(rows: Sequence[Row], supply: str) -> tuple[dict[str, Measurement], list[Problem]]:
    """One measurement for each analyte of a supply; rows that contradict each other give their union."""
    by_analyte: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if applies(row, supply) and row.analyte in keyed("analytes", "analyte"):
            by_analyte[row.analyte].append(row)
    out: dict[str, Measurement] = {}
    problems: list[Problem] = []
    for analyte, all_rows in by_analyte.items():
        usable = [r for r in all_rows if not set(r.doubts) & _USELESS]
        own = [r for r in usable if r.supply == supply] or [r for r in usable if r.supply != ALL] or usable
        dated = [(r, _year(r.date)) for r in own]
        newest = max((y for _, y in dated if y), default=None)
        latest = [r for r, y in dated if newest is None or y is None or y == newest]
        sure = [r for r in latest if "from_prose" not in r.doubts] or latest
        spans = [(r, s) for r in sure if (s := _span(r)) is not None]
        if not spans:
            continue
        first, span = min(spans, key=lambda p: (-p[0].confidence, p[0].unit.lower() not in ("mg/l", "ppm")))
        apart = [r for r, s in _spans_all(own) if not _agree(s, span)]
        clash = [(r, s) for r, s in spans if not _agree(s, span)]
        if clash:
            low, high = min(s.low for _, s in spans), max(s.high for _, s in spans)
            typical = None
            problems.append(
                Problem(
                    "contradiction",
                    analyte,
                    f"{supply}: {analyte.replace('_', ' ')} is printed more "
                    f"than once and differs: {first.text} / {clash[0][0].text}; the analysis spans both.",
                    supply,
                )
            )
            out[analyte] = _measurement(first, Span(low=low, typical=typical, high=high), 0.4)
        else:
            if apart and not clash:
                problems.append(
                    Problem(
                        "older_value",
                        analyte,
                        f"{supply}: {analyte.replace('_', ' ')} of other years "
                        f"differs ({apart[0].text}); the newest is used.",
                        supply,
                    )
                )
            out[analyte] = _measurement(first, span, first.confidence)
    return out, problems


def _spans_all(rows: Sequence[Row]) -> list[tuple[Row, Span]]:
    return [(r, s) for r in rows if (s := _span(r)) is not None]


def _measurement(row: Row, plan: Span, sure: float) -> Measurement:
    about = keyed("analytes", "analyte")[row.analyte]
    unit = about["plan_unit"]
    return Measurement(
        value=plan,
        unit=unit,
        basis=None,
        below_detection=row.below_detection,
        method="report",
        date=row.date,
        page=row.page,
        text=row.text,
        confidence=sure,
    )


def _span(row: Row) -> Span | None:
    """A row in the plan's unit: an interval from zero below detection, over both bases where unclear."""
    high = row.high
    if high is None and row.typical is not None:
        high = row.typical
    low = row.low if row.low is not None else (0.0 if high is not None and row.typical is None else row.typical)
    if high is None:
        if not row.below_detection:
            return None
        limit = keyed("plausible_ranges", "analyte").get(row.analyte, {}).get("usual_reporting_limit")
        if row.analyte in ("e_coli", "total_coliform", "fecal_coliform", "enterococci"):
            return Span(low=0, typical=0, high=0)
        base = plan_value(low or 0.0, row, row.basis)
        if base is None or not limit:
            return None
        return Span(low=base, high=max(base, float(limit)))
    bases = _EITHER.get(row.analyte, (None,)) if "basis_unclear" in row.doubts else (row.basis,)
    ends: list[float] = []
    middles: list[float] = []
    for basis in bases:
        if basis == row.analyte:
            basis = None
        for x in (low, high):
            turned = plan_value(x, row, basis) if x is not None else None
            if turned is None or turned < 0:
                return None
            ends.append(turned)
        if row.typical is not None:
            turned = plan_value(row.typical, row, basis)
            if turned is not None:
                middles.append(turned)
    typical = middles[0] if len(middles) == len(bases) == 1 else None
    if typical is None and AVERAGE_BELOW in row.doubts:
        typical = min(ends)
    if typical is not None and not min(ends) <= typical <= max(ends):
        ends.append(typical)
        typical = None
    return Span(low=min(ends), typical=typical, high=max(ends))


def _agree(a: Span, b: Span) -> bool:
    """Two printings of one quantity agree: each end, and the middle, within rounding."""

    def near(x: float, y: float) -> bool:
        return abs(x - y) <= max(0.06 * max(abs(x), abs(y)), 0.005)

    if a.typical is not None and b.typical is not None and not near(a.typical, b.typical):
        return False
    if near(a.low, b.low) and near(a.high, b.high):
        return True
    inside = (a.low <= b.low and b.high <= a.high) or (b.low <= a.low and a.high <= b.high)
    return inside and (a.certain or b.certain or near(a.middle, b.middle))


def _year(date: str | None) -> int | None:
    years = re.findall(r"(?:19|20)\d{2}", date or "")
    return max(int(y) for y in years) if years else None
