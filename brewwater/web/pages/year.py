"""The year's calendar: service days, seasons, busy days, closures, notices; busy days from a file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import partial
from typing import Any

import streamlit as st

from brewwater.demand import WEEKDAYS, Event, EventsRead, read_events
from brewwater.errors import InputError
from brewwater.escape import for_markdown
from brewwater.web.state import Document, change, desk, hand
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.words import date

DAY_NAMES = {w: w.capitalize() for w in WEEKDAYS}
MONTHS = tuple(dt.date(2000, m, 1).strftime("%b") for m in range(1, 13))
DATED: dict[str, tuple[str, dict[str, Any]]] = {
    "events": ("Busy days", {"name": "Event", "multiplier": 2.0}),
    "closures": ("Closures", {"name": "closed"}),
    "suspensions": ("Notices on the water", {"name": "boil-water notice"}),
}


MOST_OPEN = 8  # so many dated entries are open for editing at once; of more, one is chosen
SATURDAY = 5  # as datetime counts


def calendar() -> None:
    """Service days, seasons and dated entries; busy days may come from a file."""
    on = desk()
    st.subheader("The year's calendar", anchor=False)
    fields.several(
        "Service days", "weekdays", WEEKDAYS, ("demand", "calendar", "weekdays"), names=DAY_NAMES.__getitem__
    )
    columns = st.columns(2)
    with columns[0]:
        fields.day("The plan starts", "start", ("demand", "calendar", "start"))
    with columns[1]:
        fields.number(
            "and runs for",
            "months",
            ("demand", "calendar", "months"),
            unit="months",
            whole=True,
            low=24,
            high=36,
            optional=False,
        )
    fields.span(
        "Growth a year",
        "growth",
        ("demand", "calendar", "growth_per_year"),
        unit="share",
        optional=False,
        help="0.1 is ten per cent more drinks each year.",
    )
    now = on.typed.demand.calendar
    with st.expander(f"Seasons ({len(now.seasons)})", icon=":material/partly_cloudy_day:", key="box_seasons"):
        for i in range(len(now.seasons)):
            _season(i, now.seasons[i].months)
        fields.act("Add", "seasons_add", _add_season, icon=":material/add:")
        st.caption("Ordinary days of these months are so many times as busy; where seasons overlap, both count.")
    for part, (title, fresh) in DATED.items():
        items = getattr(now, part)
        with st.expander(f"{for_markdown(title)} ({len(items)})", icon=":material/event:", key=f"box_{part}"):
            for i in _opened(part, items):
                _dated(part, i, items[i])
            fields.act("Add", f"{part}_add", partial(_add_dated, part, fresh), icon=":material/add:")
            if part == "events":
                _from_file()


def _season(i: int, months: Sequence[int]) -> None:
    with st.container(border=True):
        fields.several(
            "Months", f"season_months_{i}", MONTHS, value=[MONTHS[m - 1] for m in months], write=partial(_set_months, i)
        )
        fields.number(
            "Times an ordinary day",
            f"season_size_{i}",
            ("demand", "calendar", "seasons", i, "multiplier"),
            step=0.1,
            unit="×",
            optional=False,
        )
        fields.act(
            "Take out", f"season_out_{i}", partial(pop, ("demand", "calendar", "seasons"), i), icon=":material/delete:"
        )


def _set_months(i: int, document: Document, names: list[str]) -> None:
    document["demand"]["calendar"]["seasons"][i]["months"] = [MONTHS.index(n) + 1 for n in names]


def _add_season(document: Document) -> None:
    document["demand"]["calendar"]["seasons"].append({"months": [6, 7, 8], "multiplier": 1.5})


def _opened(part: str, items: Sequence[Any]) -> Sequence[int]:
    """The entries that are open for editing: all of a few; of many a table, and one that the reader picks."""
    if len(items) <= MOST_OPEN:
        return range(len(items))
    show.table(
        ["Name", "From", "To"],
        [[item.name, date(item.start), date(item.end)] for item in items],
        label=DATED[part][0],
        long=(0,),
    )
    key = f"{part}_open"
    kept = st.session_state.get(key)
    hand(key, kept if kept in range(len(items)) else len(items) - 1)
    return [
        fields.pick(
            "Change one of them", range(len(items)), key=key, format_func=lambda i: f"{items[i].name}, {items[i].start}"
        )
    ]


def _dated(part: str, i: int, item: Any) -> None:
    path = ("demand", "calendar", part, i)
    with st.container(border=True):
        fields.text("Name", f"{part}_name_{i}", (*path, "name"))
        columns = st.columns(2)
        with columns[0]:
            fields.day("From", f"{part}_start_{i}", value=item.start.isoformat(), write=partial(_set_start, part, i))
        with columns[1]:
            fields.day("to", f"{part}_end_{i}", (*path, "end"))
        if part != "suspensions":
            fields.switch("Every year", f"{part}_yearly_{i}", (*path, "yearly"))
        if part == "events":
            counted = item.drinks_per_day is not None
            fields.number(
                "Drinks a day" if counted else "Times an ordinary day",
                f"event_size_{i}",
                (*path, "drinks_per_day" if counted else "multiplier"),
                step=0.5,
                optional=False,
                unit="drinks" if counted else "×",
            )
            fields.switch("Counted in drinks", f"event_counted_{i}", value=counted, write=partial(_count, i))
        if part == "suspensions":
            fields.switch("Replace the cartridges after it", f"suspension_replace_{i}", (*path, "replace_cartridges"))
        if part == "closures":
            fields.choice(
                "Kind",
                f"closure_kind_{i}",
                ("closed", "stored"),
                (*path, "kind"),
                names={"closed": "closed, cartridges stay", "stored": "laid up, cartridges are discarded"}.__getitem__,
            )
            fields.switch("Drained", f"closure_drained_{i}", (*path, "drained"))
            fields.switch("May freeze", f"closure_frozen_{i}", (*path, "frozen"))
            if item.kind == "stored" or item.frozen:
                show.cautions(
                    [
                        "Discard wet cartridges at lay-up; buy new ones for the day you reopen.",
                        "Pumps, flow meters, boilers and heat exchangers hold water after draining.",
                        "Only potable antifreeze, never through cartridges, nor a machine unless its manual allows it.",
                    ],
                    "Lay-up and freezing",
                )
        fields.act(
            "Take out", f"{part}_out_{i}", partial(pop, ("demand", "calendar", part), i), icon=":material/delete:"
        )


def _set_start(part: str, i: int, document: Document, value: str) -> None:
    item = document["demand"]["calendar"][part][i]
    item["start"] = value
    item["end"] = max(item["end"], value)


def _add_dated(part: str, fresh: dict[str, Any], document: Document) -> None:
    """A new line stands on the next weekend that lies in the plan."""
    calendar = document["demand"]["calendar"]
    start = dt.date.fromisoformat(calendar["start"])
    last = start + dt.timedelta(days=28 * calendar["months"] - 9)
    first = min(max(start, dt.date.today()), last)
    saturday = first + dt.timedelta(days=(SATURDAY - first.weekday()) % 7)
    calendar[part].append(
        {**fresh, "start": saturday.isoformat(), "end": (saturday + dt.timedelta(days=1)).isoformat()}
    )


def _count(i: int, document: Document, counted: bool) -> None:
    event = document["demand"]["calendar"]["events"][i]
    event["drinks_per_day"], event["multiplier"] = (200.0, None) if counted else (None, 2.0)


def pop(path: tuple[str, ...], index: int, document: Document) -> None:
    at: Any = document
    for part in path:
        at = at[part]
    at.pop(index)


# -- busy days from a file ----------------------------------------------------------------------------------


def _from_file() -> None:
    """Upload, look, accept: nothing of the file is in the plan before the last button."""
    on = desk()
    st.markdown("**From a file**")
    hand("events_times", st.session_state.get("events_times", on.extra.get("events_times", 2.0)))
    times = st.number_input(
        "Times an ordinary day, where the file does not say",
        0.0,
        100.0,
        key="events_times",
        step=0.5,
        help="A calendar entry does not know how many drinks it brings. Columns multiplier or drinks_per_day do.",
    )
    on.extra["events_times"] = times
    given = st.file_uploader(
        "A calendar (.ics) or a table (.csv with the columns name, start, end)",
        type=["ics", "csv"],
        key=f"events_up_{on.extra.get('events_round', 0)}",
    )
    if given is not None:
        on.extra["events_file"] = given.getvalue()
    fields.done("events_accept")
    if "events_file" not in on.extra:
        return
    try:
        found = read_events(on.extra["events_file"], multiplier=times)
    except InputError as error:
        st.error(for_markdown(error), icon=":material/report:")
        st.button("Put the file away", key="events_away", on_click=_put_away)
        return
    _preview(found)


def _preview(found: EventsRead) -> None:
    now = desk().typed.demand.calendar
    state = [
        "in the calendar already"
        if event in now.events
        else "outside the plan"
        if event.end < now.start or event.start >= now.end
        else "new"
        for event in found.events
    ]
    fresh = [event for event, word in zip(found.events, state, strict=True) if word == "new"]
    if found.events:
        show.table(
            ["Event", "How busy", "State"],
            [
                [f"{event.name}, {_when(event)}", _size(event), word]
                for event, word in zip(found.events, state, strict=True)
            ],
            label="Events in the file",
        )
    if found.problems:
        st.warning(f"Left out, {len(found.problems)} of the file's entries:", icon=":material/rule:")
        show.table(["Left out, and why"], [[line] for line in found.problems], label="Entries left out")
    if not fresh:
        st.info("Nothing in the file is new to this plan.")
    with st.container(horizontal=True):
        st.button(
            f"Add {len(fresh)} to the calendar",
            key="events_accept",
            icon=":material/check:",
            type="primary",
            on_click=_accept,
            args=(fresh,),
            disabled=not fresh,
        )
        st.button("Put the file away", key="events_away", on_click=_put_away)
    fields.fault("events_accept")


def _when(event: Event) -> str:
    return date(event.start) if event.start == event.end else f"{date(event.start)} to {date(event.end)}"


def _size(event: Event) -> str:
    words = desk().words
    if event.drinks_per_day is not None:
        return f"{words.number(event.drinks_per_day)} drinks a day"
    return f"{words.number(event.multiplier)} × an ordinary day"


def _put_away() -> None:
    on = desk()
    on.extra.pop("events_file", None)
    on.extra["events_round"] = on.extra.get("events_round", 0) + 1  # a new key empties the upload field


def _accept(fresh: Sequence[Event]) -> None:
    def add(document: Document) -> None:
        document["demand"]["calendar"]["events"] += [event.model_dump(mode="json") for event in fresh]

    if change("events_accept", add):
        desk().done["events_accept"] = f"{len(fresh)} added. Undo takes them out again."
        _put_away()
