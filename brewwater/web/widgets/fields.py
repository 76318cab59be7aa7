"""Widgets bound to a place of the plan document: each copies from it and writes to it; faults at the field."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from brewwater.errors import InputError
from brewwater.escape import for_markdown
from brewwater.records import Span
from brewwater.reports.analysis import Measurement
from brewwater.units import from_plan_units, plain
from brewwater.web.state import Document, change, desk, hand, look, put
from brewwater.web.widgets.words import Kind, read_range, write_range

Path = tuple[str | int, ...]
Write = Callable[[Document, Any], None]
MOST_LETTERS = 36  # a longer name is cut off in a closed list on a phone
DEGREES = ("°dH", "dH", "°fH", "fH", "Clark")
MOST_SHOWN = 12  # of so many at most all are shown


def seed(key: str, value: Any) -> None:
    """Give a widget its value of the document, but leave a text that could not be used as it was typed."""
    if key not in desk().faults or key not in st.session_state:
        desk().faults.pop(key, None)
        hand(key, value)


def fault(key: str) -> None:
    """The message at the field, where what was typed there could not be used."""
    message = desk().faults.get(key)
    if message:
        st.error(for_markdown(message), icon=":material/edit_off:")


def unit_of(kind: Kind, metric: bool, found: Measurement | None = None) -> str:
    """The unit in which a concentration is asked for: the reader's, or the degrees in which it was typed."""
    if found is not None and found.unit in DEGREES:
        return found.unit
    return "gpg" if kind == "hardness" and not metric else "mg/L"


def in_unit(found: Measurement, analyte: str, unit: str) -> Span:
    """A measurement in another unit; as it was typed where it was typed in that one."""
    if found.unit == unit:
        return found.value
    known = found.in_plan_units(analyte)

    def turn(x: float) -> float:
        return float(f"{from_plan_units(x, unit, analyte):.4g}")

    typical = known.typical
    return Span(low=turn(known.low), high=turn(known.high), typical=None if typical is None else turn(typical))


def middle_in_unit(found: Measurement, analyte: str, unit: str) -> float:
    """The middle of a measurement in another unit, of its ends before they are rounded."""
    if found.unit == unit:
        return found.value.middle
    return float(f"{from_plan_units(found.in_plan_units(analyte).middle, unit, analyte):.4g}")


def done(key: str) -> None:
    """What was just done at the button."""
    message = desk().done.get(key)
    if message:
        st.success(for_markdown(message), icon=":material/check:")


def _changed(key: str, write: Write, read: Callable[[Any], Any]) -> None:
    given = st.session_state[key]
    change(key, lambda document: write(document, read(given)))


def _at(path: Path) -> Write:
    return lambda document, value: put(document, path, value)


def number(
    label: str,
    key: str,
    path: Path = (),
    *,
    value: float | None = None,
    write: Write | None = None,
    kind: Kind = "plain",
    unit: str = "",
    help: str | None = None,
    step: float = 1.0,
    optional: bool = True,
    low: float = 0.0,
    high: float = 1e9,
    whole: bool = False,
    placeholder: str = "not known",
) -> None:
    """A number input. Empty means not known (``optional``). The limits are checked here, not by the browser, so
    that the message can name them; ``low`` and ``high`` are in the reader's unit."""
    words = desk().words
    now = look(path) if write is None or path else value
    tail = unit or words.unit(kind)

    def read(given: float | None) -> float | None:
        if given is None:
            if optional:
                return None
            raise InputError(label, "nothing", "a number is needed", "Write a number.")
        if not math.isfinite(given) or not low <= given <= high:
            raise InputError(
                label,
                given,
                f"a number from {plain(low, 6)} to {plain(high, 6)} {tail} is needed".strip(),
                "Correct it; the plan still uses the value before.",
            )
        return words.back(kind, given)

    # grains are turned from mg/L: four figures, or a goal of 120 mg/L is 7.0105
    digits = 4 if kind == "hardness" and not words.metric else 6
    shown = None if now is None else float(f"{words.out(kind, float(now)):.{digits}g}")
    if whole and shown is not None:
        shown = round(shown)
    seed(key, shown)
    st.number_input(
        for_markdown(f"{label} ({tail})" if tail else label),
        value=None,
        key=key,
        step=int(step) if whole else step,
        format="%d" if whole else "%g",
        help=help,
        placeholder=placeholder if optional else None,
        on_change=_changed,
        args=(key, write or _at(path), read),
    )
    fault(key)


