"""Where the water goes on a mean service day: into the unit, past the filters, to waste, to the machines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brewwater.ensemble import mean
from brewwater.plan import Plan
from brewwater.units import GAL_L


@dataclass(frozen=True, slots=True)
class Flows:
    """US gallons on a mean service day, over the draws. They add up: ``taken`` is ``untreated``, ``rejected`` and
    ``treated`` together. ``raw_names`` and ``treated_names`` are the branches before and behind the filters;
    ``fresh_tank_gal`` is None for a plumbed unit or where it is not given."""

    taken: float
    untreated: float
    rejected: float
    treated: float
    raw_names: tuple[str, ...]
    treated_names: tuple[str, ...]
    main: str
    fresh_tank_gal: float | None
    has_tanks: bool


def flows(plan: Plan) -> Flows:
    """The flows of a plan."""
    scenario, candidate = plan.scenario, plan.candidate
    untreated = treated = rejected = np.zeros(1)
    for branch in candidate.branches:
        litres = scenario.demand.litres_per_service_day(branch.name)
        if branch.filtered:
            treated = treated + litres
            rejected = rejected + litres * scenario.by_phase(candidate.reject_L_per_L.get(branch.name, np.zeros(1)))
        else:
            untreated = untreated + litres
    raw, lost, used = (float(mean(np.asarray(x / GAL_L), scenario.weights)) for x in (untreated, rejected, treated))
    unit = plan.document.unit
    return Flows(
        raw + lost + used,
        raw,
        lost,
        used,
        tuple(b.name for b in candidate.branches if not b.filtered),
        tuple(b.name for b in candidate.branches if b.filtered),
        candidate.main.branch.name,
        unit.fresh_tank_gal if unit.has_tanks else None,
        unit.has_tanks,
    )
