"""What a plan leaves to decide, each option with its cost and loss in every draw."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from brewwater.changes import share_used
from brewwater.cost import price_of
from brewwater.ensemble import mean
from brewwater.log import plan_factor
from brewwater.log.entry import standing_readings
from brewwater.planning.candidate import Candidate, losses, route, serve, stake
from brewwater.planning.cartridges import Cartridge, used_at_start
from brewwater.planning.scenario import Scenario
from brewwater.planning.search import Alternative, Scales
from brewwater.treatment import price_of_one
from brewwater.units import GAL_L
from brewwater.verdicts.severity import Weighed
from brewwater.water import Water

FloatArray = NDArray[np.float64]

# A cartridge is changed now, or at a visit so many days on (common practice, no source).
WAIT_DAYS = 30
# Bypass settings tried beside the planned one, in per cent.
_BYPASS_STEPS = (-20.0, -10.0, 10.0, 20.0)
# What a cartridge that has run out costs the cup or the machine.
_HARM: dict[str, Weighed] = {
    "weak_acid": "scale",
    "softening": "scale",
    "calcium_to_magnesium": "scale",
    "mixed_bed": "scale",
    "chloride_anion": "corrosion",
    "carbon": "cup",
    "catalytic_carbon": "cup",
}


@dataclass(frozen=True, slots=True)
class Decision:
    """Something one does or does not: ``totals`` is the cost and loss of each option, shape (option, n);
    ``place`` the supply or ``served`` whose tests inform it, None for any; ``cartridge`` where it is about one, then
    with what is ``used`` of it and the main branch's water ``without`` it."""

    name: str
    totals: FloatArray
    place: str | None = None
    cartridge: Cartridge | None = None
    used: FloatArray | None = None
    without: Water | None = None


def decisions(scenario: Scenario, candidate: Candidate, alternatives: Sequence[Alternative]) -> Iterator[Decision]:
    """What the plan leaves to decide: train and bypass, fill here or not, change now or not."""
    usable = [a for a in alternatives if not a.refused or _waits_for_a_test(a)]
    rows = [a.open_weight.total for a in usable]
    rows += list(_bypasses(scenario, candidate))
    n = scenario.draws.n
    if len(rows) > 1:
        yield Decision("the choice of train or bypass", np.array([np.broadcast_to(r, n) for r in rows]))
    yield from _fills(scenario, candidate)
    for one in candidate.cartridges:
        yield from _change_now(scenario, candidate, one)


def _waits_for_a_test(one: Alternative) -> bool:
    """Refused only because hardness or alkalinity is not measured."""
    return {p.code for p in one.refused} <= {"alkalinity_unknown", "hardness_not_known"}


def _bypasses(scenario: Scenario, candidate: Candidate) -> Iterator[FloatArray]:
    """Cost and loss of the followed train at other bypass settings, and as it is."""
    at = next((i for i, s in enumerate(candidate.stages) if s.bypass_percent > 0 and s.medium != "blend"), None)
    if at is None:
        return
    scales = Scales(scenario)
    stage = candidate.stages[at]
    steps = [stage.bypass_percent + step for step in (0.0, *_BYPASS_STEPS)]
    for percent in steps:
        if not 0 <= percent <= 95:
            continue
        train, served = candidate.stages, candidate.served  # as it is: followed already
        if percent != stage.bypass_percent:
            other = stage.model_copy(update={"bypass_percent": percent})
            train = (*candidate.stages[:at], other, *candidate.stages[at + 1 :])
            served = serve(scenario, candidate.branches, route(scenario, train, candidate.branches))
        yield scales.weigh(train, served, measured_only=False).total


