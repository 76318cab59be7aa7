"""Pictures of the water: the cloud of waters that the report allows, before and after treatment."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from brewwater.output.charts.base import Chart, FloatArray, Palette, flat, labelled, names_axis, picked, written
from brewwater.output.charts.ink import inked
from brewwater.output.vocabulary import WATER
from brewwater.planning.scenario import Scenario
from brewwater.verdicts import State
from brewwater.water import Water

Range = tuple[float | None, float | None]
SOURCE, SERVED = WATER.label("source"), WATER.label("served")
HARDNESS, ALKALINITY = "Hardness, mg/L as CaCO3", "Alkalinity, mg/L as CaCO3"


@dataclass(frozen=True, slots=True)
class Marks:
    """The same picked draws of one water, as places of a picture; ``row`` is the phase that each is of."""

    name: str
    x: FloatArray
    y: FloatArray
    row: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Room:
    """The goal as a box (``left`` to ``right``, ``bottom`` to ``top``), and what the axes have to reach: 0 or less, and
    above 0."""

    left: float
    right: float
    bottom: float
    top: float
    least_x: float
    least_y: float
    most_x: float
    most_y: float


def marks(scenario: Scenario, x: Sequence[FloatArray], y: Sequence[FloatArray]) -> tuple[Marks, ...]:
    """The same picked draws of several waters; each phase by its share of the service days."""
    n = len(scenario.weights)
    pick = picked((scenario.phase_share[:, None] * scenario.weights).reshape(-1))
    rows, draws = pick // n, pick % n
    found = []
    for a, b, name in zip(x, y, (SOURCE, SERVED), strict=False):
        at = [np.round(flat(values, rows, draws, n), 2) for values in (a, b)]
        known = np.isfinite(at[0]) & np.isfinite(at[1])
        found.append(Marks(name, at[0][known], at[1][known], rows[known]))
    return tuple(found)


def room(found: Sequence[Marks], goal: tuple[Range, Range]) -> Room:
    """The box of a goal, its open sides at the end of the picture."""
    x, y = np.concatenate([m.x for m in found]), np.concatenate([m.y for m in found])
    wide, tall = (float(v.max()) if len(v) else 1.0 for v in (x, y))
    least_x, least_y = (min(0.0, float(v.min())) if len(v) else 0.0 for v in (x, y))
    most_x, most_y = (
        max(1.05 * far, 1.35 * next((end for end in reversed(side) if end is not None), 0), 1.0)
        for far, side in zip((wide, tall), goal, strict=True)
    )
    (left, right), (bottom, top) = goal
    return Room(
        least_x if left is None else left,
        most_x if right is None else right,
        least_y if bottom is None else bottom,
        most_y if top is None else top,
        least_x,
        least_y,
        most_x,
        most_y,
    )


def _cloud(
    scenario: Scenario, found: Sequence[Marks], x: str, y: str, goal: tuple[Range, Range], colours: Palette, height: int
) -> dict[str, Any]:
    towns = np.array(scenario.phase_names)
    points = pd.concat([pd.DataFrame({"x": m.x, "y": m.y, "water": m.name, "town": towns[m.row]}) for m in found])
    ends = room(found, goal)
    box = {"x": ends.left, "x2": ends.right, "y": ends.bottom, "y2": ends.top, "label": "goal"}
    frames = {
        "points": points,
        "goal": pd.DataFrame([box]),
        "room": pd.DataFrame([{"x": ends.most_x, "y": ends.most_y}]),
    }
    return {**json.loads(_form(x, y, colours, height)), "datasets": frames}


@cache
def _form(x: str, y: str, colours: Palette, height: int) -> str:
    """All of the picture but its data: the same for every plan, so that a browser keeps it and moves the marks. What
    the axes have to reach is a point that is not drawn."""
    names = [SOURCE, SERVED]
    points = (
        alt.Chart(alt.NamedData("points"))
        .mark_point(size=36, strokeWidth=1.1, opacity=0.6)
        .encode(
            x=alt.X("x:Q", axis=labelled(x)),
            y=alt.Y("y:Q", axis=labelled(y)),
            color=alt.Color(
                "water:N",
                scale=alt.Scale(domain=names, range=[colours.source, colours.served]),
                legend=alt.Legend(orient="top", title=None, symbolOpacity=1, labelLimit=300),
            ),
            shape=alt.Shape("water:N", scale=alt.Scale(domain=names, range=["triangle-up", "circle"])),
            tooltip=[
                alt.Tooltip("water:N", title="Water"),
                alt.Tooltip("town:N", title="Filled from"),
                alt.Tooltip("x:Q", title=x, format=".0f"),
                alt.Tooltip("y:Q", title=y, format=".0f"),
            ],
        )
    )
    room = (
        alt.Chart(alt.NamedData("room"))
        .mark_point(size=0, opacity=0, aria=False)
        .encode(x=alt.X("x:Q"), y=alt.Y("y:Q"), tooltip=alt.TooltipValue(None))
    )
    goal = (
        alt.Chart(alt.NamedData("goal"))
        .mark_rect(fill=colours.goal, fillOpacity=0.18, stroke=colours.ink, strokeWidth=1.5, strokeDash=[5, 3])
        .encode(x=alt.X("x:Q"), x2=alt.X2("x2:Q"), y=alt.Y("y:Q"), y2=alt.Y2("y2:Q"), tooltip=alt.TooltipValue(None))
    )
    words = alt.Chart(alt.NamedData("goal")).encode(
        x=alt.X("x2:Q"), y=alt.Y("y2:Q"), text=alt.Text("label:N"), tooltip=alt.TooltipValue(None)
    )
    labels = written(words, colours, align="right", baseline="bottom", dx=-3, dy=-3, fontWeight="bold")
    form = inked(alt.layer(goal, points, room, *labels).properties(height=height), colours).to_dict()
    del form["config"]["view"]  # a size of altair's own
    return json.dumps(form)


def cup_marks(scenario: Scenario, served: Water) -> tuple[Marks, ...]:
    """Hardness and alkalinity of the waters that fit what is known, as they come and as served."""
    return marks(
        scenario,
        [scenario.waters.hardness_mg_L_as_CaCO3, served.hardness_mg_L_as_CaCO3],
        [scenario.waters.alkalinity_mg_L_as_CaCO3, served.alkalinity_mg_L_as_CaCO3],
    )


def cup_cloud(
    scenario: Scenario, served: Water, goal: tuple[Range, Range], colours: Palette, height: int = 300
) -> dict[str, Any]:
    """Hardness against alkalinity, as it comes and as served, with the goal as a box.

    A spec in Vega-Lite, its data beside it as frames under ``datasets``.

    goal : (hardness range, alkalinity range), mg/L as CaCO3
    """
    return _cloud(scenario, cup_marks(scenario, served), HARDNESS, ALKALINITY, goal, colours, height)


def boiler_cloud(
    scenario: Scenario,
    source: State,
    served: State,
    chloride: tuple[FloatArray, FloatArray],
    goal: tuple[Range, Range],
    colours: Palette,
    height: int = 300,
) -> dict[str, Any]:
    """What falls out at the boiler's temperature against chloride, as ``cup_cloud``.

    chloride : as it comes and as served, mg/L; goal : (scale range, chloride range)
    """
    found = marks(scenario, [source.machine_ccpp_mg_L_as_CaCO3, served.machine_ccpp_mg_L_as_CaCO3], list(chloride))
    title = f"Scale at {source.machine_temperature_C:.0f} °C, mg/L as CaCO3"
    return _cloud(scenario, found, title, "Chloride, mg/L", goal, colours, height)


def scale_laid(
    rows: Sequence[tuple[str, tuple[float, float, float]]], unit: str, colours: Palette, text: Sequence[str]
) -> Chart:
    """Scale laid down in a year, with and without the treatment, each a bar with its range.

    rows : name and (10th, 50th, 90th percentile) in ``unit``
    text : each row's range as written
    """
    data = pd.DataFrame(
        [{"name": n, "low": a, "mid": b, "high": c, "text": t} for (n, (a, b, c)), t in zip(rows, text, strict=True)]
    )
    most = max([float(data["high"].max()), 1e-9])
    order = [n for n, _ in rows]
    bars = (
        alt.Chart(data)
        .mark_bar(size=22)
        .encode(
            y=alt.Y("name:N", sort=order, axis=names_axis(), title=None),
            x=alt.X("mid:Q", axis=labelled(f"Scale in a year, {unit}"), scale=alt.Scale(domain=[0, 1.6 * most])),
            color=alt.Color(
                "name:N", scale=alt.Scale(domain=order, range=[colours.source, colours.served]), legend=None
            ),
            tooltip=[
                alt.Tooltip("name:N", title="Water"),
                alt.Tooltip("low:Q", title="Low", format=".1f"),
                alt.Tooltip("mid:Q", title="Middle", format=".1f"),
                alt.Tooltip("high:Q", title="High", format=".1f"),
            ],
        )
    )
    whisker = (
        alt.Chart(data)
        .mark_rule(strokeWidth=2.5, color=colours.ink)
        .encode(y=alt.Y("name:N", sort=order), x=alt.X("low:Q"), x2=alt.X2("high:Q"))
    )
    written = (
        alt.Chart(data)
        .mark_text(align="left", dx=7, color=colours.ink, fontSize=12)
        .encode(y=alt.Y("name:N", sort=order), x=alt.X("high:Q"), text=alt.Text("text:N"))
    )
    return inked(alt.layer(bars, whisker, written).properties(height=48 * max(len(order), 1) + 90), colours)
