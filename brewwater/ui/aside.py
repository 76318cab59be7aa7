"""Work that takes more than a moment, done beside the page: its progress is shown and it can be abandoned."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any, cast

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.inputs import PlanDocument
from brewwater.plan import Plan, make_plan

POLL_S = 0.5
MOST_KEPT = 24
Progress = Callable[[float], None]
Found = Plan | BrewwaterError
Work = Callable[[Progress], Plan]


class Abandoned(Exception):
    """Someone stopped the work, or asked for something else."""


def planning(document: PlanDocument) -> Work:
    """The work of planning a document; the train is searched where the document has none."""
    return lambda progress: make_plan(document, search=document.train is None, progress=progress)


@dataclass
class Task:
    """Several plans under way; ``found`` fills up as they are done."""

    keys: tuple[Hashable, ...]
    found: dict[Hashable, Found] = field(default_factory=dict)
    now: Hashable = None
    share: float = 0.0
    abandoned: threading.Event = field(default_factory=threading.Event)
    result: Future[None] | None = None


@st.cache_resource(show_spinner=False)
def _workers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix="aside")


def _do(task: Task, jobs: Mapping[Hashable, Work]) -> None:
    """In a thread: one after the other; what is done stays, also where the rest is abandoned."""

    def progress(share: float) -> None:
        task.share = (len(task.found) + min(max(share, 0.0), 1.0)) / len(task.keys)
        if task.abandoned.is_set():
            raise Abandoned

    for key in task.keys:
        task.now = key
        try:
            progress(0.0)
            task.found[key] = jobs[key](progress)
        except BrewwaterError as error:
            task.found[key] = error
        except Abandoned:
            return


def _shelf() -> dict[str, Any]:
    """What is kept for the session, whichever plan is on the desk."""
    return cast(dict[str, Any], st.session_state.setdefault("aside", {}))


def _stop(slot: str, task: Task) -> None:
    task.abandoned.set()
    _shelf()[f"{slot} stopped"] = task.keys


def _go_on(slot: str) -> None:
    _shelf().pop(f"{slot} stopped", None)


def several(slot: str, jobs: Mapping[Hashable, Work], names: Mapping[Hashable, str]) -> dict[Hashable, Found]:
    """The plans that are done so far; the others are made beside the page, and it is drawn again as they come.

    Parameters
    ----------
    slot : names this place of the page; what was found in it is kept for the session
    jobs : what to do, by a key that changes whenever the answer would
    names : what each is called while it is worked on
    """
    shelf = _shelf()
    kept = cast(dict[Hashable, Found], shelf.setdefault(f"{slot} found", {}))
    task = shelf.get(f"{slot} task")
    if isinstance(task, Task):
        kept.update(task.found)
        while len(kept) > MOST_KEPT + len(jobs):
            kept.pop(next(iter(kept)))
    missing = tuple(k for k in jobs if k not in kept)
    if missing:
        stopped = shelf.get(f"{slot} stopped", ())
        if set(missing) <= set(stopped):
            st.caption("This was stopped before all was planned.")
            st.button("Go on", key=f"{slot}_go_on", on_click=_go_on, args=(slot,), icon=":material/refresh:")
        else:
            if not isinstance(task, Task) or not set(missing) <= set(task.keys) or task.abandoned.is_set():
                if isinstance(task, Task):
                    task.abandoned.set()
                task = shelf[f"{slot} task"] = Task(missing)
                task.result = _workers().submit(_do, task, dict(jobs))
            _strip(slot, task, len(task.found), dict(names))
    return {k: kept[k] for k in jobs if k in kept}


@st.fragment(run_every=POLL_S)
def _strip(slot: str, task: Task, shown: int, names: Mapping[Hashable, str]) -> None:
    if task.result is None:
        return
    if task.result.done():
        try:
            task.result.result()
        except Exception:
            _stop(slot, task)  # a defect: told once, not at every look
            raise
    if task.abandoned.is_set() or task.result.done() or len(task.found) > shown:
        st.rerun()  # the whole page, not this strip alone
    share = min(max(task.share, 0.0), 1.0)
    name = names.get(task.now, "")
    st.progress(share, text=f"Planning {name}… {share:.0%}".replace("%", " %"))
    st.button("Stop", key=f"{slot}_stop", on_click=_stop, args=(slot, task), icon=":material/stop:")
