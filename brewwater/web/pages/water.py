"""Water: take a report in, check what was read beside the printed page, correct any value, choose the supply."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from brewwater.output.charts import boiler_cloud, cup_cloud
from brewwater.output.vocabulary import DISINFECTANTS, METHODS, NOTICES, SUPPLY_KINDS, WATER
from brewwater.output.vocabulary import analyte as plain
from brewwater.output.vocabulary import analyte_inside as inline
from brewwater.plan import Plan
from brewwater.reports.analysis import Measurement
from brewwater.units import PLAN_UNITS
from brewwater.verdicts import REQUIRED, goals
from brewwater.web import planning
from brewwater.web.pages import report
from brewwater.web.state import Document, desk
from brewwater.web.widgets import facts, fields, show

NO_UNIT = ("1", "NONE", "none", "")  # of pH


def report_page() -> None:
    """A report: dropped, checked beside its page, taken into one water of the plan."""
    _supplies()
    report.section(_chosen(), _rename)
    show.cautions(["Lead figures in a report come from sampled homes, not from this tap."])


def page() -> None:
    """The supplies, the values, what is missing, and the picture."""
    on = desk()
    plan = planning.current()
    _supplies()
    at = _chosen()
    show.page_link("report", "Read it from a report", "upload_file")
    left, right = st.columns([1, 1], gap="large")
    with left:
        _values(at)
    with right:
        if plan is not None:
            _missing(plan)
            st.subheader("Before and after treatment", anchor=False)
            show.table(
                ["Measure", WATER.label("source"), WATER.label("served")],
                facts.measures(plan, on.words),
                label="Water, ranges",
                tight=(1, 2),
            )
            _formulas(plan)
    if plan is not None:
        _clouds(plan)
        planning.search(plan)
    show.cautions(
        [
            "Not a test of whether water is safe to drink. Boil-water notice, untested well, nitrate, lead, arsenic, "
            "coliform: stop, and call the authority.",
            "Carbon does not disinfect. Water without chlorine must not be stored long.",
        ]
    )


# -- supplies -----------------------------------------------------------------------------------------------


def _chosen() -> int:
    names = [s.name for s in desk().typed.supplies]
    wanted = desk().extra.get("supply", names[0])
    return names.index(wanted) if wanted in names else 0


def _pick() -> None:
    desk().extra["supply"] = st.session_state["supply_shown"]


def _supplies() -> None:
    on = desk()
    names = [s.name for s in on.typed.supplies]
    at = _chosen()
    with st.container(horizontal=True, vertical_alignment="bottom"):
        fields.seed("supply_shown", names[at])
        # beside a button there is room for fewer letters
        fields.pick("Which water", names, letters=20, key="supply_shown", on_change=_pick)
        with st.popover("Supplies", icon=":material/water:"):
            fields.text("Name of this water", f"supply_name_{at}", value=names[at], write=partial(_rename, at))
            fields.choice(
                "Disinfectant",
                f"disinfectant_{at}",
                tuple(DISINFECTANTS),
                ("supplies", at, "disinfectant"),
                names=DISINFECTANTS.label,
                help="Ask the utility, or test free and total chlorine: strips for free chlorine read zero on "
                "chloramine.",
            )
            fields.choice(
                "Kind",
                f"supply_kind_{at}",
                ("public", "well", "hauled"),
                ("supplies", at, "kind"),
                names=SUPPLY_KINDS.label,
            )
            fields.choice(
                "Notice in force",
                f"notice_{at}",
                ("none", "boil_water", "do_not_drink"),
                ("supplies", at, "notice"),
                names=NOTICES.label,
            )
            fields.act("Add another water", "supply_add", _add, icon=":material/add:")
            fields.act(
                "Remove this water",
                "supply_remove",
                partial(_remove, at),
                disabled=len(names) == 1,
                icon=":material/delete:",
            )


def _rename(index: int, document: Document, value: str) -> None:
    old = document["supplies"][index]["name"]
    document["supplies"][index]["name"] = value
    for fill in document["fill"]["fills"]:
        if fill["supply"] == old:
            fill["supply"] = value
    desk().extra["supply"] = value


def _add(document: Document) -> None:
    taken = {s["name"] for s in document["supplies"]}
    number = 2
    while f"Water {number}" in taken:
        number += 1
    document["supplies"].append({"name": f"Water {number}"})
    desk().extra["supply"] = f"Water {number}"


def _remove(index: int, document: Document) -> None:
    name = document["supplies"].pop(index)["name"]
    fill = document["fill"]
    kept = [f for f in fill["fills"] if f["supply"] != name]
    fill["fills"] = kept or [{"supply": document["supplies"][0]["name"]}]


# -- values -------------------------------------------------------------------------------------------------


def unit_text(m: Measurement) -> str:
    """A measurement's unit with its basis, as a reader sees it; empty for a pure number."""
    if m.unit in NO_UNIT:
        return ""
    return f"{m.unit} as {m.basis}" if m.basis and m.basis not in m.unit else m.unit


