"""Large batches in pieces: every water gets its own answer, whoever computes it."""

from __future__ import annotations

import os
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest

from brewwater import cores
from brewwater.chemistry import Totals, chunks
from brewwater.chemistry.rows import Workspace
from brewwater.errors import InputError

FloatArray = np.ndarray[Any, Any]
N = 95


def waters(*shape: int) -> Totals:
    """Totals that tell the waters apart: calcium is the number of the water."""
    number = np.arange(float(np.prod(shape))).reshape(shape)
    return Totals(number, *(np.full((), float(k)) for k in range(1, 9)))


class Pieces:
    """The work: gives calcium, temperature and what is held back, and notes the pieces that this process did."""

    def __init__(self) -> None:
        self.sizes: list[int] = []
        self.temperatures: list[tuple[int, ...]] = []

    def __call__(self, t: Totals, at: FloatArray, held: Sequence[FloatArray], w: Workspace) -> list[FloatArray]:
        assert w.n == len(t.calcium) == len(t.dic)
        assert np.geterr()["divide"] == "ignore"
        self.sizes.append(w.n)
        self.temperatures.append(at.shape)
        return [t.calcium * 1, np.broadcast_to(at, t.calcium.shape) * 1, held[0] + t.dic]


@pytest.fixture(autouse=True)
def _threads_left_by_other_tests_only_wait() -> None:
    """In one process with other tests, whose threads would keep this one from forking."""
    for thread in threading.enumerate():
        if thread is not threading.main_thread():
            cores.rests(thread)


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces of ten, on two cores."""
    monkeypatch.setattr(chunks, "CHUNK", 10)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)


def check(pieces: Any, n: int = N) -> None:
    calcium, at, held = chunks.over_chunks(3, pieces, waters(n), np.arange(n) / n, np.arange(n) * 2.0)
    np.testing.assert_array_equal(calcium, np.arange(n))
    np.testing.assert_array_equal(at, np.arange(n) / n)
    np.testing.assert_array_equal(held, np.arange(n) * 2.0 + 8)


@pytest.mark.parametrize("n", [0, 1, 9, 10, 11, 20, 21, 40, 95])
def test_every_water_once_and_in_its_place(n: int, small: None) -> None:
    check(Pieces(), n)


def test_a_piece_is_no_longer_than_a_chunk_and_all_are_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chunks, "CHUNK", 10)
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    for n, sizes in ((10, [10]), (11, [6, 5]), (40, [10] * 4), (95, [10] * 9 + [5])):
        pieces = Pieces()
        check(pieces, n)
        assert pieces.sizes == sizes


def test_two_processes_share_the_pieces(small: None) -> None:
    pieces = Pieces()
    check(pieces)
    assert pieces.sizes == [10] * 4 + [5]  # every other one, the short last among them; the child did the rest


def test_what_a_lost_child_leaves_is_made_good(small: None) -> None:
    parent, pieces = os.getpid(), Pieces()

    def mortal(*scenario: Any) -> list[FloatArray]:
        if os.getpid() != parent:
            os._exit(9)
        return pieces(*scenario)

    check(mortal)
    assert sorted(pieces.sizes) == [5] + [10] * 9


def test_a_child_that_fails_says_so_by_its_status(small: None) -> None:
    parent = os.getpid()

    def fails(*scenario: Any) -> list[FloatArray]:
        if os.getpid() != parent:
            raise ValueError("in the child")
        return Pieces()(*scenario)

    check(fails)


def test_a_thread_of_a_server_does_not_fork(small: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("forked"))
    pieces, done = Pieces(), []
    thread = threading.Thread(target=lambda: done.append(check(pieces)))
    thread.start()
    thread.join()
    assert done == [None]
    assert sorted(pieces.sizes) == [5] + [10] * 9


def test_one_piece_needs_no_child(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("forked"))
    check(Pieces())


def test_one_temperature_is_not_multiplied() -> None:
    pieces = Pieces()
    calcium, at, held = chunks.over_chunks(
        3, pieces, waters(4, 3), np.array(25.0), np.array([[1.0], [2.0], [3.0], [4.0]])
    )
    assert pieces.temperatures == [(1,)]
    assert calcium.shape == at.shape == held.shape == (4, 3)
    np.testing.assert_array_equal(held, np.array([[9.0], [10.0], [11.0], [12.0]]) + np.zeros(3))
    across = chunks.over_chunks(3, Pieces(), waters(4, 1), np.array([5.0, 6.0, 7.0]), 0.0)
    assert across[1].shape == (4, 3)
    np.testing.assert_array_equal(across[1][2], [5, 6, 7])


def test_temperatures_at_the_ends_and_past_them() -> None:
    np.testing.assert_array_equal(chunks.checked_temperature([0, 130]), [0.0, 130.0])
    for wrong in (-0.001, 130.001):
        with pytest.raises(InputError) as refused:
            chunks.checked_temperature([20.0, wrong])
        assert (refused.value.field, refused.value.value) == ("temperature_C", wrong)


def test_memory_is_kept_and_grows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chunks, "_shelf", [])
    with chunks._workspace(8) as small:
        pass
    with chunks._workspace(8) as same:
        assert np.shares_memory(small.m, same.m)
    with chunks._workspace(50_000) as wide:
        assert wide.m.shape == (19, 50_000)
    with chunks._workspace(8) as again:
        assert again.m.shape == (19, 8)
        assert np.shares_memory(again.m, wide.m)


def test_memory_that_is_lent_is_lent_to_nobody_else() -> None:
    with chunks._workspace(8) as one, chunks._workspace(8) as other:
        assert not np.shares_memory(one.m, other.m)

    def lent() -> Workspace:
        with chunks._workspace(8) as found:
            return found

    with ThreadPoolExecutor(1) as pool:  # a thread of its own gets what another gave back
        assert np.shares_memory(lent().m, pool.submit(lent).result().m)


def test_rows_of_a_workspace_are_apart_and_begin_on_a_cache_line() -> None:
    for space in (Workspace(21), Workspace(21).of(5)):
        places = [
            (rows, index)
            for rows in (space.gamma, space.k, space.m, space.metal, space.three, space.rows, space.step, space.more)
            for index in np.ndindex(rows.shape[:-1])
        ]
        for number, (rows, index) in enumerate(places):
            rows[index] = number
        for number, (rows, index) in enumerate(places):
            assert (rows[index] == number).all()
            assert rows[index].ctypes.data % 64 == 0
