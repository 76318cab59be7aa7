"""Work shared out to forked children: all of it done, whoever did it; given up cleanly."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable

import numpy as np
import pytest

import brewwater as bw
from brewwater import cores
from brewwater.planning.document import mobile_template, with_overrides
from brewwater.planning.scenario import Scenario, prepare
from brewwater.planning.search import Search
from brewwater.reports.analysis import Measurement


@pytest.fixture
def three(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three cores, and no thread that another test left behind."""
    monkeypatch.setattr(os, "cpu_count", lambda: 3)
    for thread in threading.enumerate():
        if thread is not threading.main_thread():
            cores.rests(thread)


def written(n: int, task: Callable[[int], None] | None = None, **how: object) -> tuple[list[float], list[int]]:
    """Who did each piece (as process numbers), and which were done here."""
    room, here = cores.shared(1, n)[0], []
    parent = os.getpid()

    def one(number: int) -> None:
        if task:
            task(number)
        room[number] = os.getpid()
        if os.getpid() == parent:
            here.append(number)

    cores.spread(one, range(n), **how)  # type: ignore[arg-type]
    return room.tolist(), here


def test_every_piece_is_done_once_by_as_many_as_there_are_cores(three: None) -> None:
    by, here = written(8)
    assert all(by)
    assert len(set(by)) == 3
    assert here == [2, 5]  # this process takes the fewest
    assert not cores.taken()


def test_no_more_cores_are_used_than_allowed(three: None) -> None:
    try:
        for most in (2, 1):
            cores.use_at_most(most)
            by, _ = written(8)
            assert len(set(by)) == most
    finally:
        cores.use_at_most(None)
    assert len(set(written(8)[0])) == 3


def test_children_do_not_fork_again(three: None) -> None:
    seen = cores.shared(1, 6)[0]

    def nested(number: int) -> None:
        seen[number] = 1 + cores.may_fork()

    cores.spread(nested, range(6))
    assert seen.tolist() == [1.0] * 6
    assert cores.may_fork()


@pytest.mark.parametrize("system", ["darwin", "win32"])
def test_elsewhere_than_on_linux_all_is_done_here(three: None, monkeypatch: pytest.MonkeyPatch, system: str) -> None:
    monkeypatch.setattr(sys, "platform", system)
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("forked"))
    assert not cores.may_fork()
    by, here = written(8)
    assert set(by) == {os.getpid()}
    assert here == list(range(8))


def test_beside_a_thread_that_works_all_is_done_here(three: None, monkeypatch: pytest.MonkeyPatch) -> None:
    over = threading.Event()
    thread = threading.Thread(target=over.wait)
    thread.start()
    try:
        with monkeypatch.context() as patch:
            patch.setattr(os, "fork", lambda: pytest.fail("forked"))
            assert not cores.may_fork()
            by, _ = written(8)
            assert set(by) == {os.getpid()}
        cores.rests(thread)  # one that only waits does no harm
        assert cores.may_fork()
        assert len(set(written(8)[0])) == 3
    finally:
        over.set()
        thread.join()
    assert cores.may_fork()


def test_every_way_gives_the_same_bits(three: None) -> None:
    """The chemistry of a large batch, by forked children, by threads and by nobody else."""
    n = 40_000
    totals = {"calcium_mg_L": np.linspace(1, 400, n), "alkalinity_mg_L_as_CaCO3": np.linspace(500, 1, n)}
    found = []
    real = cores.spread
    for way in ("fork", "threads", "here"):
        with pytest.MonkeyPatch.context() as patch:
            used: list[object] = []

            def forced(task, pieces, each=lambda _: True, *, threads=False, way=way, used=used):  # type: ignore[no-untyped-def]
                used.append(threads)
                return real(task, pieces, each, threads=threads, way=way)

            patch.setattr(cores, "spread", forced)
            water = bw.Water(**totals, pH=7.6)
            found.append(bw.speciate(water, temperature_C=93.0).calcite_saturation_index)
            assert used and all(used)  # the chemistry bears threads
    assert found[0].shape == (n,)
    for other in found[1:]:
        assert other.tobytes() == found[0].tobytes()


