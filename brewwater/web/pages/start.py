"""A plan of one's own: three numbers, how they were measured, drinks a day; nothing of the demo stays."""

from __future__ import annotations

from functools import cache
from typing import Any, Literal, cast

import streamlit as st

from brewwater.errors import InputError
from brewwater.escape import for_markdown
from brewwater.output.vocabulary import analyte as plain
from brewwater.planning.document import PlanDocument, demo_document, new_unit, with_overrides
from brewwater.records import Span
from brewwater.reports.analysis import Measurement, Supply
from brewwater.web.state import begin, desk, hand
from brewwater.web.widgets import fields, show

Way = Literal["report", "drop_kit", "strip", "lab", "meter", "unknown"]
WAYS: dict[Way, str] = {
    "report": "A city report",
    "drop_kit": "A drop kit (GH and KH)",
    "strip": "Test strips (GH and KH)",
    "lab": "A laboratory",
    "unknown": "Not sure",
}
UNITS = {
    "mg/L": "ppm as CaCO3, the same as mg/L",
    "°dH": "°dH, degrees (one drop of many kits)",
    "gpg": "gpg, grains a gallon",
}
FIELDS = {"total_hardness": "hardness", "alkalinity": "alkalinity", "total_dissolved_solids": "tds"}
WATER = "My tap water"
MOST_DRINKS = 20000


def own_plan(
    hardness: float | None,
    alkalinity: float | None,
    tds: float | None,
    drinks: float | None,
    *,
    unit: str = "mg/L",
    way: Way = "unknown",
) -> PlanDocument:
    """A plain mobile unit on one water that is known by three numbers; None is not known.

    ``unit`` is that of hardness and alkalinity; dissolved solids are in mg/L.

    Raises
    ------
    InputError : a number cannot be; its field is the key of the form's field
    """
    typed: dict[str, tuple[float | None, str]] = {
        "total_hardness": (hardness, unit),
        "alkalinity": (alkalinity, unit),
        "total_dissolved_solids": (tds, "mg/L"),
    }
    found = {}
    for analyte, (value, in_unit) in typed.items():
        if value is None:
            continue
        if value < 0:
            raise InputError(plain(analyte), f"{value:g}", "it cannot be below 0", "Correct it, or leave it empty.")
        # the meter of dissolved solids is a pen, however the other two were measured
        how: Way = "meter" if analyte == "total_dissolved_solids" and way in ("drop_kit", "strip") else way
        found[analyte] = Measurement(value=Span(low=value, typical=value, high=value), unit=in_unit, method=how)
    if drinks is None or not 0 < drinks <= MOST_DRINKS:
        limit = f"1 to {MOST_DRINKS} drinks a day are planned"
        raise InputError("Drinks", "nothing" if drinks is None else drinks, limit, "Write a number.")
    made = with_overrides(new_unit(), supply=Supply(name=WATER, analysis=found), drinks_per_service_day=drinks)
    return made.model_copy(update={"name": "My unit"})


@cache
def _demo() -> PlanDocument:
    return demo_document()


def is_demo() -> bool:
    """Whether the invented trailer is on the desk."""
    on = desk()
    return on.ref is None and on.typed.name == _demo().name


def offer() -> None:
    """Over the demo: the way to a plan of one's own."""
    if is_demo() and desk().extra.get("own") is None:
        _button("own_start", primary=True)


def offer_below() -> None:
    """Under a plan of one's own: the same way, less loud, and the way back to the demo."""
    if is_demo():
        show.small("This is the demo: an invented trailer that fills in two invented towns.")
        return
    with st.container(horizontal=True, key="own_offer_below"):
        _button("own_start", primary=False)
        st.button("Open the demo", key="demo_open", on_click=_open_demo, icon=":material/school:")


def _button(key: str, *, primary: bool) -> None:
    st.button(
        "Plan my own water" if primary else "Start another plan",
        key=key,
        on_click=_start,
        type="primary" if primary else "secondary",
        icon=":material/water_drop:",
    )


def _open_demo() -> None:
    begin(demo_document())


def _start() -> None:
    desk().extra["own"] = {"unit": "mg/L", "way": "report", "drinks": 100}


def _stop() -> None:
    desk().extra.pop("own", None)
    desk().faults = {}


def _keep(name: str) -> None:
    desk().extra["own"][name] = st.session_state[f"own_{name}"]


def form() -> bool:
    """The few fields of a new plan, where someone is about to start one: then nothing else is on the page."""
    given: dict[str, Any] | None = desk().extra.get("own")
    if given is None:
        return False
    for name in ("way", "unit", "hardness", "alkalinity", "tds", "drinks"):
        hand(f"own_{name}", given.get(name))
    left, _ = st.columns([1, 1])
    with left:
        st.subheader("Plan my own water", anchor=False)
        st.caption("Leave empty what you do not know: the plan then carries every value that fits the rest.")
        st.selectbox(
            "Where the numbers come from",
            list(WAYS),
            key="own_way",
            format_func=WAYS.__getitem__,
            on_change=_keep,
            args=("way",),
            help="It sets how far each number is trusted: a strip is wide, a drop kit is close.",
        )
        st.radio(
            "Hardness and alkalinity are in",
            list(UNITS),
            key="own_unit",
            format_func=UNITS.__getitem__,
            on_change=_keep,
            args=("unit",),
        )
        short = "ppm as CaCO3" if given["unit"] == "mg/L" else given["unit"]
        _number("hardness", f"Hardness, or GH ({short})", "Calcium and magnesium together.")
        _number("alkalinity", f"Alkalinity, or KH ({short})", "What holds pH; city reports often leave it out.")
        _number("tds", "Dissolved solids, or TDS (ppm)", "From the report, or a pen that reads ppm.")
        _number("drinks", "Drinks on a service day", "An ordinary day, Monday to Friday; change the days later.", "")
        with st.container(horizontal=True):
            st.button("Make my plan", key="own_make", on_click=_make, type="primary", icon=":material/check:")
            st.button("Not now", key="own_stop", on_click=_stop)
        st.caption(
            "More than three numbers? Make the plan, then drop the report on the Water page. What is open now stays "
            "one undo away."
        )
    return True


def _number(name: str, label: str, help_text: str, placeholder: str = "not known") -> None:
    st.number_input(
        for_markdown(label),
        value=None,
        key=f"own_{name}",
        step=1.0 if name != "drinks" else 10,
        format="%d" if name == "drinks" else "%g",
        placeholder=placeholder or None,
        help=help_text,
        on_change=_keep,
        args=(name,),
    )
    fields.fault(f"own_{name}")


def _make() -> None:
    on = desk()
    given = on.extra["own"]
    on.faults = {}
    try:
        made = own_plan(
            *(given.get(k) for k in ("hardness", "alkalinity", "tds", "drinks")),
            unit=given["unit"],
            way=cast(Way, given["way"]),
        )
    except InputError as error:
        # the document names a fault by supply and analyte, this form by the label
        name = next((f for a, f in FIELDS.items() if a in error.field or plain(a) == error.field), "drinks")
        on.faults[f"own_{name}"] = str(error).removeprefix(f"{WATER}: ")
        return
    begin(made)
