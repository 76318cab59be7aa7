"""What-if table: the plan beside its alternatives, on the figures that decide between them."""

from __future__ import annotations

import numpy as np

from brewwater.cost import written
from brewwater.ensemble import mean
from brewwater.output.sheet.content import Section, SheetPage, Table, volume
from brewwater.output.vocabulary import STATUS
from brewwater.plan import Plan
from brewwater.planning.candidate import Candidate
from brewwater.units import GAL_L, plain

HEADER = (
    "Treatment",
    "Cup",
    "Scale",
    "Corrosion",
    "Changes a year",
    "Taken in a day",
    "Rejected a day",
    "Year",
    "Fits",
)
WIDTHS = (5, 2, 2, 2, 1.8, 2, 2, 2.2, 1.4)
MOST = 8


def what_if_page(plan: Plan) -> SheetPage:
    """The plan and up to eight alternatives; before the search there is only the plan."""
    rows = [("This plan: " + _names(plan.candidate), *_figures(plan, plan.candidate, plan.candidate.fits))]
    rows += [
        (_names(one.candidate), *_figures(plan, one.candidate, one.fits))
        for one in plan.alternatives
        if one.candidate.stages != plan.candidate.stages
    ][:MOST]
    table = Table(HEADER, tuple(rows), WIDTHS)
    note = "Verdicts are those of the main machine's branch. A day is a mean service day. Prices may be placeholders."
    under = f"{plan.document.name}, plan {plan.stamp}. Estimates."
    return SheetPage("whatif", "What if", under, (Section("", (note,), table),), landscape=True)


def _names(candidate: Candidate) -> str:
    names = [s.name + (f" ({plain(s.bypass_percent)} % bypass)" if s.bypass_percent else "") for s in candidate.stages]
    return ", ".join(names) or "no filter"


def _figures(plan: Plan, candidate: Candidate, fits: bool) -> tuple[str, ...]:
    scenario, metric = plan.scenario, plan.document.units == "metric"
    main = candidate.main.branch.name
    found = {v.subject: STATUS.label(v.status) for v in candidate.verdicts if v.branch == main}
    year = sum(len(candidate.calendar.bought(c.stage.name)) for c in candidate.cartridges)
    taken = rejected = np.zeros(1)
    for branch, per_litre in candidate.reject_L_per_L.items():
        litres = scenario.demand.litres_per_service_day(branch)
        spilled = litres * scenario.by_phase(per_litre)
        taken, rejected = taken + litres + spilled, rejected + spilled
    gallons = (volume(float(mean(x / GAL_L, scenario.weights)), metric, 2) for x in (taken, rejected))
    cost = candidate.cost
    return (
        *(found.get(subject, STATUS.label("unknown")) for subject in ("cup", "scale", "corrosion")),
        str(year),
        *gallons,
        written(cost.expected, cost.currency),
        "yes" if fits else "NO",
    )
