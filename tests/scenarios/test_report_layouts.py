"""Invented reports in many layouts and languages: nearly every value is found, none is wrong and certain."""

from __future__ import annotations

import csv
import html
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from fpdf import FPDF
from fpdf.fonts import FontFace

from brewwater.reports import Report, read_report
from brewwater.units import read_unit, to_plan_units


@dataclass(frozen=True)
class Truth:
    """One printed value of an invented report."""

    supply: str | None
    analyte: str
    low: float | None
    typical: float | None
    high: float | None
    unit: str
    below: bool = False


ANALYTES = (
    "alkalinity",
    "total_hardness",
    "calcium",
    "magnesium",
    "sodium",
    "chloride",
    "sulfate",
    "nitrate",
    "total_dissolved_solids",
    "conductivity",
    "ph",
    "iron",
)
NAMES = {
    "en": (
        "Total Alkalinity (as CaCO3)",
        "Hardness, total",
        "Calcium",
        "Magnesium",
        "Sodium",
        "Chloride",
        "Sulfate",
        "Nitrate (as N)",
        "Total Dissolved Solids",
        "Specific Conductance",
        "pH",
        "Iron",
    ),
    "de": (
        "Säurekapazität bis pH 4,3",
        "Gesamthärte",
        "Calcium",
        "Magnesium",
        "Natrium",
        "Chlorid",
        "Sulfat",
        "Nitrat",
        "Abdampfrückstand",
        "Leitfähigkeit bei 25 °C",
        "pH-Wert",
        "Eisen",
    ),
    "fr": (
        "Titre alcalimétrique complet",
        "Dureté totale",
        "Calcium",
        "Magnésium",
        "Sodium",
        "Chlorures",
        "Sulfates",
        "Nitrates",
        "Résidu sec",
        "Conductivité à 25 °C",
        "pH",
        "Fer total",
    ),
    "es": (
        "Alcalinidad total",
        "Dureza total",
        "Calcio",
        "Magnesio",
        "Sodio",
        "Cloruros",
        "Sulfatos",
        "Nitratos",
        "Sólidos disueltos totales",
        "Conductividad",
        "pH",
        "Hierro",
    ),
    "it": (
        "Alcalinità totale",
        "Durezza totale",
        "Calcio",
        "Magnesio",
        "Sodio",
        "Cloruri",
        "Solfati",
        "Nitrati",
        "Residuo fisso",
        "Conducibilità elettrica",
        "pH",
        "Ferro",
    ),
    "nl": (
        "Alkaliteit",
        "Totale hardheid",
        "Calcium",
        "Magnesium",
        "Natrium",
        "Chloride",
        "Sulfaat",
        "Nitraat",
        "Droogrest",
        "Geleidbaarheid",
        "Zuurgraad",
        "IJzer",
    ),
}
UNITS = {
    "en": ("ppm", "ppm", "ppm", "ppm", "ppm", "ppm", "ppm", "ppm", "ppm", "µS/cm", "units", "ppb"),
    "de": ("mmol/l", "°dH", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "µS/cm", "", "mg/l"),
    "fr": ("°f", "°f", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "µS/cm", "unité pH", "µg/l"),
    "es": ("mg/l CaCO3", "mg/l CaCO3", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "µS/cm", "", "µg/l"),
    "it": ("mg/l CaCO3", "°F", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "µS/cm", "unità pH", "µg/l"),
    "nl": ("mg/l CaCO3", "mmol/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mg/l", "mS/m", "-", "µg/l"),
}
LANGUAGES = tuple(NAMES)
AREAS = ("Alder Works", "Birch Hill Wells", "Cedar Lake Plant")


