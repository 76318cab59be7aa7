"""Two waters in one picture: each as it comes and as served, against the goal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt
import numpy as np
import pandas as pd

from brewwater.output.charts.base import Chart, Palette, broken, flat, labelled, picked, written
from brewwater.output.charts.ink import inked
from brewwater.output.charts.water import Range
from brewwater.planning.scenario import Scenario
from brewwater.water import Water

EACH = 90


@dataclass(frozen=True, slots=True)
class Cloud:
    """The waters of one side: the ``first`` or the second one, ``served`` or as it comes."""

    name: str
    scenario: Scenario
    water: Water
    first: bool
    served: bool


def _points(cloud: Cloud) -> pd.DataFrame:
    scenario, n = cloud.scenario, len(cloud.scenario.weights)
    pick = picked((scenario.phase_share[:, None] * scenario.weights).reshape(-1), EACH)
    row, draw = pick // n, pick % n
    hardness, alkalinity = cloud.water.hardness_mg_L_as_CaCO3, cloud.water.alkalinity_mg_L_as_CaCO3
    return pd.DataFrame(
        {
            "x": np.round(flat(hardness, row, draw, n), 2),
            "y": np.round(flat(alkalinity, row, draw, n), 2),
            "water": cloud.name,
        }
    ).dropna()


def cup_beside(clouds: Sequence[Cloud], goal: tuple[Range, Range], colours: Palette, height: int = 330) -> Chart:
    """Hardness against alkalinity of up to four clouds, with the goal as a box.

    As it comes is an open mark, served a filled one; the first side is a triangle, the second a circle.

    Parameters
    ----------
    clouds : each under a name of its own
    goal : (hardness range, alkalinity range), mg/L as CaCO3
    """
    names = [c.name for c in clouds]
    data = pd.concat([_points(c) for c in clouds])
    (left, right), (bottom, top) = goal
    wide = max(float(data["x"].max()) * 1.05, 1.35 * (right or 0), 1.0)
    tall = max(float(data["y"].max()) * 1.08, 1.35 * (top or 0), 1.0)
    tints = [colours.source if c.first else colours.served for c in clouds]
    x = alt.X("x:Q", axis=labelled("Hardness, mg/L as CaCO3"), scale=alt.Scale(domain=[0, wide], nice=True))
    y = alt.Y("y:Q", axis=labelled("Alkalinity, mg/L as CaCO3"), scale=alt.Scale(domain=[0, tall], nice=True))
    legend = alt.Legend(
        orient="top", direction="vertical", title=None, labelLimit=330, symbolOpacity=1, labelExpr=broken(names, 34)
    )
    points = (
        alt.Chart(data)
        .mark_point(size=40, strokeWidth=1.3, opacity=0.75)
        .encode(
            x=x,
            y=y,
            stroke=alt.Stroke("water:N", scale=alt.Scale(domain=names, range=tints), legend=legend),
            shape=alt.Shape(
                "water:N",
                scale=alt.Scale(domain=names, range=["triangle-up" if c.first else "circle" for c in clouds]),
                legend=legend,
            ),
            fill=alt.Fill(
                "water:N",
                scale=alt.Scale(
                    domain=names,
                    range=[t if c.served else "transparent" for c, t in zip(clouds, tints, strict=True)],
                ),
                legend=legend,
            ),
            tooltip=[
                alt.Tooltip("water:N", title="Water"),
                alt.Tooltip("x:Q", title="Hardness, mg/L as CaCO3", format=".0f"),
                alt.Tooltip("y:Q", title="Alkalinity, mg/L as CaCO3", format=".0f"),
            ],
        )
    )
    box = alt.Chart(
        pd.DataFrame([{"x": left or 0, "x2": right or wide, "y": bottom or 0, "y2": top or tall, "label": "goal"}])
    )
    ground = box.mark_rect(
        fill=colours.goal, fillOpacity=0.18, stroke=colours.ink, strokeWidth=1.5, strokeDash=[5, 3]
    ).encode(x=alt.X("x:Q"), x2=alt.X2("x2:Q"), y=alt.Y("y:Q"), y2=alt.Y2("y2:Q"), tooltip=alt.TooltipValue(None))
    words = box.encode(x=alt.X("x2:Q"), y=alt.Y("y2:Q"), text=alt.Text("label:N"), tooltip=alt.TooltipValue(None))
    label = written(words, colours, align="right", baseline="bottom", dx=-3, dy=-3, fontWeight="bold")
    return inked(alt.layer(ground, points, *label).properties(height=height + 22 * len(names)), colours)
