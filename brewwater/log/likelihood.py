"""How well each draw explains what was read, as a log likelihood, and the loop that moves the draws by it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.special import gammaln, xlogy

from brewwater.ensemble import Draws, effective_size
from brewwater.log.draws import chosen, jittered, resample, resampled

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# One reading in fifty is taken to be a slip (wrong column, wrong tap, wrong day): common practice, no source.
SLIP = 0.02
# A slip may lie anywhere over so many standard deviations of an honest reading (a choice).
_SLIP_WIDTH_SD = 40.0
# At the middle of an honest reading: how much likelier it is than a slip.
_HONEST_OVER_SLIP = (1 - SLIP) / np.sqrt(2 * np.pi) / (SLIP / _SLIP_WIDTH_SD)
# Below this share of effective draws they are resampled.
LEAST_EFFECTIVE = 1 / 3
_MOST_STAGES = 24
# Jitters after each resampling, each of a width drawn from this range (1: drawn anew).
_MOVES = 3
_JITTER = (0.02, 0.6)


def normal_log(value: FloatArray, predicted: FloatArray, sd: FloatArray) -> FloatArray:
    """Log density of a reading with a normal error; all arguments broadcast."""
    return np.asarray(-0.5 * ((value - predicted) / sd) ** 2 - np.log(sd * np.sqrt(2 * np.pi)), dtype=np.float64)


def count_log(count: FloatArray, mean: FloatArray, cv2: FloatArray) -> FloatArray:
    """Log probability of a count: Poisson, or negative binomial where days differ by more than chance.

    Parameters
    ----------
    count, mean : 0 or more, broadcastable; ``mean`` 0 explains only a count of 0
    cv2 : squared relative standard deviation of the mean itself, 0 for Poisson
    """
    mean = np.maximum(mean, 1e-12)
    if not np.any(cv2 > 0):
        return np.asarray(xlogy(count, mean) - mean - gammaln(count + 1), dtype=np.float64)
    r = 1 / np.maximum(cv2, 1e-9)
    return np.asarray(
        gammaln(count + r)
        - gammaln(r)
        - gammaln(count + 1)
        + r * np.log(r / (r + mean))
        + count * np.log(mean / (r + mean))
    )


def robust(log_likelihood: FloatArray, sd: FloatArray) -> FloatArray:
    """The same with a small chance of a slip, so that no single reading rules a draw out.

    ``sd`` : standard deviation of an honest reading, same unit as the reading, over 0
    """
    slip = np.log(SLIP / (_SLIP_WIDTH_SD * sd))
    # no honest density exceeds a slip's by more than a few powers of ten: the exponential cannot run over
    return np.asarray(slip + np.log(1 + np.exp(np.log1p(-SLIP) + log_likelihood - slip)), dtype=np.float64)


def robust_normal(value: FloatArray, predicted: FloatArray, sd: FloatArray) -> FloatArray:
    """``robust`` of ``normal_log``, with what both divide by ``sd`` taken together; all arguments broadcast."""
    slip = np.log(SLIP / _SLIP_WIDTH_SD / sd)
    apart = (value - predicted) / sd
    return np.asarray(slip + np.log(1 + _HONEST_OVER_SLIP * np.exp(-0.5 * apart * apart)), dtype=np.float64)


View = TypeVar("View")
# A resampling (the draws kept), or a jitter (its width, its key, the draws it was taken for).
Step = IntArray | tuple[FloatArray, tuple[int, ...], BoolArray]


@dataclass(frozen=True, slots=True)
class Learned(Generic[View]):
    """What the readings leave: the draws, their weights of shape (n,), the view of them, and how often they
    were resampled. ``path``: the steps that lead to the draws, for ``follow``."""

    draws: Draws
    weights: FloatArray
    view: View
    resampled: int
    path: tuple[Step, ...] = ()


def follow(draws: Draws, path: Sequence[Step]) -> Draws:
    """The draws that ``learn`` reached by these steps, from the same draws before the readings."""
    for step in path:
        if isinstance(step, tuple):
            width, key, taken = step
            draws = chosen(draws, jittered(draws, width, key), taken)
        else:
            draws = resampled(draws, step)
    return draws


def learn(
    draws: Draws,
    look: Callable[[Draws], View],
    explain: Callable[[View], FloatArray],
    held: Callable[[View], FloatArray] | None = None,
) -> Learned[View]:
    """Weigh the draws by the readings; resample and move them in steps where one step would leave too few.

    Parameters
    ----------
    draws : before the readings
    look : works out anew what is predicted, for other draws
    explain : log likelihood of all readings for a view, shape (n,)
    held : log weight of a view's draws before the readings, shape (n,); None: all alike

    Returns
    -------
    Learned : weights add to 1. Without resampling the draws are those given, only weighed. With it, each step
        takes as much of the likelihood as leaves a third of the draws effective, resamples, and jitters the
        draws; a jittered draw is kept as often as it explains the readings as well (Metropolis), so the jitter
        does not widen what is known. The same readings give the same draws.
    """

    def before(view: View) -> FloatArray:
        return np.zeros(draws.n) if held is None else np.broadcast_to(held(view), (draws.n,))

    view = look(draws)
    fit, prior = np.broadcast_to(explain(view), (draws.n,)), before(view)
    weights, done, stage = np.exp(prior - prior.max()), 0.0, 0
    path: list[Step] = []
    while True:

        def short(power: float, fit: FloatArray = fit, weights: FloatArray = weights) -> float:
            return effective_size(weights * np.exp(power * (fit - fit.max()))) - LEAST_EFFECTIVE * len(weights)

        if short(1 - done) >= 0 or stage == _MOST_STAGES:
            found = weights * np.exp((1 - done) * (fit - fit.max()))
            return Learned(draws, found / found.sum(), look(draws) if stage else view, stage, tuple(path))
        step = 0.0 if short(0.0) <= 0 else float(optimize.brentq(short, 0.0, 1 - done, xtol=1e-6, rtol=1e-3))
        rng = np.random.default_rng([draws.seed, stage, 8])
        kept = resample(weights * np.exp(step * (fit - fit.max())), float(rng.random()))
        draws, fit, prior = resampled(draws, kept), fit[kept], prior[kept]
        path.append(kept)
        weights, done, stage = np.ones(draws.n), done + step, stage + 1
        for move in range(_MOVES):
            width = _JITTER[0] * (_JITTER[1] / _JITTER[0]) ** rng.random(draws.n)
            key = (draws.seed, stage, move, 88)
            other = jittered(draws, width, key)
            moved = look(other)
            moved_fit, moved_prior = np.broadcast_to(explain(moved), (draws.n,)), before(moved)
            gain = done * (moved_fit - fit) + moved_prior - prior
            taken = np.log(rng.random(draws.n)) < gain
            path.append((width, key, taken))
            draws = chosen(draws, other, taken)
            fit, prior = np.where(taken, moved_fit, fit), np.where(taken, moved_prior, prior)
