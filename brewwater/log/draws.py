"""Draws moved by what was read: the same inputs by the same names, resampled and jittered.

The move is made in the unit cube, before any input is worked out. So everything that follows from the inputs
holds in the moved draws as it did before: a water is completed anew, and its charges balance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from brewwater.ensemble import Draws, span_at_score
from brewwater.records import Span

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


class MovedDraws(Draws):
    """Draws made from other draws, column by column, on the normal scale.

    Parameters
    ----------
    base : two draws or more; both ask for the same columns by the same names
    move : from the base's column, shape (n,), and its name to the moved column
    """

    def __init__(self, base: Draws, move: Callable[[FloatArray, str], FloatArray]) -> None:
        super().__init__(base.n, base.seed)
        self._base, self._move = base, move
        self._normals: dict[str, FloatArray] = {}

    def normal(self, name: str) -> FloatArray:
        """Moved draws on the normal scale, shape (n,): standard normal only where nothing was learned."""
        if name not in self._normals:
            self._normals[name] = self._move(self._base.normal(name), name)
        return self._normals[name]

    def __getstate__(self) -> dict[str, Any]:
        """What another process needs: columns that were worked out are worked out again there."""
        return {**self.__dict__, "_normals": {}}

    def uniform(self, name: str) -> FloatArray:
        """Moved draws of the unit cube, shape (n,), open interval (0, 1)."""
        return np.asarray(np.clip(ndtr(self.normal(name)), 1e-9, 1 - 1e-9), dtype=np.float64)

    def span(self, name: str, span: Span, *, average: bool = False) -> FloatArray:
        """Moved draws of a ``Span``: shape (n,), or (1,) where it is certain."""
        if span.certain:
            return np.array([span.low])
        return span_at_score(self.normal(name), span, average)


# The moves are objects, not closures, so that draws can go to another process and back.


@dataclass(frozen=True, eq=False)
class _Keep:
    kept: IntArray

    def __call__(self, z: FloatArray, name: str) -> FloatArray:
        return np.asarray(z[self.kept])


@dataclass(frozen=True, eq=False)
class _Jitter:
    width: FloatArray
    kept: FloatArray
    key: tuple[int, ...]

    def __call__(self, z: FloatArray, name: str) -> FloatArray:
        fresh = np.random.default_rng([*self.key, crc32(name.encode())]).standard_normal(len(z))
        return np.asarray(self.kept * z + self.width * fresh)


@dataclass(frozen=True, eq=False)
class _Choose:
    other: MovedDraws
    taken: NDArray[np.bool_]

    def __call__(self, z: FloatArray, name: str) -> FloatArray:
        return np.where(self.taken, self.other.normal(name), z)


def resampled(base: Draws, kept: IntArray) -> MovedDraws:
    """The draws of ``base`` with the indices ``kept``, shape (n,)."""
    return MovedDraws(base, _Keep(kept))


def jittered(base: Draws, width: FloatArray, key: tuple[int, ...]) -> MovedDraws:
    """Every column moved a little, so that a standard normal column stays one (Neal 1999; Cotter et al. 2013).

    Parameters
    ----------
    width : shape (n,), 0 (not moved) to 1 (drawn anew)
    key : the same key gives the same jitter
    """
    return MovedDraws(base, _Jitter(width, np.sqrt(1 - width**2), key))


def chosen(base: Draws, other: MovedDraws, taken: NDArray[np.bool_]) -> MovedDraws:
    """The draws of ``other`` where ``taken``, shape (n,); else those of ``base``."""
    return MovedDraws(base, _Choose(other, taken))


def resample(weights: FloatArray, offset: float) -> IntArray:
    """Systematic resampling: ``n`` indices, each as often as its weight asks, to within one.

    Parameters
    ----------
    weights : shape (n,), not negative, not all zero
    offset : 0 to under 1, where between the steps to start
    """
    n = len(weights)
    mass = np.cumsum(weights)
    picks = np.searchsorted(mass, (np.arange(n) + offset) / n * mass[-1] * (1 - 1e-12))
    return np.asarray(np.minimum(picks, n - 1), dtype=np.int64)
