"""Invented water reports in random layouts, their truth known by construction.

    python tests/reports/layouts.py [HOW_MANY] [FIRST_SEED] [-v]

Each seed makes one report: a water in balance, some of its analytes, a language, a kind of table, columns of limits,
counts, years, methods and detection limits here or there, units in a column, in the label, in the heading or in the
limit's cell, as text, HTML, CSV, workbook or PDF. The program reads them and prints what went wrong by cause.
"""

from __future__ import annotations

import collections
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tests.reports import layout_forms as forms
from tests.reports.layout_words import ABOVE, BELOW, HARDNESS, HEADS, NAMES, OTHERS, PLACES, PROSE, SECTIONS, TITLES
from tests.reports.score import Figure, Score, judge

KINDS = ("table", "table", "blocks", "transposed", "side", "lines")
SHAPES = (
    ("value",), ("value",), ("low", "typical", "high"), ("range", "typical"), ("typical", "range"),
    ("high", "low", "typical"), ("low", "high"), ("low", "typical", "high", "n"),
)  # fmt: skip
ASIDES = ("limit", "detection", "year", "method", "count", "uncertainty")
LIMITS = {
    "ph": (6.5, 9.5), "conductivity": (2500.0,), "sodium": (200.0,), "chloride": (250.0,), "sulfate": (250.0,),
    "nitrate": (50.0,), "iron": (0.2,), "manganese": (0.05,), "fluoride": (1.5,), "total_dissolved_solids": (1500.0,),
}  # fmt: skip
DECIMALS = {"ph": 2, "iron": 3, "manganese": 3, "fluoride": 2, "magnesium": 1, "potassium": 1, "calcium": 1}


@dataclass(frozen=True)
class Value:
    """One analyte of one supply: numbers in the printed unit, ``limit`` of detection where it is below it."""

    low: float
    typical: float
    high: float
    decimals: int
    below: float | None = None


@dataclass
class Made:
    """A report: its bytes and suffix, the figures in it, and what was mixed into it."""

    seed: int
    suffix: str
    data: bytes
    figures: list[Figure]
    causes: list[str] = field(default_factory=list)


def make(seed: int) -> Made:
    """The report of a seed."""
    rng = np.random.default_rng(seed)
    maker = _Maker(rng)
    return maker.made(seed)


