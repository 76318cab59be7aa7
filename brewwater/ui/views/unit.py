"""The unit itself: tanks, pump, pressure, weight. What is left out is the usual figure of its kind."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from brewwater.reference import table
from brewwater.ui import fields
from brewwater.ui.state import Document, desk

KINDS = ("cart", "truck", "kiosk", "shop")
PUMP = {"cut_in_psi": 30.0, "cut_out_psi": 50.0, "flow_gpm": 3.0}


def section() -> None:
    """Every field of the unit, folded away."""
    on = desk()
    unit = on.typed.unit
    with st.expander("The unit: tanks, pump, pressure, weight", icon=":material/local_shipping:"):
        st.caption("Empty: the usual figure of its kind stands in, and checks that rest on it give no verdict.")
        columns = st.columns(2)
        with columns[0]:
            fields.choice("Kind of unit", "unit_kind", KINDS, ("unit", "kind"))
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
                names=lambda k: k.replace("_", " "),
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


def _own(part: str, fresh: dict[str, Any], document: Document, wanted: bool) -> None:
    document["unit"][part] = dict(fresh) if wanted else None
