"""A report is read in a process that is killed at its limits of time and memory, and its end is one clear line."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from brewwater import cores
from brewwater.errors import ReportError
from brewwater.reports import bounded, read_report, read_text
from brewwater.reports.bounded import Limits, Watch
from brewwater.reports.handed import report_from

TEXT = "pH 7.6\nCalcium 45 mg/L\nMagnesium 12 mg/L\nAlkalinity 126 mg/L as CaCO3\n"


TASKS = {n: f"bounded_tasks:{n}" for n in ("sleeps", "spins", "eats", "dies", "fails", "counts")}


@pytest.fixture(scope="module", autouse=True)
def known_tasks() -> Iterator[None]:
    """The misbehaving tasks are known here and in every process that is started; one set of helpers for the module."""
    here = str(Path(__file__).parent)
    program = f"import brewwater.reports.bounded as b; sys.path.append({here!r}); b.TASKS.update({TASKS!r}); from"
    helpers = bounded.Helpers()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bounded, "TASKS", bounded.TASKS | TASKS)
        patch.setattr(bounded, "_PROGRAM", bounded._PROGRAM.replace("from", program))
        patch.setattr(bounded, "_helpers", lambda: helpers)
        patch.syspath_prepend(here)
        yield
    helpers.close()


@pytest.fixture(params=["fork", "helper", "start"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Each of the ways in which a process is come by; the last is that of macOS and Windows, where only this process
    looks at the memory of the other, and psutil tells it."""
    if request.param == "start":
        monkeypatch.setattr(cores, "system_forks", lambda: False)
        unconfined = "import resource; resource.setrlimit = lambda *limits: None; import brewwater"
        monkeypatch.setattr(bounded, "_PROGRAM", bounded._PROGRAM.replace("import brewwater", unconfined, 1))
    return str(request.param)


def asked(way: str, task: Callable[[], Any]) -> Any:
    """What a task gives, or the error it raises; in a thread where that decides how it is read."""
    if way != "helper":
        return task()
    found: list[Any] = []

    def run() -> None:
        try:
            found.append(task())
        except Exception as error:
            found.append(error)

    thread = threading.Thread(target=run)
    thread.start()
    thread.join(60)
    if isinstance(found[0], Exception):
        raise found[0]
    return found[0]


def test_the_same_report_by_every_way(way: str, tmp_path: Path) -> None:
    (tmp_path / "town.txt").write_text(TEXT)
    report = asked(way, lambda: read_report(tmp_path / "town.txt"))
    assert {r.analyte: r.typical for r in report.rows} == {"ph": 7.6, "calcium": 45, "magnesium": 12, "alkalinity": 126}
    assert report.analysis()["calcium"].value.typical == 45
    assert asked(way, lambda: read_text(TEXT)).rows == asked(way, lambda: read_text(TEXT)).rows
    with pytest.raises(ReportError, match="not a file"):
        asked(way, lambda: read_report(tmp_path / "none.txt"))


@pytest.mark.parametrize(
    ("task", "says", "seconds"),
    [
        ("sleeps", "over 1 s", 1),
        ("spins", "over 1 s", 1),
        ("eats", "memory", 20),
        ("dies", "broke off", 5),
        ("fails", "broke off on it|KeyError in bounded_tasks.py", 5),
    ],
)
def test_what_misbehaves_ends_in_one_line(way: str, task: str, says: str, seconds: float) -> None:
    begun = time.monotonic()
    with pytest.raises(ReportError, match=says) as caught:
        asked(way, lambda: bounded.run(task, {}, "town.txt", Limits(seconds, 500 << 20)))
    assert "\n" not in str(caught.value)
    assert "report town.txt" in str(caught.value)
    assert time.monotonic() - begun < 30
    assert asked(way, lambda: read_text(TEXT)).rows[0].typical == 7.6  # the next one is read as if nothing had been


def test_the_way_is_what_suits_and_can_be_said(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = {"kind": "result", "value": None}
    for may, system, expected in ((True, True, "fork"), (False, True, "helper"), (False, False, "start")):
        taken: list[str] = []
        with monkeypatch.context() as patch:
            patch.setattr(cores, "may_fork", lambda may=may: may)
            patch.setattr(cores, "system_forks", lambda system=system: system)
            patch.setattr(bounded, "forked", lambda *_, taken=taken: taken.append("fork") or answer)
            patch.setattr(bounded, "_started", lambda *_, taken=taken: taken.append("start") or answer)
            patch.setattr(bounded.Helpers, "run", lambda *_, taken=taken: taken.append("helper") or answer)
            bounded.run("counts", {"to": 1}, "x")
            bounded.run("counts", {"to": 1}, "x", way="helper")
        assert taken == [expected, "helper"]


def test_progress_is_heard_and_a_reading_can_be_stopped(way: str) -> None:
    heard: list[Any] = []
    limits = Limits(1.0, 1 << 30)  # from one sign of progress to the next
    done = asked(way, lambda: bounded.run("counts", {"to": 9}, "x", limits, Watch(progress=heard.append)))
    assert done == {"counted": 9}
    assert heard == [[i, 9] for i in range(1, 10)]
    heard.clear()
    watch = Watch(progress=heard.append, cancelled=lambda: len(heard) >= 2)
    with pytest.raises(bounded.Cancelled):
        asked(way, lambda: bounded.run("counts", {"to": 90}, "x", limits, watch))
    assert 2 <= len(heard) < 6


def test_no_process_is_left(way: str) -> None:
    before = set(_children())
    with pytest.raises(ReportError):
        asked(way, lambda: bounded.run("sleeps", {}, "x", Limits(0.5)))
    left = set(_children()) - before
    forked = way == "fork" and threading.active_count() == 1  # other tests' threads keep this process from forking
    assert len(left) <= (0 if forked else 1)  # a warm helper may wait for the next report


def _children() -> list[str]:
    own = str(os.getpid())
    found = []
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = place.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if fields[1] == own and fields[0] != "Z":
            found.append(place.parent.name)
    return found


def test_a_page_that_never_closes_a_tag(tmp_path: Path) -> None:
    """It once kept the server busy for minutes."""
    (tmp_path / "page.html").write_text("<html><body>" + '<a x="' * 100_000)
    begun = time.monotonic()
    said = "read"
    try:
        report_from("report", {"path": str(tmp_path / "page.html")}, "page.html", Limits(4.0))
    except ReportError as error:
        said = str(error)
    assert said == "read" or "over 4 s" in said or "memory" in said
    assert time.monotonic() - begun < 10
