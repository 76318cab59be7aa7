"""The round: what is overdue, due and soon on every truck, what to load, and where the stock ends."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import streamlit as st

from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.output.round import Stop, parts_list, shortages, stops, visits
from brewwater.output.round_keeping import round_of
from brewwater.web import keeping
from brewwater.web.state import desk
from brewwater.web.widgets import show
from brewwater.web.widgets.words import date

STATE = {"overdue": "Overdue", "due": "Due", "soon": "Soon"}
WEEKS = (1, 2, 4, 8, 13)
MOST = 40  # visits shown at once; the rest on the pages after


def page() -> None:
    """Visits in the order of their days, the parts to load, what the stock does not reach for."""
    today = dt.date.today()
    with st.container(horizontal=True, vertical_alignment="bottom"):
        weeks = st.segmented_control(
            "How far ahead",
            WEEKS,
            default=4,
            key="round_weeks",
            format_func=lambda n: f"{n} week{'' if n == 1 else 's'}",
        )
        together = st.number_input("Days taken together in one visit", 0, 60, 7, key="round_together")
    try:
        place = keeping.place()
        if not place.units():
            st.info("No truck is saved yet. Save one under Trucks, and its changes stand here.")
            return
        with st.spinner("Reading the calendars of the trucks that changed"):
            found, left_out = round_of(place)
        stock = {item.name: item.in_stock for item in place.shelf().items}
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    for line in left_out:
        st.warning(for_markdown(line))
    ordered = stops(found, today, today + dt.timedelta(weeks=weeks or 4))
    if not ordered:
        st.success("Nothing is due in this time.")
        return
    _count(ordered)
    _visits(ordered, int(together))
    _parts(ordered, stock)


def _count(ordered: Sequence[Stop]) -> None:
    count = {state: sum(s.state == state for s in ordered) for state in STATE}
    st.markdown(", ".join(f"**{n}** {STATE[state].lower()}" for state, n in count.items() if n) + ".")


def _visits(ordered: Sequence[Stop], together: int) -> None:
    gathered = visits(ordered, together)
    pages = -(-len(gathered) // MOST)
    at = st.number_input(f"Page of {pages}", 1, pages, 1, key="round_page") if pages > 1 else 1
    for visit in gathered[(int(at) - 1) * MOST : int(at) * MOST]:
        with st.container(border=True, key=f"round_{visit.unit}_{visit.day}"):
            with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
                st.text(f"{date(visit.day)} · {visit.name}")
                st.button("Open", key=f"round_open_{visit.unit}_{visit.day}", on_click=_open, args=(visit.unit,))
            show.table(
                ["State", "Change", "Load"],
                [[STATE[s.state], f"{s.number} {s.cartridge}", ", ".join(s.parts)] for s in visit.stops],
                label=f"Visit to {visit.name}",
            )


def _parts(ordered: Sequence[Stop], stock: dict[str, int]) -> None:
    st.subheader("Parts to load", anchor=False)
    rows = [[part, str(count), str(stock.get(part, "not on the shelf"))] for part, count in parts_list(ordered).items()]
    show.table(["Part", "Needed", "In stock"], rows, label="Parts to load")
    for short in shortages(ordered, stock):
        order = f" Order by {date(short.order_by)}." if short.order_by else ""
        missing = f"{short.in_stock} in stock, {short.needed} needed; first missing on {date(short.first_missing)}"
        st.warning(for_markdown(f"{short.part}: {missing}.{order}"))


def _open(ref: str) -> None:
    try:
        keeping.open_unit(ref)
    except BrewwaterError as error:
        desk().extra["problem"] = str(error)
