"""Large batches in pieces that fit the cache, on every core."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater import cores
from brewwater.chemistry.constants import EXTRAPOLATED_TO_C
from brewwater.chemistry.rows import Workspace
from brewwater.chemistry.totals import Totals
from brewwater.errors import InputError

FloatArray = NDArray[np.float64]
Work = Callable[[Totals, FloatArray, Sequence[FloatArray], Workspace], list[FloatArray]]

MG_CACO3_PER_MOL = 100086.9
CHUNK = 16_000
_shelf: list[Workspace] = []


def checked_temperature(temperature_C: ArrayLike) -> FloatArray:
    """The temperatures as an array.

    Raises
    ------
    InputError : one is outside 0 to 130 °C
    """
    t = np.asarray(temperature_C, dtype=np.float64)
    bad = ~((t >= 0) & (t <= EXTRAPOLATED_TO_C))
    if bad.any():
        raise InputError("temperature_C", float(t[bad].flat[0]), "0 to 130 °C can be computed", "Correct it.")
    return t


@contextmanager
def _workspace(n: int) -> Iterator[Workspace]:
    """Scratch rows for ``n`` waters, lent: a server works in ever new threads, and fresh memory costs more than
    the arithmetic."""
    try:
        kept = _shelf.pop()  # one that several threads cannot get
    except IndexError:
        kept = Workspace(n)
    if kept.n < n:
        kept = Workspace(n)
    yield kept.of(n)
    _shelf.append(kept)


def over_chunks(
    count: int, work: Work, totals: Totals, temperature_C: FloatArray, *held: ArrayLike
) -> list[FloatArray]:
    """Run ``work`` on flat pieces and give its results the broadcast shape.

    ``work`` gets the totals of ``n`` waters, their temperature (shape ``(n,)`` or ``(1,)``), what is held,
    and scratch rows; it returns ``count`` arrays of shape ``(n,)``. The number of cores cannot touch them.
    """
    extra = [np.asarray(h, dtype=np.float64) for h in held]
    shape = np.broadcast_shapes(totals.shape, temperature_C.shape, *(h.shape for h in extra))

    def flat(a: FloatArray) -> FloatArray:
        return np.broadcast_to(np.asarray(a, dtype=np.float64), shape).reshape(-1)

    flat_totals, flat_extra = totals.map(flat), [flat(h) for h in extra]
    one_temperature = temperature_C.size == 1
    flat_t = temperature_C.reshape(-1) if one_temperature else flat(temperature_C)
    n = flat_totals.alkalinity.size
    # an even number of even pieces; the number of cores has no say, so that it cannot touch the results
    length = n if n <= CHUNK else -(-n // (2 * -(-n // (2 * CHUNK))))
    pieces = [slice(i, min(i + length, n)) for i in range(0, n, length)] if n else [slice(0, 0)]

    def one(rows: slice) -> list[FloatArray]:
        # absent ions make log(0) and 0/0 where a result is -inf or not wanted; unsolved rows are marked
        with np.errstate(all="ignore"), _workspace(rows.stop - rows.start) as scratch:
            return work(
                flat_totals.map(lambda a: a[rows]),
                flat_t if one_temperature else flat_t[rows],
                [h[rows] for h in flat_extra],
                scratch,
            )

    result = np.empty((count, n)) if len(pieces) == 1 else cores.shared(count, n)

    def keep(rows: slice) -> None:
        for row, value in zip(result, one(rows), strict=True):
            row[rows] = value

    cores.spread(keep, pieces, threads=True)
    return [row.reshape(shape) for row in result]
