"""The ensemble: seeded draws of every uncertain input, and the weight of each draw.

Every quantity in a plan is a float array whose last axis is the draw; a certain quantity has length 1 there
and broadcasts. Each uncertain input has a column of its own, made from its name: one draw in each of ``n`` equal
slices of the unit interval, in an order of its own (a Latin hypercube; McKay, Beckman and Conover 1979). So an input
keeps its draws whatever else is asked for, and a plan with one input more moves by that input alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq
from scipy.special import betainc, betaincinv, betaln, ndtr, ndtri, xlogy

from brewwater.records import Span

FloatArray = NDArray[np.float64]

DEFAULT_DRAWS = 2048
# PERT (Malcolm and others 1959): a beta distribution of concentration six, two and a weight of four on the mode.
_PERT = 6.0
# Of the draws of a range, so many at most lie within a hundredth of its width from an end (a choice).
_AT_AN_END, _NEAR = 0.20, 0.01
# Towards an end the beta distribution of a mean may be as peaked as this parameter makes it, and no more (a choice).
_STEEPEST = 2.0


@dataclass
class Draws:
    """``n`` draws from one seed. With ``n = 1`` every input takes its middle value.

    Parameters
    ----------
    n : number of draws, 1 or more
    seed : 0 or more; the same seed and name give the same draws, whatever else is asked for
    """

    n: int = DEFAULT_DRAWS
    seed: int = 20261125

    def uniform(self, name: str) -> FloatArray:
        """Column of the unit cube that belongs to ``name``, shape ``(n,)``, open interval (0, 1)."""
        return np.array([0.5]) if self.n == 1 else _uniform(self.n, self.seed, name)

    def normal(self, name: str) -> FloatArray:
        """Standard normal draws, shape ``(n,)``."""
        return np.zeros(1) if self.n == 1 else _normal(self.n, self.seed, name)

    def span(self, name: str, span: Span, *, average: bool = False) -> FloatArray:
        """Draws of a ``Span``: shape ``(n,)``, or ``(1,)`` where it is certain.

        What was typed as typical is the most likely value: a PERT distribution, a beta distribution on the range with
        that mode and mean (low + 4 typical + high) / 6. An ``average``, as a report prints one, is the mean: a
        single-peaked beta distribution on the range with that mean (``mean_of`` where it lies next to an end). A range
        alone is uniform.
        """
        if span.certain:
            return np.array([span.low])
        if self.n == 1:
            return np.array([span.middle])
        return _spread(self.n, self.seed, name, span, average)


# Remembered: every candidate and page asks for them again.


@lru_cache(maxsize=1024)
def _uniform(n: int, seed: int, name: str) -> FloatArray:
    # Python's own hash of a text changes from one process to the next
    column = int.from_bytes(blake2b(name.encode(), digest_size=8).digest())
    rng = np.random.default_rng([seed, column])
    # clipped off the ends so that quantiles stay finite
    return _kept(np.clip((rng.permutation(n) + rng.random(n)) / n, 1e-9, 1 - 1e-9))


@lru_cache(maxsize=1024)
def _normal(n: int, seed: int, name: str) -> FloatArray:
    return _kept(np.asarray(ndtri(_uniform(n, seed, name)), dtype=np.float64))


@lru_cache(maxsize=2048)
def _spread(n: int, seed: int, name: str, span: Span, average: bool) -> FloatArray:
    return _kept(span_at_score(_normal(n, seed, name), span, average))


# Quantiles of a beta distribution are the dearest step of a plan, so they are read off a table over the normal
# score: a cubic through 129 of them with their slopes, within a ten-millionth of the span's width.
_SCORES = np.linspace(-6.0, 6.0, 129)


def span_at_score(z: FloatArray, span: Span, average: bool = False) -> FloatArray:
    """The quantiles of a ``Span`` that has width, at standard normal scores ``z``; the shape of ``z``. ``average``: as
    for ``Draws.span``."""
    width = span.high - span.low
    if span.typical is None:
        return np.asarray(span.low + width * ndtr(z), dtype=np.float64)
    at = (span.typical - span.low) / width
    within = np.clip(z, _SCORES[0], _SCORES[-1])  # a share of 1e-9 is left on either side
    a, b = _of_mean(at) if average else _of_mode(at)
    return np.asarray(span.low + width * _beta_quantiles(a, b)(within), dtype=np.float64)


def mean_of(span: Span) -> float:
    """The mean that an average inside a range is drawn with: the average itself, unless it lies so near an end that no
    single-peaked distribution over the range has it; then the nearest mean that one has, some 2.5 % of the width from
    that end. Whoever draws one tells so where the two differ."""
    if span.certain or span.typical is None:
        return span.middle
    width = span.high - span.low
    a, b = _of_mean((span.typical - span.low) / width)
    drawn = span.low + width * a / (a + b)
    return span.typical if abs(drawn - span.typical) < 1e-9 * width else drawn


def _of_mode(mode: float) -> tuple[float, float]:
    """The parameters of PERT on 0 to 1."""
    return 1 + (_PERT - 2) * mode, 1 + (_PERT - 2) * (1 - mode)


@lru_cache(maxsize=512)
def _of_mean(mean: float) -> tuple[float, float]:
    """The parameters of the widest single-peaked beta distribution on 0 to 1 with this mean that is no wider than PERT
    and crowds neither end."""
    if mean > 0.5:
        a, b = _of_mean(1 - mean)
        return b, a

    def crowded(a: float, concentration: float) -> float:
        return float(betainc(a, concentration - a, _NEAR)) - _AT_AN_END

    if mean * _PERT >= 1:
        return mean * _PERT, (1 - mean) * _PERT
    if mean > 0 and crowded(1.0, 1 / mean) <= 0:
        return 1.0, 1 / mean - 1
    if mean > 0 and crowded(_STEEPEST, _STEEPEST / mean) <= 0:
        a = float(brentq(lambda x: crowded(x, x / mean), 1.0, _STEEPEST))
        return a, a / mean - a
    most = float(brentq(lambda c: crowded(_STEEPEST, c), 2 * _STEEPEST, 1e4))
    return _STEEPEST, most - _STEEPEST


@lru_cache(maxsize=512)
def _beta_quantiles(a: float, b: float) -> CubicHermiteSpline:
    """Quantiles of a beta distribution on 0 to 1, over the normal score."""
    x, rest = betaincinv(a, b, ndtr(_SCORES)), betaincinv(b, a, ndtr(-_SCORES))
    density = xlogy(a - 1, x) + xlogy(b - 1, rest) - betaln(a, b)
    return CubicHermiteSpline(_SCORES, x, np.exp(-0.5 * (_SCORES**2 + np.log(2 * np.pi)) - density))


def _kept(values: FloatArray) -> FloatArray:
    values = np.asarray(values, dtype=np.float64)
    values.flags.writeable = False
    return values


def effective_size(weights: FloatArray) -> float:
    """Kish's effective number of draws, (sum w)^2 / sum w^2."""
    total = float(weights.sum())
    return total * total / float((weights * weights).sum())