def _values(at: int) -> None:
    on = desk()
    supply = on.typed.supplies[at]
    st.subheader("What is known of this water", anchor=False)
    if supply.analysis:
        rows = []
        for analyte, m in supply.analysis.items():
            ends = on.words.span([m.value.low, m.value.high], digits=3)
            rows.append(
                [
                    plain(analyte),
                    f"{'below ' if m.below_detection else ''}{ends} {unit_text(m)}".strip(),
                    METHODS.label(m.method),
                ]
            )
        show.table(["Measure", "Value", "From"], rows, label="Known values")
    else:
        st.info("Nothing is known of this water yet. Type what you have, or drop a report above.")
    with st.container(border=True):
        st.markdown("**Correct or add a value**")
        everything = list(dict.fromkeys([*supply.analysis, *PLAN_UNITS]))
        wanted = desk().extra.get("analyte")
        fields.seed("analyte", wanted if wanted in everything else everything[0])
        st.selectbox("Measure", everything, key="analyte", format_func=plain, on_change=_keep_analyte)
        analyte = st.session_state["analyte"]
        now = supply.analysis.get(analyte)
        shown = unit_text(now) if now else ""
        usual = PLAN_UNITS.get(analyte, "mg/L")
        if analyte == "total_hardness":
            usual = fields.unit_of("hardness", on.words.metric)
        unit = now.unit if now else on.extra.get(f"unit_{analyte}", usual)
        tag = f"{at}_{analyte}"
        fields.span(
            "Value",
            f"value_{tag}",
            value=now.value.model_dump() if now else None,
            unit=shown or ("" if unit in NO_UNIT else unit),
            write=partial(_set_value, at, analyte, unit),
            placeholder="not known",
        )
        if unit not in NO_UNIT:
            fields.text(
                "Unit as printed",
                f"unit_{tag}",
                value=unit,
                write=partial(_set_unit, at, analyte),
                help="Such as mg/L, ppm, gpg, °dH, °fH, mmol/L, meq/L, µS/cm; with its basis, such as "
                "'mg/L as CaCO3', where it has one.",
            )
        fields.choice(
            "From",
            f"method_{tag}",
            tuple(METHODS),
            value=now.method if now else "typed",
            write=partial(_set_method, at, analyte),
            names=METHODS.label,
        )
        fields.act(
            "Take this value out",
            f"value_out_{tag}",
            lambda document: document["supplies"][at]["analysis"].pop(analyte, None) and None,
            disabled=now is None,
            icon=":material/delete:",
        )


def _keep_analyte() -> None:
    desk().extra["analyte"] = st.session_state["analyte"]


def _set_value(at: int, analyte: str, unit: str, document: Document, value: Any) -> None:
    analysis = document["supplies"][at]["analysis"]
    if value is None:
        analysis.pop(analyte, None)
        return
    old = analysis.get(analyte) or {"method": "typed", "unit": unit}
    basis = old.get("basis")
    new = {
        "value": value,
        "unit": old["unit"],
        "basis": basis,
        "method": "typed" if "value" not in old else old["method"],
    }
    Measurement.model_validate(new).in_plan_units(analyte)
    analysis[analyte] = new


def _set_unit(at: int, analyte: str, document: Document, value: str) -> None:
    found = document["supplies"][at]["analysis"].get(analyte)
    probe = {"value": 1.0, "unit": value} if found is None else {**found, "unit": value, "basis": None}
    Measurement.model_validate(probe).in_plan_units(analyte)
    if found is None:
        desk().extra[f"unit_{analyte}"] = value
    else:
        document["supplies"][at]["analysis"][analyte] = probe


def _set_method(at: int, analyte: str, document: Document, value: str) -> None:
    found = document["supplies"][at]["analysis"].get(analyte)
    if found is not None:
        found["method"] = value


def _missing(plan: Plan) -> None:
    needed = list(dict.fromkeys(a for group in REQUIRED.values() for a in group))
    lacking = [inline(a) for a in needed if a not in plan.scenario.known]
    if lacking:
        show.say(f"Not measured in every water: {', '.join(lacking)}. Verdicts that rest on them are “not known”.")
    tests = [(t.label if t.test != "none" else "", t.because) for t in plan.next_tests[:3]]
    for label, because in dict.fromkeys(tests):  # the same for several waters is said once
        show.say(f"Next test: {f'{label}. ' if label else ''}{because}")


def _formulas(plan: Plan) -> None:
    with st.expander("Formulas, inputs and sources", icon=":material/function:"):
        show.table(
            ["Measure", "Formula", "Known from", "Source"],
            [
                [
                    label,
                    formula,
                    facts.known_by(
                        plan,
                        {
                            "hardness": "total_hardness",
                            "tds": "total_dissolved_solids",
                            "line_ph": "ph",
                            "air_ph": "ph",
                            "cup_ph": "ph",
                        }.get(key, key),
                    ),
                    facts.source_text(source),
                ]
                for key, (label, _, formula, source) in facts.MEASURES.items()
            ],
            label="Formulas",
            long=(1,),
        )
        st.caption(facts.PERCENTILES)


def _clouds(plan: Plan) -> None:
    found = goals(plan.document.targets)
    main = plan.candidate.main
    hard, alk, chloride = (found[k] for k in ("total_hardness", "alkalinity", "chloride"))
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("In the cup", anchor=False)
        st.vega_lite_chart(
            spec=cup_cloud(plan.scenario, main.water, ((hard.low, hard.high), (alk.low, alk.high)), planning.colours()),
            width="stretch",
            key="water_cup_cloud",
        )
    with right:
        st.subheader("In the boiler", anchor=False)
        if main.state is not None:
            st.vega_lite_chart(
                spec=boiler_cloud(
                    plan.scenario,
                    plan.source_state,
                    main.state,
                    (plan.scenario.waters.chloride_mg_L, main.water.chloride_mg_L),
                    ((None, 5.0), (None, chloride.high)),
                    planning.colours(),
                ),
                width="stretch",
                key="water_boiler_cloud",
            )
            if plan.source_state.extrapolated:
                st.caption("Above 90 °C the constants are extrapolated.")
