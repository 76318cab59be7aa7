"""Searches of all sessions of this server: one queue, few processes, the same question asked once.

A search takes seconds of processor time. However many people change things, no more than ``PLACES`` searches run, each
in a process of its own at low priority (``search_child``), so that the pages stay quick. One that nobody waits for
any more (changed on, stopped, or its tabs closed) is taken off the queue, or stopped where it runs. People who ask
the same wait for the same search, and the last few answers are kept.
"""

from __future__ import annotations

import atexit
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from streamlit import runtime
from streamlit.runtime.scriptrunner import get_script_run_ctx

from brewwater.errors import InputError
from brewwater.plan import Plan
from brewwater.treatment import Stage
from brewwater.web import journal
from brewwater.web.search_service.parcel import clear, receive, send
from brewwater.web.search_service.search_child import Order

# Searches share half of the cores; the other half is for the pages, which someone waits for at every change.
PLACES = max(1, (os.cpu_count() or 1) // 2)
# A full plan holds some 50 MB of draws.
KEPT = 6
LOOK_S = 0.5
# What a search is taken to last before one has been timed: an estimate.
TAKES_S = 4.0
# A child that does not heed a stop for so long is ended; the next search starts a new one.
HEED_S = 20.0


def session() -> str | None:
    """The browser session that this script runs for; None outside of one."""
    found = get_script_run_ctx(suppress_warning=True)
    return found.session_id if found else None


def _open(name: str | None) -> bool:
    """Whether a session still has its tab; one outside a server has no tab to close."""
    return name is None or not runtime.exists() or bool(runtime.get_instance().is_active_session(name))


@dataclass(eq=False)
class SharedSearch:
    """A search for all who asked the same; ``first`` is what a coarse look found."""

    same: str
    order: Order
    due: float
    jobs: list[Job] = field(default_factory=list)
    share: float = 0.0
    first: tuple[Stage, ...] | None = None
    result: Future[Plan | None] = field(default_factory=Future)

    def wanted(self) -> bool:
        """Whether anybody still waits for it."""
        return any(not job.abandoned.is_set() and _open(job.session) for job in self.jobs)


@dataclass(eq=False)
class Job:
    """One session's part in a search."""

    key: str
    session: str | None = None
    abandoned: threading.Event = field(default_factory=threading.Event)
    search: SharedSearch | None = None

    @property
    def share(self) -> float:
        """How much of the search is done, 0 to 1."""
        return min(max(self.search.share, 0.0), 1.0) if self.search else 0.0


@dataclass(frozen=True, eq=False)
class _Child:
    """A process that searches, and the folder through which arrays come from it."""

    process: subprocess.Popen[bytes]
    folder: Path

    def send(self, order: Order | None) -> None:
        pipe = self.process.stdin
        assert pipe is not None
        send(order and (order.typed, order.train, order.cores), pipe, self.folder)

    def receive(self) -> tuple[str, Any]:
        pipe = self.process.stdout
        assert pipe is not None
        word, value = receive(pipe, self.folder)
        return word, value

    def end(self) -> None:
        self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                pipe.close()
        clear(self.folder)


class Searches:
    """The queue, the processes that work it off, and the answers kept."""

    def __init__(self, places: int = PLACES) -> None:
        self._places = places
        self._turn = threading.Condition()
        self._line: list[SharedSearch] = []
        self._at_work: list[SharedSearch] = []
        self._kept: OrderedDict[str, Plan] = OrderedDict()
        self._takes_s = TAKES_S
        self._children: set[_Child] = set()
        atexit.register(self.close)
        for number in range(places):
            threading.Thread(target=self._serve, name=f"search-{number}", daemon=True).start()

    def close(self) -> None:
        """End the children."""
        for child in list(self._children):
            child.process.kill()
            child.process.wait()
            clear(child.folder)

    def kept(self, same: str) -> Plan | None:
        """An answer found before, for whomever."""
        with self._turn:
            found = self._kept.get(same)
            if found is not None:
                self._kept.move_to_end(same)
            return found

    def ask(self, job: Job, same: str, order: Order, patience_s: float) -> None:
        """Put a search in the queue, or join one that is there already; it starts after ``patience_s`` at the
        soonest."""
        due = time.monotonic() + patience_s
        with self._turn:
            search = next((s for s in (*self._line, *self._at_work) if s.same == same), None)
            if search is None:
                search = SharedSearch(same, order, due)
                self._line.append(search)
            search.jobs.append(job)
            search.due = min(search.due, due)
            job.search = search
            self._turn.notify()

    def ahead(self, search: SharedSearch) -> int:
        """How many searches come before this one."""
        with self._turn:
            if search not in self._line:
                return 0
            return len(self._at_work) + sum(s.due < search.due and s.wanted() for s in self._line)

    def load(self) -> int:
        """Searches at work and waiting that somebody still wants."""
        with self._turn:
            return sum(s.wanted() for s in (*self._at_work, *self._line))

    def wait_s(self) -> float:
        """Seconds until all of them are done, by how long the latest ones took; 0 where there is but one."""
        load = self.load()
        return load * self._takes_s / self._places if load > 1 else 0.0

    # -- the threads that keep a child each

    def _serve(self) -> None:
        child: _Child | None = None
        while True:
            search = self._next()
            try:
                # a folder of temporary files may have been swept by now
                if child is not None and (child.process.poll() is not None or not child.folder.is_dir()):
                    self._end(child)
                    child = None
                child = child or self._start()
                if not self._work(child, search):
                    self._end(child)  # whatever ailed it, the next one starts afresh
                    child = None
            except Exception as error:
                journal.fault("search", error)
                if child is not None:
                    self._end(child)
                    child = None
                if not search.result.done():
                    search.result.set_exception(RuntimeError(f"the search ended unexpectedly ({error!r})"))
            finally:
                with self._turn:
                    self._at_work.remove(search)

    def _next(self) -> SharedSearch:
        """The next search that is due and still wanted."""
        with self._turn:
            while True:
                for lost in [s for s in self._line if not s.wanted()]:
                    self._line.remove(lost)
                    lost.result.set_result(None)
                soonest = min(self._line, key=lambda s: s.due, default=None)
                wait = None if soonest is None else soonest.due - time.monotonic()
                if soonest is not None and wait is not None and wait <= 0:
                    self._line.remove(soonest)
                    self._at_work.append(soonest)
                    return soonest
                self._turn.wait(wait)

    def _start(self) -> _Child:
        windows = getattr(subprocess, "BELOW_NORMAL_PRIORITY_CLASS", 0)  # elsewhere the child lowers itself
        folder = Path(tempfile.mkdtemp(prefix="brewwater-"))  # for this user only
        try:
            process = subprocess.Popen(
                [sys.executable, "-P", "-m", "brewwater.web.search_service.search_child", str(folder)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                creationflags=windows,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
            )
        except OSError:
            clear(folder)
            raise
        child = _Child(process, folder)
        self._children.add(child)
        return child

    def _end(self, child: _Child) -> None:
        self._children.discard(child)
        child.end()

    def _work(self, child: _Child, search: SharedSearch) -> bool:
        """Have the child make the search; False where it failed by a defect."""
        over = threading.Event()
        watch = threading.Thread(target=self._watch, args=(child, search, over), daemon=True)
        with self._turn:
            cores = max(1, PLACES // len(self._at_work))
        child.send(replace(search.order, cores=cores))
        watch.start()
        begun = time.monotonic()
        try:
            word: str = ""
            value: Any = None
            while word not in ("plan", "stopped", "refused", "failed"):
                word, value = child.receive()
                if word == "share":
                    search.share = float(value)
                elif word == "first":
                    search.first = value
        finally:
            over.set()
            watch.join()
        journal.note("search", end=word, seconds=time.monotonic() - begun)
        with self._turn:
            if word == "plan":
                self._takes_s = (self._takes_s + time.monotonic() - begun) / 2
                self._kept[search.same] = value
                while len(self._kept) > KEPT:
                    self._kept.popitem(last=False)
        settle: Callable[[Any], None] = search.result.set_result
        if word == "refused":
            settle, value = search.result.set_exception, InputError(*value)
        elif word == "failed":
            settle, value = search.result.set_exception, RuntimeError(value)
        settle(value)
        return word != "failed"

    def _watch(self, child: _Child, search: SharedSearch, over: threading.Event) -> None:
        """Tell the child to stop as soon as nobody waits; end it where it does not heed that."""
        while not over.wait(LOOK_S):
            with self._turn:
                lost = not search.wanted()
                if lost:
                    search.same = ""  # nobody joins it any more
            if lost:
                child.send(None)
                if not over.wait(HEED_S):
                    child.process.kill()
                return
