"""Numbers that only count the rows of a printed table: they stand before the names, and rise one by one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from brewwater.reports.columns import role_of
from brewwater.reports.layout import Cell, Line
from brewwater.reports.names import read_label

_LEADING = re.compile(r"(?P<n>\d{1,3})(?P<dot>[.)])?(?:\s+(?P<rest>[^\W\d_].*))?")
# Fewer names than this behind rising numbers are not called a numbered table.
_LEAST = 3
_NEXT = 3  # a step wider than this begins another table, or is no count


def without_row_numbers(lines: Sequence[Line]) -> list[Line]:
    """The lines without their row numbers, and without the head over those; other lines unchanged."""
    seen = [(i, n) for i, line in enumerate(lines) if (n := _number(line)) is not None]
    kept: set[int] = set()
    run: list[tuple[int, int]] = []
    for i, n in [*seen, (-1, 10**6)]:
        if run and not 1 <= n - run[-1][1] <= _NEXT:
            kept |= _counted(run, lines)
            run = []
        run.append((i, n))
    if not kept:
        return list(lines)
    out = [_cut(line) if i in kept else line for i, line in enumerate(lines)]
    left = {i: lines[i][0] for i in kept}
    for i in kept:
        for k in range(max(0, i - 4), i):
            if k not in kept and len(out[k]) > 1 and _over(out[k][0], left[i], out[i][0]):
                out[k] = out[k][1:]
    return out


def _number(line: Line) -> int | None:
    """The number that a line begins with, where a word follows it."""
    match = _LEADING.fullmatch(line[0].text.strip()) if line else None
    if match is None or not (match["rest"] or (len(line) > 1 and re.match(r"[^\W\d_]", line[1].text))):
        return None
    return int(match["n"])


def _counted(run: Sequence[tuple[int, int]], lines: Sequence[Line]) -> set[int]:
    """The lines of a run, where it is long enough and the words behind it are analytes with figures."""
    named = sum(read_label(line[0].text) is not None and len(line) > 1 for i, _ in run if (line := _cut(lines[i])))
    steps = sum(b - a == 1 for (_, a), (_, b) in pairwise(run))
    return {i for i, _ in run} if named >= _LEAST and steps >= 0.6 * (len(run) - 1) else set()


def _cut(line: Line) -> Line:
    match = _LEADING.fullmatch(line[0].text.strip())
    if match is None or not match["rest"]:
        return line[1:]
    cell = line[0]
    share = (cell.x1 - cell.x0) / max(len(cell.text), 1)
    return [replace(cell, text=match["rest"], x0=cell.x1 - share * len(match["rest"])), *line[1:]]


def _over(head: Cell, number: Cell, name: Cell) -> bool:
    """Whether a head stands over the numbers alone."""
    return role_of(head.text) == "count" and head.x0 < name.x0 and min(head.x1, number.x1) > max(head.x0, number.x0) - 1
