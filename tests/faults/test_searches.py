"""Searches of many sessions: few at once, one for all who ask the same, none for those who left."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from brewwater.errors import InputError
from brewwater.plan import make_plan
from brewwater.planning.document import PlanDocument, demo_document
from brewwater.web.search_service import searching
from brewwater.web.search_service.parcel import receive
from brewwater.web.search_service.search_child import Order
from brewwater.web.search_service.searching import Job, Searches, SharedSearch

SOON_S = 60.0


def order(draws: int = 16, seed: int = 1) -> Order:
    document = demo_document()
    settings = document.settings.model_copy(update={"draws": draws, "seed": seed})
    return Order(document.model_copy(update={"settings": settings}), ())


def asked(place: Searches, same: str, what: Order, session: str | None = None, patience_s: float = 0.0) -> Job:
    job = Job(same, session)
    place.ask(job, same, what, patience_s)
    return job


def of(job: Job) -> SharedSearch:
    assert job.search is not None
    return job.search


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + SOON_S
    while not true():
        assert time.monotonic() < end
        time.sleep(0.02)


@pytest.fixture(scope="module")
def place() -> Iterator[Searches]:
    made = Searches(places=1)
    yield made
    made.close()


def test_the_answer_is_that_of_the_plan_itself(place: Searches) -> None:
    found = of(asked(place, "plain", order())).result.result(SOON_S)
    direct = make_plan(order().typed)
    assert found is not None
    assert found.stamp == direct.stamp
    assert [a.candidate.stages for a in found.alternatives] == [a.candidate.stages for a in direct.alternatives]
    assert place.kept("plain") is found


@pytest.mark.parametrize(("beside", "share"), [(0, 4), (1, 2), (6, 1)])
def test_searches_share_half_of_the_cores(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, beside: int, share: int
) -> None:
    monkeypatch.setattr(searching, "PLACES", 4)  # of eight cores
    queue = Searches(places=0)
    search = SharedSearch("one", order(), 0.0)
    queue._at_work = [search, *(SharedSearch(f"other {n}", order(), 0.0) for n in range(beside))]
    process: Any = SimpleNamespace(stdin=BytesIO(), stdout=BytesIO())
    with pytest.raises(EOFError):  # this child says nothing
        queue._work(searching._Child(process, tmp_path), search)
    process.stdin.seek(0)
    assert Order(*receive(process.stdin, tmp_path)) == replace(order(), cores=share)


def test_a_child_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    place = Searches(places=1)
    assert of(asked(place, "one", order(seed=60))).result.result(SOON_S) is not None
    (folder,) = tmp_path.iterdir()
    assert not list(folder.iterdir())  # what came was read and taken away
    if os.name == "posix":
        assert folder.stat().st_mode & 0o077 == 0
    folder.rmdir()  # as where old temporary files are swept away
    assert of(asked(place, "two", order(seed=61))).result.result(SOON_S) is not None
    (child,) = place._children
    (folder,) = tmp_path.iterdir()
    assert child.folder == folder
    assert child.process.stdin is not None
    child.process.stdin.close()  # as when the server is gone
    assert child.process.wait(SOON_S) == 0
    assert not folder.exists()
    place.close()


def test_many_who_ask_the_same_wait_for_one_search(place: Searches) -> None:
    jobs = [asked(place, "crowd", order(seed=2), patience_s=0.5) for _ in range(25)]
    assert len({id(job.search) for job in jobs}) == 1
    assert place.load() == 1
    for job in jobs[1:]:
        job.abandoned.set()
    assert of(jobs[0]).result.result(SOON_S) is not None  # one of them still waits


def test_the_wait_is_that_of_the_searches_somebody_wants(place: Searches) -> None:
    assert of(asked(place, "timed", order(seed=5))).result.result(SOON_S) is not None
    assert 0 < place._takes_s != searching.TAKES_S  # by what it took
    queue = Searches(places=1)
    jobs = [asked(queue, f"waits {n}", order(), patience_s=3600.0) for n in range(3)]
    assert queue.wait_s() == 3 * searching.TAKES_S
    jobs[0].abandoned.set()
    assert queue.wait_s() == 2 * searching.TAKES_S
    jobs[1].abandoned.set()
    assert queue.load() == 1
    assert queue.wait_s() == 0.0  # alone, a page looks as often as it likes


def test_no_more_at_once_than_there_are_places(place: Searches) -> None:
    jobs = [asked(place, f"one {n}", order(256, seed=10 + n)) for n in range(4)]
    until(lambda: of(jobs[0]).share > 0)
    assert place.ahead(of(jobs[0])) == 0
    assert [place.ahead(of(job)) for job in jobs[1:]] == [1, 2, 3]
    assert all(of(job).share == 0 for job in jobs[1:])
    for job in jobs:
        job.abandoned.set()
    assert of(jobs[3]).result.result(SOON_S) is None
    assert of(jobs[3]).share == 0  # it never started
    until(lambda: place.load() == 0)


def test_a_search_under_way_stops_when_its_tab_is_closed(place: Searches, monkeypatch: pytest.MonkeyPatch) -> None:
    shut: set[str] = set()
    monkeypatch.setattr(searching, "_open", lambda name: name not in shut)
    job = asked(place, "closing", order(2048, seed=30), "tab")
    until(lambda: 0 < of(job).share < 0.5)
    shut.add("tab")
    assert of(job).result.result(SOON_S) is None
    assert of(job).share < 1
    assert place.kept("closing") is None
    again = asked(place, "closing", order(16, seed=30))
    assert again.search is not job.search  # a stopped search is not joined
    assert of(again).result.result(SOON_S) is not None


def test_a_child_that_is_killed_is_told_and_replaced(place: Searches) -> None:
    job = asked(place, "killed", order(2048, seed=40))
    until(lambda: of(job).share > 0)
    place.close()
    with pytest.raises(RuntimeError, match="ended unexpectedly"):
        of(job).result.result(SOON_S)
    assert of(asked(place, "after", order(seed=41))).result.result(SOON_S) is not None


def test_a_child_that_cannot_hand_over_its_plan_is_replaced(place: Searches) -> None:
    job = asked(place, "swept", order(256, seed=70))
    until(lambda: of(job).share > 0)
    (child,) = place._children
    child.folder.rmdir()
    with pytest.raises(RuntimeError, match="FileNotFoundError"):
        of(job).result.result(SOON_S)
    assert of(asked(place, "again", order(seed=71))).result.result(SOON_S) is not None
    assert child not in place._children


def test_a_search_that_fails_says_so_and_the_next_goes_on(place: Searches) -> None:
    document: PlanDocument = demo_document()
    lost = document.model_copy(update={"demand": document.demand.model_copy(update={"main_branch": "nowhere"})})
    with pytest.raises(InputError, match="branch: 'nowhere' is not usable; the branches are"):
        of(asked(place, "lost", Order(lost, ()))).result.result(SOON_S)
    assert of(asked(place, "sound", order(seed=50))).result.result(SOON_S) is not None
