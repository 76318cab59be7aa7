"""A measure against its goal, drawn as a riverbed: tall where the goal is, half as high to be watched, else a line.

Every channel has its goal's upper edge at the same place, so that edges line up down the page and strays jump out.
Before stands above, after below, one mark for each town. Ticks stand only at limits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

from brewwater.output.answer import Mark, Rail
from brewwater.output.drawing.ink import Ink
from brewwater.output.drawing.signs import n, svg, text
from brewwater.output.numbers import Words

EDGE = 0.6  # share of the width at which every goal's upper edge stands
LOW_EDGE = 0.3  # the lower edge of a goal without an upper one
RADIUS = 9.0
TOP, BOTTOM, HEIGHT = 4.0, 42.0, 60.0


def scale(rail: Rail, width: float) -> Callable[[float], float]:
    """From a value to its place: even up to the goal's edge, ever closer beyond it, so that nothing leaves the rail."""
    low, high = rail.goal
    seen = [x for m in rail.marks for x in (m.low, m.middle)] + [x for x in (low, *rail.watch) if x is not None]
    anchor, share = (high, EDGE) if high is not None else (low or 0.0, LOW_EDGE)
    floor = min(0.0, *seen) if seen else 0.0
    if floor < 0:
        floor -= 0.1 * abs(anchor - floor)
    span = anchor - floor or 1.0

    def place(value: float) -> float:
        t = (value - floor) / span
        if t <= 1:
            return width * share * max(t, 0.0)
        return width * (share + (1 - share) * (1 - 1 / t))

    return place


def channel(rail: Rail, words: Words, ink: Ink, width: float = 160) -> str:
    """The channel of a rail as SVG."""
    pad = RADIUS + 2
    place = scale(rail, width - 2 * pad)

    def at(value: float) -> float:
        return pad + place(value)

    middle = (TOP + BOTTOM) / 2
    low, high = rail.goal
    box = (1.0 if low is None else at(low), width - 1 if high is None else at(high))
    grey = [
        (box[0] if rail.watch[0] is None else at(rail.watch[0]), box[0]),
        (box[1], box[1] if rail.watch[1] is None else at(rail.watch[1])),
    ]
    parts = [f'<path d="M0 {n(middle)}H{n(width)}" style="stroke:{ink.edge};stroke-width:1.5"/>']
    parts += [
        f'<rect x="{n(a)}" y="{n(middle - 8)}" width="{n(b - a)}" height="16" style="fill:{ink.band}"/>'
        for a, b in grey
        if b - a > 0.5
    ]
    parts.append(
        f'<rect x="{n(box[0])}" y="{n(TOP)}" width="{n(box[1] - box[0])}" height="{n(BOTTOM - TOP)}" rx="3" '
        f'style="fill:{ink.paper};stroke:{ink.ink};stroke-width:1.6"/>'
    )
    for after in (False, True):
        parts += _row([m for m in rail.marks if m.after == after], at, ink, middle + (10 if after else -10))
    parts += _ticks(rail, at, words, ink, width)
    return svg(width, HEIGHT, told(rail, words), parts, "bw-channel")


def _row(marks: Sequence[Mark], at: Callable[[float], float], ink: Ink, y: float) -> list[str]:
    out = []
    for mark, x in zip(marks, _apart([at(m.middle) for m in marks]), strict=True):
        colour = ink.treated if mark.after else ink.raw
        left, right = at(mark.low), at(mark.high)
        if right - left > 2 * RADIUS:
            out.append(f'<path d="M{n(left)} {n(y)}H{n(right)}" style="stroke:{colour};stroke-width:3"/>')
        fill = colour if mark.after else ink.paper
        out.append(
            f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(RADIUS - 1)}" style="fill:{fill};stroke:{colour};stroke-width:2"/>'
        )
        letters = ink.paper if mark.after else colour
        size = 12 if len(mark.letter) == 1 else 10
        out.append(text(x, y + 4.2, mark.letter, letters, size=size, weight=700, anchor="middle"))
    return out


def _apart(places: Sequence[float]) -> list[float]:
    """The same places, pushed apart where marks would lie on each other."""
    order = sorted(range(len(places)), key=lambda i: places[i])
    out = list(places)
    for one, two in pairwise(order):
        gap = 2 * RADIUS - 3 - (out[two] - out[one])
        if gap > 0:
            out[one] -= gap / 2
            out[two] += gap / 2
    return out


def _ticks(rail: Rail, at: Callable[[float], float], words: Words, ink: Ink, width: float) -> list[str]:
    wanted = [rail.goal[1], rail.goal[0], rail.watch[1], rail.watch[0]]
    out: list[str] = []
    taken: list[float] = []
    for value in wanted:
        if value is None:
            continue
        x = min(max(at(value), 12.0), width - 12.0)
        if any(abs(x - other) < 27 for other in taken):
            continue
        taken.append(x)
        out.append(text(x, HEIGHT - 4, words.number(value, 2), ink.second, size=13, anchor="middle"))
    return out


def told(rail: Rail, words: Words) -> str:
    """The channel in words, for those who do not see it."""
    low, high = rail.goal
    ends = (
        f"{words.number(low, 2)} to {words.number(high, 2)}"
        if low is not None and high is not None
        else f"up to {words.number(high, 2)}"
        if high is not None
        else f"from {words.number(low, 2)}"
    )
    by_town: dict[str, list[str]] = {}
    for mark in rail.marks:
        by_town.setdefault(mark.town, []).append(
            f"{'after' if mark.after else 'before'} {words.number(mark.middle, 3)}"
        )
    return f"{rail.title}: goal {ends}; " + "; ".join(f"{t}: {', '.join(said)}" for t, said in by_town.items())