def span(
    label: str,
    key: str,
    path: Path = (),
    *,
    value: Any = None,
    write: Write | None = None,
    kind: Kind = "plain",
    unit: str = "",
    help: str | None = None,
    optional: bool = True,
    placeholder: str = "usual figure",
) -> None:
    """A number or a range in one text field: ``12``, ``10 – 14`` or ``10 – 12 – 14``."""
    words = desk().words
    tail = unit or words.unit(kind)
    now = look(path) if write is None or path else value

    def read(given: str) -> Any:
        found = read_range(label, given)
        if found is None and not optional:
            raise InputError(label, "nothing", "a number or a range is needed", "Write 12, or 10 – 14.")
        if found is None:
            return None
        points = [words.back(kind, p) for p in found]
        return points[0] if len(points) == 1 else points

    seed(key, write_range(words, now, kind))
    st.text_input(
        for_markdown(f"{label} ({tail})" if tail else label),
        key=key,
        placeholder=placeholder if optional else None,
        help=help or "One number, or a range such as 10 – 14, or 10 – 12 – 14 with the typical in the middle.",
        on_change=_changed,
        args=(key, write or _at(path), read),
    )
    fault(key)


def text(
    label: str,
    key: str,
    path: Path = (),
    *,
    value: str = "",
    write: Write | None = None,
    help: str | None = None,
    long: bool = False,
) -> None:
    """A line, or several, of text."""
    seed(key, (look(path) if write is None or path else value) or "")
    if long:
        st.text_area(for_markdown(label), key=key, help=help, on_change=_changed, args=(key, write or _at(path), str))
    else:
        st.text_input(
            for_markdown(label),
            key=key,
            help=help,
            max_chars=120,
            on_change=_changed,
            args=(key, write or _at(path), str),
        )
    fault(key)


def pick(
    label: str,
    options: Sequence[Any],
    *,
    format_func: Callable[[Any], str] = str,
    letters: int = MOST_LETTERS,
    **given: Any,
) -> Any:
    """One of several: a closed list, or all of a few, with lines that break, where a name is too long for a list."""
    if len(options) <= MOST_SHOWN and any(len(format_func(option)) > letters for option in options):
        shown = [for_markdown(format_func(option)) for option in options]
        return st.radio(for_markdown(label), options, format_func=lambda one: shown[options.index(one)], **given)
    return st.selectbox(for_markdown(label), options, format_func=format_func, **given)


def choice(
    label: str,
    key: str,
    options: Sequence[Any],
    path: Path = (),
    *,
    value: Any = None,
    write: Write | None = None,
    names: Callable[[Any], str] = str,
    help: str | None = None,
    label_visibility: Any = "visible",
) -> None:
    """One of a few options."""
    now = look(path) if write is None or path else value
    seed(key, now if now in options else options[0])
    pick(
        label,
        options,
        key=key,
        format_func=names,
        help=help,
        label_visibility=label_visibility,
        on_change=_changed,
        args=(key, write or _at(path), lambda given: given),
    )
    fault(key)


def several(
    label: str,
    key: str,
    options: Sequence[str],
    path: Path = (),
    *,
    value: Sequence[str] = (),
    write: Write | None = None,
    names: Callable[[Any], str] = str,
    help: str | None = None,
) -> None:
    """Any of a few options, as pills."""
    now = look(path) if write is None or path else value
    seed(key, [x for x in now or [] if x in options])
    st.pills(
        for_markdown(label),
        options,
        key=key,
        selection_mode="multi",
        format_func=lambda one: for_markdown(names(one)),
        help=help,
        on_change=_changed,
        args=(key, write or _at(path), list),
    )
    fault(key)


def switch(
    label: str, key: str, path: Path = (), *, value: bool = False, write: Write | None = None, help: str | None = None
) -> None:
    """Yes or no."""
    seed(key, bool(look(path) if write is None or path else value))
    st.toggle(for_markdown(label), key=key, help=help, on_change=_changed, args=(key, write or _at(path), bool))
    fault(key)


def day(
    label: str,
    key: str,
    path: Path = (),
    *,
    value: str | None = None,
    write: Write | None = None,
    help: str | None = None,
) -> None:
    """A date of the calendar."""
    now = look(path) if write is None or path else value

    def read(given: dt.date | None) -> str | None:
        return None if given is None else given.isoformat()

    seed(key, None if now is None else dt.date.fromisoformat(now))
    st.date_input(
        for_markdown(label),
        key=key,
        help=help,
        format="YYYY-MM-DD",
        on_change=_changed,
        args=(key, write or _at(path), read),
    )
    fault(key)


def _act(key: str, how: Callable[[Document], None]) -> None:
    change(key, how)


def act(
    label: str,
    key: str,
    how: Callable[[Document], None],
    *,
    help: str | None = None,
    icon: str | None = None,
    disabled: bool = False,
) -> None:
    """A button that changes the document."""
    st.button(for_markdown(label), key=key, help=help, icon=icon, disabled=disabled, on_click=_act, args=(key, how))
    fault(key)
