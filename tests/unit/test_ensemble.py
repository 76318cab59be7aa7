"""The ensemble: draws, percentiles, weights."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.ensemble import Draws, effective_size, mean, mean_of, percentiles, share
from brewwater.records import Span


def test_same_seed_same_questions_same_draws() -> None:
    first, second = Draws(256, 7), Draws(256, 7)
    span = Span(low=80, high=260)
    np.testing.assert_array_equal(first.span("a", span), second.span("a", span))
    assert not np.array_equal(first.span("a", span), Draws(256, 8).span("a", span))


def test_columns_are_independent_of_what_else_is_asked_later() -> None:
    draws = Draws(256, 7)
    a = draws.uniform("a").copy()
    draws.uniform("b")
    np.testing.assert_array_equal(draws.uniform("a"), a)
    assert abs(np.corrcoef(draws.uniform("a"), draws.uniform("b"))[0, 1]) < 0.1


@pytest.mark.parametrize("n", [256, 1000])
def test_each_column_fills_the_interval_evenly(n: int) -> None:
    for name in ("a", "price: head", "log/bed of Resin"):
        counts, _ = np.histogram(Draws(n, 1).uniform(name), bins=n, range=(0, 1))
        np.testing.assert_array_equal(counts, 1)  # one draw in each of n slices


def test_columns_of_many_names_are_unrelated() -> None:
    n, names = 2048, 200
    between = np.corrcoef([Draws(n, 3).normal(f"q{i}") for i in range(names)])
    pairs = between[np.triu_indices(names, 1)]
    # as many pairs as this of independent normal draws: spread 1/sqrt(n), the farthest within 5.5 of it
    assert pairs.std() == pytest.approx(n**-0.5, rel=0.05)
    assert np.abs(pairs).max() < 5.5 * n**-0.5
    assert abs(pairs.mean()) < 4 * n**-0.5 / len(pairs) ** 0.5


def test_a_column_is_the_same_in_every_process_and_on_every_machine() -> None:
    # read off once: a change here changes every plan that anyone has kept
    kept = [0.5451413550721923, 0.8744180976275805, 0.1876053856257526, 0.44509434293858735]
    np.testing.assert_allclose(Draws(4, 7).uniform("price: head"), kept, rtol=1e-12)


def test_one_draw_is_the_plain_deterministic_value() -> None:
    one = Draws(1)
    assert one.span("x", Span(low=1, typical=2, high=9)).tolist() == [2.0]
    assert one.span("y", Span(low=1, high=3)).tolist() == [2.0]
    assert one.normal("z").tolist() == [0.0]


# PERT: low, mode, high, mean (low + 4 mode + high) / 6 and exact standard deviation sqrt((mean - low)(high - mean) / 7)
PERT = [(1, 2, 6, 2.5, 0.8660), (0, 5, 10, 5, 1.8898), (200, 350, 650, 375, 82.916)]


@pytest.mark.parametrize(("low", "mode", "high", "mean_", "sd"), PERT)
def test_a_typical_value_is_a_mode(low: float, mode: float, high: float, mean_: float, sd: float) -> None:
    values = Draws(20_000, 3).span("x", Span(low=low, typical=mode, high=high))
    assert values.mean() == pytest.approx(mean_, rel=2e-4)
    assert values.std() == pytest.approx(sd, rel=2e-3)
    counts, edges = np.histogram(values, bins=40, range=(low, high))
    assert abs(edges[int(np.argmax(counts))] + (high - low) / 80 - mode) < 0.06 * (high - low)


@pytest.mark.parametrize("typical", [82.0, 84.0, 90.0, 112.0, 126.0, 160.0, 170.0])
@pytest.mark.parametrize("average", [True, False])
def test_a_range_is_single_peaked_and_crowds_no_end(typical: float, average: bool) -> None:
    span = Span(low=82, typical=typical, high=170)
    values = Draws(20_000, 3).span("alkalinity", span, average=average)
    assert values.min() >= 82
    assert values.max() <= 170
    for near in (values < 82 + 0.88, values > 170 - 0.88):
        assert near.mean() <= 0.2 + 1e-3
    if average:
        assert values.mean() == pytest.approx(mean_of(span), abs=0.02)
    counts, _ = np.histogram(values, bins=20)
    rising = np.sign(np.diff(np.convolve(counts, [1, 1, 1], "valid")))
    rising = rising[rising != 0]
    assert np.count_nonzero(np.diff(rising) != 0) <= 1  # up, then down, or one of the two


def test_an_average_next_to_an_end_is_moved_in_and_no_other() -> None:
    # of a width of 88, within about 2.5 % of an end no single-peaked distribution has the mean
    for typical in (85.0, 90.0, 112.0, 166.0):
        assert mean_of(Span(low=82, typical=typical, high=170)) == typical
    for typical, drawn in ((82.0, 84.11), (83.0, 84.11), (170.0, 167.89)):
        assert mean_of(Span(low=82, typical=typical, high=170)) == pytest.approx(drawn, abs=0.01)


def test_a_bare_range_is_uniform() -> None:
    values = Draws(4096, 3).span("x", Span(low=10, high=20))
    np.testing.assert_allclose(np.quantile(values, [0.1, 0.5, 0.9]), [11, 15, 19], atol=0.02)


def test_percentiles_of_equal_weights_agree_with_numpy() -> None:
    values = np.random.default_rng(1).normal(size=(3, 1001))
    ours = percentiles(values, np.ones(1001))
    theirs = np.quantile(values, [0.1, 0.5, 0.9], axis=1, method="hazen").T
    np.testing.assert_allclose(ours, theirs, atol=1e-12)


def test_percentiles_of_whole_weights_are_those_of_repeated_values() -> None:
    values, weights = np.array([3.0, 1.0, 2.0]), np.array([2.0, 1.0, 3.0])
    np.testing.assert_allclose(percentiles(values, weights), [1.1, 2.0, 3.0], atol=0.5)
    assert percentiles(values, np.array([0.0, 1.0, 0.0])).tolist() == [1.0, 1.0, 1.0]


def test_not_known_stays_not_known() -> None:
    assert np.isnan(percentiles(np.array([1.0, np.nan, 2.0]), np.ones(3))).all()


@given(st.lists(st.floats(0.001, 10), min_size=2, max_size=40))
@settings(max_examples=50)
def test_effective_size_lies_between_one_and_the_number(weights: list[float]) -> None:
    size = effective_size(np.array(weights))
    assert 1 - 1e-9 <= size <= len(weights) + 1e-9


def test_mean_and_share_follow_the_weights() -> None:
    weights = np.array([1.0, 3.0])
    assert mean(np.array([0.0, 4.0]), weights) == 3.0
    assert mean(np.array([5.0]), weights) == 5.0
    assert share(np.array([False, True]), weights) == 0.75
