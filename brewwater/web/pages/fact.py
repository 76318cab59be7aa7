"""Plan and fact: what was foretold against what the log shows, and what all trucks tell the next one."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from brewwater.cost import written
from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.output.charts import planned_and_metered
from brewwater.output.fact import coverage_line, ended, own_units_lines, told_of
from brewwater.planning.document import PlanDocument
from brewwater.planning.fact import Facts, coverage, facts_of
from brewwater.planning.own_units import LEAST_UNITS, Fleet, eight_in_ten, own_units_used, pooled
from brewwater.web import keeping, planning
from brewwater.web.state import change, desk, put
from brewwater.web.widgets import show
from brewwater.web.widgets.words import Words, date

KEPT = "fleet_told"


def page() -> None:
    """This truck's changes, gallons and money; then what all trucks tell."""
    document = planning.with_log(desk())
    st.subheader("This truck", anchor=False)
    if not document.train or not document.readings:
        st.info(
            "Nothing to compare yet: choose the treatment that stands in the truck (Stages), and log meters, tests and "
            "changes (Readings)."
        )
    else:
        with st.spinner("Planning again as of each change"):
            found = _facts(document.fingerprint(), document)
        if found is None:
            st.info("The log tells nothing of a cartridge yet.")
        else:
            _shown(found, desk().words)
    st.subheader("All your trucks", anchor=False)
    _fleet(desk().words)


@st.cache_data(max_entries=8, show_spinner=False)
def _facts(key: str, _document: PlanDocument) -> Facts | None:
    return facts_of(_document)


def _shown(found: Facts, words: Words) -> None:
    if found.planned_gal is not None and found.metered_gal is not None:
        low, middle, high = (words.quantity("volume", g) for g in found.planned_gal)
        st.markdown(
            for_markdown(
                f"{date(found.first)} to {date(found.last)}: planned {middle} through the meter before any reading "
                f"({low} to {high}), metered {words.quantity('volume', found.metered_gal)}."
            )
        )
    if not found.changes:
        st.info("No cartridge has been changed by the log yet.")
    else:
        st.markdown(for_markdown(coverage_line(coverage(found.changes))))
        _picture(found)
        _changes(found, words)
    _money(found)
    st.caption(
        "Each cartridge is held against the plan of the day it went in, made from the log as it stood then. One that "
        "was changed before a test showed it used up says only that it lasted so long."
    )


def _picture(found: Facts) -> None:
    rows = sorted((r for r in found.changes if r.gal is not None), key=lambda r: (r.spell.stage.name, r.spell.went_in))
    shown = [
        (f"{r.spell.stage.name}, {date(r.spell.out)}", *r.gal, float(r.spell.gal), bool(r.gal_inside))
        for r in rows
        if r.gal is not None and r.spell.gal is not None
    ]
    if shown:
        chart = planned_and_metered(shown, "US gallons from change to change", planning.colours())
        st.altair_chart(chart, width="stretch", key="fact_gallons")
        st.caption("Bar: planned, eight of ten cases, with the middle. Dot or diamond: metered.")


def _changes(found: Facts, words: Words) -> None:
    def gallons(value: float | None) -> str:
        return "not metered" if value is None else words.quantity("volume", value)

    show.table(
        ["Changed on", "Cartridge", "Was due", "Planned by then", "Metered", "How it ended"],
        [
            [
                date(r.spell.out),
                r.spell.stage.name,
                "past the plan" if r.early is None else f"{date(r.expected)} ({date(r.early)} to {date(r.late)})",
                "–" if r.gal is None else f"{gallons(r.gal[0])} to {gallons(r.gal[2])}",
                gallons(r.spell.gal),
                ended(r),
            ]
            for r in sorted(found.changes, key=lambda r: (r.spell.out or r.spell.until, r.spell.stage.name))
        ],
        tight=(0,),
        long=(5,),
        label="Changes, planned and made",
    )


def _money(found: Facts) -> None:
    if not found.spent:
        return
    show.table(
        ["Cartridge", "Planned", "Made", "Price of one", "Planned cost", "Cost"],
        [
            [
                s.cartridge,
                str(s.planned),
                str(s.made),
                *(written(x, found.currency) for x in (s.each, s.planned * s.each, s.made * s.each)),
            ]
            for s in found.spent
        ],
        numeric=(1, 2, 3, 4, 5),
        label="Money in cartridges, planned and spent",
    )


# -- all trucks ---------------------------------------------------------------------------------------------


def _fleet(words: Words) -> None:
    for line in own_units_used(desk().typed, desk().typed.train or ()):
        st.markdown(for_markdown(line))
    st.caption(
        "Your other trucks tell how much water drinks really take and what cartridges really bear. A truck that says "
        "little counts little. The next plan can start from that in place of the usual figures."
    )
    if st.button("Work out from my other trucks", key="fleet_work", icon=":material/groups:"):
        _work()
    found: Fleet | None = st.session_state.get(KEPT)
    if found is not None:
        _figures(found, words)
    if desk().typed.own_units is not None:
        st.button("Plan without them", key="fleet_forget", on_click=_forget)


def _work() -> None:
    bar = st.progress(0.0, "Reading the logs of your other trucks")

    def on(share: float) -> None:
        bar.progress(share, "Reading the logs of your other trucks")

    try:
        told, left_out = told_of(keeping.place(), desk().ref, on)
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    bar.empty()
    for line in left_out:
        st.warning(for_markdown(line))
    st.session_state[KEPT] = pooled(told)


def _figures(found: Fleet, words: Words) -> None:
    figures = found.figures(dt.date.today())
    if figures is None:
        st.info(for_markdown(f"{len(found.told)} other trucks tell something. It takes at least {LEAST_UNITS}."))
        return
    rows = [
        [name, f"{x.middle:.2f}", "{:.2f} to {:.2f}".format(*eight_in_ten(x)), str(x.units)]
        for name, x in own_units_lines(figures)
    ]
    drink = found.gal_per_drink
    if drink is not None:
        low, middle, high = (words.quantity("volume", g) for g in drink)
        rows.append(["Water through the filters for a drink", middle, f"{low} to {high}", ""])
    show.table(
        ["Figure", "Middle", "Eight trucks of ten", "Trucks that tell"], rows, numeric=(3,), label="What trucks tell"
    )
    st.button("Use these figures in this plan", key="fleet_use", icon=":material/check:", on_click=_use)


def _use() -> None:
    figures = st.session_state[KEPT].figures(dt.date.today())
    change("own_units", lambda document: put(document, ("own_units",), figures.model_dump(mode="json")))


def _forget() -> None:
    change("own_units", lambda document: put(document, ("own_units",), None))
