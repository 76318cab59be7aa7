"""The value of a test against brute-force nested simulation: draw a reading, draw the truth given it, decide."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.ensemble import Draws
from brewwater.planning.value_of_a_test import REPEATS, value_of

FloatArray = np.ndarray
N = 2048
Totals = Callable[[FloatArray], FloatArray]


def linear(x: FloatArray) -> FloatArray:
    """Nothing, or a filter of 300 that saves 3 for each mg/L."""
    return np.array([3.0 * x, np.full_like(x, 300.0)])


def three(x: FloatArray) -> FloatArray:
    """Nothing, a cheap filter for moderate water, a dear one for any."""
    return np.array([8.0 * np.maximum(x - 80, 0), 150 + 5.0 * np.maximum(x - 140, 0), np.full_like(x, 420.0)])


def steps(x: FloatArray) -> FloatArray:
    """A red limit at 120 that costs 1,500 a year, or a bypass that costs 350 and starves soft water."""
    return np.array([np.where(x > 120, 1500.0, 0.0), 350 + np.where(x < 60, 800.0, 0.0)])


def nested(totals: Totals, mean: float, sd: float, error: float, outer: int = 4000, inner: int = 4000) -> float:
    """Brute force for a normal truth and a normal error, by the conjugate posterior."""
    rng = np.random.default_rng(1)
    prior = totals(mean + sd * rng.standard_normal(outer * 50)).mean(axis=1)
    share = sd**2 / (sd**2 + error**2)
    spread = np.sqrt(sd**2 * (1 - share))
    after = 0.0
    for reading in mean + np.hypot(sd, error) * rng.standard_normal(outer):
        centre = mean + share * (reading - mean)
        after += float(totals(centre + spread * rng.standard_normal(inner)).mean(axis=1).min())
    return float(prior.min()) - after / outer


def by_bins(totals: Totals, mean: float, sd: float, error: float, seed: int) -> float:
    draws = Draws(N, seed)
    truth = mean + sd * draws.normal("truth")
    z = np.array([draws.normal(f"error {k}") for k in range(REPEATS)])
    return value_of(truth + error * z, totals(truth), np.ones(N))[0]


@pytest.mark.parametrize("totals", [linear, three, steps])
@pytest.mark.parametrize(("mean", "sd", "error"), [(100.0, 40.0, 5.0), (110.0, 30.0, 20.0)])
def test_within_a_tenth_of_nested_simulation(totals: Totals, mean: float, sd: float, error: float) -> None:
    exact = nested(totals, mean, sd, error)
    assert exact > 10
    found = np.mean([by_bins(totals, mean, sd, error, seed) for seed in range(3)])
    assert found == pytest.approx(exact, rel=0.1)


def test_weights_count_as_draws_do() -> None:
    """A truth whose prior is in the weights gives the value of the same truth drawn."""
    draws = Draws(N, 5)
    wide = 100 + 120 * (draws.uniform("truth") - 0.5) * 2.5
    weights = np.exp(-0.5 * ((wide - 100) / 40) ** 2)
    z = np.array([draws.normal(f"error {k}") for k in range(REPEATS)])
    found = value_of(wide + 5 * z, linear(wide), weights)[0]
    assert found == pytest.approx(nested(linear, 100, 40, 5), rel=0.1)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.1, 50), st.floats(-200, 200), st.floats(0, 5))
def test_never_negative(seed: int, error: float, offset: float, slope: float) -> None:
    draws = Draws(256, seed)
    truth = 100 + 30 * draws.normal("truth")
    totals = np.array([slope * truth, np.full_like(truth, 300 + offset)])
    value, changed = value_of(truth + error * draws.normal("error"), totals, np.ones(256))
    assert value >= 0
    assert 0 <= changed <= 1
    assert value <= float(totals.mean(axis=1).min() - totals.min(axis=0).mean()) + 1e-9  # no more than certainty


def test_zero_where_nothing_can_change() -> None:
    draws = Draws(N, 2)
    truth = 100 + 30 * draws.normal("truth")
    one_best = np.array([truth, truth + 1.0 + np.abs(draws.normal("other"))])
    assert value_of(truth, one_best, np.ones(N)) == (0.0, 0.0)
    assert value_of(truth, truth[None], np.ones(N)) == (0.0, 0.0)


def test_a_reading_that_has_nothing_to_do_with_it_is_worth_next_to_nothing() -> None:
    """Chance alone makes one option look better in some bins; judged on other draws that gains nothing on the
    average. Here the options are worth the same, where chance has most to say: a single plan may still show what
    the draws themselves are off by."""
    found = []
    for seed in range(40):
        draws = Draws(N, seed)
        truth = 100 + 30 * draws.normal("truth")
        found.append(value_of(draws.normal("unrelated"), linear(truth), np.ones(N))[0])
    certain = float(linear(truth).mean(axis=1).min() - linear(truth).min(axis=0).mean())
    assert np.mean(found) < 0.02 * certain
    assert max(found) < 3 * 90 / N**0.5  # three standard errors of the mean difference of the options
