"""What a session keeps: one plan document, what was before it and after it, what is saved.

Widgets never own a value. Each copies its value from the document before it is drawn and writes to the
document from its callback, so that a page that is left (Streamlit forgets its widgets) loses nothing.
"""

from __future__ import annotations

import copy
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from brewwater.errors import InputError
from brewwater.planning.document import PlanDocument, demo_document, load_document
from brewwater.treatment import Stage
from brewwater.web.widgets.words import Marks, Words

Document = dict[str, Any]
Change = Callable[[Document], None]
MOST_STEPS = 100


@dataclass
class Desk:
    """One session's work.

    typed : the parsed document, always the same as ``document``
    faults : message by widget key: what was typed there could not be used; the document is as it was before
    done : what was just done, by widget key; it stays until the next step or another page
    train : the treatment last recommended, followed while a new search runs
    ref, version : the saved unit this came from, and the version it was opened at
    saved : the document as saved; None where nothing is saved yet
    """

    document: Document
    typed: PlanDocument
    past: list[Document] = field(default_factory=list)
    future: list[Document] = field(default_factory=list)
    faults: dict[str, str] = field(default_factory=dict)
    done: dict[str, str] = field(default_factory=dict)
    train: tuple[Stage, ...] = ()
    ref: str | None = None
    version: int = 0
    saved: Document | None = None
    marks: Marks = "1,234.5"
    page: str = ""
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def words(self) -> Words:
        """How this reader wants numbers."""
        return Words(self.typed.units == "metric", self.marks)

    def stop_search(self) -> None:
        """Abandon a search under way, so that it does not slow down what follows."""
        abandon = self.extra.get("abandon")
        if isinstance(abandon, threading.Event):
            abandon.set()

    @property
    def unsaved(self) -> bool:
        """True where the document differs from what is saved."""
        return self.saved is None or self.saved != self.document

    @property
    def changed(self) -> bool:
        """True where something was changed here and is not saved: more than a demo that was only opened."""
        return self.unsaved and bool(self.past)


def as_document(typed: PlanDocument) -> Document:
    """The document in full as plain values."""
    return typed.model_dump(mode="json")


def new_desk(typed: PlanDocument, ref: str | None = None, version: int = 0) -> Desk:
    """A desk with a document on it; saved where it comes from a unit."""
    document = as_document(typed)
    return Desk(document, typed, ref=ref, version=version, saved=document if ref else None)


def desk() -> Desk:
    """This session's desk; the demo plan at first."""
    if "desk" not in st.session_state:
        st.session_state["desk"] = new_desk(demo_document())
    return cast(Desk, st.session_state["desk"])


def hear() -> None:
    """Note which widgets the browser shows by now: it tells the values of all of them with each request."""
    context = get_script_run_ctx()
    told = context.session_state.get_widget_states() if context else []
    # Streamlit's name of a widget ends with the key it was given: $$ID-hash-key
    st.session_state["told"] = frozenset(state.id.split("-", 2)[-1] for state in told)


def hand(key: str, value: Any) -> None:
    """Give a widget its value, before it is drawn.

    Streamlit sends a value that was set here only with the run that sets it. Where another run ends before the browser
    has the widget's code (a slow line, a busy phone), the widget comes up empty and its emptiness is sent back as if
    the reader had cleared it. So the value is sent again until the browser tells one; never after that, when it would
    undo what is being typed.
    """
    shown = key in st.session_state.get("told", ()) and key in st.session_state
    if not shown or st.session_state[key] != value:
        st.session_state[key] = value


def set_desk(made: Desk) -> None:
    """Put another document on the desk; the reader's number marks stay."""
    old = st.session_state.get("desk")
    if isinstance(old, Desk):
        made.marks, made.page = old.marks, old.page
        old.stop_search()
    st.session_state["desk"] = made


def begin(typed: PlanDocument) -> None:
    """Start another plan that is saved nowhere; what was on the desk is one undo away."""
    old = desk()
    made = new_desk(typed)
    made.past = [*old.past[-MOST_STEPS:], old.document]
    set_desk(made)
    st.query_params.pop("unit", None)


def _told(error: InputError) -> str:
    """The fault at its field, in the reader's words where the document's own check refused it."""
    *path, last = error.field.split(".")
    if not path:
        return str(error)
    limit = error.limit.replace("input should be", "it should be")
    whole = last.isdigit() or not isinstance(error.value, str | float | int)  # the fault is of several fields at once
    said = (
        limit[:1].upper() + limit[1:] if whole else f"{last.replace('_', ' ').capitalize()} is {error.value}; {limit}"
    )
    return f"{said}. Correct it; the plan still uses the value before."


def change(key: str, how: Change) -> bool:
    """Change the document by ``how``; where that cannot be, keep it and note the fault at the widget ``key``."""
    on = desk()
    trial = copy.deepcopy(on.document)
    try:
        how(trial)
        typed = load_document(trial)
    except InputError as error:
        on.faults[key] = _told(error)
        return False
    on.faults.pop(key, None)
    full = as_document(typed)
    if full != on.document:
        on.past = [*on.past[-MOST_STEPS:], on.document]
        on.future = []
        on.document, on.typed, on.done = full, typed, {}
        on.stop_search()
    return True


def replace(document: Mapping[str, Any]) -> None:
    """Take another whole document as one step that can be undone.

    Raises
    ------
    InputError : it is not a plan document
    """
    on = desk()
    typed = load_document(dict(document))
    on.past = [*on.past[-MOST_STEPS:], on.document]
    on.future, on.faults, on.done = [], {}, {}
    on.document, on.typed = as_document(typed), typed


def undo() -> None:
    """One step back."""
    on = desk()
    if on.past:
        on.future.append(on.document)
        _take(on, on.past.pop())


def redo() -> None:
    """One step forward again."""
    on = desk()
    if on.future:
        on.past.append(on.document)
        _take(on, on.future.pop())


def _take(on: Desk, document: Document) -> None:
    on.document, on.typed = document, load_document(document)
    on.faults, on.done = {}, {}
    on.stop_search()


def look(path: tuple[str | int, ...], inside: Any = None) -> Any:
    """The value at a path of the document; None where a part of the path is not there."""
    at: Any = desk().document if inside is None else inside
    for part in path:
        try:
            at = at[part]
        except (KeyError, IndexError, TypeError):
            return None
    return at


def put(document: Document, path: tuple[str | int, ...], value: Any) -> None:
    """Set the value at a path; missing mappings on the way are made."""
    at: Any = document
    for part in path[:-1]:
        if isinstance(at, dict) and at.get(part) is None:
            at[part] = {}
        at = at[part]
    at[path[-1]] = value
