"""How well reports are read, figure by figure, against a typed truth.

    python tests/reports/score.py FOLDER TRUTH.csv [--fast] [-v] [--only PART] [--json]

``TRUTH.csv`` has the columns ``file, supply, analyte, unit_as_printed, basis, low, typical, high, page``: one line
is one *figure*, typed from the print. Every file named there is read by ``brewwater report FILE --json`` (by
``brewwater.read_report`` in this process with ``--fast``), and every figure gets one outcome:

right
    A row of the figure's analyte and supply has the printed numbers, the printed unit (or another spelling of it)
    and the printed basis. All three of low, typical and high must agree: a lost range, a range where one number is
    printed, a highest value given as typical are not right. ``ND`` and ``<x`` must be ``below_detection``, with
    ``x`` as the highest. Where the truth notes no unit or no basis, none is asked of it. ``right, doubted`` counts
    those of them that are flagged as well.
flagged
    Not right, but a ``problems`` entry names the analyte (and no other supply than this one; where no row was read,
    it must show the figure, or speak of the analyte without any number), or an ``unread`` entry shows the figure:
    the analyte's name with all its numbers, or two or more numbers, all of them. A refused file counts here, since
    it is refused in words.
missed in silence
    No row of that analyte and supply, and nothing names it.
wrong and certain
    A row of that analyte and supply says something else, and nothing names it.

Counted as wrong and certain too, beside the figures:

invented
    A supply that the print does not have: it fits no name in the truth and none in ``other_supplies.csv`` (the
    supplies and sampling points that the prints do name and the truth leaves out), or is nothing but a date, a
    number or the heading of a column; and no problem about supplies (``supply`` in its code) names it.
contradicting
    A second row of a figure's analyte and supply, in the same unit, that says something else than any figure does,
    and is not named by a problem.

Rows of analytes and supplies that the truth leaves out are not scored. A report's own single supply stands for every
supply of the truth; where that mixes figures whose numbers do not overlap, none of them is right unless dates tell
them apart.
"No figure" of an unread entry means that it shows none of the file's figures in the truth.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import math
import re
import subprocess
import sys
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

# Everyday names to analyte ids; several where the print alone does not say which.
IDS = {
    "ph": ("ph",),
    "tds": ("total_dissolved_solids",),
    "total hardness": ("total_hardness",),
    "general hardness": ("total_hardness",),
    "carbonate hardness": ("carbonate_hardness", "alkalinity"),
    "bicarbonate alkalinity": ("bicarbonate", "alkalinity"),
    "nitrate plus nitrite": ("nitrate_plus_nitrite", "nitrate_nitrite", "nitrate"),
    "chlorine": ("free_chlorine", "total_chlorine"),
    "chlorine free": ("free_chlorine",),
    "chlorine total": ("total_chlorine",),
}

# How the names begin in print, for finding a figure in an unread line; independent of the reader's own tables.
STEMS = {
    "ph": r"\bph\b|odczyn|ioni idrogeno",
    "alkalinity": r"alcalin|alkalin|alkalit|saurekapazitat|ks ?4|zasadowo|hco3|bicarb|总碱度",
    "total_hardness": r"hard|hart|haerte|durez|duret|dureza|twardosc|tvrdost|kovuus|erda[l]?kali|总硬度",
    "calcium": r"cal[cz]i|kal[cz]i|kalsi|\bca\b|wapn|vapnik|钙",
    "magnesium": r"magne|\bmg\b(?!/)|magnez|horcik|镁",
    "sodium": r"sodi|natri|\bna\b|sod\b|钠",
    "potassium": r"potass|kali|potas|draslik|\bk\b|钾",
    "chloride": r"chlori|clor|klor|cloruri|chlork|\bcl\b|氯化物",
    "sulfate": r"sul[fp]|solfat|siarcz|siran|\bso4|硫酸盐",
    "nitrate": r"nitr|azotan|dusicn|no3|硝酸盐",
    "bicarbonate": r"bicarb|hydrogen ?carb|hydrogenkarb|waterstofcarb|wodorowegl|hco3",
    "carbonate": r"carbon|karbon|co3",
    "total_dissolved_solids": r"dissolved solid|residu|\btds\b|abdampf|solidos|溶解性",
    "conductivity": r"condu[ckt]|konduk|leitf|przewod|vodivost|geleid|ledn|umhos|johtok|电导",
    "silica": r"sili|kisel|kiesel|krzem|硅",
    "iron": r"\biron|eisen|\bfe\b|ferro|\bfer\b|ijzer|zelaz|jern|jarn|hierro|zelezo|铁",
    "manganese": r"manga|\bmn\b|锰",
    "free_chlorine": r"chlor|clor|klor|氯",
    "total_chlorine": r"chlor|clor|klor|氯",
    "lead": r"lead|blei|plomb|piomb|olow|\bpb\b|铅",
    "copper": r"copper|kupfer|cuivre|rame|koper|koppar|miedz|\bcu\b|cobre|铜",
}

# A supply's name made of nothing else is a column's heading, not a place.
_HEADING = re.compile(
    r"(?:\b(?:average|avg|mean|median|typical|highest?|max(?:imum)?|min(?:imum)?|lowest|low|range|level|detected|"
    r"amount|limit|goal|mcl[g]?|al|phg|units?|year|date|sampled?|samples?|sites?|number|of|the|result|results|value|"
    r"percentile|th|method|no|nr|crt|violation|grenzwert|messwert|mittelwert|einheit|wert|ist|ergebnis|"
    r"moyenne|limite|valeur|valeurs|unite|resultat|valore|valori|media|limiti|parametro|nivel|mas|elevado|detectado|"
    r"promedio|rango|laagst|gemiddeld|hoogst|gemeten|norm|wynik|wartosc|dopuszczalna|jednostka|enhet|gransvarde|"
    r"medel|varde|grenseverdi|drikkevann|limits?|legge|di|della)\b|[\W\d_])+"
)


@dataclass
class Figure:
    """One line of the truth."""

    file: str
    supply: str
    analyte: str
    ids: tuple[str, ...]
    unit: str
    basis: str | None
    printed: tuple[str, str, str]
    page: int | None
    outcome: str = ""
    doubted: bool = False
    said: str = ""

    @property
    def numbers(self) -> list[float]:
        """The printed numbers, limits of detection too."""
        return [float(m) for text in self.printed for m in re.findall(r"\d+(?:\.\d+)?", text)]

    def __str__(self) -> str:
        low, typical, high = self.printed
        return f"{self.supply}: {self.analyte} {low or '-'} | {typical or '-'} | {high or '-'} {self.unit}"


@dataclass
class Score:
    """What became of one file."""

    file: str
    figures: list[Figure]
    invented: list[str] = field(default_factory=list)
    contradicting: list[str] = field(default_factory=list)
    idle_unread: int = 0
    pages: int = 1
    refused: str = ""

    def count(self, outcome: str) -> int:
        """Figures of one outcome."""
        return sum(f.outcome == outcome for f in self.figures)

    @property
    def doubted(self) -> int:
        """Right figures that are flagged as well."""
        return sum(f.outcome == "right" and f.doubted for f in self.figures)

    @property
    def wrong(self) -> int:
        """Wrong and certain: figures, invented supplies and contradicting rows."""
        return self.count("wrong") + len(self.invented) + len(self.contradicting)


def fold(text: str) -> str:
    """Lower case, without accents or small figures."""
    text = unicodedata.normalize("NFKD", text.replace("ł", "l").replace("Ł", "L")).casefold().replace("μ", "µ")
    return " ".join("".join(c for c in text if not unicodedata.combining(c)).split())


_UNITS = {
    "mg/l": "ppm|mg/dm3|mg/litre|mg/liter|milligrams per liter|parts per million|g/m3",
    "ug/l": "µg/l|mcg/l|ppb|ug/dm3|µg/dm3",
    "gpg": "grains per gallon|grains/gallon|grain per gallon|grains|gr/gal|granos por galon|grains / gallon",
    "dh": "°dh|dh0|dh°|°duits|°d|°dgh|grad dh|tyska grader|st. niem.|°n|dgh",
    "fh": "°fh|f°|°f|degf|fh|°fr|gradi francesi|french degrees",
    "us/cm": "µs/cm|umhos|umho|umhos/cm|umho/cm|µmho/cm|µmhos/cm|µmhos|micromhos/cm|micromhos",
    "ms/cm": "mmho/cm|mmhos/cm|ds/m",
    "meq/l": "mval/l|me/l|mmol(eq)/l",
    "degc": "°c|c|degrees celsius|celsius|grad c|deg c|deg. c",
    "ntu": "fnu|ftu|nfu|unt|ntu/fnu",
    "": "1|ph|ph units|ph unit|unite ph|unites ph|unita ph|/|-|units|standard units|su|s.u.|std. units",
}
_SAME = {spelling: unit for unit, listed in _UNITS.items() for spelling in (unit, *listed.split("|"))}


def same_unit(text: str) -> str:
    """One spelling for a unit; a basis inside it is left out."""
    plain = re.sub(r"\((?:implied|ppm|mg/l|ppb|µg/l|parts per [mb]illion)\)", "", fold(text)).strip()
    if plain in _SAME:
        return _SAME[plain]
    plain = re.sub(r"\s*/\s*", "/", plain)
    plain = re.sub(r"\(?\b(?:as )?(?:caco3|hco3|no3|no2|nh4|so4|cl2|cl|f|n|s|pt)\)?(?=/l|$)", "", plain).strip(" ,(")
    plain = re.sub(r"\s*/\s*", "/", re.sub(r"[\s,@(]*(?:a|at|bei|vid|ved)?\s*(?:20|25)\s*°?\s*c?\)?$", "", plain))
    return _SAME.get(plain, plain)


# What a bare figure counts as, by convention and by this project's plan units.
_USUAL = {
    "total_hardness": "CaCO3",
    "alkalinity": "CaCO3",
    "nitrate": "NO3",
    "nitrite": "NO2",
    "sulfate": "SO4",
    "bicarbonate": "HCO3",
    "carbonate": "CO3",
    "conductivity": "25C",
    "silica": "SiO2",
    "chloride": "Cl",
    "fluoride": "F",
    "ammonium": "NH4",
}


def asked_basis(analyte: str, text: str, unit: str) -> str | None:
    """The basis that the truth states, or None where it states none that bears on the value."""
    found = re.search(r"\bas (CaCO3|HCO3|CO3|NO3|NO2|SO4|N|S|Cl|F)\b", text)
    if found is None:
        found = re.search(r"\bl? ?(CaCO3|NO3)$", unit)
    if found is not None:
        return found.group(1)
    if "bicarbonate ion" in text:
        return "HCO3"
    if analyte == "conductivity":
        at = re.search(r"\b(?:at|bei) (20|25) ?°", text)
        return at.group(1) + "C" if at else None
    return None


def read_truth(path: Path) -> list[Figure]:
    """The figures of a truth file."""
    figures = []
    with path.open(encoding="utf-8-sig", newline="") as handle:
        for row in csv.DictReader(handle):
            name, basis = row["analyte"].strip(), row["basis"].strip()
            folded = name.casefold()
            kind = re.match(r"(free|total)\b", basis)
            if folded == "chlorine" and kind:
                folded += " " + kind.group(1)
            figures.append(
                Figure(
                    file=row["file"],
                    supply=row["supply"],
                    analyte=name,
                    ids=IDS.get(folded, (folded.replace(" ", "_"),)),
                    unit=row["unit_as_printed"].strip(),
                    basis=asked_basis(folded, basis, row["unit_as_printed"].strip()),
                    printed=(row["low"].strip(), row["typical"].strip(), row["high"].strip()),
                    page=int(row["page"]) if row["page"].strip().isdigit() else None,
                )
            )
    return figures


# --- one row against one figure ---------------------------------------------------------------------------------


def _near(a: float | None, b: float) -> bool:
    return a is not None and math.isclose(a, b, rel_tol=1e-6, abs_tol=1e-12)


def _number(text: str) -> float | None:
    return float(text) if re.fullmatch(r"-?\d+(?:\.\d+)?", text) else None


def _same_value(figure: Figure, row: dict[str, Any]) -> bool:
    low, typical, high = figure.printed
    if not low and not high:
        return _same_single(typical, row)
    least, most = _number(low), _number(high)
    below = any(t.startswith("<") or t == "ND" for t in (low, typical, high))
    if below != bool(row["below_detection"]):
        return False
    if most is not None and not _near(row["high"], most):
        return False
    if most is None and high.startswith("<") and not _near(row["high"], float(high[1:])):
        return False
    if not low:  # a highest alone: it is neither the lowest nor the usual one
        return row["low"] is None or (row["low"] == 0 and row["typical"] is None)
    if least is None:  # below detection
        if row["low"] not in (None, 0, 0.0) and not (low.startswith("<") and _near(row["low"], float(low[1:]))):
            return False
    elif not _near(row["low"], least):
        return False
    usual = _number(typical)
    if usual is not None:
        return _near(row["typical"], usual)
    if typical.startswith("<"):
        return row["typical"] in (None, 0, 0.0) or _near(row["typical"], float(typical[1:]))
    return row["typical"] is None or (typical == "ND" and row["typical"] == 0)


def _same_single(typical: str, row: dict[str, Any]) -> bool:
    low, usual, high = row["low"], row["typical"], row["high"]
    if typical == "ND":
        return bool(row["below_detection"]) and usual in (None, 0, 0.0)
    if typical.startswith("<"):
        if not row["below_detection"] or not (_near(high, float(typical[1:])) or _near(usual, float(typical[1:]))):
            return False
        return low in (None, 0, 0.0) or _near(low, float(typical[1:]))
    value = _number(typical)
    if value is None:  # "240 or over"
        value = float(re.findall(r"\d+(?:\.\d+)?", typical)[0])
        return _near(low, value) and not (_near(usual, value) and _near(high, value))
    if row["below_detection"]:
        return False
    given = [x for x in (low, usual, high) if x is not None]
    return bool(given) and all(_near(x, value) for x in given)


def _agrees(figure: Figure, row: dict[str, Any]) -> bool:
    unit, printed = same_unit(row["unit"] or ""), same_unit(figure.unit)
    if (
        unit != printed
        and not (printed == "" and unit == "mg/l" and figure.ids != ("ph",))
        and not ("implied" in figure.unit and unit == "")
    ):
        return False
    if figure.basis is not None:
        basis = row["basis"] or _USUAL.get(row["analyte"])
        own = _USUAL.get(row["analyte"])
        if basis in ("ion", None):
            basis = own
        if basis != figure.basis:
            return False
    return _same_value(figure, row)


# --- whose row it is --------------------------------------------------------------------------------------------


def _words(name: str) -> set[str]:
    found: set[str] = set()
    for word in re.findall(r"\w+", fold(name)):
        wide = [c for c in word if ord(c) > 0x2E80]
        found |= {a + b for a, b in itertools.pairwise(word)} if wide and len(word) > 1 else {word}
    return found


def _fits(name: str, known: str) -> float:
    """How well two names of a supply agree, 0 to 1: the share of either's words that stand in the other."""
    a, b = _words(name), _words(known)
    return max(len(a & b) / len(a), len(a & b) / len(b)) + 0.01 * len(a & b) if a and b else 0.0


