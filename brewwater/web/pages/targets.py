"""Targets and machines: what the water is judged against, and what the machine's manual allows."""

from __future__ import annotations

from functools import partial
from typing import Any, get_args

import streamlit as st

from brewwater.escape import for_markdown
from brewwater.output.vocabulary import EDITIONS, MACHINES, METALS
from brewwater.output.vocabulary import analyte as plain
from brewwater.verdicts import editions, goals
from brewwater.verdicts.goals import Measured
from brewwater.web import planning
from brewwater.web.state import Document, desk
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.words import Kind

MEASURED: tuple[str, ...] = get_args(Measured)
GOAL_KINDS: dict[str, tuple[Kind, str]] = {
    "total_hardness": ("hardness", "CaCO3"),
    "calcium_hardness": ("hardness", "CaCO3"),
    "alkalinity": ("amount", "CaCO3"),
    "ph": ("plain", ""),
    "total_chlorine": ("amount", "Cl2"),
}
LAWS = {"us_federal": "US federal limits", "eu": "European Union", "who": "WHO guideline"}
KINDS = ("espresso", "steam_boiler", "brewer", "hot_water", "ice", "other")


def page() -> None:
    """Goals on one side, machines on the other, the verdicts below."""
    on = desk()
    plan = planning.current()
    left, right = st.columns(2, gap="large")
    with left:
        _goals()
    with right:
        _machines()
    if plan is not None:
        st.subheader("Verdicts with these", anchor=False)
        main = plan.candidate.main.branch.name
        show.verdicts(plan.source_verdicts, [v for v in plan.candidate.verdicts if v.branch == main], on.words.share)
        planning.search(plan)


def _kind(measure: str) -> tuple[Kind, str]:
    return GOAL_KINDS.get(measure, ("amount", ""))


def _bounds(kind: Kind, low: float | None, high: float | None) -> str:
    words = desk().words
    low, high = (None if x is None else words.out(kind, x) for x in (low, high))
    if low is None and high is None:
        return "none"
    if low is None:
        return f"up to {words.number(high)}"
    if high is None:
        return f"from {words.number(low)}"
    return f"{words.number(low)} – {words.number(high)}"


def _goals() -> None:
    on = desk()
    st.subheader("Goals", anchor=False)
    fields.choice(
        "Goals from",
        "edition",
        editions(),
        ("targets", "edition"),
        names=lambda e: EDITIONS.label(e),
    )
    fields.choice("Safety limits of", "law", tuple(LAWS), ("targets", "law"), names=LAWS.__getitem__)
    found = goals(on.typed.targets)
    heads = ["Measure", "Goal", "Past the limit", "Source"]
    rows = [
        [
            plain(m) if m == "ph" else f"{plain(m)}, {on.words.measured_in(*_kind(m))}",
            _bounds(_kind(m)[0], g.low, g.high),
            _red(_kind(m)[0], g.red_below, g.red_above),
            g.source,
        ]
        for m, g in found.items()
    ]
    sources = {g.source for g in found.values()}
    if len(sources) == 1:  # said once, below
        heads, rows = heads[:3], [row[:3] for row in rows]
    show.table(heads, rows, label="Goals")
    if len(sources) == 1:
        st.caption(f"Source of all: {for_markdown(next(iter(sources)))}.")
    with st.container(border=True):
        st.markdown("**Set your own goal**")
        measure = st.selectbox("Measure", MEASURED, key="goal_measure", format_func=plain)
        kind = _kind(measure)
        own = on.typed.targets.overrides.get(measure)  # type: ignore[call-overload]
        now = own or found.get(measure)
        columns = st.columns(2)
        for i, (part, label) in enumerate(
            (("low", "Goal from"), ("high", "Goal to"), ("red_below", "Limit below"), ("red_above", "Limit above"))
        ):
            with columns[i % 2]:
                fields.number(
                    label,
                    f"goal_{measure}_{part}",
                    value=getattr(now, part, None) if now else None,
                    kind=kind[0],
                    unit="pH" if measure == "ph" else on.words.measured_in(*kind),
                    write=partial(_override, measure, part),
                    placeholder="none",
                    low=-5,
                    step=1.0,
                )
        fields.act("Back to the goals' own", f"goal_reset_{measure}", partial(_reset, measure), disabled=own is None)


def _red(kind: Kind, below: float | None, above: float | None) -> str:
    words = desk().words
    below, above = (None if x is None else words.out(kind, x) for x in (below, above))
    parts = [
        f"under {words.number(below)}" if below is not None else "",
        f"over {words.number(above)}" if above is not None else "",
    ]
    return ", ".join(p for p in parts if p) or "none"