def invent(seed: int, language: str, supply: str | None) -> list[Truth]:
    """A charge-balanced water with ranges, printed in the units of the language."""
    rng = np.random.default_rng(seed)
    calcium, magnesium, sodium = rng.uniform(15, 90), rng.uniform(3, 25), rng.uniform(5, 40)
    cations = calcium / 20.04 + magnesium / 12.15 + sodium / 22.99
    alkalinity = cations * rng.uniform(0.5, 0.75)
    rest = cations - alkalinity
    chloride, sulfate = 0.5 * rest * 35.45, 0.4 * rest * 48.03
    nitrate = 0.1 * rest * 62.0
    solids = calcium + magnesium + sodium + chloride + sulfate + nitrate + 0.4917 * 61.02 * alkalinity + 12
    plan = dict(
        zip(
            ANALYTES,
            (
                alkalinity * 50.04,
                2.497 * calcium + 4.118 * magnesium,
                calcium,
                magnesium,
                sodium,
                chloride,
                sulfate,
                nitrate,
                solids,
                solids / 0.62,
                rng.uniform(7.0, 8.4),
                0.0,
            ),
            strict=True,
        )
    )
    out = []
    for analyte, unit, name in zip(ANALYTES, UNITS[language], NAMES[language], strict=True):
        if analyte == "iron":
            out.append(Truth(supply, analyte, 0.0, None, 20.0 if "µ" in unit or unit == "ppb" else 0.02, unit, True))
            continue
        basis = "N" if "as N" in name else None
        one = to_plan_units(1.0, unit, analyte, basis)
        middle = plan[analyte] / one if analyte != "ph" else plan[analyte]
        digits = 1 if middle < 100 else 0
        digits = 2 if middle < 5 or analyte == "ph" else digits
        spread = 0.3 if analyte == "ph" else 0.25 * middle
        low, high, typical = (round(float(x), digits) for x in (middle - spread, middle + spread, middle))
        out.append(Truth(supply, analyte, low, typical, high, unit))
    return out


def number(x: float | None, language: str) -> str:
    text = f"{x:g}" if x is not None else "ND"
    return text if language == "en" else text.replace(".", ",")


def spread(t: Truth, language: str, dash: str = "-") -> str:
    if t.below:
        return f"<{number(t.high, language)}" if t.high is not None else "ND"
    return f"{number(t.low, language)}{dash}{number(t.high, language)}"


def mean(t: Truth, language: str) -> str:
    return "ND" if t.below else number(t.typical, language)


HEADS = {
    "en": ("Constituent", "Units", "Range", "Average", "MCL", "Likely source"),
    "de": ("Parameter", "Einheit", "Spanne", "Mittelwert", "Grenzwert", "Bemerkung"),
    "fr": ("Paramètre", "Unité", "Fourchette", "Moyenne", "Limite de qualité", "Origine"),
    "es": ("Parámetro", "Unidad", "Rango", "Promedio", "Límite", "Observaciones"),
    "it": ("Parametro", "Unità", "Intervallo", "Media", "Valore limite", "Note"),
    "nl": ("Parameter", "Eenheid", "Min - max", "Gemiddelde", "Norm", "Opmerking"),
}


# -- the layouts: each writes the values of one or more supplies and returns the file -------------

Waters = dict[str | None, list[Truth]]
Layout = Callable[[Path, str, Waters], Path]
LIMIT, WHY = "500", "erosion of natural deposits; runoff from fields and roads 12 km away"


def page(size: float = 8) -> FPDF:
    pdf = FPDF(format="letter")
    pdf.set_font("Helvetica", size=size)
    pdf.add_page()
    return pdf


def save(pdf: FPDF, folder: Path) -> Path:
    path = folder / "report.pdf"
    pdf.output(str(path))
    return path


def flat(language: str, waters: Waters) -> list[list[str]]:
    (water,) = waters.values()
    head = list(HEADS[language])
    body = [
        [n, t.unit, spread(t, language), mean(t, language), LIMIT, WHY]
        for n, t in zip(NAMES[language], water, strict=True)
    ]
    return [head, *body]


def pdf_ruled(folder: Path, language: str, waters: Waters) -> Path:
    pdf = page()
    pdf.multi_cell(0, 6, "Annual water quality report 2023\nThe limit for nitrate is 10 ppm.")
    pdf.ln(2)
    with pdf.table(col_widths=(30, 14, 20, 14, 14, 50)) as table:
        for line in flat(language, waters):
            row = table.row()
            for cell in line:
                row.cell(cell)
    return save(pdf, folder)


def pdf_zones(folder: Path, language: str, waters: Waters) -> Path:
    """Zones side by side under merged heads, a limit before them and a source after."""
    pdf = page(6.5)
    heads = HEADS[language]
    with pdf.table(headings_style=FontFace(emphasis="BOLD"), num_heading_rows=2) as table:
        row = table.row()
        for text in (heads[0], heads[1], heads[4]):
            row.cell(text, rowspan=2)
        for name in waters:
            row.cell(str(name), colspan=2, align="C")
        row = table.row()
        for _ in waters:
            row.cell(heads[2])
            row.cell(heads[3])
        for i, name in enumerate(NAMES[language]):
            row = table.row()
            first = next(iter(waters.values()))[i]
            for text in (name, first.unit, LIMIT):
                row.cell(text)
            for water in waters.values():
                row.cell(spread(water[i], language))
                row.cell(mean(water[i], language))
    return save(pdf, folder)


