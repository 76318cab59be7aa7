"""The cartridges of one candidate: what each bears, what wears it, when it is changed, what is bought."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from functools import partial

import numpy as np
from numpy.typing import NDArray

from brewwater.changes import ChangeCalendar, Slot, change_calendar, grouped, joined
from brewwater.changes.wear import Wear, usable_gal, wear
from brewwater.cost import Bought, Usage, written, yearly_cost
from brewwater.planning.scenario import Scenario
from brewwater.records import Span
from brewwater.treatment import Capacity, Load, Stage, capacity, medium_class, order, price_of_one
from brewwater.treatment.rating import is_rated

FloatArray = NDArray[np.float64]

# A dose is bought by the kilogram; a blend valve is not used up.
NOT_BOUGHT = frozenset({"mineral_dose", "blend"})


@dataclass(frozen=True, slots=True)
class Cartridge:
    """One stage's cartridges over the plan.

    usable_gal : US gallons the branches behind it can draw from one cartridge on this water, the margin taken
        off, time aside; shape (n,) or (1,), infinite where nothing wears it
    alone : its dates where nothing is grouped with it; the plan's own are the candidate's ``calendar``
    due_since : the day of a reading past its limit that asks for its change; None where none stands
    life : part of its time that this water leaves it (``membrane_left``)
    """

    stage: Stage
    branches: tuple[str, ...]
    capacity: Capacity
    wear: Wear
    usable_gal: FloatArray
    alone: ChangeCalendar
    due_since: dt.date | None = None
    life: float = 1.0


def membrane_left(scenario: Scenario, train: Sequence[Stage], stage: Stage) -> float:
    """Part of its time, 0 to 1, that a stage's cartridge reaches on this water (``order.membrane_left``); all of it
    while hardness or alkalinity is not known."""
    known = {"total_hardness", "alkalinity"} <= scenario.known
    return order.membrane_left(train, stage, scenario.concentrate_calcite) if known else 1.0


def bears(scenario: Scenario, stage: Stage, number: int = 0, life: float = 1.0) -> Capacity:
    """Capacity of the stage's cartridge of that number (0: the first), as far as the log bears it out."""
    own = scenario.document.own_units
    learned = None if own is None else own.holds(stage, is_rated(stage), scenario.draws)
    found = capacity(stage, scenario.draws, number, disinfectant=scenario.disinfectant, holds=learned)
    found = replace(found, days=found.days * life)
    holds = scenario.bed.get(stage.name)
    if holds is None or number > scenario.bed_tested.get(stage.name, number):
        return found  # a new one is taken at its word until it is tested
    return replace(
        found,
        volume_L=found.volume_L * holds,
        exchange_eq=found.exchange_eq * holds,
        chlorine_g=found.chlorine_g * holds,
    )


def cartridge(
    scenario: Scenario, stage: Stage, loads: Mapping[str, Load], due_since: dt.date | None = None, life: float = 1.0
) -> Cartridge:
    """One stage under the loads of the branches behind it; candidates that lay the same loads on the same stage share
    it. ``due_since``: the day of a reading that asks for its change; ``life``: from ``membrane_left``."""
    key = (
        "cartridge",
        repr(stage),
        due_since,
        life,
        tuple((b, *(getattr(x, f.name).tobytes() for f in fields(x))) for b, x in loads.items()),
    )
    return scenario.once(key, lambda: _cartridge(scenario, stage, loads, due_since, life))


def _cartridge(
    scenario: Scenario, stage: Stage, loads: Mapping[str, Load], due_since: dt.date | None, life: float
) -> Cartridge:
    return _dated(scenario, stage, tuple(loads), wear(scenario.book, scenario.demand, loads), due_since, life)


def reckoned(scenario: Scenario, one: Cartridge, *, due_since: dt.date | None, life: float) -> Cartridge:
    """The same cartridge on the same water with another ``due_since`` or ``life``."""
    if (due_since, life) == (one.due_since, one.life):
        return one
    return _dated(scenario, one.stage, one.branches, one.wear, due_since, life)


def _dated(
    scenario: Scenario, stage: Stage, branches: tuple[str, ...], on: Wear, due_since: dt.date | None, life: float
) -> Cartridge:
    document = scenario.document
    policy = document.policy.model_copy(update={"group_days": 0})
    slot = _slot(scenario, stage, on, due_since, life)
    alone = change_calendar([slot], document.demand.calendar, policy, scenario.weights, moves=scenario.moves)
    first = bears(scenario, stage, life=life)
    usable = usable_gal(on, first, document.policy.margin)
    return Cartridge(stage, branches, first, on, usable, alone, due_since, life)


