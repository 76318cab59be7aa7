"""Other water instead of a train: fill at another supply, haul, or fetch it; and what is to be asked of the tap first.

A train is for water that a train can mend. Where the best of them leaves most of the cup's or the metal's worth lost,
other water is the answer, priced; and where safety says stop, nothing is ranked beside the stop.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from brewwater.cost import price_of, written
from brewwater.ensemble import mean
from brewwater.planning.candidate import losses, route, serve
from brewwater.planning.scenario import Scenario
from brewwater.planning.search import Alternative
from brewwater.planning.search.words import out_of_reach
from brewwater.treatment.order import limits
from brewwater.units import GAL_L
from brewwater.verdicts.safety import potability
from brewwater.verdicts.severity import WEIGHED

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OtherWater:
    """One other way to come by water. ``yearly_cost`` of the water alone and ``loss`` of what it leaves out of goal,
    both expected, in the plan's currency; ``gal``: US gallons a year; ``supply``: another of the document's, or None
    for water bought or hauled that is within goal."""

    supply: str | None
    gal: float
    yearly_cost: float
    loss: float
    why: str

    @property
    def total(self) -> float:
        """What it is weighed by."""
        return self.yearly_cost + self.loss


def other_waters(scenario: Scenario, alternatives: Sequence[Alternative]) -> tuple[OtherWater, ...]:
    """Every other water that the plan knows of, best first; the train stands as the best alternative has it."""
    if not alternatives:
        return ()
    money, currency = scenario.document.money, scenario.document.money.currency
    year = scenario.demand.year()
    filtered = [b for b in scenario.document.branches if b.filtered]
    litres = sum((scenario.demand.litres(b.name, 0, year) for b in filtered), start=np.zeros(1))
    gal = float(mean(litres, scenario.weights)) / GAL_L

    def price(key: str) -> float:
        return float(mean(scenario.draws.span(f"price: {key}", price_of(money, key)[0]), scenario.weights))

    hauled = gal * price("hauled_gal")
    found = [
        OtherWater(
            None,
            gal,
            hauled,
            0.0,
            f"Haul or buy water within goal for what is brewed: {gal:,.0f} gal a year, about "
            f"{written(hauled, currency)}.",
        )
    ]
    used = scenario.phase_share @ scenario.tank.shares
    for number, supply in enumerate(scenario.supplies):
        if used[number] >= 1 or potability(supply, law=scenario.document.targets.law).verdict.status == "stop":
            continue
        lost, cost = _filled_with(scenario, number, alternatives[0]), gal * price("water_gal")
        found.append(
            OtherWater(
                supply.name,
                gal,
                cost,
                lost,
                f"Fill at {supply.name} only: about {written(cost, currency)} a year of water, and "
                f"{written(lost, currency)} lost to what is out of goal there.",
            )
        )
    return tuple(sorted(found, key=lambda o: o.total))


def _filled_with(scenario: Scenario, number: int, one: Alternative) -> float:
    water = scenario.supply_waters[number].each(np.atleast_2d)
    alone = replace(scenario, waters=water, phase_share=np.ones(1), phase_names=(scenario.supplies[number].name,))
    branches = one.candidate.branches
    served = serve(alone, branches, route(alone, one.candidate.stages, branches))
    return sum(float(mean(x, scenario.weights)) for x in losses(alone, served).values())


def recommended_instead(scenario: Scenario, alternatives: Sequence[Alternative]) -> OtherWater | None:
    """The other water to take instead of a train, where none aboard brings this one within the limits; else None."""
    if not alternatives or not out_of_reach(scenario, alternatives):
        return None
    best = other_waters(scenario, alternatives)[0]
    weight = alternatives[0].weight
    total = sum(float(mean(weight.loss[s], scenario.weights)) for s in WEIGHED) + float(
        mean(weight.cost, scenario.weights)
    )
    return best if best.total < total else None


def asks(scenario: Scenario, alternatives: Sequence[Alternative]) -> tuple[tuple[str, str], ...]:
    """What comes before any train, as code and message: a stop on safety, a softener before the tap, other water."""
    found = []
    for supply in scenario.supplies:
        gate = potability(supply, law=scenario.document.targets.law)
        if gate.verdict.status == "stop":
            untested = supply.kind == "well" and gate.uncovered
            code = "untested_well" if untested else "stop_on_safety"
            first = "have the well tested for " + ", ".join(gate.uncovered) if untested else "clear the stop on safety"
            found.append((code, f"{supply.name}: first {first}. No train is for use before that."))
    known, limit = {"total_hardness", "alkalinity"} <= scenario.known, limits()
    if known:
        hardness, alkalinity = (
            float(scenario.pooled(x)[1])
            for x in (scenario.waters.hardness_mg_L_as_CaCO3, scenario.waters.alkalinity_mg_L_as_CaCO3)
        )
        if (
            hardness < limit["house_softened_hardness_mg_L"]
            and alkalinity - hardness > limit["house_softened_excess_mg_L"]
        ):
            found.append(
                (
                    "house_softener",
                    f"Hardness {hardness:.0f} with alkalinity {alkalinity:.0f} mg/L as CaCO3 is sodium bicarbonate "
                    "water: ask whether a softener stands before this tap, and fill from a tap before it.",
                )
            )
    other = recommended_instead(scenario, alternatives)
    if other is not None:
        found.append(
            ("other_water", f"No treatment aboard brings this water within the limits. Take other water: {other.why}")
        )
    return tuple(found)
