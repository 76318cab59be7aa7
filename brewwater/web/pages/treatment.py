"""Treatment: the recommended train or one's own, stage by stage with its data sheet; the others in a list."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import streamlit as st

from brewwater.escape import for_markdown
from brewwater.output.charts import scale_laid
from brewwater.output.drawing import SCREEN, treatment_html
from brewwater.output.numbers import G_PER_OZ
from brewwater.output.vocabulary import DISINFECTANTS, DOES, MEDIA, SALTS, WATER, told_of
from brewwater.plan import Plan
from brewwater.planning.search import over_years
from brewwater.reference import keyed
from brewwater.treatment import Stage
from brewwater.treatment.classes import SIZES
from brewwater.units import plain
from brewwater.verdicts import ph_in_cup
from brewwater.web import planning
from brewwater.web.pages import first
from brewwater.web.state import Document, desk
from brewwater.web.widgets import facts, fields, show
from brewwater.web.widgets.beside import scale_g, scale_text, side_of, train_text
from brewwater.web.widgets.words import Kind, Words

BEFORE, AFTER = WATER.label("source"), WATER.label("served")


def page() -> None:
    """The train, its stages, and another beside it."""
    on = desk()
    plan = planning.current()
    own = on.typed.train is not None
    if plan is not None:
        title, note = planning.headline(plan)
        show.raw(treatment_html(first.told(plan), SCREEN, title, note))
        planning.search(plan)
        for problem in plan.candidate.problems:
            st.warning(
                for_markdown(f"{problem.stage}: {problem.message}" if problem.stage else problem.message),
                icon=":material/warning:",
            )
    with st.container(horizontal=True):
        if not own and plan is not None:
            fields.act(
                "Take it as my own, to change it" if plan.candidate.stages else "Build my own",
                "train_own",
                partial(_take, [s.model_dump(mode="json") for s in plan.candidate.stages]),
                icon=":material/edit:",
            )
        if own:
            fields.act("Follow the recommendation again", "train_follow", _follow, icon=":material/auto_awesome:")
    if own:
        _editor()
    if plan is not None:
        _results(plan, on.words)
        _others(plan, on.words)


def _take(stages: list[dict[str, Any]], document: Document) -> None:
    document["train"] = stages


def _follow(document: Document) -> None:
    document["train"] = None


# -- editor -------------------------------------------------------------------------------------------------

SHEET: tuple[tuple[str, str, Kind, str], ...] = (
    ("rated_gal", "Rated for", "volume", ""),
    ("reference_hardness_mg_L_as_CaCO3", "Rated at hardness", "hardness", "CaCO3"),
    ("reference_alkalinity_mg_L_as_CaCO3", "Rated at alkalinity", "amount", "CaCO3"),
    ("reference_chlorine_mg_L_as_Cl2", "Rated at chlorine", "amount", "Cl2"),
    ("capacity_grains", "Exchange capacity", "plain", "grains as CaCO3"),
    ("service_flow_gpm", "Service flow", "flow", ""),
    ("clean_pressure_drop_psi", "Pressure drop when clean", "pressure", ""),
    ("drop_at_flow_gpm", "That drop is at a flow of", "flow", ""),
    ("end_pressure_drop_psi", "Change at a drop of", "pressure", ""),
    ("bed_volume_L", "Bed volume", "plain", "L"),
    ("rated_output_gal_per_day", "Output a day", "volume", ""),
    ("life_months", "Time limit", "plain", "months"),
    ("micron", "Fineness", "plain", "µm"),
)


def _editor() -> None:
    on = desk()
    train = on.typed.train or ()
    branches = ["", *(b.name for b in on.typed.branches)]
    for i, stage in enumerate(train):
        with st.expander(f"{i + 1}. {for_markdown(stage.name)}", icon=":material/filter_alt:", key=f"stage_box_{i}"):
            _stage(train, i, branches)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        medium = st.selectbox("Add a stage", list(MEDIA), key="stage_medium", format_func=MEDIA.label)
        fields.act("Add", "stage_add", partial(_add, medium), icon=":material/add:")
    st.caption(DOES[medium])


def _stage(train: Sequence[Stage], i: int, branches: list[str]) -> None:
    path, stage, count = ("train", i), train[i], len(train)
    st.caption(told_of(train, i)[1])
    columns = st.columns(2)
    with columns[0]:
        fields.text("Name", f"stage_name_{i}", (*path, "name"))
        fields.number(
            "Bypass: raw water past this stage",
            f"stage_bypass_{i}",
            (*path, "bypass_percent"),
            unit="%",
            high=100,
            optional=False,
            step=1.0,
        )
    with columns[1]:
        fields.choice(
            "Usual size",
            f"stage_size_{i}",
            SIZES,
            (*path, "size"),
            help="Stands in for what the data sheet does not state.",
        )
        fields.choice(
            "Stands on",
            f"stage_branch_{i}",
            branches,
            value=stage.branch or "",
            write=partial(_set_branch, i),
            names=lambda b: b or "before all filtered branches",
        )
    if stage.medium == "reverse_osmosis":
        fields.number(
            "Recovery",
            f"stage_recovery_{i}",
            (*path, "recovery"),
            unit="0 to 1",
            step=0.05,
            low=0.01,
            high=0.99,
            help="0.5 is one litre rejected for each litre made.",
        )
    if stage.medium == "mineral_dose":
        _doses(i, stage)
    st.markdown("**Data sheet**")
    st.caption("Only what your cartridge's sheet states. Gallons count only with the water they were rated at.")
    for j, (key, label, kind, unit) in enumerate(SHEET):
        if j % 2 == 0:
            columns = st.columns(2)  # row by row, so that on a phone a figure stays beside what it is for
        with columns[j % 2]:
            fields.number(
                label,
                f"sheet_{i}_{key}",
                (*path, "sheet", key),
                kind=kind,
                unit=unit if kind == "plain" else desk().words.measured_in(kind, unit),
                placeholder="not stated",
            )
    columns = st.columns(2)
    with columns[0]:
        fields.choice(
            "Chlorine rating is for",
            f"sheet_{i}_rated_for",
            ("unknown", "free_chlorine", "chloramine"),
            (*path, "sheet", "rated_for"),
            names=DISINFECTANTS.label,
        )
    with columns[1]:
        fields.span(
            "Price of a cartridge",
            f"sheet_{i}_price",
            (*path, "sheet", "price"),
            unit=desk().typed.money.currency,
            placeholder="assumed",
        )
    if stage.medium == "softening":
        fields.span(
            "Salt to regenerate it once",
            f"sheet_{i}_salt",
            (*path, "sheet", "regeneration_salt_kg"),
            unit="kg",
            placeholder="bought anew",
            help="With it the softener is regenerated at base and not bought anew. Never aboard; never dump brine to "
            "ground or storm drain.",
        )
    with st.container(horizontal=True):
        fields.act("Earlier", f"stage_up_{i}", partial(_move, i, -1), disabled=i == 0, icon=":material/arrow_upward:")
        fields.act(
            "Later", f"stage_down_{i}", partial(_move, i, 1), disabled=i == count - 1, icon=":material/arrow_downward:"
        )
        fields.act("Take it out", f"stage_out_{i}", partial(_out, i), icon=":material/delete:")


def _doses(i: int, stage: Stage) -> None:
    salts = keyed("salts")
    name = st.selectbox("Salt", list(salts), key=f"dose_salt_{i}", format_func=SALTS.label)
    now = next((d.mg_L for d in stage.doses if d.salt == name), None)
    fields.number(
        "Dose",
        f"dose_{i}_{name}",
        value=now,
        write=partial(_dose, i, name),
        unit="mg/L",
        high=500,
        placeholder="none",
        help="Pure salt, hydrate water included. Above 500 mg/L is refused.",
    )
    if stage.doses:
        st.caption(
            "Dosed: " + "; ".join(f"{for_markdown(d.salt.replace('_', ' '))} {plain(d.mg_L)} mg/L" for d in stage.doses)
        )


def _dose(i: int, salt: str, document: Document, value: float | None) -> None:
    doses = [d for d in document["train"][i]["doses"] if d["salt"] != salt]
    if value:
        doses.append({"salt": salt, "mg_L": value})
    document["train"][i]["doses"] = doses


def _set_branch(i: int, document: Document, value: str) -> None:
    document["train"][i]["branch"] = value or None


def _add(medium: str, document: Document) -> None:
    taken = {s["name"] for s in document["train"]}
    name, number = MEDIA.label(medium), 2
    while name in taken:
        name, number = f"{MEDIA.label(medium)} {number}", number + 1
    document["train"].append({"name": name, "medium": medium})


def _move(i: int, by: int, document: Document) -> None:
    train = document["train"]
    train[i], train[i + by] = train[i + by], train[i]


def _out(i: int, document: Document) -> None:
    document["train"].pop(i)


# -- results ------------------------------------------------------------------------------------------------


def _results(plan: Plan, words: Words) -> None:
    st.subheader("What it does", anchor=False)
    left, right = st.columns(2, gap="large")
    with left:
        show.table(
            ["Measure", BEFORE, AFTER],
            facts.measures(plan, words),
            label="Water, ranges",
            tight=(1, 2),
        )
        state = plan.candidate.main.state
        if state is not None:
            in_cup = ph_in_cup(state, plan.document.targets)
            line, cup, air = (plan.scenario.pooled(x)[1] for x in (state.line_ph, in_cup, state.air_ph))
            st.caption(
                f"The cup is judged at pH {words.number(float(cup), 2)}, nearest to its goal on the way from "
                f"{words.number(float(line), 2)} in the line, where the metal is judged, to "
                f"{words.number(float(air), 2)} once CO2 has settled with the air."
            )
    with right:
        factor, unit = (1.0, "g") if words.metric else (1 / G_PER_OZ, "oz")
        side = side_of("", plan)

        def scaled(row: tuple[float, float, float]) -> tuple[float, float, float]:
            return row[0] * factor, row[1] * factor, row[2] * factor

        st.altair_chart(
            scale_laid(
                [
                    (BEFORE, scaled(scale_g(side, treated=False))),
                    (AFTER, scaled(scale_g(side, treated=True))),
                ],
                unit,
                planning.colours(),
                [f"{scale_text(side, words, served)} {unit}" for served in (False, True)],
            ),
            width="stretch",
            key="scale_laid",
        )
        st.caption(
            "An upper bound: all that can fall out at the boiler's temperature, over a year's water of the main "
            "machine. The thin line is the range."
        )


def _others(plan: Plan, words: Words) -> None:
    if not plan.alternatives:
        return
    st.subheader("All treatments tried, best first", anchor=False)
    st.caption(
        f"The amount is the first year, with whole cartridges as they are bought. The sentence says what one costs "
        f"{over_years(plan.scenario)}, every part by the share of it that is used up: that ranks them."
    )
    show.entries(
        [
            (
                train_text(a.candidate.stages, words),
                f"{words.money(float(a.candidate.cost.expected), a.candidate.cost.currency)} in the first year",
                "" if a.candidate.fits else "does not fit the unit",
                a.why,
            )
            for a in plan.alternatives
        ],
        "All treatments tried",
    )
    show.page_link("compare", "Put two treatments side by side", "compare")
