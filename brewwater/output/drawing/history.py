"""The tests of the log over time, one small field a measure, with the limit where one is stated. Ink alone but for the
water: a disc is treated water, a ring is water as it comes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from brewwater.output.drawing.ink import Ink
from brewwater.output.drawing.signs import n, svg, text
from brewwater.units import plain

FIELD = (340.0, 118.0)  # width and height of one measure's field
_ACROSS = 2


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """One test: its day, its value, and whether it is of treated water."""

    day: dt.date
    value: float
    after: bool


@dataclass(frozen=True, slots=True)
class HistoryField:
    """A measure's tests, with the ends of the range that is asked for; None where an end does not bind."""

    title: str
    points: tuple[HistoryPoint, ...]
    low: float | None = None
    high: float | None = None


def tests_over_time(fields: Sequence[HistoryField], ink: Ink) -> str:
    """The fields two beside each other as one drawing, over the same days; empty where there is none."""
    drawn = [f for f in fields if f.points]
    if not drawn:
        return ""
    days = [p.day for f in drawn for p in f.points]
    first, last = min(days), max(days)
    rows = -(-len(drawn) // _ACROSS)
    parts: list[str] = []
    for at, one in enumerate(drawn):
        x, y = (at % _ACROSS) * (FIELD[0] + 20), at // _ACROSS * (FIELD[1] + 14)
        parts += _field(one, first, last, x, y, ink)
    said = "; ".join(f"{f.title}: {plain(f.points[-1].value)} last, on {f.points[-1].day}" for f in drawn)
    return svg(_ACROSS * FIELD[0] + 20, rows * (FIELD[1] + 14), f"Tests over time. {said}", parts)


def _field(one: HistoryField, first: dt.date, last: dt.date, x: float, y: float, ink: Ink) -> list[str]:
    width, height = FIELD
    left, right, top, bottom = x + 40, x + width - 8, y + 24, y + height - 18
    ends = [v for v in (one.low, one.high) if v is not None]
    values = [p.value for p in one.points] + ends
    low, high = min(values), max(values)
    room = 0.12 * (high - low) or 0.1 * abs(high) or 1.0
    low, high = max(low - room, 0.0) if low >= 0 else low - room, high + room
    span = max((last - first).days, 1)

    def across(day: dt.date) -> float:
        return left + 6 + (right - left - 12) * ((day - first).days / span if last > first else 0.5)

    def up(value: float) -> float:
        return bottom - (bottom - top) * (value - low) / (high - low)

    parts = [
        text(x, y + 14, one.title, ink.ink, size=13, weight=650),
        f'<path d="M{n(left)} {n(top)}V{n(bottom)}H{n(right)}" style="fill:none;stroke:{ink.edge};stroke-width:1"/>',
        text(left - 4, top + 9, plain(high), ink.second, size=11, anchor="end"),
        text(left - 4, bottom, plain(low), ink.second, size=11, anchor="end"),
        text(left, bottom + 14, first.isoformat(), ink.second, size=11),
    ]
    if last > first:
        parts.append(text(right, bottom + 14, last.isoformat(), ink.second, size=11, anchor="end"))
    for end in ends:
        parts.append(
            f'<path d="M{n(left)} {n(up(end))}H{n(right)}" '
            f'style="fill:none;stroke:{ink.ink};stroke-width:1.4;stroke-dasharray:5 3"/>'
        )
    for after in (False, True):
        mine = sorted((p for p in one.points if p.after is after), key=lambda p: p.day)
        colour = ink.treated if after else ink.raw
        if len(mine) > 1:
            way = "L".join(f"{n(across(p.day))} {n(up(p.value))}" for p in mine)
            parts.append(f'<path d="M{way}" style="fill:none;stroke:{colour};stroke-width:1"/>')
        fill = colour if after else ink.paper
        parts += [
            f'<circle cx="{n(across(p.day))}" cy="{n(up(p.value))}" r="3" '
            f'style="fill:{fill};stroke:{colour};stroke-width:1.4"/>'
            for p in mine
        ]
    return parts
