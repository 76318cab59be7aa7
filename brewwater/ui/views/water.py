"""Water: take a report in, check what was read beside the printed page, correct any value, choose the supply."""

from __future__ import annotations

import tempfile
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from brewwater import intake
from brewwater.charts import boiler_cloud, cup_cloud
from brewwater.errors import InputError
from brewwater.intake.analysis import Measurement
from brewwater.plan import Plan
from brewwater.result_schema import ReportResult, RowResult
from brewwater.sheet.result import report_result
from brewwater.targets import REQUIRED, goals
from brewwater.ui import facts, fields, planning, show
from brewwater.ui.state import Document, change, desk
from brewwater.ui.words import Words
from brewwater.units import PLAN_UNITS

KINDS = ["pdf", "csv", "xlsx", "html", "txt", "md"]
METHODS = ("typed", "report", "lab", "drop_kit", "meter", "strip", "unknown")
DISINFECTANTS = ("unknown", "free_chlorine", "chloramine", "none")
PLAIN = {"ph": "pH", "total_dissolved_solids": "Dissolved solids", "total_hardness": "Hardness", "e_coli": "E. coli"}


def plain(analyte: str) -> str:
    """An analyte's name in plain words."""
    return PLAIN.get(analyte, analyte.replace("_", " ").capitalize())


