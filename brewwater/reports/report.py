"""A report as it was understood: rows as printed, problems, supplies; and the analysis of one supply."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from brewwater.errors import InputError, ReportError
from brewwater.escape import for_html
from brewwater.reference import keyed, table
from brewwater.reports.analysis import Disinfectant, Measurement, Supply
from brewwater.reports.columns import ALL
from brewwater.reports.words import Box

if TYPE_CHECKING:
    import pandas as pd

Notice = Literal["none", "boil_water", "do_not_drink"]


@dataclass(frozen=True, slots=True)
class Row:
    """One printed value. Numbers, ``unit`` and ``text`` as printed; None where nothing is printed.

    ``basis`` is what is printed, or what is certain by convention (a hardness in ppm is as CaCO3); None where
    the usual basis of the analyte holds or is unclear (then ``doubts`` says ``basis_unclear``).
    ``below_detection``: ``ND`` or ``<x`` stands in it; ``low`` is then 0. ``supply`` is ``all`` for a
    system-wide row, None where it is not clear whose it is.
    ``confidence`` 0 to 1; under 0.7 a person must look. ``doubts`` are problem codes.
    """

    analyte: str
    low: float | None
    typical: float | None
    high: float | None
    unit: str
    basis: str | None = None
    below_detection: bool = False
    supply: str | None = None
    date: str | None = None
    page: int | None = None
    text: str | None = None
    confidence: float = 1.0
    doubts: tuple[str, ...] = ()
    limit: str | None = None
    violation: bool = False
    section: str = ""

    @property
    def certain(self) -> bool:
        """Whether the value may be used without a person looking at it."""
        return self.confidence >= 0.7


@dataclass(frozen=True, slots=True)
class Problem:
    """Something a person must look at. ``code`` is stable, ``field`` an analyte or None."""

    code: str
    field: str | None
    message: str
    supply: str | None = None


@dataclass(frozen=True, slots=True)
class Unread:
    """A line that names an analyte and prints a figure, and that gave no row: where, what, and why."""

    page: int | None
    text: str
    why: str


@dataclass(frozen=True)
class Report:
    """A water report as it was understood.

    ``rows`` keep what is printed; ``analysis(supply)`` gives measurements for a plan; ``problems`` name what
    is unclear or contradictory; ``unread`` lists every line with an analyte and a figure that gave no row;
    ``missing(supply)`` what a plan would need and the report does not say. ``boxes`` say where each row stands on
    its page, ``unread_boxes`` where each unread line does; None where the report has no pages to look at.
    """

    rows: tuple[Row, ...]
    supplies: tuple[str, ...]
    problems: tuple[Problem, ...]
    name: str = "report"
    pages: int | None = None
    disinfectants: dict[str, Disinfectant] = field(default_factory=dict)
    notice: Notice = "none"
    readings: dict[str, dict[str, Measurement]] = field(default_factory=dict)
    unread: tuple[Unread, ...] = ()
    boxes: tuple[Box | None, ...] = ()
    unread_boxes: tuple[Box | None, ...] = ()

    def _pick(self, supply: str | None) -> str:
        if supply is None:
            if len(self.supplies) == 1:
                return self.supplies[0]
            if not self.supplies:
                raise ReportError(
                    "report",
                    self.name,
                    "no value was found in it",
                    "Type the values by hand, or give a report with a table of results.",
                )
            raise ReportError(
                "supply",
                "none named",
                "the report has several: " + "; ".join(self.supplies),
                "Name one of them with --supply.",
            )
        wanted = _plain(supply)
        exact = [s for s in self.supplies if _plain(s) == wanted]
        near = exact or [s for s in self.supplies if wanted and wanted in _plain(s)]
        if len(near) != 1:
            raise ReportError(
                "supply", supply, "the report has: " + ("; ".join(self.supplies) or "none"), "Name one of these."
            )
        return near[0]

    def analysis(self, supply: str | None = None) -> dict[str, Measurement]:
        """Measurements of one supply, by analyte id; system-wide rows included.

        Raises
        ------
        ReportError : several supplies and none named, or the name is unknown
        """
        return dict(self.readings.get(self._pick(supply), {}))

    def missing(self, supply: str | None = None) -> tuple[str, ...]:
        """Analytes that a plan would use and that the supply's analysis lacks; all supplies' where none is named."""
        names = self.supplies if supply is None else (self._pick(supply),)
        wanted = [r["analyte"] for r in table("plausible_ranges") if r["missing_matters"]]
        lacking = []
        for analyte in wanted:
            if not names or any(not self._covers(analyte, n) for n in names):
                lacking.append(analyte)
        return tuple(lacking)

    def _covers(self, analyte: str, supply: str) -> bool:
        """Measured, or looked for and not found (ND without a limit gives no figure, but is not missing)."""
        looked_for = (r for r in self.rows if r.analyte == analyte and r.below_detection and applies(r, supply))
        return _covered(analyte, self.readings.get(supply, {})) or next(looked_for, None) is not None

    def disinfectant(self, supply: str | None = None) -> Disinfectant:
        """``free_chlorine``, ``chloramine``, ``none`` or ``unknown``, as far as the report says."""
        return self.disinfectants.get(self._pick(supply), "unknown")

    def violation(self, supply: str | None = None) -> bool:
        """Whether the report names a violation in a row of this supply or of the whole system."""
        name = self._pick(supply)
        return any(r.violation for r in self.rows if applies(r, name))

    def supply(self, name: str | None = None) -> Supply:
        """One supply as a part of a plan document.

        Raises
        ------
        ReportError : several supplies and none named, or the name is unknown
        """
        picked = self._pick(name)
        return Supply(
            name=picked[:120],
            analysis=self.analysis(picked),
            disinfectant=self.disinfectant(picked),
            notice=self.notice,
            violation_reported=self.violation(picked),
        )

    def frame(self) -> pd.DataFrame:
        """A row a printed value: numbers, unit and basis as printed, and the same ends in the plan's unit
        (``plan_unit``; NaN where the printed unit does not convert)."""
        import pandas as pd

        from brewwater.units import PLAN_UNITS

        def own(x: float | None, row: Row) -> float | None:
            return None if x is None else plan_value(x, row, row.basis)

        columns = {
            "supply": [r.supply for r in self.rows],
            "analyte": [r.analyte for r in self.rows],
            "low": [r.low for r in self.rows],
            "typical": [r.typical for r in self.rows],
            "high": [r.high for r in self.rows],
            "unit": [r.unit for r in self.rows],
            "basis": [r.basis for r in self.rows],
            "below_detection": [r.below_detection for r in self.rows],
            "low_in_plan_unit": [own(r.low, r) for r in self.rows],
            "typical_in_plan_unit": [own(r.typical, r) for r in self.rows],
            "high_in_plan_unit": [own(r.high, r) for r in self.rows],
            "plan_unit": [PLAN_UNITS.get(r.analyte) for r in self.rows],
            "date": [r.date for r in self.rows],
            "page": [r.page for r in self.rows],
            "confidence": [r.confidence for r in self.rows],
        }
        numbers = ("low", "typical", "high", "low_in_plan_unit", "typical_in_plan_unit", "high_in_plan_unit")
        return pd.DataFrame(columns).astype({name: "float64" for name in numbers})

    def _repr_html_(self) -> str:
        """The report as a notebook shows it: what was read, and what a person must look at, every text escaped."""
        shown = self.frame()[["supply", "analyte", "low", "typical", "high", "unit", "basis", "page", "confidence"]]
        problems = "".join(f"<li>{for_html(p.message)}</li>" for p in self.problems)
        return (
            f"<h3>{for_html(self.name)}: {for_html(', '.join(self.supplies)) or 'no supply named'}</h3>"
            + shown.to_html(index=False, border=0, na_rep="", max_rows=60)
            + (f"<ul>{problems}</ul>" if problems else "")
        )

    def to_json(self, supply: str | None = None) -> dict[str, Any]:
        """The contract of ``report --json``. ``analysis`` is None where there are several supplies and none named."""
        one = supply is not None or len(self.supplies) == 1
        picked = self._pick(supply) if one else None
        analysis = {a: m.model_dump(mode="json") for a, m in self.analysis(picked).items()} if one else None
        return {
            "rows": [
                {
                    "analyte": r.analyte,
                    "low": r.low,
                    "typical": r.typical,
                    "high": r.high,
                    "unit": r.unit,
                    "basis": r.basis,
                    "below_detection": r.below_detection,
                    "supply": r.supply,
                    "date": r.date,
                    "page": r.page,
                    "text": r.text,
                }
                for r in self.rows
                if picked is None or applies(r, picked)
            ],
            "analysis": analysis,
            "problems": [
                {"code": p.code, "field": p.field, "message": p.message}
                for p in self.problems
                if picked is None or p.supply in (picked, None)
            ],
            "missing": list(self.missing(picked)),
            "supplies": list(self.supplies),
            "unread": [{"page": u.page, "text": u.text, "why": u.why} for u in self.unread],
        }


def applies(row: Row, supply: str) -> bool:
    """Whether a row holds for a supply: its own, its area's (``North`` for ``North (wells)``), or system-wide."""
    return row.supply in (supply, ALL, None) or supply.startswith(f"{row.supply} (")


def _plain(name: str) -> str:
    return re.sub(r"[\W_]+", " ", name.casefold()).strip()


def _covered(analyte: str, analysis: dict[str, Measurement]) -> bool:
    if analyte in analysis:
        return True
    if analyte == "total_hardness":
        return {"calcium", "magnesium"} <= set(analysis)
    if analyte == "alkalinity":
        return "bicarbonate" in analysis
    if analyte == "total_dissolved_solids":
        return "conductivity" in analysis
    if analyte == "conductivity":
        return "total_dissolved_solids" in analysis
    if analyte == "total_chlorine":
        return "free_chlorine" in analysis or "chloramine" in analysis
    return False


def plan_value(x: float, row: Row, basis: str | None) -> float | None:
    """A printed number of a row in the plan's unit, or None where the unit does not fit the analyte."""
    from brewwater.units import to_plan_units

    if row.analyte not in keyed("analytes", "analyte"):
        return None
    try:
        return to_plan_units(x, row.unit, row.analyte, basis)
    except InputError:
        return None
