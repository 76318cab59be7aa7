"""Each branch with what filtering it costs or would cost, and where the unit's weight rests: page, sheet, JSON."""

from __future__ import annotations

import numpy as np

from brewwater.output.sheet.content import Section, Table, number
from brewwater.output.vocabulary import STATUS, SUBJECT
from brewwater.plan import Plan
from brewwater.plumbing import BranchDecision, decisions, known
from brewwater.plumbing.tanks import balance
from brewwater.units import LB_KG, percent


def branch_decisions(plan: Plan) -> tuple[BranchDecision, ...]:
    """The branches ranked by what filtering them costs a year, the dearest first. Only cartridges are counted:
    they are what another branch behind them uses up."""
    scenario, candidate = plan.scenario, plan.candidate
    year = scenario.demand.year()
    spent = sum(float(line.amount) for line in candidate.cost.lines if line.name.startswith("Cartridges: "))
    through = sum(
        (scenario.demand.litres(b.name, 0, year) for b in candidate.branches if b.filtered), start=np.zeros(1)
    )
    return decisions(
        candidate.branches,
        {b.name: scenario.demand.litres_per_service_day(b.name) for b in candidate.branches},
        service_days_per_year=float(scenario.demand.open[:year].sum()),
        cost_per_filtered_litre=np.where(through > 0, spent / np.where(through > 0, through, 1.0), 0.0),
        verdict_if_not=_if_not(plan),
    )


def _if_not(plan: Plan) -> dict[str, str]:
    """By branch, the verdict on the water as it comes there."""
    bad = [
        f"{SUBJECT.inside(v.subject)}: {STATUS.inside(v.status)}"
        for v in plan.source_verdicts
        if v.status in ("watch", "act", "stop")
    ]
    heaters = {v.branch: f"scale: {STATUS.inside(v.status)}" for v in plan.heaters}
    found = {b.name: ", ".join(bad) or "in range" for b in plan.candidate.branches if b.machine}
    return {b.name: found.get(b.name, heaters.get(b.name, "no machine on it")) for b in plan.candidate.branches}


WEIGHT_HEADER = ("", "lb", "kg", "On the hitch", "On the left wheels")


def weight_rows(plan: Plan) -> tuple[tuple[str, ...], ...]:
    """The loaded unit, tanks empty, full, half served and waste full; empty where its weight is not given."""
    unit = known(plan.document.unit).unit
    if unit.weights is None or not unit.has_tanks:
        return ()
    membrane = any(s.medium == "reverse_osmosis" for s in plan.candidate.stages)
    product = unit.product_tank_gal if membrane else None
    states = balance(unit.weights, unit.fresh_tank_gal or 0, unit.waste_tank_gal or 0, unit.water_C, product or 0)

    def share(value: float | None) -> str:
        return "not given" if value is None else percent(value, 1)

    return tuple(
        (s.state, number(s.total_lb, 4), number(s.total_lb * LB_KG, 4), share(s.tongue_share), share(s.left_share))
        for s in states
    )


def weight_section(plan: Plan) -> tuple[Section, ...]:
    """Weight and where it rests, for the printed sheet."""
    rows = weight_rows(plan)
    note = "A simple balance at rest on level ground: no substitute for a scale. Half-full tanks slosh."
    return (Section("Weight", (note,), Table(WEIGHT_HEADER, rows, (3, 2, 2, 3, 3))),) if rows else ()
