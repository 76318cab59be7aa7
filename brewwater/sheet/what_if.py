"""What-if table: the plan beside its alternatives, on the figures that decide between them."""

from __future__ import annotations

import numpy as np

from brewwater.chain import Outcome
from brewwater.ensemble import mean
from brewwater.plan import Plan
from brewwater.sheet.content import Page, Section, Table, volume
from brewwater.units import GAL_L

STATUS_WORDS = {"ok": "in range", "watch": "watch", "act": "ACT", "stop": "STOP", "unknown": "not known"}
HEADER = ("Train", "Cup", "Scale", "Metal", "Changes a year", "Taken in a day", "Rejected a day", "Year", "Fits")
WIDTHS = (5, 2, 2, 2, 1.8, 2, 2, 2.2, 1.4)
MOST = 8


def what_if_page(plan: Plan) -> Page:
    """The plan and up to eight alternatives; before the search there is only the plan."""
    rows = [("This plan: " + _names(plan.outcome), *_figures(plan, plan.outcome, plan.outcome.fits))]
    rows += [
        (_names(one.outcome), *_figures(plan, one.outcome, one.fits))
        for one in plan.alternatives if one.outcome.stages != plan.outcome.stages
    ][:MOST]  # fmt: skip
    table = Table(HEADER, tuple(rows), WIDTHS)
    note = "Verdicts are those of the main machine's branch. A day is a mean service day. Prices may be placeholders."
    under = f"{plan.document.name}, plan {plan.stamp}. Estimates."
    return Page("whatif", "What if", under, (Section("", (note,), table),), landscape=True)


def _names(outcome: Outcome) -> str:
    names = [s.name + (f" ({s.bypass_percent:.3g} % bypass)" if s.bypass_percent else "") for s in outcome.stages]
    return ", ".join(names) or "no filter"


def _figures(plan: Plan, outcome: Outcome, fits: bool) -> tuple[str, ...]:
    given, metric = plan.given, plan.document.units == "metric"
    main = outcome.main.branch.name
    found = {v.subject: STATUS_WORDS[v.status] for v in outcome.verdicts if v.branch == main}
    year = sum(float(mean(c.changes.bought(0, given.book.year), given.weights)) for c in outcome.cartridges)
    taken = rejected = np.zeros(1)
    for branch, per_litre in outcome.reject_L_per_L.items():
        litres = given.demand.litres_per_service_day(branch)
        spilled = litres * given.by_phase(per_litre)
        taken, rejected = taken + litres + spilled, rejected + spilled
    gallons = (volume(float(mean(x / GAL_L, given.weights)), metric, 2) for x in (taken, rejected))
    cost = outcome.cost
    return (
        *(found.get(subject, "not known") for subject in ("cup", "scale", "corrosion")), f"{year:.1f}", *gallons,
        f"{cost.expected:,.2f} {cost.currency}", "yes" if fits else "NO",
    )  # fmt: skip