def used_at_start(scenario: Scenario, stage: Stage) -> FloatArray | None:
    """Share of the cartridge in place used before the start, shape (n,) or (1,): as a meter tells it, else as stated;
    None where none was in place."""
    in_service = scenario.document.in_place(stage.name)
    if in_service is None:
        return None
    read = scenario.used.get(stage.name)
    return scenario.draws.span(f"{stage.name}: used at the start", in_service.used) if read is None else read


def _slot(scenario: Scenario, stage: Stage, on: Wear, due_since: dt.date | None, life: float) -> Slot:
    """Where a stage's cartridge stands: all that its dates follow from."""
    in_service, used = scenario.document.in_place(stage.name), used_at_start(scenario, stage)
    in_place = None
    if in_service is not None and used is not None:
        in_place = float((scenario.document.demand.calendar.start - in_service.installed).days), used
    return Slot(
        stage.name,
        on,
        partial(bears, scenario, stage, life=life),
        stops=() if stage.medium in NOT_BOUGHT else scenario.stops,  # nothing wet is thrown away
        in_service=in_place,
        made=scenario.made.get(stage.name, ()),
        assumed=not bears(scenario, stage).known,
        due_since=None if due_since is None else (due_since - scenario.document.demand.calendar.start).days,
    )


def calendar_of(scenario: Scenario, cartridges: Sequence[Cartridge]) -> ChangeCalendar:
    """Every change of these cartridges under the document's policy."""
    calendar, policy = scenario.document.demand.calendar, scenario.document.policy
    apart = joined([c.alone for c in cartridges], calendar)
    if not policy.group_days:
        return apart
    slots = [_slot(scenario, c.stage, c.wear, c.due_since, c.life) for c in cartridges]
    return grouped(slots, calendar, policy, scenario.weights, scenario.moves, apart)


def bought(cartridges: Sequence[Cartridge], calendar: ChangeCalendar) -> list[Bought]:
    """What the calendar buys of them in its first twelve months, as it is paid for."""
    found = []
    for one in cartridges:
        if one.stage.medium in NOT_BOUGHT:
            continue
        sheet, usual = one.stage.sheet, medium_class(one.stage.medium, one.stage.size)
        price, assumed = price_of_one(one.stage)
        each = calendar.bought(one.stage.name)
        found.append(
            Bought(
                one.stage.name,
                days=tuple((day - calendar.start).days for day, _ in each),
                left=tuple(left for _, left in each),
                used_up=calendar.lives[one.stage.name].used_up,
                price=price or Span(low=0, high=0),
                price_assumed=assumed,
                salt_kg=sheet.regeneration_salt_kg,
                flush_gal=sheet.flush_gal or usual.flush_gal,
            )
        )
    return found


def grouping_note(
    scenario: Scenario, cartridges: Sequence[Cartridge], calendar: ChangeCalendar
) -> tuple[str, str] | None:
    """Code and sentence where making changes together saves no visit, or costs more in cartridges than it saves in
    visits; None where it pays or is not asked for."""
    document = scenario.document
    days, money = document.policy.group_days, document.money
    apart = joined([c.alone for c in cartridges], document.demand.calendar)
    if not days or not apart.dues:
        return None
    if calendar.dues == apart.dues:
        return (
            "grouping_saves_nothing",
            f"Making changes within {days} days of each other together saves no visit here: each stays on its own day.",
        )

    def spent(of: ChangeCalendar) -> Decimal:
        paid = bought(cartridges, of)
        return yearly_cost(
            money, paid, Usage(np.ones(1)), scenario.draws, scenario.weights, visits=len(of.visits)
        ).expected

    more = spent(calendar) - spent(apart)
    fewer = len(apart.visits) - len(calendar.visits)
    count = sum(len(calendar.bought(c.stage.name)) - len(apart.bought(c.stage.name)) for c in cartridges)
    if more <= 0:
        return None
    unpaid = "" if money.visits_paid else " (no visit is paid for in this plan)"
    return (
        "grouping_costs_more",
        f"Making changes within {days} days of each other together takes {_counted(count, 'cartridge')} more and "
        f"{_counted(fewer, 'visit')} fewer in the first 12 months{unpaid}: {written(more, money.currency)} more than "
        "each change on its own day.",
    )


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
