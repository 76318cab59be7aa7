"""A picture of forecast against fact: what each cartridge was to pass by its change, and what the meter counted."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import pandas as pd

from brewwater.output.charts.base import Chart, Palette, labelled, names_axis, row_height, wrapped
from brewwater.output.charts.ink import inked

# Name, the plan's low, middle and high, the metered figure, and whether it lies between low and high.
Row = tuple[str, float, float, float, float, bool]
INSIDE = ("outside", "inside")


def planned_and_metered(rows: Sequence[Row], title: str, colours: Palette) -> Chart:
    """A bar from the plan's low to its high with a tick at its middle, and a mark for what was metered: a dot where it
    lies inside, a diamond where it does not."""
    names = [wrapped(r[0]) for r in rows]
    data = pd.DataFrame([
        {"name": n, "low": low, "middle": middle, "high": high, "metered": gal, "inside": INSIDE[inside]}
        for n, (_, low, middle, high, gal, inside) in zip(names, rows, strict=True)
    ])  # fmt: skip
    told = [
        alt.Tooltip("name:N", title="Cartridge"),
        alt.Tooltip("low:Q", title="Low", format=",.0f"),
        alt.Tooltip("high:Q", title="High", format=",.0f"),
        alt.Tooltip("metered:Q", title="Metered", format=",.0f"),
    ]
    base = alt.Chart(data).encode(y=alt.Y("name:N", sort=names, title=None, axis=names_axis()), tooltip=told)
    at = alt.X("low:Q", axis=labelled(title), scale=alt.Scale(zero=False, nice=True))
    bars = base.mark_bar(color=colours.faint, stroke=colours.served, height={"band": 0.5}).encode(
        x=at, x2=alt.X2("high:Q")
    )
    middles = base.mark_tick(color=colours.served, thickness=2, height={"band": 0.5}).encode(x=alt.X("middle:Q"))
    points = base.mark_point(filled=True, size=110, opacity=1).encode(
        x=alt.X("metered:Q"),
        shape=alt.Shape(
            "inside:N",
            scale=alt.Scale(domain=["inside", "outside"], range=["circle", "diamond"]),
            legend=alt.Legend(orient="top", title="Metered"),
        ),
        color=alt.Color(
            "inside:N", scale=alt.Scale(domain=["inside", "outside"], range=[colours.ink, colours.bad]), legend=None
        ),
    )
    return inked(alt.layer(bars, middles, points).properties(height=row_height(names, 30) * len(names) + 90), colours)
