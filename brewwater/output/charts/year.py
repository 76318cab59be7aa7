"""Pictures of the year: what is left in each cartridge, the demand by day, the tanks through a service day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from brewwater.ensemble import percentiles
from brewwater.output.charts.base import Chart, FloatArray, Palette, labelled, picked, written
from brewwater.output.charts.ink import inked
from brewwater.planning.cartridges import Cartridge

DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3]]


@dataclass(frozen=True, slots=True)
class Remaining:
    """Share of one cartridge's life left by day: 10th, 50th and 90th percentile.

    What comes first counts: capacity (full, no margin) or time limit. ``swaps``: the days of its changes.
    """

    name: str
    days: list[dt.date]
    low: FloatArray
    middle: FloatArray
    high: FloatArray
    swaps: list[dt.date]


def remaining(
    one: Cartridge,
    weights: FloatArray,
    swaps: Sequence[tuple[dt.date, dt.date]],
    in_service: tuple[float, FloatArray] | None = None,
    every: int = 6,
    draws: int = 160,
) -> Remaining:
    """What is left of a cartridge every few days of the plan, on a few draws that stand for all.

    Parameters
    ----------
    swaps : for each change of the schedule, in order: the day it comes out, the day the next one goes in
    in_service : age in days and used share, shape (draw,) or (1,), of the cartridge in place at the start
    """
    pick = picked(weights, draws)
    on, days = one.wear, one.wear.ledger.days
    first = days[0].astype(dt.date)
    out = [(a - first).days for a, _ in swaps]
    new = 0 if in_service else int(np.argmax(on.ledger.open))
    starts = np.array([new, *((b - first).days for _, b in swaps)])
    # the day before each change too, so that the line falls straight
    at_change = [d for o in out for d in (o - 1, o) if 0 <= d < len(days)]
    grid = np.unique([*range(0, len(days), every), len(days) - 1, *at_change])
    wide = pick if on.n > 1 else np.zeros(draws, dtype=np.int64)
    life = _drawn(one.capacity.days, pick)
    age, used = in_service or (0.0, np.zeros(1))
    before = _drawn(used, pick)
    left = np.empty((len(grid), draws))
    for index, day in enumerate(grid):  # over grid days only; all draws at once
        number = int(np.searchsorted(out, day, side="right"))
        installed = min(int(starts[number]), int(day))
        load = np.broadcast_to(on.ledger.sums[day] - on.ledger.sums[installed], (draws, on.ledger.sums.shape[1]))
        worn = _used(one, load, wide, pick) + (before if number == 0 else 0.0)
        left[index] = 1 - np.maximum(worn, (day - installed + (age if number == 0 else 0.0)) / life)
    spread = percentiles(np.clip(left, 0, 1), np.ones(draws))
    return Remaining(
        one.stage.name,
        [days[d].astype(dt.date) for d in grid],
        spread[:, 0],
        spread[:, 1],
        spread[:, 2],
        [a for a, _ in swaps],
    )


def _drawn(values: float | FloatArray, pick: NDArray[np.int64]) -> FloatArray:
    """A value for each picked draw, whether it varies or not."""
    flat = np.asarray(values, dtype=np.float64).reshape(-1)
    return flat[pick] if flat.size > 1 else np.full(len(pick), float(flat[0]))


def _used(one: Cartridge, load: FloatArray, wide: NDArray[np.int64], pick: NDArray[np.int64]) -> FloatArray:
    share = np.zeros(len(load))
    for currency, rate in one.wear.rates.items():
        bears = _drawn(getattr(one.capacity, currency), pick)
        if np.isfinite(bears).any():
            share = np.maximum(share, np.einsum("nk,nk->n", load, rate[wide]) / bears)
    return share


def capacity_left(curve: Remaining, colours: Palette, height: int = 190) -> Chart:
    """What is left of a cartridge: the middle as a line, the range shaded, its changes as dashed rules."""
    data = pd.DataFrame(
        {
            "day": pd.to_datetime(pd.Series(curve.days)),
            "low": np.round(curve.low * 100, 1),
            "middle": np.round(curve.middle * 100, 1),
            "high": np.round(curve.high * 100, 1),
        }
    )
    x = alt.X("day:T", axis=alt.Axis(title=None, format="%b %y", labelOverlap="greedy", tickCount=6))
    y_axis = alt.Axis(title="left, %", values=[0, 50, 100])
    base = alt.Chart(data).encode(x=x)
    layers: list[Any] = [
        base.mark_area(color=colours.served, opacity=0.25).encode(
            y=alt.Y("low:Q", axis=y_axis, scale=alt.Scale(domain=[0, 100])), y2=alt.Y2("high:Q")
        ),
        base.mark_line(color=colours.served, strokeWidth=2).encode(
            y=alt.Y("middle:Q"),
            tooltip=[
                alt.Tooltip("day:T", title="Day", format="%d %b %Y"),
                alt.Tooltip("low:Q", title="Left, low %"),
                alt.Tooltip("middle:Q", title="Left, middle %"),
                alt.Tooltip("high:Q", title="Left, high %"),
            ],
        ),
    ]
    if curve.swaps:
        marks = pd.DataFrame({"day": pd.to_datetime(pd.Series(curve.swaps)), "what": "change"})
        layers.append(
            alt.Chart(marks)
            .mark_rule(color=colours.ink, strokeDash=[4, 3], strokeWidth=1.5)
            .encode(x=alt.X("day:T"), tooltip=[alt.Tooltip("day:T", title="Change", format="%d %b %Y")])
        )
        layers.append(
            alt.Chart(marks)
            .mark_point(shape="triangle-down", filled=True, size=70, opacity=1, color=colours.ink, yOffset=-4)
            .encode(
                x=alt.X("day:T"),
                y=alt.YValue(0),  # type: ignore[no-untyped-call]
                tooltip=[alt.Tooltip("day:T", title="Change", format="%d %b %Y")],
            )
        )
    title = alt.TitleParams(curve.name, anchor="start", color=colours.ink, fontSize=13)
    return inked(alt.layer(*layers).properties(height=height, title=title), colours)


def demand_year(
    days: Sequence[dt.date],
    amounts: FloatArray,
    open_: NDArray[np.bool_],
    unit: str,
    colours: Palette,
    marked: NDArray[np.bool_] | None = None,
) -> Chart:
    """The first year as weeks by weekday: the stronger the busier; a closed day is a dot, not a colour; days of an
    event (``marked``) are outlined."""
    count = min(len(days), 371)
    data = pd.DataFrame(
        {
            "day": pd.to_datetime(pd.Series(list(days[:count]))),
            "amount": np.round(amounts[:count], 1),
            "open": np.where(open_[:count], "service", "closed"),
            "event": np.zeros(count, dtype=bool) if marked is None else marked[:count],
        }
    )
    weekday = [d.weekday() for d in days[:count]]
    data["week"] = data["day"] - pd.to_timedelta(weekday, unit="D")
    data["ends"] = data["week"] + pd.to_timedelta(140, unit="h")  # a gap between the weeks
    data["middle"] = data["week"] + pd.to_timedelta(70, unit="h")
    names = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    data["weekday"] = [names[w] for w in weekday]
    axis = alt.Axis(title=None, format="%b %y", tickCount="month", labelOverlap="greedy")
    y = alt.Y("weekday:N", sort=names, axis=alt.Axis(title=None, labelOverlap=False), scale=alt.Scale(paddingInner=0.2))
    tips = [
        alt.Tooltip("day:T", title="Day", format="%d %b %Y"),
        alt.Tooltip("open:N", title="Day is"),
        alt.Tooltip("amount:Q", title=f"Filtered water, {unit}"),
    ]
    served = (
        alt.Chart(data)
        .transform_filter("datum.open == 'service'")
        .mark_rect()
        .encode(
            x=alt.X("week:T", axis=axis),
            x2=alt.X2("ends:T"),
            y=y,
            tooltip=tips,
            color=alt.Color(
                "amount:Q",
                scale=alt.Scale(range=[colours.faint, colours.deep], domainMin=0),
                legend=alt.Legend(title=f"Filtered, {unit} a day", orient="bottom", titleLimit=300),
            ),
            stroke=alt.condition("datum.event", alt.value(colours.ink), alt.value(None)),
            strokeWidth=alt.condition("datum.event", alt.value(2), alt.value(0)),
        )
    )
    closed = (
        alt.Chart(data)
        .transform_filter("datum.open == 'closed'")
        .mark_point(size=8, filled=True, color=colours.muted)
        .encode(x=alt.X("middle:T", axis=axis), y=y, tooltip=tips)
    )
    return inked(alt.layer(served, closed).properties(height=270), colours)


def tank_day(
    hours: Sequence[float],
    fresh: Sequence[float],
    waste: Sequence[float],
    sizes: tuple[float, float | None],
    unit: str,
    colours: Palette,
) -> Chart:
    """Fresh and waste tank through one busy service day; dashes mark the size of each tank."""
    names = ["Fresh tank", "Waste tank"]
    data = pd.DataFrame(
        [{"hour": h, "level": a, "tank": names[0]} for h, a in zip(hours, fresh, strict=True)]
        + [{"hour": h, "level": b, "tank": names[1]} for h, b in zip(hours, waste, strict=True)]
    )
    limits = pd.DataFrame(
        [
            {"size": s, "text": f"{n.lower()} holds {s:.0f} {unit}"}
            for n, s in zip(names, sizes, strict=True)
            if s is not None
        ]
    )
    lines = (
        alt.Chart(data)
        .mark_line(strokeWidth=2.5)
        .encode(
            x=alt.X("hour:Q", axis=labelled("Hours of service")),
            y=alt.Y("level:Q", axis=labelled(f"In the tank, {unit}"), scale=alt.Scale(domainMin=0)),
            color=alt.Color(
                "tank:N",
                scale=alt.Scale(domain=names, range=[colours.served, colours.source]),
                legend=alt.Legend(orient="top", title=None),
            ),
            strokeDash=alt.StrokeDash("tank:N", scale=alt.Scale(domain=names, range=[[1, 0], [6, 3]])),
            tooltip=[
                alt.Tooltip("tank:N", title="Tank"),
                alt.Tooltip("hour:Q", title="Hour", format=".1f"),
                alt.Tooltip("level:Q", title=unit, format=".1f"),
            ],
        )
    )
    rules = alt.Chart(limits).mark_rule(color=colours.muted, strokeDash=[2, 3]).encode(y=alt.Y("size:Q"))
    # written over the middle of the day, clear of both ends of the lines; the lower of two close ones goes below
    limits["hour"] = (hours[0] + hours[-1]) / 2
    limits["dy"] = -8
    if len(limits) > 1 and np.ptp(limits["size"]) < 0.15 * max([*limits["size"], *fresh, *waste]):
        limits.loc[limits["size"].idxmin(), "dy"] = 10
    texts = [
        layer
        for dy in sorted(set(limits["dy"]))
        for layer in written(
            alt.Chart(limits[limits["dy"] == dy]).encode(y=alt.Y("size:Q"), x=alt.X("hour:Q"), text=alt.Text("text:N")),
            colours,
            align="center",
            dy=dy,
        )
    ]
    return inked(alt.layer(lines, rules, *texts).properties(height=320), colours)