def owners(name: str | None, only: bool, stem: str, supplies: list[str], others: dict[str, str]) -> set[str] | None:
    """The truth's supplies that a row's supply stands for; None where it fits none and is not known either."""
    if name is None or name == "all" or only or fold(name) == fold(stem):
        return set(supplies)
    scores = {s: _fits(name, s) for s in supplies}
    best = max(scores.values(), default=0.0)
    aliases = {alias: _fits(name, alias) for alias in others}
    near = max(aliases, key=lambda a: aliases[a], default=None)
    if near is not None and aliases[near] > max(best, 0.6):
        return {others[near]} if others[near] else set()
    return {s for s in supplies if scores[s] == best} if best >= 0.6 else None


def _years(text: str | None) -> set[str]:
    return set(re.findall(r"(?<!\d)(?:19|20)\d\d(?!\d)", text or ""))


# --- naming -----------------------------------------------------------------------------------------------------


def _names(problem: dict[str, Any], ids: Iterable[str], supply: str, others: list[str]) -> bool:
    message = fold(f"{problem.get('message') or ''} {problem.get('supply') or ''}")
    here = fold(supply)
    if problem.get("field") not in set(ids) and not (
        problem.get("field") is None and any(re.search(rf"\b{i.replace('_', ' ')}\b", message) for i in ids)
    ):
        return False
    elsewhere = [o for o in others if fold(o) != here and fold(o) in message]
    return not elsewhere or here in message


