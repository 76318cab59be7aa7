"""The round: what fails its limit, what is overdue, due and soon on every truck, what to load and to order."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.output.round import Stop, UnitRound, parts_list, shortages, stops, visits
from brewwater.output.round_files import round_files
from brewwater.output.round_keeping import unit_rounds
from brewwater.store import Store
from brewwater.web import keeping
from brewwater.web.pages.round_feed import feed_address
from brewwater.web.state import desk
from brewwater.web.widgets import show
from brewwater.web.widgets.words import date

STATE = {"overdue": "Overdue", "due": "Due", "soon": "Soon"}
WEEKS = (1, 2, 4, 8, 13)
MOST = 40  # visits shown at once; the rest on the pages after
VISITS = "Visits"


def _week(stop: Stop) -> str:
    monday = stop.due - dt.timedelta(days=stop.due.weekday())
    return f"Week of {date(monday)}"


# How the changes are put together, beside visits: each a name, and the group of a change.
GROUPS: dict[str, Callable[[Stop], str]] = {
    "Weeks": _week,
    "Places": lambda stop: stop.place,
    "Parts": lambda stop: ", ".join(stop.parts),
}


def page() -> None:
    """Alarms first, then the changes by visit, week, place or part, the parts to load, and the files."""
    today = dt.date.today()
    with st.container(horizontal=True, vertical_alignment="bottom"):
        weeks = st.segmented_control(
            "How far ahead",
            WEEKS,
            default=4,
            key="round_weeks",
            format_func=lambda n: f"{n} week{'' if n == 1 else 's'}",
        )
        by = st.segmented_control("By", (VISITS, *GROUPS), default=VISITS, key="round_by")
        together = st.number_input("Days taken together in one visit", 0, 60, 7, key="round_together")
    try:
        place = keeping.place()
        if not place.units():
            st.info("No truck is saved yet. Save one under Trucks, and its changes stand here.")
            return
        units, left_out = _read(place)
        stock = {item.name: item.in_stock for item in place.shelf().items}
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    for line in left_out:
        st.warning(for_markdown(line))
    _alarms(units)
    ordered = stops([change for unit in units for change in unit.nexts], today, today + dt.timedelta(weeks=weeks or 4))
    if ordered:
        _count(ordered)
        st.markdown("[Go round on the phone: stop by stop, with or without a connection](/stop)")
        if by in GROUPS:
            _grouped(ordered, GROUPS[by])
        else:
            _visits(ordered, int(together))
        _parts(ordered, stock)
        _files(ordered)
    else:
        st.success("Nothing is due in this time.")
    feed_address()


def _read(place: Store) -> tuple[list[UnitRound], list[str]]:
    """The round of every unit; a bar tells how far it is where units are planned anew."""
    bar = st.empty()

    def told(share: float) -> None:
        bar.progress(share, "Planning the trucks that changed")

    found = unit_rounds(place, told)
    bar.empty()
    return found


def _alarms(units: Sequence[UnitRound]) -> None:
    for unit in units:
        for at, alarm in enumerate(unit.alarms):
            st.error(for_markdown(f"{unit.name}: {alarm.text}"), icon=":material/warning:")
            key = f"round_alarm_{unit.unit}_{at}"
            st.button(for_markdown(f"Open {unit.name}"), key=key, on_click=_open, args=(unit.unit,))


def _count(ordered: Sequence[Stop]) -> None:
    count = {state: sum(s.state == state for s in ordered) for state in STATE}
    with st.container(key="round_count"):
        st.markdown(", ".join(f"**{n}** {STATE[state].lower()}" for state, n in count.items() if n) + ".")


def _page_of(count: int) -> slice:
    pages = -(-count // MOST)
    at = st.number_input(f"Page of {pages}", 1, pages, 1, key="round_page") if pages > 1 else 1
    return slice((int(at) - 1) * MOST, int(at) * MOST)


def _visits(ordered: Sequence[Stop], together: int) -> None:
    gathered = visits(ordered, together)
    for visit in gathered[_page_of(len(gathered))]:
        with st.container(border=True, key=f"round_{visit.unit}_{visit.day}"):
            with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
                st.text(f"{date(visit.day)} · {visit.name}")
                st.button("Open", key=f"round_open_{visit.unit}_{visit.day}", on_click=_open, args=(visit.unit,))
            show.table(
                ["State", "Change", "Load"],
                [[STATE[s.state], f"{s.number} {s.cartridge}", ", ".join(s.parts)] for s in visit.stops],
                label=f"Visit to {visit.name}",
            )


def _grouped(ordered: Sequence[Stop], group: Callable[[Stop], str]) -> None:
    groups: dict[str, list[Stop]] = {}
    for stop in ordered:
        groups.setdefault(group(stop), []).append(stop)
    for name in list(groups)[_page_of(len(groups))]:
        show.heading(name)
        show.table(
            ["State", "Due", "Truck", "Change", "Load"],
            [
                [STATE[s.state], date(s.due), s.name, f"{s.number} {s.cartridge}", ", ".join(s.parts)]
                for s in groups[name]
            ],
            label=name,
        )


def _parts(ordered: Sequence[Stop], stock: dict[str, int]) -> None:
    st.subheader("Parts to load", anchor=False)
    rows = [[part, str(count), str(stock.get(part, "not on the shelf"))] for part, count in parts_list(ordered).items()]
    show.table(["Part", "Needed", "In stock"], rows, label="Parts to load")
    for short in shortages(ordered, stock):
        name = next(s.name for s in ordered if s.unit == short.unit)
        order = f" Order by {date(short.order_by)}." if short.order_by else ""
        missing = f"{short.in_stock} in stock, {short.needed} needed; first missing on {date(short.first_missing)}"
        st.warning(for_markdown(f"{short.part}: {missing}, for {name}.{order}"))


def _files(ordered: Sequence[Stop]) -> None:
    labels = {"round.csv": "Round as CSV", "parts.csv": "Parts as CSV", "round.ics": "Calendar file"}
    with st.container(horizontal=True, key="round_files"):
        for name, data in round_files(ordered).items():
            st.download_button(labels[name], data, name, key=f"round_file_{name}", on_click="ignore")


def _open(ref: str) -> None:
    try:
        keeping.open_unit(ref)
    except BrewwaterError as error:
        desk().extra["problem"] = str(error)
