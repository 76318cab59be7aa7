"""The year as a strip: one lane a stage, what is changed when, what is ordered when, events and lay-ups. All in ink."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from textwrap import wrap

from brewwater.demand import Calendar
from brewwater.output.answer import Answer, Change
from brewwater.output.drawing.ink import Ink
from brewwater.output.drawing.signs import disc, n, svg, text

LANE = 27.0
MOST_LETTERS, LETTER = 16, 7.6  # of a stage's name in a line, and the width of one in px
Place = Callable[[dt.date], float]


def _box(x: float, y: float, width: float, height: float, style: str) -> str:
    return f'<rect x="{n(x)}" y="{n(y)}" width="{n(width)}" height="{n(height)}" style="{style}"/>'


def flag(x: float, y: float, ink: Ink) -> str:
    """A flag whose pole stands on the day to order by."""
    way = f"M{n(x)} {n(y + 9)}V{n(y - 10)}H{n(x + 10)}L{n(x + 7)} {n(y - 6)}L{n(x + 10)} {n(y - 2)}H{n(x + 1)}"
    return f'<path d="{way}" style="fill:{ink.ink};stroke:{ink.ink};stroke-width:1.6"/>'


def year_strip(answer: Answer, calendar: Calendar, ink: Ink, width: float = 984, months: int = 12) -> str:
    """Twelve months from today. ``width`` under 500 leaves the names of the stages out and shortens the months."""
    narrow = width < 500
    lanes = [s for s in answer.stages if s.bought or s.changes]
    names = [wrap(s.name, MOST_LETTERS, break_long_words=True) or [""] for s in lanes]
    longest = max((len(line) for lines in names for line in lines), default=0)
    left = 34.0 if narrow else max(106.0, 36 + LETTER * longest)
    today = answer.today
    end = min(_later(today, months), calendar.end)
    days = max((end - today).days, 1)
    top = 58.0
    bottom = top + LANE * len(lanes)

    def at(day: dt.date) -> float:
        return left + (width - left - 8) * min(max((day - today).days, 0), days) / days

    parts: list[str] = []
    parts += _months(today, end, at, top, bottom, ink, narrow=narrow)
    busy = _busy(calendar, today, end)
    labels: list[tuple[float, str]] = []
    for start, stop, name, factor in busy:
        a, b = at(start), max(at(stop + dt.timedelta(days=1)), at(start) + 3)
        parts.append(_box(a, top - 8, b - a, bottom - top + 8, f"fill:{ink.band}"))
        parts.append(_box(a, top - 11, max(b - a, 6), 5, f"fill:{ink.ink}"))
        labels.append(((a + b) / 2, f"{name}{factor}"))
    for start, stop, name in _stored(calendar, today, end):
        a, b = at(start), at(stop + dt.timedelta(days=1))
        parts.append(_hatched(a, top - 20, b - a, bottom - top + 20, ink))
        if b - a > 50:
            parts.append(
                text((a + b) / 2, top - 4, name, ink.ink, size=13, weight=650, anchor="middle", halo=ink.paper)
            )
    if not narrow:
        parts += _labels(labels, top - 16, width, ink)
    for row, stage in enumerate(lanes):
        y = top + LANE * (row + 0.5)
        parts.append(f'<path d="M{n(left)} {n(y + LANE / 2)}H{n(width - 8)}" style="stroke:{ink.grid}"/>')
        parts.append(disc(12, y, stage.number, ink, r=10.5))
        if not narrow:
            parts += _name(names[row], y, ink)
        parts += _lane(stage.changes, y, at, end, ink)
    parts.append(f'<path d="M{n(left)} {n(top - 20)}V{n(bottom + 4)}" style="stroke:{ink.ink};stroke-width:3"/>')
    parts.append(text(left + 4, bottom + 18, f"Today, {answer.short_day(today)}", ink.ink, size=13, weight=650))
    return svg(width, bottom + 24, told(answer, end), parts, "bw-year", wide=True)


def _name(lines: Sequence[str], y: float, ink: Ink) -> list[str]:
    """A stage's name beside its lane, in two smaller lines where it is long; what is longer still ends in dots."""
    if len(lines) == 1:
        return [text(30, y + 5, lines[0], ink.ink, size=14, weight=650)]
    second = lines[1] if len(lines) == 2 else f"{lines[1][: MOST_LETTERS - 1]}…"
    return [text(30, y + dy, line, ink.ink, size=12, weight=650) for dy, line in ((-2, lines[0]), (10, second))]


def _lane(changes: Sequence[Change], y: float, place: Place, end: dt.date, ink: Ink) -> list[str]:
    out: list[str] = []
    early = changes[0].early if changes else None
    if early is not None and early < end:
        a, b = place(early), place(min(changes[0].late or end, end))
        if b - a > 4:
            out.append(_box(a, y - 5, b - a, 10, f"fill:{ink.band};stroke:{ink.edge}"))
    out += [flag(place(c.order_by), y, ink) for c in changes if c.order_by and c.order_by < end]
    for change in changes:
        if change.date >= end:
            continue
        if change.fitted is None or change.fitted == change.date:
            out.append(disc(place(change.date), y, change.number, ink, r=10))
        elif change.fitted < end:
            out.append(disc(place(change.fitted), y, change.number, ink, hollow=True, r=10))
    return out