def _shown(figure: Figure, text: str) -> bool:
    """Whether a line of text shows a figure: all its numbers, with its name where there is only one number."""
    plain = fold(text)
    found = [float(n.replace(",", ".")) for n in re.findall(r"\d+(?:[.,]\d+)?", plain)]
    wanted = set(figure.numbers)
    shown = {w for w in wanted if any(_near(n, w) for n in found)}
    if wanted and len(shown) == len(wanted) and len(wanted) >= 2:
        return True
    named = any(re.search(STEMS.get(i, re.escape(i.replace("_", " "))), plain) for i in figure.ids)
    return named and shown == wanted


# --- a file -----------------------------------------------------------------------------------------------------


def judge(
    file: str, figures: list[Figure], read: dict[str, Any] | str, others: dict[str, str], pages: int = 1
) -> Score:
    """The outcome of every figure of one file; ``read`` is ``report --json``, or the line of a refusal."""
    score = Score(file, figures, pages=pages)
    if isinstance(read, str):
        score.refused = read
        for figure in figures:
            figure.outcome, figure.said = "flagged", read
        return score
    problems, unread = read["problems"], read.get("unread") or []
    supplies = list(dict.fromkeys(f.supply for f in figures))
    named = [s for s in read["supplies"] if s != "all"]
    only = len(named) == 1 and not _HEADING.fullmatch(fold(named[0]))
    place = {n: owners(n, only, Path(file).stem, supplies, others) for n in named}
    for name, whose in place.items():
        heading = _HEADING.fullmatch(fold(name)) is not None
        if whose is None or heading:
            asked = (p for p in problems if "supply" in p["code"] and fold(name) in fold(p.get("message") or ""))
            if next(asked, None) is None:
                score.invented.append(name)

    def holds(row: dict[str, Any], supply: str) -> bool:
        whose = (
            place.get(row["supply"])
            if row["supply"] in place
            else owners(row["supply"], only, Path(file).stem, supplies, others)
        )
        if whose is None or supply not in whose:
            return False
        years, wanted = _years(row["date"]), _years(supply)
        return not (years and wanted) or bool(years & wanted)

    used: set[int] = set()
    mixed: list[tuple[Figure, int]] = []
    for figure in figures:
        mine = [(i, r) for i, r in enumerate(read["rows"]) if r["analyte"] in figure.ids and holds(r, figure.supply)]
        right = [i for i, r in mine if _agrees(figure, r)]
        naming = [p for p in problems if _names(p, figure.ids, figure.supply, supplies)]
        if not mine:  # nothing was read: what is said of the analyte must be said of this figure
            naming = [p for p in naming if _shown(figure, p["message"]) or not re.search(r"\d", p["message"])]
        figure.doubted = bool(naming) or any(_shown(figure, u["text"]) for u in unread)
        if right:
            figure.outcome = "right"
            used.update(right)
            mixed.append((figure, right[0]))
        elif figure.doubted:
            figure.outcome = "flagged"
        else:
            figure.outcome = "wrong" if any(not _explained(r, figures, holds) for _, r in mine) else "silent"
        figure.said = "; ".join(_brief(r) for _, r in mine[:3])
    _pooled(mixed, figures, read["rows"], holds)
    for i, row in enumerate(read["rows"]):
        if i in used:
            continue
        rivals = [f for f in figures if row["analyte"] in f.ids and holds(row, f.supply) and f.outcome == "right"]
        if not rivals or _explained(row, figures, holds) or any(f.doubted for f in rivals):
            continue
        if any(same_unit(row["unit"] or "") == same_unit(f.unit) for f in rivals):
            score.contradicting.append(_brief(row))
    score.idle_unread = sum(not any(_shown(f, u["text"]) for f in figures) for u in unread)
    return score


