"""One factor in many units: a hierarchical estimate, so that each unit tells as much as it knows and no more.

Unit u has its own factor, theta_u ~ Normal(mu, tau) in the natural logarithm; what was read in it has a likelihood
L_u(theta). Both mu and tau are integrated over a grid, weighed by the marginal likelihood of all units (random
effects, as in DerSimonian and Laird 1986, but with the spread between units not fixed at one value). A cartridge that
was taken out before it was used up only says that it bore so much: L_u is then a probability, not a density.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

FloatArray = NDArray[np.float64]

# The natural logarithm of a factor: a twentieth to twenty times.
THETA: FloatArray = np.linspace(-3.0, 3.0, 601)
# What is held of the shared middle and of the spread before any unit is seen (choices; ten units outweigh them).
_MIDDLE_SD, _SPREAD_SD = 0.5, 0.3
# An instrument without any error would fall between two points of the grid.
_LEAST_SD = 0.015


def read_exactly(value: float, sd: float) -> FloatArray:
    """Likelihood over ``THETA`` of a factor that was read: natural logarithm and its standard deviation."""
    sd = max(sd, _LEAST_SD)
    return np.asarray(np.exp(-0.5 * ((value - THETA) / sd) ** 2) / sd)


def read_between(low: Sequence[float], high: Sequence[float], own_sd: float, shared_sd: float) -> FloatArray:
    """Likelihood over ``THETA`` of a unit's cartridges, each used up between two points.

    Parameters
    ----------
    low, high : natural logarithm of what each had borne when it still did, and when it no longer did; infinite where
        it was taken out before that
    own_sd : one cartridge against the next of the same make
    shared_sd : doubt that all of them in the unit share, such as of its water
    """
    sd = max(own_sd, _LEAST_SD)
    ends = np.asarray(high)[:, None], np.asarray(low)[:, None]
    each = ndtr((ends[0] - THETA) / sd) - ndtr((ends[1] - THETA) / sd)
    found = np.prod(np.maximum(each, 1e-12), axis=0)
    if shared_sd < _LEAST_SD:
        return np.asarray(found)
    kernel = np.exp(-0.5 * ((THETA[:, None] - THETA) / shared_sd) ** 2)
    return np.asarray((kernel / kernel.sum(axis=1, keepdims=True)) @ found)


@dataclass(frozen=True, slots=True)
class Pooled:
    """What many units say of a factor, natural logarithms.

    middle, middle_sd : of the units' shared middle
    spread : between units, 10th, 50th and 90th percentile
    next_sd : standard deviation of the factor in a unit not seen yet; its mean is ``middle``
    units : mean and standard deviation of each unit's own, shape (unit, 2), drawn to the middle where it says little
    """

    middle: float
    middle_sd: float
    spread: tuple[float, float, float]
    next_sd: float
    units: FloatArray


def pool(likelihoods: Sequence[FloatArray]) -> Pooled:
    """The hierarchical estimate from each unit's likelihood over ``THETA``; with none, what is held beforehand."""
    mu, tau = np.linspace(-1.5, 1.5, 121), np.geomspace(0.02, 1.2, 40)
    grid_mu, grid_tau = (x.reshape(-1) for x in np.meshgrid(mu, tau, indexing="ij"))
    # tau is spaced by its logarithm: a grid point stands for a width in proportion to it
    log_weight = -0.5 * (grid_mu / _MIDDLE_SD) ** 2 - 0.5 * (grid_tau / _SPREAD_SD) ** 2 + np.log(grid_tau)
    shares = np.exp(-0.5 * ((THETA - grid_mu[:, None]) / grid_tau[:, None]) ** 2)
    shares /= shares.sum(axis=1, keepdims=True)
    rows = np.array(likelihoods).reshape(-1, len(THETA))
    rows = rows / np.maximum(rows.max(axis=1, keepdims=True), 1e-300)
    each = np.maximum(shares @ rows.T, 1e-300)  # (grid, unit)
    log_weight = log_weight + np.log(each).sum(axis=1)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    middle = float(weight @ grid_mu)
    middle_var = float(weight @ (grid_mu - middle) ** 2)
    of_tau = weight.reshape(len(mu), len(tau)).sum(axis=0)
    low, half, high = np.interp([0.1, 0.5, 0.9], np.cumsum(of_tau) - of_tau / 2, tau)
    own = rows * ((weight[:, None] / each).T @ shares)
    own /= np.maximum(own.sum(axis=1, keepdims=True), 1e-300)
    mean = own @ THETA
    sd = np.sqrt(np.maximum(own @ THETA**2 - mean**2, 0))
    return Pooled(
        middle,
        float(np.sqrt(middle_var)),
        (float(low), float(half), float(high)),
        float(np.sqrt(middle_var + weight @ grid_tau**2)),
        np.stack([mean, sd], axis=1),
    )
