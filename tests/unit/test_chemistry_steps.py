"""How many steps the solver takes: its first guess and its derivatives can be wrong and still lead to the answer,
only later. Counted, not timed."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals, equilibrium, speciation
from brewwater.chemistry.rows import Solved, Workspace


def water(calcium: float, magnesium: float, sodium: float, alkalinity: float, sulfate: float, carbon: float) -> Totals:
    """An electroneutral water; ``carbon`` is DIC over alkalinity."""
    gap = 2 * (calcium + magnesium - sulfate) + sodium - alkalinity
    amounts = (
        calcium,
        magnesium,
        sodium + max(-gap, 0),
        1e-4,
        max(gap, 0) + 1e-4,
        sulfate,
        0,
        alkalinity,
        alkalinity * carbon,
    )
    return Totals(*(np.array([x]) for x in amounts))


WATERS = [
    water(*amounts)
    for amounts in itertools.product(
        (2e-4, 2.5e-3),
        (1e-4, 1.5e-3),
        (5e-4, 8e-3),
        (2e-4, 2e-3, 6e-3),
        (1e-4, 2e-3),
        (0.6, 1.02, 1.3, 3),
    )
]
TOGETHER = Totals(*(np.concatenate([getattr(w, n) for w in WATERS]) for n in Totals.__dataclass_fields__))
Task = Callable[[Totals], object]
TASKS: dict[str, tuple[Task, float, int]] = {  # steps of one water on average, and of all at once
    "cold": (lambda w: chemistry.speciate(w, 25.0), 3.1, 4),
    "hot": (lambda w: chemistry.speciate(w, 93.0), 3.5, 5),
    "calcite": (lambda w: chemistry.ccpp(w, 25.0), 3.8, 5),
    "open": (lambda w: chemistry.degas(w, 25.0), 5.45, 6),
    "neutral": (lambda w: chemistry.dic_from_ph(w, 7.5, 25.0), 2.9, 4),
    "alkaline": (lambda w: chemistry.dic_from_ph(w, 9.5, 25.0), 3.3, 4),
}


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Number of steps so far, in the first place."""
    count, whole = [0], equilibrium.condition

    def counted(*args: object) -> object:
        count[0] += 1
        return whole(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(equilibrium, "condition", counted)
    return count


@pytest.mark.parametrize("task", TASKS)
def test_a_water_alone_settles_in_few_steps(task: str, steps: list[int]) -> None:
    work, allowed, _ = TASKS[task]
    for one in WATERS:
        work(one)
    assert steps[0] / len(WATERS) <= allowed


@pytest.mark.parametrize("task", TASKS)
def test_many_waters_settle_together(task: str, steps: list[int]) -> None:
    work, _, allowed = TASKS[task]
    work(TOGETHER)
    assert steps[0] <= allowed


def test_two_equations_are_solved() -> None:
    a, b, c, d, p, q = np.random.default_rng(1).normal(size=(6, 50))
    x, y = equilibrium._newton2(a, b, c, d, p, q)
    np.testing.assert_allclose(a * x + b * y, p)
    np.testing.assert_allclose(c * x + d * y, q)


def test_three_symmetric_equations_are_solved() -> None:
    n = 50
    rng = np.random.default_rng(2)
    half = rng.normal(size=(n, 3, 3))
    matrix = half @ half.transpose(0, 2, 1) + np.eye(3)
    wanted, reached = rng.normal(size=(2, 3, n))
    second = [matrix[:, i, j].copy() for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))]
    out = np.empty((3, n))
    equilibrium._newton3(out, (*reached, *second), *wanted, Workspace(n))
    np.testing.assert_allclose(np.einsum("nij,jn->in", matrix, out), wanted - reached, rtol=1e-7, atol=1e-9)


def test_buffer_capacity_is_h_less_what_carbonate_and_sulfate_give_back(monkeypatch: pytest.MonkeyPatch) -> None:
    n = 50
    half = np.random.default_rng(3).normal(size=(n, 3, 3))
    matrix = half @ half.transpose(0, 2, 1) + np.eye(3)
    second = [matrix[:, i, j].copy() for i, j in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))]
    monkeypatch.setattr(speciation, "condition", lambda *scenario: None)
    monkeypatch.setattr(speciation, "balance", lambda *scenario: (None, None, None, *second))
    state = Solved(np.ones((9, n)), np.ones(n, dtype=np.bool_))
    found = speciation._buffer_capacity(None, None, state, None)  # type: ignore[arg-type]
    # the reciprocal of the first entry of the inverse, by ln h; per pH it is ln 10 times as much
    np.testing.assert_allclose(found, np.log(10) / np.linalg.inv(matrix)[:, 0, 0])