def _months(
    today: dt.date, end: dt.date, place: Place, top: float, bottom: float, ink: Ink, *, narrow: bool
) -> list[str]:
    out = []
    month = dt.date(today.year, today.month, 1)
    while month < end:
        following = _later(month, 1)
        a, b = place(max(month, today)), place(min(following, end))
        if month > today:
            out.append(f'<path d="M{n(a)} {n(top - 20)}V{n(bottom)}" style="stroke:{ink.grid}"/>')
        if b - a > (10 if narrow else 26):
            name = f"{month:%b}"[:1] if narrow else f"{month:%b}"
            out.append(text((a + b) / 2, 14, name, ink.second, size=13, anchor="middle"))
        month = following
    return out


def _labels(labels: Sequence[tuple[float, str]], y: float, width: float, ink: Ink) -> list[str]:
    """Names of events where they do not run into each other; one that does is left out here and stands in the list."""
    out, until = [], 0.0
    for x, name in sorted(labels):
        half = 3.6 * len(name)
        x = min(max(x, half + 106), width - half)
        if x - half < until:
            continue
        until = x + half + 8
        out.append(text(x, y, name, ink.ink, size=13, weight=650, anchor="middle", halo=ink.paper))
    return out


def _hatched(x: float, y: float, width: float, height: float, ink: Ink) -> str:
    """A rectangle with slanted lines in it: plain paths, because not every reader of SVG knows patterns."""
    way, at = "", 8.0
    while at < width + height:
        x1, y1 = (at, 0.0) if at <= width else (width, at - width)
        x2, y2 = (0.0, at) if at <= height else (at - height, height)
        way += f"M{n(x + x1)} {n(y + y1)}L{n(x + x2)} {n(y + y2)}"
        at += 8
    lines = f'<path d="{way}" style="fill:none;stroke:{ink.edge};stroke-width:1"/>'
    return _box(x, y, width, height, f"fill:none;stroke:{ink.edge}") + lines


def _later(day: dt.date, months: int) -> dt.date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return dt.date(year, month + 1, min(day.day, 28))


def _busy(calendar: Calendar, today: dt.date, end: dt.date) -> list[tuple[dt.date, dt.date, str, str]]:
    return [
        (max(e.start, today), e.end, e.name, f" ×{e.multiplier:.3g}" if getattr(e, "multiplier", None) else "")
        for e in calendar.busy
        if e.end >= today and e.start < end
    ]


def _stored(calendar: Calendar, today: dt.date, end: dt.date) -> list[tuple[dt.date, dt.date, str]]:
    return [
        (max(c.start, today), min(c.end, end), "Lay-up" if c.kind == "stored" else "Closed")
        for c in calendar.stops
        if c.end >= today and c.start < end and (c.end - c.start).days >= 6
    ]


def told(answer: Answer, end: dt.date) -> str:
    """The strip in words."""
    said = [f"{answer.short_day(c.date)}: {c.number} {c.part}" for c in answer.changes if c.date < end]
    return f"The year from {answer.short_day(answer.today)}. Changes: {'; '.join(said) or 'none'}"


def next_strip(answer: Answer, ink: Ink, width: float = 358) -> str:
    """The next change alone, on a line from today: when to order, the earliest, the day, the latest."""
    change = answer.next
    if change is None:
        return ""
    late = change.late or change.date
    last = max(late, change.date) + dt.timedelta(days=4)
    days = max((last - answer.today).days, 1)

    def at(day: dt.date | None) -> float:
        return 8 + (width - 24) * min(max(((day or last) - answer.today).days, 0), days) / days

    y = 14.0
    parts = [
        f'<path d="M8 {n(y)}H{n(width - 8)}" style="stroke:{ink.edge};stroke-width:1.5"/>',
        f'<path d="M8 {n(y - 12)}V{n(y + 12)}" style="stroke:{ink.ink};stroke-width:3"/>',
    ]
    labels: list[tuple[float, str, int]] = [(8, "today", 650), (at(change.date), answer.short_day(change.date), 700)]
    if change.early and change.early != change.date:
        a, b = at(change.early), at(late)
        parts.append(_box(a, y - 6, b - a, 12, f"fill:{ink.band};stroke:{ink.edge}"))
        labels += [(a, answer.short_day(change.early), 400), (b, answer.short_day(change.late), 400)]
    if change.order_by:
        parts.append(flag(at(change.order_by), y + 2, ink))
        labels.append((at(change.order_by), "order", 400))
    parts.append(disc(at(change.date), y, change.number, ink, r=11))
    taken: list[tuple[float, float]] = []
    for x, words, weight in labels:
        half = 3.7 * len(words)
        x = min(max(x, half), width - half)
        if any(x - half < b and a < x + half for a, b in taken):
            continue
        taken.append((x - half - 3, x + half + 3))
        parts.append(
            text(x, y + 26, words, ink.second if weight == 400 else ink.ink, size=14, weight=weight, anchor="middle")
        )
    name = f"Change {change.part} on {answer.day(change.date)}{', overdue' if answer.overdue(change) else ''}"
    if answer.between(change):
        name += f", between {answer.between(change)}"
    return svg(width, 44, name, parts, "bw-next", wide=True)