def pdf_unruled(folder: Path, language: str, waters: Waters) -> Path:
    """Columns that only line up: no rule is drawn."""
    pdf = page()
    pdf.cell(0, 8, "Water quality results")
    pdf.ln(10)
    at = (12, 70, 92, 122, 146)
    for line in flat(language, waters):
        for x, cell in zip(at, line[:5], strict=True):
            pdf.set_x(x)
            pdf.cell(20, 5, cell)
        pdf.ln(5)
    return save(pdf, folder)


def pdf_list(folder: Path, language: str, waters: Waters) -> Path:
    pdf = page(10)
    (water,) = waters.values()
    for name, t in zip(NAMES[language], water, strict=True):
        pdf.cell(0, 6, f"{name}: {spread(t, language, ' - ')} {t.unit}".strip())
        pdf.ln(6)
    return save(pdf, folder)


def pdf_turned(folder: Path, language: str, waters: Waters) -> Path:
    """Analytes across, zones down."""
    pdf = FPDF(orientation="landscape", format="a3")
    pdf.set_font("Helvetica", size=7)
    pdf.add_page()
    first = next(iter(waters.values()))
    with pdf.table() as table:
        row = table.row()
        for text in ("Zone", *NAMES[language]):
            row.cell(text)
        row = table.row()
        for text in ("", *(t.unit for t in first)):
            row.cell(text)
        for name, water in waters.items():
            row = table.row()
            for text in (str(name), *(spread(t, language) for t in water)):
                row.cell(text)
    return save(pdf, folder)


def pdf_stacked(folder: Path, language: str, waters: Waters) -> Path:
    """All names in one cell, all units and all values in one cell each."""
    pdf = page()
    (water,) = waters.values()
    heads = HEADS[language]
    with pdf.table(first_row_as_headings=False) as table:
        row = table.row()
        for text in heads[:4]:
            row.cell(text)
        row = table.row()
        row.cell("\n".join(NAMES[language]))
        row.cell("\n".join(t.unit or "-" for t in water))
        row.cell("\n".join(spread(t, language) for t in water))
        row.cell("\n".join(mean(t, language) for t in water))
    return save(pdf, folder)


def csv_long(folder: Path, language: str, waters: Waters) -> Path:
    out = io.StringIO()
    writer = csv.writer(out, delimiter="," if language == "en" else ";")
    writer.writerow(["supply", "parameter", "unit", "min", "max", "mean", "year"])
    for name, water in waters.items():
        for label, t in zip(NAMES[language], water, strict=True):
            low = "ND" if t.below else number(t.low, language)
            high = f"<{number(t.high, language)}" if t.below else number(t.high, language)
            writer.writerow([name, label, t.unit, low, high, mean(t, language), "2023"])
    path = folder / "report.csv"
    path.write_text(out.getvalue(), encoding="cp1252" if language == "de" else "utf-8")
    return path


def csv_across(folder: Path, language: str, waters: Waters) -> Path:
    """One line a zone; the unit stands in the head."""
    first = next(iter(waters.values()))
    heads = [f"{n} [{t.unit}]" if t.unit else n for n, t in zip(NAMES[language], first, strict=True)]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=";")
    writer.writerow(["Zone", *heads])
    for name, water in waters.items():
        writer.writerow([name, *(spread(t, language) for t in water)])
    path = folder / "report.csv"
    path.write_text(out.getvalue(), encoding="utf-8-sig")
    return path


def xlsx_zones(folder: Path, language: str, waters: Waters) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Results of the year 2023"])
    sheet.append([HEADS[language][0], HEADS[language][1], *(x for n in waters for x in (n, None, None))])
    sheet.append([None, None, *(x for _ in waters for x in ("Min", "Max", HEADS[language][3]))])
    for i, name in enumerate(NAMES[language]):
        line: list[object] = [name, next(iter(waters.values()))[i].unit]
        for water in waters.values():
            t = water[i]
            line += ["ND", f"<{number(t.high, language)}", "ND"] if t.below else [t.low, t.high, t.typical]
        sheet.append(line)
    path = folder / "report.xlsx"
    book.save(path)
    return path


