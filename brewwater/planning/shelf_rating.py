"""The shelf on this water: what each cartridge's rated gallons are here, what they cost, and which to take.

A sheet's "1,200 gal at 10 gpg" is turned into what it takes up and spent on this unit's water, at its bypass and its
drinks, by the same chain as every other plan. A sheet that does not say at what water it was rated stays unknown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import percentiles
from brewwater.planning.candidate import Candidate, evaluate
from brewwater.planning.cartridges import Cartridge
from brewwater.planning.scenario import Scenario
from brewwater.treatment import Stage
from brewwater.treatment.shelf import ARRANGEMENTS, Arrangement, BypassStep, ShelfItem

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rated:
    """One cartridge of the shelf in one place of a treatment.

    stage : the stage with it, at the head's setting ``step`` (None: the head has none)
    gallons_here : US gallons served from one (or one pair) on this water, nothing taken off, time aside; 10th, 50th
        and 90th percentile, None where the capacity is unknown or nothing wears it
    plan_on_gal : the 50th with the policy's margin taken off, or what passes before its time is up where that is less
    price_per_1000_gal : in the plan's currency, by what is planned on; None without a price or a capacity
    cartridges_a_year : bought in the first twelve months, whole, by the calendar
    fits, misfit : whether flow, pressure and tanks bear it, and what does not
    """

    item: ShelfItem
    place: str
    arrangement: Arrangement
    step: BypassStep | None
    stage: Stage
    gallons_here: tuple[float, float, float] | None
    plan_on_gal: float | None
    price_per_1000_gal: float | None
    cartridges_a_year: float
    fits: bool
    misfit: str
    candidate: Candidate

    @property
    def line(self) -> str:
        """One line for people: the sheet's figure and what it is here."""
        printed = self.item.as_printed or "no rating on the sheet"
        if self.gallons_here is None or self.plan_on_gal is None:
            return f"{printed}: unknown here, the sheet does not say at what water it was rated"
        return f"{printed}: {self.gallons_here[1]:,.0f} gal here; plan on {self.plan_on_gal:,.0f}"


def _one(scenario: Scenario, stages: Sequence[Stage], at: int, item: ShelfItem, arrangement: Arrangement) -> Rated:
    stage = item.stage_for(stages[at], arrangement)
    candidate = evaluate(scenario, [*stages[:at], stage, *stages[at + 1 :]])
    cartridge: Cartridge | None = next((c for c in candidate.cartridges if c.stage.name == stage.name), None)
    here, plan_on, yearly = None, None, 0.0
    weights = scenario.weights
    if cartridge is not None:
        yearly = float(len(candidate.calendar.bought(stage.name)))
        gallons = np.broadcast_to(cartridge.usable_gal, weights.shape)
        if cartridge.capacity.basis == "sheet" and np.isfinite(gallons).all():
            low, middle, high = percentiles(gallons / scenario.document.policy.margin, weights)
            here = float(low), float(middle), float(high)
            until = percentiles(np.broadcast_to(candidate.calendar.lives[stage.name].gal, weights.shape), weights)[1]
            plan_on = float(percentiles(gallons, weights)[1])
            if np.isfinite(until):
                plan_on = min(plan_on, float(until))
    price = None if stage.sheet.price is None else stage.sheet.price.middle
    per_1000 = None if price is None or not plan_on else 1000 * price / plan_on
    wrong = next((c for c in candidate.misfits), None)
    return Rated(
        item=item,
        place=stages[at].name,
        arrangement=arrangement,
        step=item.step_for(stages[at].bypass_percent),
        stage=stage,
        gallons_here=here,
        plan_on_gal=plan_on,
        price_per_1000_gal=per_1000,
        cartridges_a_year=yearly,
        fits=candidate.fits,
        misfit="" if wrong is None else wrong.check,
        candidate=candidate,
    )


def rate(scenario: Scenario, stages: Sequence[Stage], place: str) -> tuple[Rated, ...]:
    """Every cartridge of the shelf that could stand at ``place``, best first.

    Best: it fits, its capacity is known, and 1,000 usable gallons on this water cost least. Two alike, in parallel or
    one behind the other, are looked at where a single one does not fit.
    """
    at = next(i for i, s in enumerate(stages) if s.name == place)
    found: list[Rated] = []
    for item in scenario.document.shelf:
        if item.medium != stages[at].medium:
            continue
        for arrangement in ARRANGEMENTS:
            rated = _one(scenario, stages, at, item, arrangement)
            found.append(rated)
            if rated.fits:
                break
    return tuple(sorted(found, key=lambda r: (not r.fits, r.price_per_1000_gal is None, r.price_per_1000_gal or 0.0)))


def from_shelf(scenario: Scenario, stages: Sequence[Stage]) -> tuple[Stage, ...]:
    """The treatment with the best cartridge of the shelf in each place where one fits; the others stay as they are.

    Places are filled one after the other from the source on, each with what stands before it already chosen.
    """
    chosen = list(stages)
    for number, stage in enumerate(stages):
        best = next(iter(rate(scenario, chosen, stage.name)), None)
        if best is not None and best.fits:
            chosen[number] = best.stage
    return tuple(chosen)
