"""What a reading is worth: the decision made anew in bins of it, and how often that is another one.

The choice in a bin is judged on other draws than those it was made on, so that chance alone gives no value; it is
never negative, and zero where no reading would change what one does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

MOST_BINS = 24
DRAWS_PER_BIN = 64
FOLDS = 4
# A change of mind counts as one where it saves this share of the whole.
MATERIAL = 0.01


def value_of(reading: FloatArray, totals: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """Expected saving of deciding after a reading, and how often the decision changes.

    Parameters
    ----------
    reading : predicted readings, error included, shape (n,), (repeat, n) or (figure, repeat, n): a test that shows
        two figures decides by both
    totals : cost and loss of each option, shape (option, n)
    weights : shape (n,)

    Returns
    -------
    (value, share) : value in money, 0 or more: the saving over the best option without the test
    """
    share = weights / weights.sum()
    before = totals @ share
    best = int(np.argmin(before))
    if len(totals) < 2 or np.all(totals >= totals[best]):  # one option is best in every draw
        return 0.0, 0.0
    figures = np.array(reading, ndmin=3)
    repeats, n = figures.shape[1:]
    mass = np.tile(share / repeats, repeats)
    most = max(4, min(MOST_BINS, n // DRAWS_PER_BIN))
    each = most if len(figures) == 1 else max(2, int(most ** (1 / len(figures))))
    bins, count = np.zeros(repeats * n, dtype=np.int64), 1
    for figure in figures:  # each bin of the figures before is cut anew, into bins of the same weight
        bins, count = _cut(bins, figure.reshape(-1), mass, each), count * each
    fold = np.tile(np.random.default_rng(n).permutation(n) % FOLDS, repeats)
    # saving of each option over the best one without the test, by fold, bin and option
    gain = np.zeros((FOLDS, count, len(totals)))
    for option, row in enumerate((totals[best] - totals) * share / repeats):
        np.add.at(gain[:, :, option], (fold, bins), np.tile(row, repeats))
    elsewhere = gain.sum(axis=0) - gain
    chosen = elsewhere.argmax(axis=2)
    value = float(np.take_along_axis(gain, chosen[..., None], axis=2).sum())
    if value <= 1e-9 * max(abs(float(before[best])), 1e-9):
        return 0.0, 0.0
    held = np.zeros((FOLDS, count))
    np.add.at(held, (fold, bins), mass)
    material = elsewhere.max(axis=2) > MATERIAL * abs(float(before[best])) * (held.sum(axis=0) - held)
    return value, float(held[(chosen != best) & material].sum())


def _cut(bins: NDArray[np.int64], values: FloatArray, mass: FloatArray, each: int) -> NDArray[np.int64]:
    """Every bin cut into ``each`` bins of equal weight by ``values``, shape as ``bins``."""
    order = np.lexsort((values, bins))
    sorted_bins = bins[order]
    total = np.bincount(bins, mass)
    before = np.concatenate([[0.0], np.cumsum(total)])[sorted_bins]
    middle = (np.cumsum(mass[order]) - 0.5 * mass[order] - before) / np.maximum(total[sorted_bins], 1e-300)
    cut = np.empty_like(bins)
    cut[order] = sorted_bins * each + np.clip(middle * each, 0, each - 1).astype(np.int64)
    return cut
