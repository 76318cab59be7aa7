"""Several plans at once, searched beside the page in the queue of all searches: progress is shown, all can be
abandoned, and the page is drawn again as each one comes."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.plan import Plan
from brewwater.planning.document import PlanDocument
from brewwater.units import percent
from brewwater.web import planning
from brewwater.web.search_service.search_child import Order
from brewwater.web.search_service.searching import Job, session

# Plans of a coarse look, kept for the session besides those that are shown.
MOST_KEPT = 8
Found = Plan | BrewwaterError


@dataclass
class Task:
    """Plans under way for one place of a page: a job each."""

    jobs: dict[Hashable, Job] = field(default_factory=dict)

    def abandon(self) -> None:
        """Nobody waits for them any more."""
        for job in self.jobs.values():
            job.abandoned.set()

    @property
    def abandoned(self) -> bool:
        """Whether someone stopped them."""
        return any(job.abandoned.is_set() for job in self.jobs.values())

    def done(self) -> dict[Hashable, Found]:
        """What has come so far: the plan, or why there is none.

        Raises
        ------
        Exception : a defect ended one of them
        """
        found: dict[Hashable, Found] = {}
        for key, job in self.jobs.items():
            if job.search is None or not job.search.result.done():
                continue
            try:
                plan = job.search.result.result()
            except BrewwaterError as error:
                found[key] = error
            else:
                if plan is not None:
                    found[key] = plan
        return found


def _shelf() -> dict[str, Any]:
    """What is kept for the session, whichever plan is on the desk."""
    return cast(dict[str, Any], st.session_state.setdefault("aside", {}))


def _stop(slot: str, task: Task) -> None:
    task.abandon()
    _shelf()[f"{slot} stopped"] = tuple(task.jobs)


def _go_on(slot: str) -> None:
    _shelf().pop(f"{slot} stopped", None)


def _ask(documents: Mapping[Hashable, PlanDocument]) -> Task:
    task = Task()
    for key, typed in documents.items():
        job = task.jobs[key] = Job(str(key), session())
        planning.searches().ask(job, planning.same_search(typed, ()), Order(typed, ()), 0.0)
    return task


def several(
    slot: str, documents: Mapping[Hashable, PlanDocument], names: Mapping[Hashable, str]
) -> dict[Hashable, Found]:
    """The plans that are done so far; the others are made beside the page, and it is drawn again as they come.

    Parameters
    ----------
    slot : names this place of the page; what was found in it is kept for the session
    documents : what to plan, by a key that changes whenever the answer would
    names : what each is called while it is worked on
    """
    shelf = _shelf()
    kept = cast(dict[Hashable, Found], shelf.setdefault(f"{slot} found", {}))
    task = shelf.get(f"{slot} task")
    if isinstance(task, Task):
        kept.update(task.done())
        while len(kept) > MOST_KEPT + len(documents):
            kept.pop(next(iter(kept)))
    missing = {k: typed for k, typed in documents.items() if k not in kept}
    if missing:
        if set(missing) <= set(shelf.get(f"{slot} stopped", ())):
            st.caption("This was stopped before all was planned.")
            st.button("Go on", key=f"{slot}_go_on", on_click=_go_on, args=(slot,), icon=":material/refresh:")
        else:
            if not isinstance(task, Task) or not set(missing) <= set(task.jobs) or task.abandoned:
                if isinstance(task, Task):
                    task.abandon()
                task = shelf[f"{slot} task"] = _ask(missing)
            _strip(slot, task, len(task.done()), dict(names))
    return {k: kept[k] for k in documents if k in kept}


@st.fragment(run_every=planning.POLL_S)
def _strip(slot: str, task: Task, shown: int, names: Mapping[Hashable, str]) -> None:
    try:
        done = task.done()
    except Exception:
        _stop(slot, task)  # a defect: told once, not at every look
        raise
    if task.abandoned or len(done) > shown:
        st.rerun()  # the whole page, not this strip alone
    waiting = [k for k in task.jobs if k not in done]
    if any(job.search is not None and job.search.result.done() for job in (task.jobs[k] for k in waiting)):
        task.abandon()  # given up while this tab was away: asked anew
        st.rerun()
    share = (len(done) + sum(task.jobs[k].share for k in waiting)) / max(len(task.jobs), 1)
    text = ", ".join(for_markdown(names.get(k, "")) for k in waiting)
    st.progress(min(share, 1.0), text=f"Planning {text}… {percent(share)}")
    st.button("Stop", key=f"{slot}_stop", on_click=_stop, args=(slot, task), icon=":material/stop:")