def _override(measure: str, part: str, document: Document, value: float | None) -> None:
    overrides = document["targets"]["overrides"]
    now: Any = goals(desk().typed.targets).get(measure)
    start = overrides.get(measure) or (
        {p: getattr(now, p) for p in ("low", "high", "red_below", "red_above")} if now else {}
    )
    overrides[measure] = {**start, part: value, "source": "your own goal", "target": None}


def _reset(measure: str, document: Document) -> None:
    document["targets"]["overrides"].pop(measure, None)


# -- machines -----------------------------------------------------------------------------------------------

LIMITS: tuple[tuple[str, str, Kind, str], ...] = (
    ("hardness_min_mg_L_as_CaCO3", "Hardness from", "hardness", "CaCO3"),
    ("hardness_max_mg_L_as_CaCO3", "Hardness to", "hardness", "CaCO3"),
    ("alkalinity_min_mg_L_as_CaCO3", "Alkalinity from", "amount", "CaCO3"),
    ("alkalinity_max_mg_L_as_CaCO3", "Alkalinity to", "amount", "CaCO3"),
    ("chloride_max_mg_L", "Chloride to", "amount", ""),
    ("tds_max_mg_L", "Dissolved solids to", "amount", ""),
    ("minimum_conductivity_uS_cm", "Conductivity from", "plain", ""),
)


def _machines() -> None:
    on = desk()
    st.subheader("Machines", anchor=False)
    names = [m.name for m in on.typed.machines]
    wanted = on.extra.get("machine", names[0])
    at = names.index(wanted) if wanted in names else 0
    fields.seed("machine_shown", names[at])
    fields.pick(
        "Machine",
        names,
        key="machine_shown",
        on_change=lambda: on.extra.update(machine=st.session_state["machine_shown"]),
    )
    path = ("machines", at)
    fields.text("Name", f"machine_name_{at}", value=names[at], write=partial(_rename, at))
    columns = st.columns(2)
    with columns[0]:
        fields.choice("Kind", f"machine_kind_{at}", KINDS, (*path, "kind"), names=MACHINES.label)
    with columns[1]:
        fields.choice(
            "Wetted metal",
            f"machine_metal_{at}",
            tuple(METALS),
            (*path, "wetted_metal"),
            names=METALS.label,
        )
    st.caption("From the machine's manual; leave empty what it does not state. The manual goes before every goal here.")
    columns = st.columns(2)
    for i, (key, label, kind, basis) in enumerate(LIMITS):
        unit = on.words.measured_in(kind, basis) or "µS/cm"
        step = 1.0 if unit == "grains" else 5.0
        with columns[i % 2]:
            fields.number(
                label, f"machine_{at}_{key}", (*path, key), kind=kind, unit=unit, placeholder="not stated", step=step
            )
    with columns[1]:
        fields.number(
            "Boiler temperature",
            f"machine_{at}_boiler",
            (*path, "boiler_temperature_C"),
            kind="temperature",
            placeholder="usual for its kind",
            low=on.words.out("temperature", 0),
            high=on.words.out("temperature", 130),
        )
        fields.number(
            "Flowing inlet pressure from",
            f"machine_{at}_psi",
            (*path, "minimum_inlet_psi"),
            kind="pressure",
            placeholder="usual for its kind",
        )
    fields.number(
        "Share of boiler water that leaves as steam",
        f"machine_{at}_steam",
        (*path, "steam_fraction"),
        unit="0 to 1",
        step=0.05,
        high=0.99,
        placeholder="usual for its kind",
        help="Milk-heavy menus that draw no hot water concentrate chloride in the boiler.",
    )
    with st.container(horizontal=True):
        fields.act("Add a machine", "machine_add", _add, icon=":material/add:")
        fields.act(
            "Remove this machine",
            f"machine_remove_{at}",
            partial(_remove, at),
            disabled=len(names) == 1,
            icon=":material/delete:",
        )
    show.cautions(
        [
            "Drain or flush a boiler only as its manual says: power off, cooled down; dry elements burn out.",
            "Warranty conditions go before anything here.",
        ]
    )


def _rename(index: int, document: Document, value: str) -> None:
    old = document["machines"][index]["name"]
    document["machines"][index]["name"] = value
    for branch in document["branches"]:
        if branch.get("machine") == old:
            branch["machine"] = value
    desk().extra["machine"] = value


def _add(document: Document) -> None:
    taken = {m["name"] for m in document["machines"]}
    number = len(taken) + 1
    while f"Machine {number}" in taken:
        number += 1
    document["machines"].append({"name": f"Machine {number}"})
    desk().extra["machine"] = f"Machine {number}"


def _remove(index: int, document: Document) -> None:
    name = document["machines"].pop(index)["name"]
    for branch in document["branches"]:
        if branch.get("machine") == name:
            branch["machine"] = None
