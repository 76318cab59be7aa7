"""The dial of a bypass: 0 is all treated, 100 all raw, and a mark shows where it is set."""

from __future__ import annotations

import math
from collections.abc import Sequence

from brewwater.output.drawing.ink import Ink
from brewwater.output.drawing.signs import n, svg, text
from brewwater.units import plain

# The scale runs from lower left over the top to lower right.
_FIRST, _SWEEP = 225.0, 270.0


def _turn(percent: float) -> float:
    return math.radians(_FIRST - _SWEEP * percent / 100)


def _at(x: float, y: float, r: float, percent: float) -> tuple[float, float]:
    angle = _turn(percent)
    return x + r * math.cos(angle), y - r * math.sin(angle)


def _arc(x: float, y: float, r: float, a: float, b: float) -> str:
    (x1, y1), (x2, y2) = _at(x, y, r, a), _at(x, y, r, b)
    large = 1 if (b - a) * _SWEEP / 100 > 180 else 0
    return f"M{n(x1)} {n(y1)}A{n(r)} {n(r)} 0 {large} 1 {n(x2)} {n(y2)}"


def dial(settings: Sequence[tuple[str, float]], ink: Ink, *, small: bool = False) -> str:
    """The dial as SVG.

    Parameters
    ----------
    settings : each mark's letters (empty for the only one) and its per cent raw; the first is where it stands
    small : for a line of text: no words on it
    """
    at = settings[0][1]
    said = "; ".join(f"{letters} {plain(percent)}%".strip() for letters, percent in settings)
    name = f"Bypass dial, 0 all treated to 100 all raw: {said}"
    if small:
        x, y, r = 24.0, 25.0, 19.0
        hand = _at(x, y, r - 3, at)
        body = [
            f'<path d="{_arc(x, y, r, 0, 100)}" style="fill:none;stroke:{ink.grid};stroke-width:6"/>',
            f'<path d="{_arc(x, y, r, 0, max(at, 0.5))}" style="fill:none;stroke:{ink.raw};stroke-width:6"/>',
            f'<path d="M{n(x)} {n(y)}L{n(hand[0])} {n(hand[1])}" style="stroke:{ink.ink};stroke-width:3"/>',
            f'<circle cx="{n(x)}" cy="{n(y)}" r="4" style="fill:{ink.ink}"/>',
        ]
        return svg(48, 46, name, body)
    x, y, r = 140.0, 92.0, 60.0
    body = [
        f'<path d="{_arc(x, y, r, 0, 100)}" style="fill:none;stroke:{ink.grid};stroke-width:14"/>',
        f'<path d="{_arc(x, y, r, 0, max(at, 0.5))}" style="fill:none;stroke:{ink.raw};stroke-width:14"/>',
    ]
    for step in range(0, 101, 10):
        (x1, y1), (x2, y2) = _at(x, y, r - 8, step), _at(x, y, r + (10 if step % 50 == 0 else 7), step)
        body.append(f'<path d="M{n(x1)} {n(y1)}L{n(x2)} {n(y2)}" style="stroke:{ink.ink};stroke-width:1.4"/>')
    last = math.inf
    for letters, percent in sorted(settings, key=lambda s: s[1]):
        (x1, y1), (x2, y2), (tx, ty) = (_at(x, y, r + d, percent) for d in (-10, 12, 18))
        ty = min(ty, last - 17) if percent < 50 else ty  # words of two near marks stand one over the other
        last = ty
        body.append(f'<path d="M{n(x1)} {n(y1)}L{n(x2)} {n(y2)}" style="stroke:{ink.raw};stroke-width:3"/>')
        anchor = "end" if tx < x - 12 else "start" if tx > x + 12 else "middle"
        body.append(
            text(tx, ty + 4, f"{letters} {plain(percent)}%".strip(), ink.raw, size=15, weight=700, anchor=anchor)
        )
    hand = _at(x, y, r - 12, at)
    body += [
        f'<path d="M{n(x)} {n(y)}L{n(hand[0])} {n(hand[1])}" '
        f'style="stroke:{ink.ink};stroke-width:5;stroke-linecap:round"/>',
        f'<circle cx="{n(x)}" cy="{n(y)}" r="8" style="fill:{ink.ink}"/>',
        text(x, 18, "50", ink.ink, size=15, weight=700, anchor="middle"),
        text(88, 156, "0", ink.ink, size=15, weight=700, anchor="middle"),
        text(192, 156, "100", ink.ink, size=15, weight=700, anchor="middle"),
        text(88, 173, "all treated", ink.second, size=14, anchor="middle"),
        text(192, 173, "all raw", ink.second, size=14, anchor="middle"),
    ]
    return svg(250, 180, name, body)