def xlsx_sheets(folder: Path, language: str, waters: Waters) -> Path:
    """One sheet a supply."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, water in waters.items():
        sheet = book.create_sheet(str(name))
        for line in flat(language, {name: water}):
            sheet.append(line)
    path = folder / "report.xlsx"
    book.save(path)
    return path


def html_table(folder: Path, language: str, waters: Waters) -> Path:
    heads = HEADS[language]
    out = ["<html><head><style>td{color:red}</style></head><body><h1>Water 2023</h1><table><tr>"]
    out.append(f"<th rowspan=2>{heads[0]}</th><th rowspan=2>{heads[1]}</th>")
    out += [f"<th colspan=2>{n}</th>" for n in waters]
    out.append(f"<th rowspan=2>{heads[4]}</th></tr><tr>" + f"<th>{heads[2]}</th><th>{heads[3]}</th>" * len(waters))
    out.append("</tr>")
    for i, name in enumerate(NAMES[language]):
        unit = next(iter(waters.values()))[i].unit
        cells = "".join(
            f"<td>{html.escape(spread(w[i], language))}</td><td>{mean(w[i], language)}</td>" for w in waters.values()
        )
        out.append(f"<tr><td>{name}<sup>{i % 3 + 1}</sup></td><td>{unit}</td>{cells}<td>{LIMIT}</td></tr>")
    out.append("</table><script>document.write('Calcium 999 mg/l')</script></body></html>")
    path = folder / "report.html"
    path.write_text("\n".join(out), encoding="utf-8")
    return path


def html_sections(folder: Path, language: str, waters: Waters) -> Path:
    """A heading and a table for each zone."""
    out = ["<!doctype html><title>x</title>"]
    for name, water in waters.items():
        out.append(f"<h2>{name}</h2><table>")
        for line in flat(language, {name: water}):
            out.append("<tr>" + "".join(f"<td>{html.escape(c)}</td>" for c in line) + "</tr>")
        out.append("</table>")
    path = folder / "report.htm"
    path.write_text("".join(out), encoding="utf-8")
    return path


def markdown(folder: Path, language: str, waters: Waters) -> Path:
    lines = flat(language, waters)
    out = ["# Water report", "", "| " + " | ".join(lines[0]) + " |", "|" + "---|" * len(lines[0])]
    out += ["| " + " | ".join(line) + " |" for line in lines[1:]]
    path = folder / "report.md"
    path.write_text("\n".join(out), encoding="utf-8")
    return path


def text_columns(folder: Path, language: str, waters: Waters) -> Path:
    out = ["TOWN WATER WORKS", ""]
    for line in flat(language, waters):
        out.append("".join(c.ljust(w) for c, w in zip(line[:5], (32, 14, 18, 12, 10), strict=True)).rstrip())
    path = folder / "report.txt"
    path.write_text("\n".join(out), encoding="utf-8")
    return path


def text_years(folder: Path, language: str, waters: Waters) -> Path:
    """Two years side by side; the newer is this supply's water, the older is printed too."""
    (water,) = waters.values()
    out = [HEADS[language][0].ljust(32) + HEADS[language][1].ljust(14) + "2021".ljust(18) + "2023"]
    for name, t in zip(NAMES[language], water, strict=True):
        out.append(name.ljust(32) + t.unit.ljust(14) + spread(t, language).ljust(18) + spread(t, language))
    path = folder / "report.txt"
    path.write_text("\n".join(out), encoding="utf-8")
    return path


def text_lines(folder: Path, language: str, waters: Waters) -> Path:
    """Pasted: name, value and unit on a line each."""
    (water,) = waters.values()
    out = []
    for name, t in zip(NAMES[language], water, strict=True):
        out += [name, spread(t, language), *([t.unit] if t.unit else []), ""]
    path = folder / "report.txt"
    path.write_text("\n".join(out), encoding="utf-8")
    return path


def text_prose(folder: Path, language: str, waters: Waters) -> Path:
    (water,) = waters.values()
    say = {"en": "averages", "de": "beträgt im Mittel", "fr": "est de", "es": "es de", "it": "è di", "nl": "bedraagt"}
    out = [
        f"{n} {say[language]} {mean(t, language)} {t.unit}."
        for n, t in zip(NAMES[language], water, strict=True)
        if not t.below
    ]
    path = folder / "report.txt"
    path.write_text("Dear customer,\n" + "\n".join(out), encoding="utf-8")
    return path


