"""The unit itself: tanks, pump, pressure, weight. What is left out is the usual figure of its kind."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from brewwater.output.vocabulary import RULES, UNIT_KINDS
from brewwater.plumbing import Unit
from brewwater.reference import table
from brewwater.web.state import Document, desk
from brewwater.web.widgets import fields
from brewwater.web.widgets.words import Kind

KINDS = ("cart", "truck", "kiosk", "shop")
PUMP = {"cut_in_psi": 30.0, "cut_out_psi": 50.0, "flow_gpm": 3.0}
ACCUMULATOR = {"volume_gal": 0.75, "precharge_psi": 28.0}
HEATER = {"volume_gal": 4.0, "power_W": 1440.0, "set_C": 49.0}
PIPE = {"size": "1/2", "length_ft": 12.0, "elbows": 8, "tees": 4, "valves": 5}
PLACES = (
    ("empty_at", "Empty unit"),
    ("fresh_at", "Fresh tank"),
    ("waste_at", "Waste tank"),
    ("product_at", "Membrane's tank"),
)


def section() -> None:
    """Every field of the unit."""
    on = desk()
    unit = on.typed.unit
    with st.expander("Tanks, pump, pressure, weight", icon=":material/local_shipping:", expanded=True):
        st.caption(
            "Empty: the usual figure of its kind stands in, and checks that rest on it hold or fail on assumed values."
        )
        columns = st.columns(2)
        with columns[0]:
            fields.choice("Kind of unit", "unit_kind", KINDS, ("unit", "kind"), names=UNIT_KINDS.label)
            usual = "usual for its kind"
            fields.number("Fresh tank", "fresh_tank", ("unit", "fresh_tank_gal"), kind="volume", placeholder=usual)
            fields.number("Waste tank", "waste_tank", ("unit", "waste_tank_gal"), kind="volume", placeholder=usual)
            fields.number(
                "Usable share of the fresh tank",
                "usable_share",
                ("unit", "usable_fresh_share"),
                unit="0 to 1",
                step=0.05,
                high=1,
                placeholder=usual,
            )
            fields.number(
                "Fills possible on a day",
                "fills_per_day",
                ("unit", "fills_per_day"),
                unit="fills",
                whole=True,
                low=1,
                high=24,
                optional=False,
            )
        with columns[1]:
            fields.number(
                "Hours of service a day",
                "service_hours",
                ("unit", "hours_per_service_day"),
                unit="hours",
                high=24,
                placeholder=usual,
            )
            rules = [row["key"] for row in table("waste_tank_rules")]
            fields.choice(
                "Rules for the waste tank",
                "jurisdiction",
                rules,
                ("unit", "jurisdiction"),
                names=RULES.label,
                help="Local code decides; this names the rule that the check uses.",
            )
            fields.span("Mains pressure", "mains_psi", ("unit", "mains_psi"), kind="pressure")
            fields.number(
                "Regulator set to", "regulator", ("unit", "regulator_psi"), kind="pressure", placeholder="none"
            )
            fields.number(
                "Water temperature",
                "water_C",
                ("unit", "water_C"),
                kind="temperature",
                low=on.words.out("temperature", 0),
                high=on.words.out("temperature", 40),
                optional=False,
            )
        fields.switch(
            "I know my pump's figures", "pump_known", value=unit.pump is not None, write=partial(_own, "pump", PUMP)
        )
        if unit.pump is not None:
            three = st.columns(3)
            with three[0]:
                fields.number("Cut in", "cut_in", ("unit", "pump", "cut_in_psi"), kind="pressure", optional=False)
            with three[1]:
                fields.number("Cut out", "cut_out", ("unit", "pump", "cut_out_psi"), kind="pressure", optional=False)
            with three[2]:
                fields.number("Flow at cut in", "pump_gpm", ("unit", "pump", "flow_gpm"), kind="flow", optional=False)
        _more_parts(unit)
        fields.switch(
            "Check the weight",
            "weights_known",
            value=unit.weights is not None,
            write=partial(_own, "weights", {"empty_lb": 5000.0}),
        )
        if unit.weights is not None:
            columns = st.columns(2)
            with columns[0]:
                fields.number("Empty weight", "empty_lb", ("unit", "weights", "empty_lb"), kind="mass", optional=False)
            with columns[1]:
                fields.number("Gross limit", "gross_lb", ("unit", "weights", "gross_limit_lb"), kind="mass")
            _places()


def _own(part: str, fresh: dict[str, Any], document: Document, wanted: bool) -> None:
    document["unit"][part] = dict(fresh) if wanted else None


def _more_parts(unit: Unit) -> None:
    """What stands behind the pump: accumulator, trunk, heater, a membrane's tank and pump, the waste tank's floor."""
    for part, label, fresh in (
        ("accumulator", "I know my accumulator", ACCUMULATOR),
        ("pipe", "I know my main pipe", PIPE),
        ("heater", "I know my water heater", HEATER),
        ("repump", "There is a pump behind a membrane's storage tank", PUMP),
    ):
        fields.switch(label, f"{part}_known", value=getattr(unit, part) is not None, write=partial(_own, part, fresh))
        if getattr(unit, part) is None:
            continue
        columns = st.columns(len(PARTS[part]))
        for column, (name, words, kind, said) in zip(columns, PARTS[part], strict=True):
            with column:
                at = ("unit", part, name)
                if name == "size":
                    fields.choice(words, f"{part}_{name}", ("1/2", "3/4", "1"), at, names=lambda size: f"{size} in")
                else:
                    whole = name in ("elbows", "tees", "valves")
                    fields.number(words, f"{part}_{name}", at, kind=kind, unit=said, optional=False, whole=whole)
    three = st.columns(3)
    with three[0]:
        fields.number(
            "Storage tank behind a membrane",
            "product_tank",
            ("unit", "product_tank_gal"),
            kind="volume",
            placeholder="not known",
        )
    with three[1]:
        fields.number(
            "Length of the waste tank's floor", "waste_length", ("unit", "waste_tank_length_in"), kind="short"
        )
    with three[2]:
        fields.number(
            "Its drain end lies lower by", "waste_fall", ("unit", "waste_tank_fall_in"), kind="short", step=0.25
        )


PARTS: dict[str, tuple[tuple[str, str, Kind, str], ...]] = {
    "accumulator": (("volume_gal", "Volume", "volume", ""), ("precharge_psi", "Air, charged empty", "pressure", "")),
    "pipe": (
        ("size", "Size", "plain", ""),
        ("length_ft", "Length", "length", ""),
        ("elbows", "Elbows", "plain", "pieces"),
        ("tees", "Tees", "plain", "pieces"),
        ("valves", "Valves", "plain", "pieces"),
    ),
    "heater": (
        ("volume_gal", "Volume", "volume", ""),
        ("power_W", "Power", "plain", "W"),
        ("set_C", "Set to", "temperature", ""),
    ),
    "repump": (
        ("cut_in_psi", "Cut in", "pressure", ""),
        ("cut_out_psi", "Cut out", "pressure", ""),
        ("flow_gpm", "Flow at cut in", "flow", ""),
    ),
}


def _places() -> None:
    """Where each weight sits, and what it rests on."""
    st.caption("Where it sits: how far ahead of the axle (behind: negative) and left of the middle (right: negative).")
    far = desk().words.out("short", 600)
    columns = st.columns(len(PLACES))
    for column, (at, label) in zip(columns, PLACES, strict=True):
        with column:
            for name, words in (("ahead_in", "ahead"), ("left_in", "left")):
                path = ("unit", "weights", at, name)
                fields.number(
                    f"{label}, {words}", f"{at}_{name}", path, kind="short", optional=False, low=-far, high=far
                )
    two = st.columns(2)
    with two[0]:
        fields.number(
            "Axle to hitch", "hitch_in", ("unit", "weights", "hitch_in"), kind="short", placeholder="no trailer"
        )
    with two[1]:
        fields.number("Between the wheels", "track_in", ("unit", "weights", "track_in"), kind="short")
