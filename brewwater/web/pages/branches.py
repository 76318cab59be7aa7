"""Branches: which ones are filtered, what passes each, and what that does to gallons, dates and money."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from brewwater.ensemble import mean, percentiles
from brewwater.escape import for_markdown
from brewwater.output.charts import branch_costs, branch_drawing
from brewwater.output.vocabulary import CHECKS, FIXTURES, MET, met
from brewwater.plan import Plan
from brewwater.planning.base_membrane import TITLE, UNCOUNTED, AtBase
from brewwater.plumbing import Check
from brewwater.units import GAL_L
from brewwater.web import planning
from brewwater.web.pages import pipes, unit
from brewwater.web.state import Document, desk
from brewwater.web.widgets import facts, fields, show
from brewwater.web.widgets.show import Figure, How
from brewwater.web.widgets.words import Kind, Words, bound

KINDS = ("espresso_machine", "brewer", "hot_water", "ice", "rinser", "hand_sink", "sink", "fill", "other")
PLACES = ("filtered", "unfiltered")
PLACE_NAMES = {"filtered": "behind the filters", "unfiltered": "before the filters"}


def _move(index: int, document: Document, value: str) -> None:
    document["branches"][index]["filtered"] = value == "filtered"
    if document["unit"].get("tree"):
        pipes.hung(document, document["branches"][index]["name"], value == "filtered")


def _set_machine(index: int, document: Document, value: str) -> None:
    document["branches"][index]["machine"] = value or None


def _add(document: Document) -> None:
    taken = {b["name"] for b in document["branches"]}
    number = 1
    while f"New branch {number}" in taken:
        number += 1
    document["branches"].append({"name": f"New branch {number}", "kind": "other", "filtered": False})


def _remove(index: int, document: Document) -> None:
    name = document["branches"].pop(index)["name"]
    demand = document["demand"]
    for part in ("drinks", "uses_per_drink", "fixed"):
        demand[part] = [u for u in demand[part] if u.get("branch") != name]


def _rename(index: int, document: Document, value: str) -> None:
    """A new name, everywhere the branch is named."""
    old = document["branches"][index]["name"]
    document["branches"][index]["name"] = value
    demand = document["demand"]
    if demand["main_branch"] == old:
        demand["main_branch"] = value
    for use in (*demand["drinks"], *demand["uses_per_drink"], *demand["fixed"], *(document.get("train") or [])):
        if use.get("branch") == old:
            use["branch"] = value


def page() -> None:
    """A pull-down for each branch, and the drawing."""
    on = desk()
    plan = planning.current()
    machines = ["", *(m.name for m in on.typed.machines)]
    main = on.typed.demand.main_branch
    left, right = st.columns([1, 1], gap="large")
    with left:
        for i, branch in enumerate(on.typed.branches):
            with st.container(border=True):
                fields.choice(
                    branch.name,
                    f"place_{i}",
                    PLACES,
                    value="filtered" if branch.filtered else "unfiltered",
                    write=partial(_move, i),
                    names=PLACE_NAMES.__getitem__,
                )
                if plan is not None:
                    low, middle, high = percentiles(
                        plan.scenario.demand.litres_per_service_day(branch.name) / GAL_L, plan.scenario.weights
                    )
                    amount = on.words.span([low, middle, high], "volume")
                    st.caption(
                        f"{for_markdown(amount)} on a service day" + (" · main machine" if branch.name == main else "")
                    )
                with st.popover("Change this branch", icon=":material/edit:"):
                    fields.text("Name", f"branch_name_{i}", value=branch.name, write=partial(_rename, i))
                    fields.choice(
                        "Kind",
                        f"branch_kind_{i}",
                        KINDS,
                        ("branches", i, "kind"),
                        names=FIXTURES.label,
                    )
                    fields.choice(
                        "Machine on it",
                        f"branch_machine_{i}",
                        machines,
                        value=branch.machine or "",
                        write=partial(_set_machine, i),
                        names=lambda m: m or "none",
                    )
                    fields.act(
                        "Remove this branch",
                        f"branch_remove_{i}",
                        partial(_remove, i),
                        disabled=branch.name == main,
                        icon=":material/delete:",
                    )
        fields.act("Add a branch", "branch_add", _add, icon=":material/add:")
    with right:
        if plan is None:
            return
        show.figures(
            [
                facts.filtered_figure(plan, on.words),
                facts.change_figure(plan),
                facts.cost_figure(plan, on.words),
                _pressure(plan, on.words),
            ]
        )
        amounts = {
            b.name: on.words.quantity(
                "volume",
                float(mean(plan.scenario.demand.litres_per_service_day(b.name) / GAL_L, plan.scenario.weights)),
                2,
            )
            + " a day"
            for b in plan.candidate.branches
        }
        dot = branch_drawing(
            plan.candidate.stages,
            plan.candidate.branches,
            amounts,
            planning.colours(),
            " and ".join(s.name for s in plan.scenario.supplies),
        )
        st.graphviz_chart(dot, width="content")
        st.caption("Solid thick line: filtered. Dashed thin line: unfiltered. The arrows show the way of the water.")
    _what_each_costs(plan, on.words)
    pipes.section(plan, on.words)
    show.cautions(
        [
            "Close the valve and relieve pressure before opening a housing; hot water and steam scald.",
            "Low-pH, demineralised or CO2-rich water needs approved non-metallic line and lead-free parts.",
            "Backflow protection first; local plumbing code decides.",
        ]
    )
    planning.search(plan)


def tanks_page() -> None:
    """The checks of the unit, the fields they rest on, and a membrane at base where one is in question."""
    on = desk()
    plan = planning.current()
    if plan is not None:
        _fit(plan, on.words)
    show.cautions(["City pressure can exceed what housings bear: regulate it. Hammer bursts bowls."])
    unit.section()
    if plan is not None and plan.at_base is not None:
        _at_base(plan, plan.at_base, on.words)
    if plan is not None:
        planning.search(plan)


def _pressure(plan: Plan, words: Words) -> Figure:
    """Pressure at the main machine while the others draw."""
    main = plan.document.demand.main_branch
    found = next((c for c in plan.candidate.checks if c.check == "inlet_pressure" and c.part == main), None)
    if found is None:
        return Figure("Pressure at the machine", "unknown", "no machine stands on the main branch")
    least = "its least is not given" if found.limit is None else f"its least: {words.quantity('pressure', found.limit)}"
    how = How(
        "pump or mains − friction of pipe and fittings − drop of each cartridge, while every fixture of the peak draws",
        (("Why", found.why),),
        facts.source_text(found.source),
        "what nine of ten cases reach",
    )
    return Figure("Pressure at the machine", words.quantity("pressure", found.value), least, how)


def _what_each_costs(plan: Plan, words: Words) -> None:
    behind = [b.name for b in plan.candidate.branches if b.filtered]
    bought = {
        line.name.removeprefix("Cartridges: "): float(line.amount)
        for line in plan.candidate.cost.lines
        if line.name.startswith("Cartridges: ")
    }
    share: dict[str, float] = dict.fromkeys(behind, 0.0)
    for one in plan.candidate.cartridges:
        litres = {
            b: float(mean(plan.scenario.demand.litres_per_service_day(b), plan.scenario.weights)) for b in one.branches
        }
        total = sum(litres.values())
        for name, amount in litres.items():
            if total > 0 and name in share:
                share[name] += bought.get(one.stage.name, 0.0) * amount / total
    if not behind or not any(share.values()):
        return
    st.subheader("What each filtered branch costs in cartridges", anchor=False)
    currency = plan.candidate.cost.currency
    rows = list(share.items())
    st.altair_chart(
        branch_costs(rows, currency, planning.colours(), [words.money(v, currency) for _, v in rows]),
        width="stretch",
        key="branch_costs",
    )
    st.caption("On average. A cartridge's cost is shared out by the water that each branch draws through it.")


CHECK_KIND: dict[str, Kind] = {
    "gal": "volume",
    "psi": "pressure",
    "gpm": "flow",
    "lb": "mass",
    "ft/s": "speed",
    "in/ft": "slope",
}
# A number without a unit says of what it is.
COUNTED = {
    "peak_day_fills": "fills",
    "waste_tank_ratio": "× the fresh tank",
    "plumbing": "faults",
    "tongue": "of the weight",
    "side_balance": "of the weight",
}


def _fit(plan: Plan, words: Words) -> None:
    if not plan.candidate.checks:
        return
    named = {s.name for s in plan.candidate.stages} | {b.name for b in plan.candidate.branches}

    def amount(check: Check, value: float | None) -> str:
        if check.unit in CHECK_KIND:
            return words.quantity(CHECK_KIND[check.unit], value)
        unit = COUNTED.get(check.check, "") if check.unit == "1" else check.unit
        return words.number(value) if value is None else f"{words.number(value)} {unit}".strip()

    order = ("act", "watch", "unknown", "ok")
    show.checks(
        [
            show.Checked(
                CHECKS.label(c.check) + (f": {c.part}" if c.part in named else ""),
                met(c.ok, c.assumed),
                amount(c, c.value),
                "" if c.limit is None else bound(c.check, amount(c, c.limit), fails_above=_fails_above(c)),
                c.why,
                facts.source_text(c.source),
            )
            for c in sorted(plan.candidate.checks, key=lambda c: order.index(met(c.ok, c.assumed)))
        ]
    )


def _fails_above(check: Check) -> bool | None:
    """For a check with two limits, of which the nearer one is told: whether that is the upper one."""
    if check.check != "tongue" or check.value is None or check.limit is None:
        return None
    return (check.value <= check.limit) == bool(check.ok)


def _at_base(plan: Plan, at: AtBase, words: Words) -> None:
    """The membrane on board beside the same one at base: gallons, money, and what it asks."""
    st.subheader(TITLE, anchor=False)
    weights, currency = plan.scenario.weights, plan.candidate.cost.currency

    def money(amounts: Sequence[float]) -> str:
        return (
            f"{words.money(amounts[1], currency)} ({words.money(amounts[0], currency)} to "
            f"{words.money(amounts[2], currency)})"
        )

    rows = [
        [
            way.name,
            show.badge(MET[way.passes]),
            money((way.cost.total_percentiles[0], float(way.cost.expected), way.cost.total_percentiles[2])),
            "–" if way.key == "on_board" else money([float(x) for x in percentiles(way.dearer, weights)]),
            words.quantity("volume", float(percentiles(way.fresh_gal, weights)[1])),
            words.quantity("volume", float(percentiles(way.waste_gal, weights)[1])),
            words.quantity("volume", float(percentiles(way.reject_gal, weights)[1])),
        ]
        for way in at.ways
    ]
    heads = ["", "Fits", "A year costs", "More than on board", "From the fresh tank a day", "To waste", "Reject"]
    show.table(heads, rows, numeric=(2, 3, 4, 5, 6), raw=(1,), label=TITLE)
    if not at.own:
        show.say(f"Not this plan's treatment, but the best with a membrane: {' → '.join(s.name for s in at.stages)}.")
    for way in at.ways:
        if way.asks:
            with st.expander(f"{for_markdown(way.name)}: what it asks", icon=":material/checklist:"):
                failed = [f"Does not fit: {check.why}" for check in way.checks if check.ok is False]
                show.table(["It asks"], [[line] for line in (*failed, *way.asks)], label=f"{way.name}: what it asks")
    st.caption(UNCOUNTED)