# How many supplies each layout holds, and which of range and mean it prints.
LAYOUTS: dict[str, tuple[Layout, int, str]] = {
    "pdf_ruled": (pdf_ruled, 1, "both"),
    "pdf_zones": (pdf_zones, 3, "both"),
    "pdf_unruled": (pdf_unruled, 1, "both"),
    "pdf_list": (pdf_list, 1, "range"),
    "pdf_turned": (pdf_turned, 3, "range"),
    "pdf_stacked": (pdf_stacked, 1, "both"),
    "csv_long": (csv_long, 3, "both"),
    "csv_across": (csv_across, 3, "range"),
    "xlsx_zones": (xlsx_zones, 2, "both"),
    "xlsx_sheets": (xlsx_sheets, 2, "both"),
    "html_table": (html_table, 3, "both"),
    "html_sections": (html_sections, 2, "both"),
    "markdown": (markdown, 1, "both"),
    "text_columns": (text_columns, 1, "both"),
    "text_years": (text_years, 1, "range"),
    "text_lines": (text_lines, 1, "range"),
    "text_prose": (text_prose, 1, "mean"),
}
# Every layout in English and in two other languages, turning through the five.
CASES = [
    (name, language, 100 * i + k)
    for i, name in enumerate(LAYOUTS)
    for k, language in enumerate(("en", LANGUAGES[1 + i % 5], LANGUAGES[1 + (i + 2) % 5]))
]


def expected(waters: Waters, prints: str) -> list[Truth]:
    out = []
    for water in waters.values():
        for t in water:
            if t.below:
                if prints != "mean":
                    out.append(t)
            elif prints == "range":
                out.append(Truth(t.supply, t.analyte, t.low, None, t.high, t.unit))
            elif prints == "mean":
                out.append(Truth(t.supply, t.analyte, t.typical, t.typical, t.typical, t.unit))
            else:
                out.append(t)
    return out


def same(a: float | None, b: float | None) -> bool:
    return a == b or (a is not None and b is not None and abs(a - b) <= 1e-9 * max(abs(a), abs(b)))


def score(report: Report, truths: list[Truth]) -> tuple[int, list[Truth], list[str]]:
    """How many are found, which are not, and the rows that are wrong and certain."""
    one = len({t.supply for t in truths}) == 1
    missed, right = [], set()
    for t in truths:
        for i, r in enumerate(report.rows):
            unit, wanted = read_unit(r.unit), read_unit(t.unit)
            if (
                r.analyte == t.analyte
                and (one or r.supply == t.supply)
                and same(r.low, t.low)
                and same(r.high, t.high)
                and same(r.typical, t.typical)
                and r.below_detection == t.below
                and (t.unit in ("", "-") or unit == wanted)
            ):
                right.add(i)
                break
        else:
            missed.append(t)
    truth = {(t.analyte, None if one else t.supply, t.low, t.typical, t.high) for t in truths}
    wrong = [
        repr(r)
        for i, r in enumerate(report.rows)
        if i not in right
        and r.certain
        and (r.analyte, None if one else r.supply, r.low, r.typical, r.high) not in truth
    ]
    return len(truths) - len(missed), missed, wrong


@pytest.fixture(scope="module")
def tally() -> dict[str, tuple[int, int]]:
    return {}


@pytest.mark.parametrize(("layout", "language", "seed"), CASES, ids=[f"{a}-{b}" for a, b, _ in CASES])
def test_a_layout_in_a_language(
    tmp_path: Path, tally: dict[str, tuple[int, int]], layout: str, language: str, seed: int
) -> None:
    write, count, prints = LAYOUTS[layout]
    names: list[str | None] = [*AREAS[:count]] if count > 1 else [None]
    waters: Waters = {n: invent(seed + i, language, n) for i, n in enumerate(names)}
    path = write(tmp_path, language, waters)
    report = read_report(path)
    truths = expected(waters, prints)
    found, missed, wrong = score(report, truths)
    tally[f"{layout}-{language}"] = (found, len(truths))
    assert not wrong, wrong[:5]
    if count > 1:
        assert set(report.supplies) == set(names)
    assert found >= 0.9 * len(truths), (found, len(truths), missed[:5])


def test_nearly_every_value_is_found(tally: dict[str, tuple[int, int]]) -> None:
    """Runs after the layouts: at least 97 % of all printed values."""
    if len(tally) < len(CASES):
        pytest.skip("the layouts were not all run in this process")
    found, printed = (sum(x) for x in zip(*tally.values(), strict=True))
    assert len(tally) >= 30
    assert found >= 0.97 * printed, (found, printed)
