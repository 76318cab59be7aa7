"""Readings of meters as gallons between two days: in the order in which they can have been taken, resets seen."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from brewwater.log.entry import Reading
from brewwater.log.parts import FILTERED, MOST_ROWS, Metered, Scene, thinned
from brewwater.units import GAL_L, plain

FloatArray = NDArray[np.float64]

# A meter that stands alone is counted from zero at the change of its cartridge only if that is this close, as
# a factor, to the plan.
_ZERO_WITHIN = 8.0


class Flags(Protocol):
    """Notes why a line is not used, or used with care."""

    def __call__(self, line: Reading, code: str, message: str, used: bool = False) -> None:
        """Note it."""


@dataclass(frozen=True, slots=True)
class MeterSorter:
    """Sorts the readings of one meter after the other; what cannot be used is told to ``flag``."""

    scene: Scene
    flag: Flags

    def metered(self, where: str, lines: list[Reading], changed: Mapping[str, tuple[dt.date, ...]]) -> Metered | None:
        """The gallons between the readings of the meter at a place; None where they tell nothing."""
        swaps = sorted({d for name, days in changed.items() for d in days if where in (*FILTERED, name)})
        intervals: list[tuple[int, int, float, str]] = []
        for number, run in enumerate(_runs(_through_the_day(lines, swaps), swaps)):
            intervals += self._run(where, run, swaps, first=number == 0)
        if not intervals or self._stands(where, intervals, lines):
            return None
        first, last, gal, ids = (list(x) for x in zip(*intervals, strict=True))
        time = self.scene.line
        at, to = np.array(first), np.array(last)
        return Metered(
            where,
            self.scene.behind(where) or (),
            time.sums[to] - time.sums[at],
            np.array(gal),
            (time.open_days[to] - time.open_days[at]).astype(np.float64),
            at,
            to,
            tuple(ids),
        )

    def _run(
        self, where: str, run: list[Reading], swaps: Sequence[dt.date], first: bool
    ) -> list[tuple[int, int, float, str]]:
        """Intervals between the readings of a meter that was not set back among them."""
        line = self.scene.line
        values = np.array([r.own_value() for r in run], dtype=np.float64)
        rising = set(_longest_rise(values))
        for i, reading in enumerate(run):
            if i not in rising:
                self.flag(
                    reading,
                    "meter_backwards",
                    f"The meter stands at {plain(values[i], 6)} gal here, which does not fit the readings around it: "
                    "a meter only runs forwards.",
                )
        last_of = {run[i].date: i for i in sorted(rising)}  # the highest: it was read last
        for i in sorted(rising - set(last_of.values())):
            if values[i] < values[last_of[run[i].date]]:
                self.flag(
                    run[i],
                    "same_day",
                    "Another reading of this meter on the same day is higher; that one is used.",
                )
        points = [(line.at(day), values[i], run[i].id) for day, i in last_of.items()]
        zero = self._zero(where, points[0], swaps, first)
        if zero is not None:
            points.insert(0, (zero, 0.0, ""))
        elif len(points) == 1:
            self.flag(
                run[min(rising)],
                "meter_alone",
                "One reading alone gives no volume: it is where the next one counts from.",
            )
            return []
        points = [points[i] for i in thinned(len(points), MOST_ROWS + 1)]
        return [(a[0], b[0], float(b[1] - a[1]), b[2]) for a, b in pairwise(points) if b[0] > a[0]]

    def _stands(self, where: str, intervals: Sequence[tuple[int, int, float, str]], lines: Sequence[Reading]) -> bool:
        """True, with a flag, where a meter did not move at all while the plan had water pass it."""
        used = self._litres(where, min(i[0] for i in intervals), max(i[1] for i in intervals))
        if any(gal > 0 for _, _, gal, _ in intervals) or used <= 0:
            return False
        self.flag(
            lines[-1],
            "meter_stands",
            f"The meter did not move while the plan has {used / GAL_L:,.0f} gal pass it: it sticks, or the water "
            "goes another way. It moves no date. Draw five gallons and read it again.",
        )
        return True

    def _litres(self, where: str, first: int, last: int) -> float:
        """Litres that the plan puts through a meter between two days of the timeline, the median."""
        each = sum((self.scene.plan.branch_amounts(b) for b in self.scene.behind(where) or ()), start=np.zeros((1, 1)))
        return float((self.scene.line.sums[last] - self.scene.line.sums[first]) @ np.median(each, axis=-1))

    def _zero(self, where: str, point: tuple[int, float, str], swaps: Sequence[dt.date], first: bool) -> int | None:
        """The day from which a run's first reading counts: its cartridge's change, where the plan bears that."""
        scene, (at, gal, _) = self.scene, point
        days = [scene.line.at(d) for d in swaps if scene.line.holds(d)]
        if first:
            named = [p for p in scene.in_service if where in (*FILTERED, p.stage)]
            days += [scene.line.at(p.installed) for p in named if scene.line.holds(p.installed)]
            if not named and where != "source":
                days.append(scene.line.start)
        day = max((d for d in days if d < at), default=None)
        if day is None or gal <= 0:
            return None
        ratio = gal * GAL_L / max(self._litres(where, day, at), 1e-9)
        return day if 1 / _ZERO_WITHIN < ratio < _ZERO_WITHIN else None


def own_value(line: Reading) -> float:
    """The value in the unit of its kind; 0 for an event."""
    return line.own_value() or 0.0


def _through_the_day(lines: Sequence[Reading], swaps: Sequence[dt.date]) -> list[Reading]:
    """Readings of a meter in the order in which they can have been taken: it rises through the day, unless it was
    set back with the cartridge changed on that day; then the lowest was read after that."""
    found: list[Reading] = []
    for date, same in groupby(sorted(lines, key=lambda r: (r.date, own_value(r), r.id)), key=lambda r: r.date):
        day = list(same)
        if date in swaps and found and own_value(day[0]) < own_value(found[-1]):
            day = [*day[1:], day[0]]
        found += day
    return found


def _runs(lines: Sequence[Reading], swaps: Sequence[dt.date]) -> list[list[Reading]]:
    """Readings of a meter between its resets: it was set back where it falls over a change of its cartridge."""
    runs: list[list[Reading]] = [[]]
    for line in lines:
        last = runs[-1][-1] if runs[-1] else None
        if last is not None and own_value(line) < own_value(last) and any(last.date <= d <= line.date for d in swaps):
            runs.append([])
        runs[-1].append(line)
    return [r for r in runs if r]


def _longest_rise(values: FloatArray) -> list[int]:
    """Indices of the longest run of values that never falls (patience sorting); of two as long, the one that
    keeps the earlier values."""
    turned = (-values[::-1]).tolist()
    tails: list[int] = []
    before = np.full(len(values), -1)
    ends: list[float] = []
    for i, value in enumerate(turned):
        at = bisect_right(ends, value)
        before[i] = tails[at - 1] if at else -1
        if at == len(tails):
            tails.append(i)
            ends.append(value)
        else:
            tails[at], ends[at] = i, value
    found, i = [], tails[-1]
    while i >= 0:
        found.append(i)
        i = int(before[i])
    return [len(values) - 1 - i for i in found]
