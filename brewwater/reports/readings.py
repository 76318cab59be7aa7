"""From a report's rows to one measurement for each analyte of each supply, in the plan's units."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence

from brewwater.records import Span
from brewwater.reference import keyed
from brewwater.reports.analysis import Measurement
from brewwater.reports.columns import ALL
from brewwater.reports.report import Problem, Row, applies, plan_value
from brewwater.reports.rows import AVERAGE_BELOW
from brewwater.reports.settle import USELESS

# Bases that an unclear value may have, by analyte; the first is the analyte's own.
EITHER = {
    "bicarbonate": ("HCO3", "CaCO3"),
    "carbonate": ("CO3", "CaCO3"),
    "nitrate": ("NO3", "N"),
    "nitrite": ("NO2", "N"),
    "ammonium": ("NH4", "N"),
    "phosphate": ("PO4", "P"),
    "calcium": ("Ca", "CaCO3"),
    "magnesium": ("Mg", "CaCO3"),
}


def analysis_of(rows: Sequence[Row], supply: str) -> tuple[dict[str, Measurement], list[Problem]]:
    """One measurement for each analyte of a supply; rows that contradict each other give their union."""
    by_analyte: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if applies(row, supply) and row.analyte in keyed("analytes", "analyte"):
            by_analyte[row.analyte].append(row)
    out: dict[str, Measurement] = {}
    problems: list[Problem] = []
    for analyte, all_rows in by_analyte.items():
        usable = [r for r in all_rows if not set(r.doubts) & USELESS]
        own = [r for r in usable if r.supply == supply] or [r for r in usable if r.supply != ALL] or usable
        dated = [(r, _year(r.date)) for r in own]
        newest = max((y for _, y in dated if y), default=None)
        latest = [r for r, y in dated if newest is None or y is None or y == newest]
        sure = [r for r in latest if "from_prose" not in r.doubts] or latest
        spans = [(r, s) for r in sure if (s := _span(r)) is not None]
        if not spans:
            continue
        first, span = min(spans, key=lambda p: (-p[0].confidence, p[0].unit.lower() not in ("mg/l", "ppm")))
        apart = [r for r, s in _spans_all(own) if not _agree(s, span, analyte)]
        clash = [(r, s) for r, s in spans if not _agree(s, span, analyte)]
        if span.low > 0:  # not found in one row, a figure in another
            nothing = Span(low=0.0, high=span.high)
            clash += [(r, nothing) for r in sure if r.below_detection and r.high is None and r is not first]
        if clash:
            low, high = min(s.low for _, s in [*spans, *clash]), max(s.high for _, s in [*spans, *clash])
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
    bases = EITHER.get(row.analyte, (None,)) if "basis_unclear" in row.doubts else (row.basis,)
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


def _agree(a: Span, b: Span, analyte: str = "") -> bool:
    """Two printings of one quantity agree: each end, and the middle, within rounding."""

    def near(x: float, y: float) -> bool:
        if analyte == "ph":  # a logarithm: a tenth is 26 % of the acid
            return abs(x - y) <= 0.1
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