def test_threads_do_every_piece_where_nothing_forks(three: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("forked"))
    by: dict[int, str] = {}
    gate = threading.Barrier(3)  # passed only where three work at a time

    def one(number: int) -> None:
        if number < 3:
            gate.wait(60)
        by[number] = threading.current_thread().name

    assert cores.spread(one, range(8), threads=True)
    assert sorted(by) == list(range(8))
    assert threading.main_thread().name not in by.values()
    wrong = [np.float64(1.0), "no number"]
    with pytest.raises(ValueError, match="no number"):
        cores.spread(lambda piece: float(piece), wrong, threads=True)  # type: ignore[arg-type, return-value]


def test_a_thread_forks_nothing(three: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("forked"))
    made: list[tuple[list[float], list[int]]] = []
    thread = threading.Thread(target=lambda: made.append(written(8)))
    thread.start()
    thread.join()
    assert set(made[0][0]) == {os.getpid()}


def test_what_a_killed_child_leaves_is_done_here(three: None) -> None:
    parent = os.getpid()

    def mortal(number: int) -> None:
        if os.getpid() != parent and number == 3:
            os.kill(os.getpid(), signal.SIGKILL)

    by, here = written(7, mortal)
    assert all(by)
    assert {0, 3, 6} <= set(here)


def test_without_room_for_another_process_all_is_done_here(three: None, monkeypatch: pytest.MonkeyPatch) -> None:
    real, asked = os.fork, iter(range(9))

    def full() -> int:
        if next(asked):
            raise BlockingIOError("no more processes")
        return real()

    monkeypatch.setattr(os, "fork", full)
    by, here = written(8)
    assert all(by)
    assert here == [2, 5, 1, 4, 7]
    assert not cores.taken()


def test_given_up_or_failed_work_leaves_no_child(three: None, monkeypatch: pytest.MonkeyPatch) -> None:
    born, real = [], os.fork

    def fork() -> int:
        born.append(real())
        return born[-1]

    monkeypatch.setattr(os, "fork", fork)

    def gone() -> bool:
        """Each child ended and was waited for."""
        for child in born:
            with pytest.raises(ChildProcessError):
                os.waitpid(child, os.WNOHANG)
        return bool(born)

    _, here = written(9, each=lambda share: share < 0.5)
    assert here == [2, 5]
    assert gone()
    parent = os.getpid()
    born.clear()

    def wrong(number: int) -> None:
        if os.getpid() == parent:
            raise ValueError(number)

    with pytest.raises(ValueError, match="2"):
        written(9, wrong)
    assert gone()
    assert not cores.taken()


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    numbers = {"total_hardness": 290, "alkalinity": 240, "total_dissolved_solids": 420}
    typed = {k: Measurement.model_validate({"value": v, "unit": "mg/L"}) for k, v in numbers.items()}
    document = with_overrides(mobile_template(), analysis=typed)
    return prepare(document.model_copy(update={"settings": document.settings.model_copy(update={"draws": 64})}))


def test_the_number_of_cores_does_not_touch_the_search(scenario: Scenario, monkeypatch: pytest.MonkeyPatch) -> None:
    looks = []
    for count in (1, 2, 3):
        monkeypatch.setattr(os, "cpu_count", lambda count=count: count)
        search = Search(prepare(scenario.document))
        coarse = [one for one in search.all_coarse(lambda _: True) if one]
        leading = search.leading(sorted(coarse, key=lambda b: b.value))
        looks.append((coarse, search.all_refined(leading, lambda _: True), search.weighed))
    alone, *others = looks
    assert len(alone[1]) >= 1
    for found in others:
        assert found == alone
    plain = Search(prepare(scenario.document))
    assert alone[0] == [plain.coarse(kind) for kind in plain.steps()]
    assert alone[2] > plain.weighed >= 200


def test_a_search_that_is_given_up_says_which_kinds_it_came_to(
    scenario: Scenario, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    search = Search(scenario)
    found = search.all_coarse(lambda share: share < 0.3)
    came = [one is not None for one in found]
    assert any(came)
    assert came == sorted(came, reverse=True)
    assert not all(came)


def test_shared_memory_of_nothing_is_nothing() -> None:
    assert cores.shared(0, 4).shape == (0, 4)
    np.testing.assert_array_equal(cores.shared(2, 3), np.zeros((2, 3)))
