"""Draws moved by what was read: the same inputs by the same names, taken from the draws that fit.

The move is made in the unit cube, before any input is worked out. So everything that follows from the inputs
holds in the moved draws as it did before: a water is completed anew, and its charges balance.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from brewwater.document import Span
from brewwater.ensemble import Draws, span_at

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Width of the jitter, in standard deviations of the draws that are kept. Draws shrink towards their mean as
# much as the jitter widens them, so that mean and variance stay (Liu and West 2001; the figure is a choice).
JITTER = 0.25


class Moved(Draws):
    """The draws of ``base``, resampled by weight and jittered.

    The jitter is a share of the difference of two other kept draws: so it has their covariance, and inputs
    that the readings tie together stay tied.

    Parameters
    ----------
    base : two draws or more
    weights : shape (n,), not negative, not all zero
    stage : the same stage gives the same draws; another one other draws
    """

    def __init__(self, base: Draws, weights: FloatArray, stage: int = 0) -> None:
        super().__init__(base.n, base.seed, base._taken)  # one table of names: both ask for the same columns
        self._base = base
        self._share = weights / weights.sum()
        rng = np.random.default_rng([base.seed, stage, 8])
        self.kept = resample(self._share, float(rng.random()))
        self._one, self._other = self.kept[rng.permutation(base.n)], self.kept[rng.permutation(base.n)]
        self._normals: dict[str, FloatArray] = {}

    def normal(self, name: str) -> FloatArray:
        """Moved draws on the normal scale, shape (n,): standard normal only where nothing was learned."""
        if name not in self._normals:
            z = self._base.normal(name)
            middle = z @ self._share
            shrink = np.sqrt(1 - JITTER**2)
            self._normals[name] = (
                middle + shrink * (z[self.kept] - middle) + JITTER / np.sqrt(2) * (z[self._one] - z[self._other])
            )
        return self._normals[name]

    def uniform(self, name: str) -> FloatArray:
        """Moved draws of the unit cube, shape (n,), open interval (0, 1)."""
        return np.asarray(np.clip(ndtr(self.normal(name)), 1e-9, 1 - 1e-9), dtype=np.float64)

    def span(self, name: str, span: Span) -> FloatArray:
        """Moved draws of a ``Span``: shape (n,), or (1,) where it is certain."""
        return np.array([span.low]) if span.certain else span_at(self.uniform(name), span)


def resample(share: FloatArray, offset: float) -> IntArray:
    """Systematic resampling: ``n`` indices, each as often as its share asks, to within one.

    Parameters
    ----------
    share : shape (n,), adds to 1
    offset : 0 to under 1, where between the steps to start
    """
    n = len(share)
    picks = np.searchsorted(np.cumsum(share), (np.arange(n) + offset) / n * (1 - 1e-12))
    return np.asarray(np.minimum(picks, n - 1), dtype=np.int64)