def _fills(scenario: Scenario, candidate: Candidate) -> Iterator[Decision]:
    """Filling at a supply against hauling water in goal there instead, where there is a choice of supplies."""
    if len(scenario.supplies) < 2:
        return
    year = scenario.demand.year()
    gallons = sum(scenario.demand.litres(b.name, 0, year) for b in candidate.branches) / GAL_L
    money = scenario.document.money
    # what is filled here is paid for too: hauling costs what it costs more
    hauled, tap = (scenario.draws.span(f"price: {k}", price_of(money, k)[0]) for k in ("hauled_gal", "water_gal"))
    dearer = max(float(mean(hauled - (hauled if money.hauled else tap), scenario.weights)), 0.0)
    shares = scenario.phase_share @ scenario.tank.shares
    for number, (supply, water) in enumerate(zip(scenario.supplies, scenario.supply_waters, strict=True)):
        if shares[number] <= 0:
            continue
        alone = replace(
            scenario,
            waters=water.each(np.atleast_2d),
            phase_share=np.ones(1),
            phase_names=(supply.name,),
        )
        served = serve(alone, candidate.branches, route(alone, candidate.stages, candidate.branches))
        loss = sum(losses(alone, served, measured_only=False).values(), start=np.zeros(1))
        fill = np.broadcast_to(loss * shares[number], scenario.draws.n)
        haul = np.broadcast_to(gallons * shares[number] * dearer, scenario.draws.n)
        yield Decision(f"whether to fill in {supply.name}", np.array([fill, haul]), supply.name)


def _change_now(scenario: Scenario, candidate: Candidate, one: Cartridge) -> Iterator[Decision]:
    """Changing a cartridge now, and throwing away what is left, against waiting for a visit in a month."""
    harm = _HARM.get(one.stage.medium)
    horizon = len(scenario.demand.days)
    today = _today(scenario)
    swaps = [d for d in scenario.made.get(one.stage.name, ()) if d <= today]
    in_place = used_at_start(scenario, one.stage)
    if harm is None or today + WAIT_DAYS >= horizon or (in_place is None and not swaps and today <= 0):
        return
    n, start = scenario.draws.n, swaps[-1] if swaps else 0
    used = np.zeros(1) if in_place is None or swaps else in_place
    sums = one.wear.ledger.sums
    # a capacity drawn anew for each cartridge differs little from the first one's
    now, later = (
        share_used(one.wear, one.capacity, np.broadcast_to(sums[d] - sums[start], one.wear.served_L.shape), np.zeros(1))
        for d in (today, today + WAIT_DAYS)
    )
    metered = any(r.kind == "meter_gal" for r in standing_readings(scenario.document.readings))
    factor = np.ones(1) if metered else plan_factor(one.branches, scenario.draws)
    share = np.broadcast_to(now * factor + used, n)
    rate = np.broadcast_to((later - now) * factor, n)
    over = np.clip((share + rate - 1) / np.maximum(rate, 1e-9), 0.0, 1.0) * (share + rate > 1)
    sold, _ = price_of_one(one.stage)
    price = (
        0.0 if sold is None else float(mean(scenario.draws.span(f"price: {one.stage.name}", sold), scenario.weights))
    )
    wait = over * _whole_year(scenario, one, harm) * WAIT_DAYS / 365.25
    change = np.clip(1 - share, 0.0, 1.0) * price
    others = tuple(s for s in candidate.stages if s.name != one.stage.name)
    without = route(scenario, others, candidate.branches).served[scenario.main_branch.name]
    yield Decision(f"whether to change {one.stage.name} now", np.array([wait, change]), "served", one, share, without)


def _whole_year(scenario: Scenario, one: Cartridge, harm: Weighed) -> FloatArray:
    """A year without this cartridge, out of goal in what it guards; the tap's temporary hardness for the scale."""
    tap = np.minimum(scenario.waters.hardness_mg_L_as_CaCO3, np.maximum(scenario.waters.alkalinity_mg_L_as_CaCO3, 0))
    year = scenario.demand.year()
    litres = sum((scenario.demand.litres(b, 0, year) for b in one.branches), start=np.zeros(1))
    at_stake, grams = stake(scenario), litres * scenario.by_phase(tap) / 1000
    descales = grams * at_stake.descale_per_g if harm == "scale" else 0.0
    return np.asarray(at_stake.whole_year(harm, grams) + descales, dtype=np.float64)


def _today(scenario: Scenario) -> int:
    start = scenario.document.demand.calendar.start
    last = max((r.date for r in scenario.document.readings), default=start)
    end: dt.date = scenario.demand.days[-1].astype(dt.date)
    return max((min(last, end) - start).days, 0)