class _Maker:
    """The choices for one report, and the table that they make."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.form = str(rng.choice(["text", "text", "html", "csv", "xlsx", "pdf"]))
        tongues = [t for t in NAMES if t != "pl" or self.form != "pdf"]  # the PDF's font has no Polish letters
        self.tongue = str(rng.choice(tongues))
        self.kind = str(rng.choice(KINDS))
        self.shape: tuple[str, ...] = SHAPES[int(rng.integers(len(SHAPES)))]
        heads = HEADS[self.tongue]
        if self.tongue == "en" and rng.random() < 0.15:
            self.shape = ("highest", "range")
        if not set(self.shape) <= set(heads) or self.kind == "transposed":
            self.shape = ("value",)
        if self.kind == "lines":
            self.form = "text"
        supplies = {"table": (1, 4), "blocks": (2, 4), "transposed": (1, 5), "side": (1, 2), "lines": (1, 2)}[self.kind]
        self.supplies = list(rng.permutation(PLACES[self.tongue]))[: int(rng.integers(*supplies))]
        self.comma = self.tongue != "en" and self.form != "xlsx" and rng.random() < 0.85
        names = [a for a in NAMES[self.tongue]]
        count = int(rng.integers(5, min(len(names), 13) + 1))
        self.analytes = [a for a in names if a in set(rng.permutation(names)[:count])]
        self.unit_place = str(rng.choice(["column", "column", "label", "heading", "limit"]))
        if self.kind == "transposed":
            self.unit_place = "label"
        if self.unit_place == "heading":
            self.analytes = [a for a in self.analytes if self.unit(a) in ("mg/l", "mg/L", "")] or ["calcium", "sodium"]
        extras = [e for e in ASIDES if e in heads]
        chosen = [e for e in extras if rng.random() < (0.55 if e == "limit" else 0.12)]
        if self.unit_place == "limit" and "limit" not in chosen:
            chosen.append("limit")
        if self.kind == "transposed":
            chosen = []
        self.before = [e for e in chosen if e in ("limit", "detection", "count") and rng.random() < 0.5]
        self.after = [e for e in chosen if e not in self.before]
        self.numbers = self.kind in ("table", "blocks") and rng.random() < 0.12
        self.limit_style = str(rng.choice(["{}", "{}", "< {}", "max. {}"]))
        self.dash = str(rng.choice(["-", " - ", "–", " – "] if self.form != "pdf" else ["-", " - "]))
        self.second = self.tongue != "en" and rng.random() < 0.12
        self.waters = {s: _water(rng) for s in self.supplies}
        self.marked = rng.random() < 0.15  # footnotes
        self.sections = self.kind in ("table", "blocks") and rng.random() < 0.2
        self.others = rng.random() < 0.35  # constituents that a plan does not use
        self.above = rng.random() < 0.3  # lines about the whole report
        self.wrapped = self.form in ("text", "pdf") and self.kind != "lines" and rng.random() < 0.3
        self.unit_row = self.kind == "transposed" and rng.random() < 0.4
        self.no_detect = str(rng.choice(["", "", "ND" if self.tongue == "en" else "n.d."]))
        self.thousands = str(rng.choice(["", "," if self.tongue == "en" else "\u202f" if self.form != "pdf" else ""]))
        self.blanks = {
            (s, a) for s in self.supplies for a in self.analytes if len(self.supplies) > 1 and rng.random() < 0.03
        }

    # --- what is printed of one analyte

    def unit(self, analyte: str) -> str:
        """The printed unit of an analyte in this language."""
        if analyte == "ph":
            return ""
        if analyte == "conductivity":
            return "µS/cm"
        choice = HARDNESS[self.tongue]
        if analyte == "total_hardness":
            return choice[len(self.analytes) % len(choice)] if hasattr(self, "analytes") else choice[0]
        if analyte == "alkalinity":
            return {"en": "mg/L as CaCO3", "de": "mmol/l", "fr": "°fH", "pl": "mval/l", "sv": "mg/l HCO3"}[self.tongue]
        return "mg/L" if self.tongue == "en" else "mg/l"

    def value(self, supply: str, analyte: str) -> Value:
        """The figures of an analyte, rounded as they are printed."""
        water = self.waters[supply]
        middle = water[analyte]
        unit = self.unit(analyte)
        if analyte == "total_hardness":
            middle /= {"gpg": 17.118, "°dH": 17.848, "°fH": 10.0, "°F": 10.0, "mmol/l": 100.09}.get(unit, 1.0)
        if analyte == "alkalinity":
            middle /= {"mmol/l": 50.04, "mval/l": 50.04, "°fH": 10.0, "mg/l HCO3": 0.8202}.get(unit, 1.0)
        if analyte == "nitrate" and self.tongue == "en":
            middle /= 4.427
        if analyte == "conductivity" and "20 °C" in NAMES[self.tongue][analyte]:
            middle /= 1.116
        decimals = DECIMALS.get(analyte, 1 if middle < 30 else 0)
        if middle < 5 and decimals < 2:
            decimals = 2
        if analyte in ("iron", "manganese") and water[f"{analyte}_below"]:
            return Value(0, 0, 0, decimals, 0.02 if analyte == "iron" else 0.005)
        spread = 0.02 if analyte == "ph" else water["spread"]
        low, typical, high = (round(middle * f, decimals) for f in (1 - spread, 1.0, 1 + 1.2 * spread))
        if low >= typical or typical >= high:
            step = 10.0**-decimals
            low, high = round(typical - step, decimals), round(typical + step, decimals)
        return Value(low, typical, high, decimals)

    def number(self, x: float, decimals: int) -> str:
        """A number as it is printed."""
        text = f"{x:.{decimals}f}"
        if x >= 1000 and decimals == 0 and self.thousands:
            text = f"{text[:-3]}{self.thousands}{text[-3:]}"
        return text.replace(".", ",") if self.comma else text

    def label(self, analyte: str) -> str:
        """The printed name, with its basis, its unit and its name in a second language as they were chosen."""
        name = NAMES[self.tongue][analyte]
        if analyte == "nitrate" and self.tongue == "en":
            name += " (as N)"
        if self.second and analyte in NAMES["en"] and NAMES["en"][analyte] != name and analyte not in ("alkalinity",):
            name += f" / {NAMES['en'][analyte]}"
        unit = self.unit(analyte)
        if self.marked and len(analyte) % 4 == 0:
            name += " (1)" if len(self.analytes) % 2 else "*"
        if self.unit_place == "label" and unit and not self.unit_row:
            name += f" ({unit})" if len(self.analytes) % 2 or "as " in unit else f" [{unit}]"
        return name

    def cell(self, column: str, analyte: str, supply: str) -> str:
        """The cell of a column in the row of an analyte."""
        if column == "n":
            return str(4 + len(analyte) % 9)
        if column in ASIDES:
            return self._aside(column, analyte)
        if (supply, analyte) in self.blanks:
            return "-" if len(analyte) % 2 else ""
        v = self.value(supply, analyte)
        if v.below is not None:
            under = self._under(v)
            return under if column != "range" else f"{under}"
        low, typical, high = (self.number(x, v.decimals) for x in (v.low, v.typical, v.high))
        if column == "range":
            return f"{low}{self.dash}{high}"
        return {"value": typical, "typical": typical, "low": low, "high": high, "highest": high}[column]

    def _under(self, v: Value) -> str:
        if self.no_detect:
            return self.no_detect
        return ("<" if self.dash == "-" else "< ") + self.number(float(v.below or 0), v.decimals)

    def _aside(self, column: str, analyte: str) -> str:
        unit = self.unit(analyte)
        if column == "limit":
            known = LIMITS.get(analyte)
            if known is None or (analyte == "nitrate" and self.tongue == "en"):
                known = (10.0,) if analyte == "nitrate" else None
            if known is None:
                return f"- {unit}".strip() if self.unit_place == "limit" else "-"
            shown = [f"{k:g}".replace(".", "," if self.comma else ".") for k in known]
            text = self.dash.join(shown) if len(shown) == 2 else self.limit_style.format(shown[0])
            return f"{text} {unit}".strip() if self.unit_place == "limit" else text
        if column == "detection":
            return self.number(0.001 * 10 ** (len(analyte) % 3), 3)
        if column == "uncertainty":
            return f"± {5 + len(analyte) % 4 * 5} %"
        if column == "count":
            return str(4 + len(analyte) % 9)
        return {"year": "2021", "method": f"ISO {7000 + 37 * len(analyte)}"}[column]

    # --- the whole

    def columns(self) -> list[str]:
        """The columns between the label and what stands after the values."""
        unit = ["unit"] if self.unit_place == "column" else []
        return [*unit, *self.before]

    def grid(self, analytes: list[str], supplies: list[str]) -> list[list[str]]:
        """A table with its header rows."""
        heads = HEADS[self.tongue]
        front, back = self.columns(), self.after
        number = ["Nr."] if self.numbers else []
        groups: list[tuple[str, str]] = [(s, c) for s in supplies for c in self.shape]
        named = len(supplies) > 1 or self.kind == "table"
        rows: list[list[str]] = []
        if named and len(supplies) > 1 and len(self.shape) == 1:
            top = [*number, heads["name"], *(heads[c] for c in front), *supplies, *(heads[c] for c in back)]
            rows.append(top)
        else:
            if len(supplies) > 1:
                over = [s if c == self.shape[0] else "" for s, c in groups]
                rows.append([*("" for _ in number), "", *("" for _ in front), *over, *("" for _ in back)])
            middle = [heads[c] for _, c in groups]
            rows.append([*number, heads["name"], *(heads[c] for c in front), *middle, *(heads[c] for c in back)])
        if self.wrapped:
            rows[-1:] = self._two_lines(rows[-1])
        for i, analyte in enumerate(analytes, start=1):
            if self.sections and i in (1, 5):
                rows.append([SECTIONS[self.tongue][i > 1], *[""] * (len(rows[0]) - 1)])
            if self.others and i % 4 == 3:
                rows.append(self._other(i, len(number), front, groups, back))
            asides = [self.unit(analyte) or "-" if c == "unit" else self.cell(c, analyte, supplies[0]) for c in front]
            values = [self.cell(c, analyte, s) for s, c in groups]
            after = [self.cell(c, analyte, supplies[0]) for c in back]
            rows.append([*(str(i) for _ in number), self.label(analyte), *asides, *values, *after])
        return rows

    def _two_lines(self, row: list[str]) -> list[list[str]]:
        """Heads of several words over two lines."""
        first, second = [], []
        for text in row:
            words = text.split()
            cut = len(words) - 1 if len(words) > 1 and len(text) > 8 else 0
            first.append(" ".join(words[:cut]))
            second.append(" ".join(words[cut:]))
        return [first, second] if any(first) else [row]

    def _other(
        self, i: int, numbers: int, front: list[str], groups: list[tuple[str, str]], back: list[str]
    ) -> list[str]:
        """A row that no plan uses."""
        name, unit, figure = OTHERS[self.tongue][i // 4 % 3]
        figure = figure.replace(".", ",") if self.comma else figure
        if self.unit_place == "label" and unit:
            name += f" ({unit})"

        def cell(column: str) -> str:
            return {"unit": unit or "-", "range": f"{figure}{self.dash}{figure}", "limit": "-", "n": "6"}.get(
                column, figure
            )

        aside = {c: self._aside(c, "ph") if c not in ("limit", "unit") else cell(c) for c in (*front, *back)}
        return [
            *(str(i) for _ in range(numbers)),
            name,
            *(aside[c] for c in front),
            *(cell(c) for _, c in groups),
            *(aside[c] for c in back),
        ]

    def parts(self) -> Iterator[tuple[list[str], list[list[str]]]]:
        """Tables with the lines above each."""
        title = f"{TITLES[self.tongue]} 2021"
        lead = [title, PROSE[self.tongue]]
        if self.above:
            lead += ABOVE[self.tongue] if self.form == "text" else [" ".join(t.split()) for t in ABOVE[self.tongue]]
        if self.unit_place == "heading":
            lead.append({"en": "All values in mg/L", "de": "Alle Werte in mg/l"}.get(self.tongue, "(mg/l)"))
        if self.kind == "transposed":
            head = [{"en": "Supply", "de": "Ort"}.get(self.tongue, ""), *(self.label(a) for a in self.analytes)]
            body = [[s, *(self.cell("value", a, s) for a in self.analytes)] for s in self.supplies]
            units = [["", *(self.unit(a) for a in self.analytes)]] if self.unit_row else []
            yield lead, [head, *units, *body]
        elif self.kind == "lines":
            rows = self.grid(self.analytes, self.supplies)
            yield lead, [[c] for row in rows for c in row if c]
        elif self.kind == "blocks":
            for i, supply in enumerate(self.supplies):
                yield [*(lead if i == 0 else []), supply], self.grid(self.analytes, [supply])
        elif self.kind == "side":
            half = -(-len(self.analytes) // 2)
            left = self.grid(self.analytes[:half], self.supplies)
            right = self.grid(self.analytes[half:], self.supplies) if self.analytes[half:] else []
            wide = len(left[0])
            both = [
                [*row, "", *(right[i] if i < len(right) else [""] * len(right[0] if right else []))]
                for i, row in enumerate(left)
            ]
            del wide
            yield lead, both
        else:
            yield lead, self.grid(self.analytes, self.supplies)
        if self.marked:
            yield [BELOW[self.tongue]], []

    def made(self, seed: int) -> Made:
        """The file and its truth."""
        parts = list(self.parts())
        data, suffix = forms.render(self.form, parts, self.rng, comma=self.comma)
        causes = [self.form, self.kind, self.tongue, "+".join(self.shape), f"unit {self.unit_place}"]
        causes += [f"{c} before" for c in self.before] + [f"{c} after" for c in self.after]
        causes += ["second language"] if self.second else []
        causes += ["row numbers"] if self.numbers else []
        extra = ("marked", "sections", "others", "above", "wrapped", "unit_row", "no_detect", "thousands", "blanks")
        causes += [name for name in extra if getattr(self, name)]
        figures = [self._figure(s, a) for s in self.supplies for a in self.analytes if (s, a) not in self.blanks]
        return Made(seed, suffix, data, figures, causes)

    def _figure(self, supply: str, analyte: str) -> Figure:
        v = self.value(supply, analyte)

        def text(x: float) -> str:
            if v.below is not None:
                return "ND" if self.no_detect else f"<{v.below}"
            return f"{x:.{v.decimals}f}"

        shown = {"value": ("typical",), "range": ("low", "high"), "highest": ("high",)}
        kept = {k for c in self.shape for k in shown.get(c, (c,))}
        printed = tuple(text(getattr(v, k)) if k in kept else "" for k in ("low", "typical", "high"))
        unit = self.unit(analyte)
        basis = next((b for b in ("CaCO3", "HCO3") if unit.endswith(b)), None)
        if analyte == "nitrate" and self.tongue == "en":
            basis = "N"
        if analyte == "conductivity" and "20 °C" in NAMES[self.tongue][analyte]:
            basis = "20C"
        return Figure("made", supply, analyte, (analyte,), unit, basis, printed, None)  # type: ignore[arg-type]


def _water(rng: np.random.Generator) -> dict[str, Any]:
    """A water in balance, mg/L of the ions; hardness and alkalinity as CaCO3."""
    ca, mg = rng.uniform(15, 110), rng.uniform(2, 25)
    na, k = rng.uniform(4, 60), rng.uniform(0.6, 6)
    cations = ca / 20.04 + mg / 12.15 + na / 22.99 + k / 39.1
    no3 = min(rng.uniform(0.8, 25), 0.1 * cations * 62)
    share = rng.dirichlet([3, 2, 9]) * (cations - no3 / 62)
    cl, so4, alk = share[0] * 35.45, share[1] * 48.03, share[2] * 50.04
    ions = ca + mg + na + k + no3 + cl + so4 + 0.6 * alk
    return {
        "ph": rng.uniform(7.1, 8.3), "conductivity": 1.55 * ions + 5, "total_hardness": 2.497 * ca + 4.118 * mg,
        "alkalinity": alk, "bicarbonate": alk / 0.8202, "calcium": ca, "magnesium": mg, "sodium": na, "potassium": k,
        "chloride": max(cl, 1.0), "sulfate": max(so4, 1.0), "nitrate": no3, "iron": rng.uniform(0.03, 0.15),
        "manganese": rng.uniform(0.008, 0.04), "fluoride": rng.uniform(0.1, 1.0), "silica": rng.uniform(3, 25),
        "total_dissolved_solids": ions, "iron_below": rng.random() < 0.4, "manganese_below": rng.random() < 0.4,
        "spread": rng.uniform(0.06, 0.2),
    }  # fmt: skip


def score_of(made: Made, folder: Path) -> Score:
    """What becomes of the figures of a report when it is read."""
    from brewwater.reports.files import read_file
    from brewwater.reports.reading import read_content

    path = folder / f"made{made.suffix}"
    path.write_bytes(made.data)
    report = read_content(read_file(path), path.stem)
    return judge(path.name, made.figures, report.to_json(), {})


def main() -> None:
    """Read so many, and print what went wrong."""
    asked = [int(a) for a in sys.argv[1:] if a.isdigit()]
    many, first = (asked + [200, 0][len(asked) :])[:2]
    total: collections.Counter[str] = collections.Counter()
    bad: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + many):
            made = make(seed)
            try:
                score = score_of(made, Path(folder))
            except Exception as error:
                print(seed, "FAILED", repr(error)[:200])
                total["failed"] += 1
                total["wrong"] += len(made.figures)  # nothing of it came in
                continue
            counts = {o: score.count(o) for o in ("right", "flagged", "silent", "wrong")}
            counts["wrong"] += len(score.invented) + len(score.contradicting)
            total.update(counts)
            for cause in made.causes:
                bad[cause]["reports"] += 1
                bad[cause]["silent"] += counts["silent"] > 0
                bad[cause]["wrong"] += counts["wrong"] > 0
            if "-v" in sys.argv and (counts["silent"] or counts["wrong"]):
                print(seed, counts, made.causes, score.invented, score.contradicting[:2])
                for f in [f for f in score.figures if f.outcome in ("silent", "wrong")][:3]:
                    print("     ", f.outcome, f, "<-", f.said)
    figures = max(1, sum(total[o] for o in ("right", "flagged", "silent", "wrong")))
    print(f"{many} reports, {figures} figures: {100 * total['right'] / figures:.1f} % right,", dict(total))
    for cause, counts in sorted(bad.items(), key=lambda c: -(c[1]["silent"] + c[1]["wrong"]) / c[1]["reports"])[:25]:
        print(f"  {cause:28} {counts['reports']:5} reports, {counts['wrong']:4} wrong, {counts['silent']:4} silent")


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))
    main()
