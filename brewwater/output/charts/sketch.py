"""The water in the cup as a plain drawing: what ``cup_cloud`` shows, without its values at each mark.

The first page draws it anew at every number typed. A chart that answers to the pointer is more than a third of all that
a change costs a browser there; as an image with one path a series nothing of that is left to measure. Marks are ends of
lines without length: whatever the width, they keep their form.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from brewwater.escape import for_html as escape
from brewwater.output.charts.base import FloatArray, Palette
from brewwater.output.charts.water import ALKALINITY, HARDNESS, SERVED, SOURCE, Marks, Range, cup_marks, room
from brewwater.planning.scenario import Scenario
from brewwater.water import Water

SIDE = 1000  # units of the drawing along each axis
MARGIN = 15  # around it, so that marks on an axis are whole; ``.bw-plot>img`` is larger by the same share
STEPS = np.array([1.0, 2.0, 2.5, 5.0, 10.0])
# end of a line, its width in pixels
ENDS = {SOURCE: ("square", 4.0), SERVED: ("round", 6.5)}


def ticks(least: float, most: float, count: int = 5) -> FloatArray:
    """Round numbers from ``least`` (0 or less) to ``most`` (above 0), 0 among them, at most ``count`` steps apart."""
    finest = (most - least) / count
    scale = 10.0 ** np.floor(np.log10(finest))
    step = scale * STEPS[np.searchsorted(STEPS * scale, finest)]
    return np.asarray(step * np.arange(np.ceil(least / step - 1e-9), np.floor(most / step + 1e-9) + 1) + 0.0)  # not -0


def cup_sketch(
    scenario: Scenario, served: Water, goal: tuple[Range, Range], colours: Palette, number: Callable[[float], str]
) -> str:
    """Hardness against alkalinity, as it comes and as served, with the goal as a box: HTML, every text escaped.

    goal : (hardness range, alkalinity range), mg/L as CaCO3; number : how this reader writes a number
    """
    found = cup_marks(scenario, served)
    ends = room(found, goal)

    def along(values: FloatArray) -> NDArray[np.int64]:
        return np.rint(SIDE * ((values - ends.least_x) / (ends.most_x - ends.least_x))).astype(np.int64)

    def down(values: FloatArray) -> NDArray[np.int64]:
        return np.rint(SIDE * (ends.most_y - values) / (ends.most_y - ends.least_y)).astype(np.int64)

    columns, rows = ticks(ends.least_x, ends.most_x), ticks(ends.least_y, ends.most_y)
    lines = "".join(f"M{x} 0V{SIDE}" for x in along(columns)) + "".join(f"M0 {y}H{SIDE}" for y in down(rows))
    left, right = along(np.array([ends.left, ends.right]))
    bottom, top = down(np.array([ends.bottom, ends.top]))

    ink = {SOURCE: colours.source, SERVED: colours.served}

    def series(one: Marks) -> str:
        end, wide = ENDS[one.name]
        places = np.unique(np.column_stack([along(one.x), down(one.y)]), axis=0)
        path = "".join(f"M{x} {y}h.01" for x, y in places.tolist())
        look = f'stroke="{ink[one.name]}" stroke-width="{wide}" stroke-linecap="{end}" opacity="0.85"'
        return f'<path d="{path}" {look}/>'

    view = f"{-MARGIN} {-MARGIN} {SIDE + 2 * MARGIN} {SIDE + 2 * MARGIN}"
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}" preserveAspectRatio="none">'
        "<style>path{fill:none;vector-effect:non-scaling-stroke}</style>"
        f'<path d="{lines}" stroke="{colours.muted}" opacity="0.25"/>'
        f'<path d="M{left} {bottom}H{right}V{top}H{left}Z" style="fill:{colours.goal};fill-opacity:0.18" '
        f'stroke="{colours.ink}" stroke-width="1.5" stroke-dasharray="5 3"/>{"".join(series(m) for m in found)}</svg>'
    )
    image = f"data:image/svg+xml;base64,{b64encode(drawing.encode()).decode()}"

    def written(side: str, places: NDArray[np.int64], values: FloatArray) -> str:
        return "".join(
            f'<span style="{side}:{100 * at / SIDE:g}%">{escape(number(float(v)))}</span>'
            for at, v in zip(places, values, strict=True)
        )

    keys = "".join(
        f'<span><span class="bw-key" style="background:{ink[m.name]}'
        f'{";border-radius:50%" if ENDS[m.name][0] == "round" else ""}"></span>{escape(m.name)}</span>'
        for m in found
    )
    return (
        f'<div class="bw bw-sketch"><div class="bw-row"><span>↑ {escape(ALKALINITY)}</span>{keys}'
        f'<span><span class="bw-key" style="border:1.5px dashed {colours.ink}"></span>Goal</span></div>'
        f'<div class="bw-plot"><img src="{image}" alt="{escape(_told(found, goal, number))}">'
        f'<div class="bw-up" aria-hidden="true">{written("top", down(rows), rows)}</div>'
        f'<div class="bw-along" aria-hidden="true">{written("left", along(columns), columns)}</div></div>'
        f'<div class="bw-end">{escape(HARDNESS)} →</div></div>'
    )


def _told(found: Sequence[Marks], goal: tuple[Range, Range], number: Callable[[float], str]) -> str:
    """The drawing in words: where eight in ten of the marks lie, and the goal."""

    def reach(values: FloatArray) -> str:
        if not len(values):
            return "not known"
        low, high = (number(float(v)) for v in np.percentile(values, (10, 90)))
        return low if low == high else f"{low} to {high}"

    def wanted(side: Range) -> str:
        low, high = side
        if low is not None and high is not None:
            return f"{number(low)} to {number(high)}"
        if high is not None:
            return f"at most {number(high)}"
        return "any" if low is None else f"at least {number(low)}"

    waters = " ".join(f"{m.name}: hardness {reach(m.x)}, alkalinity {reach(m.y)}." for m in found)
    return f"Waters that fit what is known, in mg/L as CaCO3. {waters} Goal: hardness {wanted(goal[0])}, " + (
        f"alkalinity {wanted(goal[1])}."
    )