def page() -> None:
    """The supplies, a report, the values, what is missing, and the picture."""
    on = desk()
    plan = planning.current()
    _supplies()
    at = _chosen()
    _report(at)
    left, right = st.columns([1, 1], gap="large")
    with left:
        _values(at)
    with right:
        if plan is not None:
            _missing(plan)
            st.subheader("As it comes, and served", anchor=False)
            show.table(
                ["Measure", "As it comes", "Served"],
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
            "Lead figures in a report come from sampled homes, not from this tap.",
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
        st.selectbox("Which water", names, key="supply_shown", on_change=_pick)
        with st.popover("Supplies", icon=":material/water:"):
            fields.text("Name of this water", f"supply_name_{at}", value=names[at], write=partial(_rename, at))
            fields.choice(
                "Disinfectant",
                f"disinfectant_{at}",
                DISINFECTANTS,
                ("supplies", at, "disinfectant"),
                names=lambda d: d.replace("_", " "),
                help="Ask the utility, or test free and total chlorine: strips for free chlorine read zero on "
                "chloramine.",
            )
            fields.choice("Kind", f"supply_kind_{at}", ("public", "well", "hauled"), ("supplies", at, "kind"))
            fields.choice(
                "Notice in force",
                f"notice_{at}",
                ("none", "boil_water", "do_not_drink"),
                ("supplies", at, "notice"),
                names=lambda n: n.replace("_", " "),
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


# -- report -------------------------------------------------------------------------------------------------


@st.cache_data(max_entries=4, show_spinner=False)
def _read(name: str, data: bytes) -> tuple[ReportResult, list[str]]:
    """What a report says, and the supplies it names, each as a plan supply where it can be one."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"report{Path(name).suffix.lower()}"
        path.write_bytes(data)
        found = intake.read_report(path)
    result = report_result(found)
    return result, list(result.supplies)


def _supply_of(name: str, data: bytes, supply: str | None) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"report{Path(name).suffix.lower()}"
        path.write_bytes(data)
        found = intake.read_report(path).supply(supply)
    return dict(found.model_dump(mode="json"))


def _report(at: int) -> None:
    on = desk()
    st.subheader("From a water report", anchor=False)
    given = st.file_uploader("Drop a report here: PDF, CSV, spreadsheet, HTML or text", type=KINDS, key="report")
    if given is not None:
        on.extra["report"] = (given.name, given.getvalue())
    if "report" not in on.extra:
        return
    name, data = on.extra["report"]
    st.button("Put the report away", key="report_away", on_click=lambda: on.extra.pop("report", None))
    try:
        with st.spinner("Reading the report…", show_time=True):
            result, supplies = _read(name, data)
    except InputError as error:
        st.error(str(error), icon=":material/report:")
        return
    picked = None
    if supplies:
        picked = st.selectbox("Supply in the report", supplies, key="report_supply")
    for problem in result.problems:
        st.warning(problem.message, icon=":material/rule:")
    rows = [r for r in result.rows if r.supply in (None, picked)] if picked else result.rows
    left, right = st.columns([1, 1], gap="medium")
    with left:
        st.markdown(f"**{len(rows)} values read**")
        show.table(
            ["Measure", "As printed", "Page"],
            [[plain(r.analyte), printed(r, on.words), str(r.page or "")] for r in rows],
            label="Values read",
        )
    with right:
        _beside(name, data, rows)
    if result.missing:
        st.caption("Not in the report: " + ", ".join(plain(a).lower() for a in result.missing) + ".")
    st.button(
        "Use these values for this water",
        key="report_use",
        icon=":material/check:",
        on_click=_use,
        args=(at, name, data, picked),
        type="primary",
    )
    fields.fault("report_use")


def printed(row: RowResult, words: Words) -> str:
    """A value as it stands in the report."""
    tail = " ".join(
        filter(None, (row.unit, row.basis and f"as {row.basis}" if row.basis not in (row.unit, None) else ""))
    )
    if row.below_detection:
        return f"below {words.number(row.high)} {tail}".strip() if row.high else f"not detected {tail}".strip()
    ends = [x for x in (row.low, row.high) if x is not None]
    text = words.span(ends) if ends else words.number(row.typical)
    if ends and row.typical is not None and row.low != row.high:
        text += f" (typical {words.number(row.typical)})"
    return f"{text} {tail}".strip()


def _beside(name: str, data: bytes, rows: list[RowResult]) -> None:
    pages = sorted({r.page for r in rows if r.page})
    if name.lower().endswith(".pdf") and pages:
        page_number = st.selectbox("Page of the report", pages, key="report_page")
        picture = _page_picture(data, page_number)
        if picture is not None:
            st.image(picture, caption=f"Page {page_number}")
            return
    texts = list(dict.fromkeys(r.text for r in rows if r.text))
    with st.container(height=320):
        st.markdown("**Where it stands**")
        st.text("\n".join(texts[:80]) or "The report gives no text for these values.")


@st.cache_data(max_entries=8, show_spinner=False)
def _page_picture(data: bytes, number: int) -> Any:
    import io

    import pdfplumber

    try:
        with pdfplumber.open(io.BytesIO(data)) as pdf:
            return pdf.pages[number - 1].to_image(resolution=90).original
    except Exception:  # a page that cannot be drawn is shown as text instead
        return None


def _use(at: int, name: str, data: bytes, picked: str | None) -> None:
    def write(document: Document) -> None:
        found = _supply_of(name, data, picked)
        old = document["supplies"][at]
        taken = {s["name"] for i, s in enumerate(document["supplies"]) if i != at}
        title = str(found["name"])
        while title in taken:
            title += " (report)"
        keep = {k: old[k] for k in ("kind", "notice", "water_price_per_1000_gal") if k in old}
        disinfectant = found["disinfectant"] if found["disinfectant"] != "unknown" else old["disinfectant"]
        document["supplies"][at] = {**found, **keep, "disinfectant": disinfectant, "name": old["name"]}
        _rename(at, document, title)

    if change("report_use", write):
        desk().extra.pop("report", None)


# -- values -------------------------------------------------------------------------------------------------


def unit_text(m: Measurement) -> str:
    """A measurement's unit with its basis, as a reader sees it; empty for a pure number."""
    if m.unit.upper() in ("NONE", "1", ""):
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
                    m.method.replace("_", " "),
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
        unit = now.unit if now else desk().extra.get(f"unit_{analyte}", PLAN_UNITS.get(analyte, "mg/L"))
        tag = f"{at}_{analyte}"
        fields.span(
            "Value",
            f"value_{tag}",
            value=now.value.model_dump() if now else None,
            unit=shown or ("" if unit in ("1", "NONE") else unit),
            write=partial(_set_value, at, analyte, unit),
            placeholder="not known",
        )
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
            METHODS,
            value=now.method if now else "typed",
            write=partial(_set_method, at, analyte),
            names=lambda m: m.replace("_", " "),
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
    lacking = [plain(a).lower() for a in needed if a not in plan.given.known]
    if lacking:
        show.say(f"Not measured in every water: {', '.join(lacking)}. Verdicts that rest on them are “not known”.")
    for test in plan.next_tests[:3]:
        st.caption(f"Test: {test.because}")


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
    main = plan.outcome.main
    hard, alk, chloride = (found[k] for k in ("total_hardness", "alkalinity", "chloride"))
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("In the cup", anchor=False)
        st.altair_chart(
            cup_cloud(plan.given, main.water, ((hard.low, hard.high), (alk.low, alk.high)), planning.colours()),
            width="stretch",
            key="water_cup_cloud",
        )
    with right:
        st.subheader("In the boiler", anchor=False)
        if main.state is not None:
            st.altair_chart(
                boiler_cloud(
                    plan.given,
                    plan.source_state,
                    main.state,
                    (plan.given.waters.chloride_mg_L, main.water.chloride_mg_L),
                    ((None, 5.0), (None, chloride.high)),
                    planning.colours(),
                ),
                width="stretch",
                key="water_boiler_cloud",
            )
            if plan.source_state.extrapolated:
                st.caption("Above 90 °C the constants are extrapolated.")