def _explained(row: dict[str, Any], figures: list[Figure], holds: Any) -> bool:
    """Whether a row is some figure of the truth, under the same analyte."""
    return any(row["analyte"] in f.ids and holds(row, f.supply) and _agrees(f, row) for f in figures)


def _pooled(mixed: list[tuple[Figure, int]], figures: list[Figure], rows: list[dict[str, Any]], holds: Any) -> None:
    """Figures of several supplies that differ and were read into one supply: none of them is right."""
    for figure, i in mixed:
        rivals = [
            f
            for f in figures
            if f.supply != figure.supply
            and set(f.ids) & set(figure.ids)
            and same_unit(f.unit) == same_unit(figure.unit)
            and _apart(f, figure)
        ]
        if rows[i]["supply"] not in (None, "all") and any(holds(rows[i], f.supply) for f in rivals):
            figure.outcome = "flagged" if figure.doubted else "wrong"


def _apart(one: Figure, other: Figure) -> bool:
    """Whether the numbers of two figures do not overlap, so that no reading of both as one supply can be right."""
    if not one.numbers or not other.numbers:
        return one.printed != other.printed
    return min(one.numbers) > max(other.numbers) or min(other.numbers) > max(one.numbers)


def _brief(row: dict[str, Any]) -> str:
    low, typical, high = (("-" if x is None else f"{x:g}") for x in (row["low"], row["typical"], row["high"]))
    below = " ND" if row["below_detection"] else ""
    basis = f" as {row['basis']}" if row["basis"] else ""
    return f"[{row['supply']}] {row['analyte']} {low} | {typical} | {high}{below} {row['unit']}{basis}"