def _row_percentiles(row: FloatArray, weights: FloatArray, at: Sequence[float]) -> FloatArray:
    order = row.argsort()
    row, weights = row[order], weights[order]
    if np.isnan(row[-1]):  # sorted to the end
        return np.full(len(at), np.nan)
    mass = weights.cumsum()
    return np.interp(at, (mass - 0.5 * weights) / mass[-1], row)


def percentiles(values: FloatArray, weights: FloatArray, at: Sequence[float] = (0.1, 0.5, 0.9)) -> FloatArray:
    """Weighted percentiles along the last axis.

    Parameters
    ----------
    values : shape ``(..., n)`` or ``(..., 1)``; NaN stands for "not known" and gives NaN
    weights : shape ``(n,)``, not negative, not all zero
    at : the wanted shares, each 0 to 1

    Returns
    -------
    shape ``(..., len(at))``
    """
    values = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if values.shape[-1] == 1:
        return np.repeat(values, len(at), axis=-1)
    counted = weights > 0
    if not counted.all():  # a draw that cannot be must not stretch the range
        values, weights = values[..., counted], weights[counted]
        if values.shape[-1] == 1:
            return np.repeat(values, len(at), axis=-1)
    out = np.array([_row_percentiles(row, weights, at) for row in values.reshape(-1, values.shape[-1])])
    return out.reshape(*values.shape[:-1], len(at))


def mean(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted mean along the last axis; a length of 1 there is certain."""
    values = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if values.shape[-1] == 1:
        return values[..., 0]
    return np.asarray(values @ (weights / weights.sum()), dtype=np.float64)


def share(condition: NDArray[np.bool_], weights: FloatArray) -> float:
    """Weighted share of draws in which ``condition`` (last axis the draw) holds."""
    return float(mean(np.asarray(condition, dtype=np.float64), weights))
