"""One printed value with its label and unit as a row; what its doubts leave of its confidence."""

from __future__ import annotations

import re
from collections.abc import Sequence

from brewwater.reports.names import UNSURE_BASIS, Label
from brewwater.reports.report import Row
from brewwater.reports.values import Value
from brewwater.units import read_unit

# What each doubt leaves of a row's confidence; under 0.7 a person must look.
# "ND" printed as the average beside a range: most samples lie at the range's lower end.
AVERAGE_BELOW = "average_below_detection"
CONFIDENCE = {
    AVERAGE_BELOW: 1.0,
    "decimal_mark": 0.4,
    "several_values": 0.5,
    "date_not_range": 0.0,
    "formula": 0.0,
    "no_upper_end": 0.6,
    "range_reversed": 0.6,
    "average_outside_range": 0.5,
    "unit_missing": 0.5,
    "unit_unknown": 0.3,
    "unit_unfit": 0.6,
    "supply_unclear": 0.4,
    "column_unclear": 0.4,
    "basis_unclear": 0.5,
    "from_prose": 0.75,
    "implausible": 0.2,
    "contradiction": 0.4,
    "basis_by_limit": 0.9,
    "tds_is_conductivity": 0.2,
    "second_figure": 0.6,
    "footnoted": 0.75,
}


_BRACKETS = re.compile(r"^[(\[]\s*([^()\[\]]+?)\s*[)\]]$")


def make_rows(
    label: Label,
    value: Value,
    unit_text: str,
    *,
    page: int | None,
    text: str,
    supply: str | None,
    date: str | None,
    doubts: tuple[str, ...] = (),
    limit: str | None = None,
    violation: bool = False,
) -> list[Row]:
    """Rows from one printed value: one, or two where a second unit stands beside it in brackets."""
    doubts = tuple(dict.fromkeys((*doubts, *value.doubts)))
    printed, second = _unit_pair(unit_text)
    own = _BRACKETS.sub(r"\1", value.unit_text.strip(" .;,"))
    if own and _real_unit(own):
        printed = printed if printed and read_unit(printed) and not _differs(printed, own) else own
    elif own and not printed:
        head = own.split(" ")[0].strip("(),;")
        printed = head if _real_unit(head) else printed
    if not printed and label.unit is not None:
        printed = label.unit_text or label.unit.unit
    found = read_unit(printed) if printed else None
    basis = label.basis or (found.basis if found else None)
    if not printed:
        if label.analyte not in ("ph", "e_coli", "total_coliform", "langelier_index"):
            doubts = (*doubts, "unit_missing")
        printed = {"ph": "1"}.get(label.analyte, "")
    elif found is None:
        doubts = (*doubts, "unit_unknown")
    if basis == UNSURE_BASIS:
        basis, doubts = None, (*doubts, "basis_unclear")
    if value.aside is not None and second is None:
        doubts = (*doubts, "second_figure")
    row = Row(
        analyte=label.analyte,
        low=value.low,
        typical=value.typical,
        high=value.high,
        unit=_tidy_unit(printed),
        basis=basis,
        below_detection=value.below_detection,
        supply=supply,
        date=date,
        page=page,
        text=text[:300],
        confidence=confidence(doubts),
        doubts=tuple(dict.fromkeys(doubts)),
        limit=limit,
        violation=violation,
    )
    if value.aside is None or second is None:
        return [row]
    pair = read_unit(second)
    return [
        row,
        Row(
            analyte=label.analyte,
            low=value.aside,
            typical=value.aside,
            high=value.aside,
            unit=_tidy_unit(second),
            basis=label.basis if label.basis != UNSURE_BASIS else (pair.basis if pair else None),
            supply=supply,
            date=date,
            page=page,
            text=text[:300],
            confidence=confidence(doubts),
            doubts=doubts,
            limit=limit,
        ),
    ]


def confidence(doubts: Sequence[str]) -> float:
    """The least that the doubts leave."""
    return min((CONFIDENCE.get(d, 0.5) for d in doubts), default=1.0)


def _unit_pair(text: str) -> tuple[str, str | None]:
    """``ppm [gpg]`` prints two units; the second belongs to the number in brackets."""
    text = _BRACKETS.sub(r"\1", text.strip())
    if not text or read_unit(text) is not None:
        return text, None
    match = re.match(r"^(?P<a>[^\[(]+)[\[(](?P<b>[^\])]+)[\])]$", text)
    if match and read_unit(match["a"].strip()) and read_unit(match["b"].strip()):
        return match["a"].strip(), match["b"].strip()
    parts = [p.strip() for p in re.split(r"\s+(?:or|/|\|)\s+", text)]
    if len(parts) == 2 and all(read_unit(p) for p in parts):
        return parts[0], parts[1]
    return text, None


def _real_unit(text: str) -> bool:
    unit = read_unit(text)
    return unit is not None and unit.unit not in ("1", "count")


def _differs(a: str, b: str) -> bool:
    left, right = read_unit(a), read_unit(b)
    return left is not None and right is not None and left.unit != right.unit


def _tidy_unit(text: str) -> str:
    return re.sub(r"\s*/\s*", "/", " ".join(text.replace("μ", "µ").split()))[:40]
