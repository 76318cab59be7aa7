"""What every chart shares: two sets of colours, and picking a few draws to show."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
from altair.utils import schemapi
from numpy.typing import NDArray

from brewwater.output.drawing.ink import DARK as NIGHT
from brewwater.output.drawing.ink import PRINT

# A whole chart is still held against the schema when it is shown; not every part of it once more when it is made,
# nor, where a field is given as alt.X("x:Q") and not as "x:Q", searched for in all of altair's classes.
schemapi.disable_debug_mode()

FloatArray = NDArray[np.float64]
Chart = alt.Chart | alt.LayerChart | alt.FacetChart | alt.VConcatChart

SHOWN_DRAWS = 220


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours for one background; each pair beside each other differs in lightness too. ``faint`` to ``deep`` is a
    ramp of one hue, from near the background away from it."""

    ink: str
    muted: str
    ground: str
    source: str
    served: str
    goal: str
    bad: str
    faint: str
    deep: str


LIGHT, DARK = (
    Palette(ink.ink, ink.second, ink.paper, ink.raw, ink.treated, ink.edge, ink.act, faint, deep)
    for ink, faint, deep in ((PRINT, "#DCE9F8", "#06305C"), (NIGHT, "#17324F", "#CFE5FC"))
)


def picked(weights: FloatArray, count: int = SHOWN_DRAWS) -> NDArray[np.int64]:
    """Indices of ``count`` draws that stand for all of them by weight (systematic resampling, no chance)."""
    mass = np.cumsum(weights) / weights.sum()
    at = (np.arange(count) + 0.5) / count
    return np.searchsorted(mass, at).clip(0, len(weights) - 1).astype(np.int64)


def flat(values: FloatArray, rows: NDArray[np.int64], draws: NDArray[np.int64], n: int) -> FloatArray:
    """Values of shape (phase, draw), or lengths of 1 there, at picked (phase, draw) pairs."""
    grid = np.atleast_2d(np.asarray(values, dtype=np.float64))
    full = np.broadcast_to(grid, (max(grid.shape[0], int(rows.max(initial=0)) + 1), n))
    return np.asarray(full[rows, draws], dtype=np.float64)


def labelled(title: str) -> Any:
    """An axis with a full title, its labels never cut."""
    return alt.Axis(title=title, labelLimit=400, titleLimit=500, labelOverlap="greedy", tickCount=6)


def written(words: alt.Chart, colours: Palette, **mark: Any) -> list[alt.Chart]:
    """Words over a picture, first with a rim in the colour of the ground: no mark behind crosses the letters."""
    rims = ((colours.ground, 5), (colours.ink, 0))
    return [words.mark_text(color=c, stroke=c, strokeWidth=w, fontSize=12, **mark) for c, w in rims]


def names_axis() -> Any:
    """A vertical axis of names made by ``wrapped``: every one written, none cut."""
    lines = "length(split(datum.label, '|'))"
    # Vega puts the first line at the middle of the row: move it up by half a line for each line more
    offset = {"condition": [{"test": f"{lines} > {n}", "value": -6.5 * n} for n in (3, 2, 1)], "value": 0}
    return alt.Axis(
        labelLimit=260,
        labelPadding=6,
        labelOverlap=False,
        labelExpr="split(datum.label, '|')",
        labelOffset=offset,
    )


def row_height(names: Sequence[str], least: int = 40) -> int:
    """Pixels that a row needs for the longest of its wrapped names."""
    return max([least, *(14 * (name.count("|") + 1) + 12 for name in names)])


def broken(names: Sequence[str], width: int) -> str:
    """The expression by which a legend breaks long names into lines."""
    lines = {name: wrapped(name, width).split("|") for name in names}
    return f"({json.dumps(lines)})[datum.label]"


def wrapped(text: str, width: int = 22) -> str:
    """A label with its line breaks as ``|``."""
    lines = [""]
    for word in text.replace("|", "/").split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return "|".join(lines)