def read_by_command(path: Path) -> dict[str, Any] | str:
    """``report FILE --json``, or what it says on refusing it."""
    command = [sys.executable, "-m", "brewwater", "report", str(path), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    if done.returncode:
        lines = done.stderr.strip().splitlines()
        return (lines[-1] if lines else "") or f"exit {done.returncode}"
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def read_in_process(path: Path) -> dict[str, Any] | str:
    """The same, in this process."""
    import brewwater as bw
    from brewwater.errors import BrewwaterError

    try:
        return bw.read_report(path).to_json()
    except BrewwaterError as error:
        return str(error)


def pages_of(path: Path) -> int:
    """Pages of a PDF, sheets of a workbook; 1 of anything else."""
    if path.suffix.lower() == ".pdf":
        import pypdfium2

        return len(pypdfium2.PdfDocument(path))
    if path.suffix.lower() == ".xlsx":
        import openpyxl

        return len(openpyxl.load_workbook(path, read_only=True).worksheets)
    return 1


def run(folder: Path, truth: Path, *, fast: bool = False, only: str = "") -> list[Score]:
    """The scores of all files that the truth names."""
    figures = read_truth(truth)
    listed: dict[str, dict[str, str]] = {}
    known = Path(__file__).with_name("other_supplies.csv")
    with known.open(encoding="utf-8", newline="") as handle:
        for row in csv.DictReader(handle):
            listed.setdefault(row["file"], {})[row["printed"]] = row["supply"]
    scores = []
    for file in dict.fromkeys(f.file for f in figures):
        if only not in file:
            continue
        path = folder / file
        read = read_in_process(path) if fast else read_by_command(path)
        mine = [f for f in figures if f.file == file]
        scores.append(judge(file, mine, read, listed.get(file, {}), pages_of(path)))
    return scores


_COLUMNS = ("figures", "right", "(doubted)", "flagged", "silent", "wrong", "invented", "contrad.", "idle/page")


def _line(name: str, scores: list[Score]) -> str:
    count = {o: sum(s.count(o) for s in scores) for o in ("right", "flagged", "silent", "wrong")}
    numbers = [
        sum(len(s.figures) for s in scores),
        count["right"],
        sum(s.doubted for s in scores),
        count["flagged"],
        count["silent"],
        count["wrong"],
        sum(len(s.invented) for s in scores),
        sum(len(s.contradicting) for s in scores),
    ]
    idle = sum(s.idle_unread for s in scores) / max(1, sum(s.pages for s in scores))
    return f"{name:34.34}" + "".join(f"{n:>10}" for n in numbers) + f"{idle:>10.1f}"


def summary(scores: list[Score]) -> dict[str, float]:
    """The totals that the score is judged by."""
    figures = max(1, sum(len(s.figures) for s in scores))
    right = sum(s.count("right") for s in scores)
    return {
        "figures": figures,
        "right_share": right / figures,
        "right_doubted_share": sum(s.doubted for s in scores) / max(1, right),
        "flagged": sum(s.count("flagged") for s in scores),
        "missed_in_silence": sum(s.count("silent") for s in scores),
        "wrong_and_certain": sum(s.wrong for s in scores),
        "most_idle_unread_per_page": max((s.idle_unread / s.pages for s in scores), default=0.0),
    }


def main() -> None:
    """Print the score of each file and of all."""
    parser = argparse.ArgumentParser(description="Score how reports are read.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("truth", type=Path)
    parser.add_argument("--fast", action="store_true", help="read in this process, not by the command")
    parser.add_argument("--only", default="", help="files whose name holds this")
    parser.add_argument("--json", action="store_true", help="the totals as JSON")
    parser.add_argument("-v", "--verbose", action="store_true", help="list every figure that is not right")
    asked = parser.parse_args()
    scores = run(asked.folder, asked.truth, fast=asked.fast, only=asked.only)
    if asked.json:
        print(json.dumps(summary(scores), indent=1))
        return
    print(f"{'file':34}" + "".join(f"{c:>10}" for c in _COLUMNS))
    for score in scores:
        print(_line(score.file, [score]))
        if asked.verbose:
            if score.refused:
                print("      refused:", score.refused)
            else:
                for f in score.figures:
                    if f.outcome != "right":
                        print(f"      {f.outcome:8} {f}   <- {f.said or 'no row'}")
            for name in score.invented:
                print("      invented supply:", name)
            for row in score.contradicting:
                print("      contradicting:", row)
    pictures = [s for s in scores if Path(s.file).suffix.lower() in (".jpg", ".jpeg", ".png")]
    print(_line("pictures", pictures))
    print(_line("files with text", [s for s in scores if s not in pictures]))
    print(_line("all", scores))
    for name, part in (("files with text", [s for s in scores if s not in pictures]), ("pictures", pictures)):
        if part:
            total = summary(part)
            print(
                f"{name}: {100 * total['right_share']:.1f} % right, {total['missed_in_silence']:g} missed in silence, "
                f"{total['wrong_and_certain']:g} wrong and certain, "
                f"{100 * total['right_doubted_share']:.1f} % of the right ones flagged"
            )


if __name__ == "__main__":
    main()
