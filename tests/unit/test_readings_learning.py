"""Weighing and moving draws: known answers of conjugate cases, resampling, charge balance, slips."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from brewwater.ensemble import Draws, effective_size
from brewwater.log.draws import jittered, resample, resampled
from brewwater.log.likelihood import count_log, learn, normal_log, robust
from brewwater.planning.document import demo_document
from brewwater.records import Span
from brewwater.supply.completion import complete

N = 2048


def moments(x: np.ndarray, w: np.ndarray) -> tuple[float, float]:
    w = w / w.sum()
    middle = float(x @ w)
    return middle, float(np.sqrt(((x - middle) ** 2) @ w))


@pytest.mark.parametrize(("readings", "sd"), [([0.8], 1.0), ([1.5, 1.1, 1.4], 0.5), ([2.2] * 12, 0.3)])
def test_normal_prior_and_normal_error_give_the_normal_posterior(readings: list[float], sd: float) -> None:
    """Posterior precision is 1 + k/sd2, posterior mean its share of the mean reading; the last case resamples."""
    got = learn(
        Draws(N, 7),
        lambda d: d.normal("x"),
        lambda x: sum(normal_log(np.float64(r), x, np.float64(sd)) for r in readings),
    )
    precision = 1 + len(readings) / sd**2
    mean, spread = sum(readings) / sd**2 / precision, precision**-0.5
    found, width = moments(got.view, got.weights)
    enough = effective_size(got.weights)
    assert enough >= N / 3
    assert found == pytest.approx(mean, abs=4 * spread / np.sqrt(enough) + 0.05 * spread)
    assert width == pytest.approx(spread, rel=0.08)
    assert (got.resampled > 0) == (len(readings) > 1)


@pytest.mark.parametrize(("counts", "days"), [([12], 1.0), ([30, 41, 35], 1.0), ([400, 410, 377, 390], 10.0)])
def test_gamma_prior_and_poisson_counts_give_the_gamma_posterior(counts: list[int], days: float) -> None:
    """Gamma(a, b) and counts over ``days`` each give Gamma(a + sum, b + k days)."""
    a, b = 4.0, 0.15
    got = learn(
        Draws(N, 3),
        lambda d: stats.gamma.ppf(d.uniform("rate"), a, scale=1 / b),
        lambda rate: sum(count_log(np.float64(c), rate * days, np.float64(0)) for c in counts),
    )
    after = stats.gamma(a + sum(counts), scale=1 / (b + len(counts) * days))
    found, width = moments(got.view, got.weights)
    monte_carlo = 4 * after.std() / np.sqrt(effective_size(got.weights))
    assert found == pytest.approx(after.mean(), abs=monte_carlo + 0.05 * after.std())
    assert width == pytest.approx(after.std(), rel=0.1)


def test_counts_that_vary_more_than_chance_are_the_negative_binomial() -> None:
    mean, cv2 = 80.0, 0.0625
    k = np.arange(0, 400)
    expected = stats.nbinom(1 / cv2, (1 / cv2) / (1 / cv2 + mean)).logpmf(k)
    np.testing.assert_allclose(count_log(k, np.float64(mean), np.float64(cv2)), expected, atol=1e-9)
    np.testing.assert_allclose(count_log(k, np.float64(mean), np.float64(0)), stats.poisson(mean).logpmf(k), atol=1e-9)


def test_one_slip_cannot_kill_the_ensemble() -> None:
    """Five honest readings and one far away: the slip moves the mean by less than half an honest spread."""
    honest = [0.4, 0.6, 0.5, 0.45, 0.55]

    def posterior(readings: list[float]) -> tuple[float, float]:
        sd = np.float64(0.2)
        got = learn(
            Draws(N, 5),
            lambda d: d.normal("x"),
            lambda x: sum(robust(normal_log(np.float64(r), x, sd), sd) for r in readings),
        )
        return moments(got.view, got.weights)

    clean, with_slip = posterior(honest), posterior([*honest, 80.0])
    assert abs(with_slip[0] - clean[0]) < 0.5 * clean[1]
    plain = sum(normal_log(np.float64(r), np.float64(0.5), np.float64(0.2)) for r in [*honest, 80.0])
    assert plain < -1e4  # without the chance of a slip nothing would survive it


def test_learning_is_reproducible() -> None:
    def once() -> np.ndarray:
        got = learn(Draws(512, 11), lambda d: d.normal("x"), lambda x: normal_log(np.float64(3.0), x, np.float64(0.05)))
        assert got.resampled > 1
        return got.view

    np.testing.assert_array_equal(once(), once())


def test_a_tie_between_two_inputs_is_learned() -> None:
    """x + y read as 2 with a spread of 0.1: both means 1, correlation near -1 (the exact Gaussian posterior)."""
    got = learn(
        Draws(N, 1),
        lambda d: np.array([d.normal("x"), d.normal("y")]),
        lambda v: normal_log(np.float64(2.0), v.sum(axis=0), np.float64(0.1)),
    )
    s2 = 0.01
    exact = np.eye(2) - np.ones((2, 2)) / (2 + s2)
    np.testing.assert_allclose(np.average(got.view, axis=1, weights=got.weights), 2 / (2 + s2), atol=0.06)
    np.testing.assert_allclose(np.cov(got.view, aweights=got.weights), exact, atol=0.05)
    untouched = got.draws.normal("never asked before")
    assert untouched.mean() == pytest.approx(0, abs=0.1)
    assert untouched.std() == pytest.approx(1, abs=0.08)


def test_weights_held_before_the_readings_count_once() -> None:
    """A prior known only by its weights (normal about 1) and one reading give the product of both."""
    got = learn(
        Draws(N, 6),
        lambda d: d.normal("x"),
        lambda x: normal_log(np.float64(2.0), x, np.float64(0.2)),
        lambda x: -0.5 * ((x - 1) / 0.5) ** 2,
    )
    precision = 1 + 1 / 0.25 + 1 / 0.04
    found, width = moments(got.view, got.weights)
    assert got.resampled > 0
    assert found == pytest.approx((1 / 0.25 + 2 / 0.04) / precision, abs=0.03)
    assert width == pytest.approx(precision**-0.5, rel=0.12)


def test_moved_draws_of_a_range_stay_in_it() -> None:
    draws = Draws(N, 1)
    span = Span(low=80, typical=200, high=260)
    weights = np.exp(-0.5 * ((draws.span("h", span) - 255) / 3) ** 2)
    moved = jittered(resampled(draws, resample(weights, 0.5)), np.full(N, 0.1), (1, 2))
    found = moved.span("h", span)
    assert found.min() >= 80
    assert found.max() <= 260
    assert moved.span("c", Span(low=5, high=5)).tolist() == [5.0]


SPANS = [Span(low=80, typical=200, high=260), Span(low=0, high=4), Span(low=1, typical=1, high=9)]


@pytest.mark.parametrize("span", SPANS)
def test_the_table_of_quantiles_is_as_good_as_the_quantiles(span: Span) -> None:
    moved = jittered(Draws(N, 1), np.full(N, 0.5), (3,))
    share, width = moved.uniform("h"), span.high - span.low
    if span.typical is None:
        exact = span.low + width * share
    else:
        typical = (span.typical - span.low) / width
        exact = span.low + width * stats.beta.ppf(share, 1 + 4 * typical, 5 - 4 * typical)
    np.testing.assert_allclose(moved.span("h", span), exact, atol=1e-7 * (span.high - span.low))


def test_moved_waters_balance_their_charge_exactly() -> None:
    """The jitter acts before the completion, so every resampled and jittered water is complete and neutral."""
    supply = demo_document().supplies[0]
    draws = Draws(512, 4)
    first = complete(supply, draws)
    hardness = first.water.hardness_mg_L_as_CaCO3
    weights = np.exp(first.log_weight - 0.5 * ((hardness - 300) / 5) ** 2)
    again = complete(supply, jittered(resampled(draws, resample(weights, 0.5)), np.full(512, 0.1), (4,))).water
    assert np.abs(again.totals.charge_imbalance).max() < 1e-12
    assert len(np.unique(again.hardness_mg_L_as_CaCO3)) > 500  # jittered, not copied
    assert again.hardness_mg_L_as_CaCO3.mean() == pytest.approx(float(hardness @ (weights / weights.sum())), abs=3)


def test_columns_of_the_log_leave_the_others_where_they_are() -> None:
    plain, logged = Draws(64, 2), Draws(64, 2)
    moved = logged.normal("log/one")
    np.testing.assert_array_equal(plain.normal("a"), logged.normal("a"))
    np.testing.assert_array_equal(plain.normal("b"), logged.normal("b"))
    np.testing.assert_array_equal(plain.normal("log/one"), moved)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=3, max_size=40).filter(lambda w: sum(w) > 0.1), st.floats(0, 0.999))
def test_systematic_resampling_takes_each_draw_as_often_as_its_share(weights: list[float], offset: float) -> None:
    share = np.array(weights) / sum(weights)
    taken = np.bincount(resample(share, offset), minlength=len(share))
    assert taken.sum() == len(share)
    assert np.all(np.abs(taken - share * len(share)) < 1 + 1e-6)
