"""Pictures of the money: the year by line, two plans side by side, branches, what a test is worth."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import pandas as pd

from brewwater.output.charts.base import Chart, Palette, broken, labelled, names_axis, row_height, wrapped
from brewwater.output.charts.ink import inked

Rows = Sequence[tuple[str, float]]


def _bars(rows: Rows, title: str, colour: str, colours: Palette, text: Sequence[str]) -> Chart:
    data = pd.DataFrame([{"name": wrapped(n), "amount": a, "text": t} for (n, a), t in zip(rows, text, strict=True)])
    order = [wrapped(n) for n, _ in rows]
    top = max([a for _, a in rows] + [0.0])
    base = alt.Chart(data).encode(
        y=alt.Y("name:N", sort=order, title=None, axis=names_axis()),
        x=alt.X(
            "amount:Q",
            axis=labelled(title),
            scale=alt.Scale(domain=[min([0.0, *(a for _, a in rows)]), max(top * 1.45, 1e-9)]),
        ),
        tooltip=[alt.Tooltip("name:N", title="Line"), alt.Tooltip("text:N", title=title)],
    )
    bars = base.mark_bar(color=colour, height={"band": 0.62})
    labels = base.mark_text(align="left", dx=4, color=colours.ink, fontSize=12).encode(text=alt.Text("text:N"))
    return inked(alt.layer(bars, labels).properties(height=row_height(order) * len(order) + 90), colours)


def cost_lines(rows: Rows, currency: str, colours: Palette, text: Sequence[str]) -> Chart:
    """Expected cost of the year by line, the largest first; ``text`` is each amount as written."""
    order = sorted(range(len(rows)), key=lambda i: -rows[i][1])
    return _bars([rows[i] for i in order], f"{currency} a year", colours.ink, colours, [text[i] for i in order])


def branch_costs(rows: Rows, currency: str, colours: Palette, text: Sequence[str]) -> Chart:
    """What the cartridges cost in a year, by the branch whose water they pass."""
    return _bars(rows, f"{currency} a year for cartridges", colours.ink, colours, text)


def worth_of_tests(rows: Rows, title: str, colours: Palette, text: Sequence[str]) -> Chart:
    """What each possible test is worth, best first."""
    return _bars(rows, title, colours.ink, colours, text)


def two_costs(
    first: str, second: str, rows: Sequence[tuple[str, float, float]], currency: str, colours: Palette
) -> Chart:
    """Two plans line by line: two bars for each line, the first solid and the second hollow: colour is for water."""
    data = pd.DataFrame(
        [{"line": wrapped(n), "plan": p, "amount": v} for n, a, b in rows for p, v in ((first, a), (second, b))]
    )
    found: Chart = (
        alt.Chart(data)
        .mark_bar(stroke=colours.ink, strokeWidth=1.2)
        .encode(
            y=alt.Y("line:N", sort=[wrapped(n) for n, _, _ in rows], title=None, axis=names_axis()),
            yOffset=alt.YOffset("plan:N", sort=[first, second]),
            x=alt.X("amount:Q", axis=labelled(f"{currency} a year")),
            fill=alt.Fill(
                "plan:N",
                scale=alt.Scale(domain=[first, second], range=[colours.ink, colours.ground]),
                legend=alt.Legend(
                    orient="top",
                    direction="vertical",
                    title=None,
                    labelLimit=400,
                    labelExpr=broken([first, second], 24),
                    symbolStrokeColor=colours.ink,
                ),
            ),
            tooltip=[
                alt.Tooltip("line:N", title="Line"),
                alt.Tooltip("plan:N", title="Plan"),
                alt.Tooltip("amount:Q", title=currency, format=",.2f"),
            ],
        )
        .properties(height=row_height([wrapped(n) for n, _, _ in rows], 54) * len(rows) + 170)
    )
    return inked(found, colours)
