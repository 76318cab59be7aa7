"""Rinser and sinks that hang behind the filters: to be moved before a larger size is paid for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from brewwater.cost import written
from brewwater.planning.candidate import Candidate
from brewwater.planning.scenario import Scenario
from brewwater.planning.search import Scales
from brewwater.plumbing import Branch
from brewwater.plumbing.check import Judge
from brewwater.plumbing.decisions import ON_THE_SKIN
from brewwater.records import Span
from brewwater.treatment import Stage
from brewwater.units import plain


def move_first(scenario: Scenario, candidate: Candidate) -> str | None:
    """What to hang before the filters, the peak flow that it takes off the first of them, and what the sizes for that
    flow cost; None where no rinser or sink is behind a filter, or nothing else is. Common practice, no source: size
    before chemistry."""
    now, stages = candidate.branches, candidate.stages
    rinses = [b for b in now if b.filtered and b.kind in ON_THE_SKIN]
    if not stages or not rinses or not any(b.filtered for b in now if b not in rinses):
        return None
    then = [b.model_copy(update={"filtered": False}) if b in rinses else b for b in now]
    names, judge = ", ".join(b.name for b in rinses), Judge(scenario.weights)
    text = f"Behind the filters hang: {names}. Hang them before the filters first, which asks for no cartridge"
    high, low = (judge.high(scenario.network(stages, branches).flow_gpm(stages[0])) for branches in (now, then))
    if low < high:
        text += f": {stages[0].name} then passes {plain(low)} gpm at the peak in place of {plain(high)}"
    if any(s.branch is not None for s in stages):  # the search weighs what stands on the trunk
        return f"{text}."
    (sized, dear), (_, cheap) = (_sized(scenario, stages, branches) for branches in (now, then))
    if dear - cheap < 0.5:
        return f"{text}."
    sizes = ", ".join(f"{s.name} {s.size}" for s in sized)
    more = written(dear - cheap, scenario.document.money.currency)
    return (
        f"{text}. Only then pay for the flow: left there, the sizes that bear it best ({sizes}) cost {more} a year "
        "more in cartridges."
    )


def _sized(scenario: Scenario, stages: Sequence[Stage], branches: Sequence[Branch]) -> tuple[tuple[Stage, ...], float]:
    """The same train in the sizes that suit a choice of filtered branches, and its money a year over the life of its
    parts. The water is left out: what is hung elsewhere is drawn all the same."""
    document = scenario.document
    free = Span(low=0, typical=0, high=0)
    prices = document.money.prices.model_copy(update={"water_gal": free, "hauled_gal": free})
    money = document.money.model_copy(update={"prices": prices})
    moved = document.model_copy(update={"branches": tuple(branches), "money": money})
    return Scales(replace(scenario, document=moved)).sized(stages)
