"""One candidate, from water to money: the chain that the plan, the search and the value of a test all call.

``scenario.prepare`` gathers once what no candidate changes; ``evaluate`` follows one train with one choice of
filtered branches over the whole ensemble.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from brewwater.changes import ChangeCalendar, Descale, descale_dates, descales
from brewwater.cost import EQUIPMENT, Cost, Usage, price_of, yearly_cost
from brewwater.ensemble import mean
from brewwater.log import analyte_of
from brewwater.planning.cartridges import Cartridge, bought, calendar_of, cartridge, membrane_left
from brewwater.planning.scenario import Scenario
from brewwater.planning.worth import Stake
from brewwater.plumbing import Branch, Check, Network, fit
from brewwater.plumbing.network import behind, way_of
from brewwater.treatment import BrokenRule, Context, Load, Stage, TrainResult, held_back, order_problems, run_train
from brewwater.units import GAL_L
from brewwater.verdicts import MachineProfile, State, Verdict, describe, judge, solve_together
from brewwater.verdicts.goals import goals
from brewwater.verdicts.measure import Role
from brewwater.verdicts.readings import ServedReading
from brewwater.verdicts.scale import laid_down_mg_L
from brewwater.verdicts.severity import WEIGHED, Lost, Weighed, severity
from brewwater.water import Water

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Served:
    """The water at one branch; ``machine`` and ``state`` where one stands there (``state`` at its boiler).
    ``inhibited_up_to_mg_L_as_CaCO3``: as in ``TrainResult``."""

    branch: Branch
    machine: MachineProfile | None
    water: Water
    state: State | None
    inhibited_up_to_mg_L_as_CaCO3: FloatArray


@dataclass(frozen=True, slots=True)
class Candidate:
    """What one candidate gives, every step kept.

    feed_tds_mg_L : dissolved solids at each membrane's inlet
    calendar : the date of each change, which the money follows (``with_descales`` adds those of the machines)
    misfits : the checks that only the train makes fail, on what was given
    """

    stages: tuple[Stage, ...]
    branches: tuple[Branch, ...]
    served: tuple[Served, ...]
    reject_L_per_L: Mapping[str, FloatArray]
    feed_tds_mg_L: Mapping[str, FloatArray]
    problems: tuple[BrokenRule, ...]
    cartridges: tuple[Cartridge, ...]
    calendar: ChangeCalendar
    checks: tuple[Check, ...]
    misfits: tuple[Check, ...]
    cost: Cost
    verdicts: tuple[Verdict, ...] = ()

    @property
    def fits(self) -> bool:
        """False where the train asks more of the unit than it bears. What the unit fails without any train
        stands in ``checks`` but is no fault of the train."""
        return not self.misfits

    @property
    def idle(self) -> tuple[Stage, ...]:
        """Stages that serve no filtered branch: no water passes them, and nothing follows from them."""
        return tuple(s for s in self.stages if not behind(s, self.branches))

    @property
    def main(self) -> Served:
        """The main machine's branch (the first that was evaluated)."""
        return self.served[0]


@dataclass(frozen=True, slots=True)
class Routed:
    """Waters and loads of a train on its branches, and the pipes; ``steps``: the inlet and the water after each
    stage."""

    network: Network
    steps: dict[str, tuple[Water, ...]]
    served: dict[str, Water]
    loads: dict[str, dict[str, Load]]
    reject: dict[str, FloatArray]
    inhibited: dict[str, FloatArray]


def route(scenario: Scenario, stages: Sequence[Stage], branches: Sequence[Branch]) -> Routed:
    """Send the waters through the stages that stand before each branch."""
    network = scenario.network(stages, branches)
    out = Routed(network, {}, {}, {s.name: {} for s in stages}, {}, {})
    runs: dict[tuple[str, ...], TrainResult] = {}
    for branch in branches:
        mine = way_of(stages, branch)
        key = tuple(s.name for s in mine)
        if key not in runs:
            settings = {s.name: scenario.settings(s, network.flow_gpm(s)) for s in mine}
            runs[key] = run_train(mine, scenario.waters, scenario.draws, settings=settings)
        run = runs[key]
        out.steps[branch.name] = (scenario.waters, *run.waters)
        out.served[branch.name] = run.served
        out.reject[branch.name] = run.reject_L
        out.inhibited[branch.name] = run.inhibited_up_to_mg_L_as_CaCO3
        for name, load in zip(key, run.loads, strict=True):
            out.loads[name][branch.name] = load
    return out


def feeds(routed: Routed) -> dict[str, FloatArray]:
    """Dissolved solids of the water at each membrane's inlet, mg/L, by membrane."""
    network, found = routed.network, {}
    for membrane in network.membranes:
        branch = behind(membrane, network.branches)[0]
        at = [s.name for s in way_of(network.stages, branch)].index(membrane.name)
        found[membrane.name] = np.asarray(routed.steps[branch.name][at].tds_mg_L)
    return found


def _lowest_ph(scenario: Scenario) -> float | None:
    """Of the supplies as reported; None where one does not tell."""
    told = [s.analysis["ph"].in_plan_units("ph").middle for s in scenario.supplies if "ph" in s.analysis]
    return min(told) if told and len(told) == len(scenario.supplies) else None


def context_of(scenario: Scenario) -> Context:
    """What the order rules need to know of this unit."""
    typical = (
        scenario.pooled(scenario.waters.hardness_mg_L_as_CaCO3)[1],
        scenario.pooled(scenario.waters.alkalinity_mg_L_as_CaCO3)[1],
    )
    machine = scenario.machine_of(scenario.main_branch)
    known = scenario.known.__contains__
    chloride_goal = goals(scenario.document.targets)["chloride"].high
    return Context(
        disinfectant=scenario.disinfectant,
        alkalinity_known=known("alkalinity"),
        hardness_mg_L_as_CaCO3=float(typical[0]) if known("total_hardness") else None,
        alkalinity_mg_L_as_CaCO3=float(typical[1]) if known("alkalinity") else None,
        chloride_mg_L=float(scenario.pooled(scenario.waters.chloride_mg_L)[1]) if known("chloride") else None,
        chloride_limit_mg_L=np.inf if chloride_goal is None else chloride_goal,
        steam_boiler=machine is not None and machine.makes_steam,
        sulfate_known=known("sulfate"),
        concentrate_gypsum=scenario.concentrate_gypsum if known("total_hardness") else None,
        concentrate_calcite=scenario.concentrate_calcite if known("total_hardness") and known("alkalinity") else None,
        iron_mg_L=float(scenario.pooled(scenario.waters.iron_mg_L)[1]) if known("iron") else None,
        manganese_mg_L=float(scenario.pooled(scenario.waters.manganese_mg_L)[1]) if known("manganese") else None,
        ph=_lowest_ph(scenario),
        on_board=scenario.document.unit.has_tanks,
        brass_after_treatment=machine is not None and machine.wetted_metal == "copper_brass",
    )


def scale_held(at: Served) -> NDArray[np.bool_]:
    """Where a scale inhibitor is judged to hold scale back at a machine: the shape of its waters."""
    steam = at.machine is None or at.machine.makes_steam
    return held_back(at.water, at.inhibited_up_to_mg_L_as_CaCO3, steam_boiler=steam)


def scale_mg_L(at: Served) -> FloatArray:
    """Scale that one litre lays down at a machine, mg of calcite a litre, the shape of its waters; 0 where it is held
    back."""
    assert at.state is not None
    assert at.machine is not None
    return np.where(scale_held(at), 0.0, laid_down_mg_L(at.state, at.machine))


def usage(scenario: Scenario, routed: Routed, cartridges: Sequence[Cartridge], served: Sequence[Served]) -> Usage:
    """What the first year takes in, wastes, doses and lays down."""
    needs, calendar = scenario.demand, scenario.document.demand.calendar
    year = needs.year()
    source = reject = scale = minerals = np.zeros(1)
    for name, per_litre in routed.reject.items():
        litres, spilled = needs.litres(name, 0, year), scenario.by_phase(per_litre)
        reject = reject + litres * spilled / GAL_L
        source = source + litres * (1 + spilled) / GAL_L
    for at in served:
        if at.state is not None:
            litres = needs.litres(at.branch.name, 0, year)
            scale = scale + litres * scenario.by_phase(scale_mg_L(at)) / 1000
    for one in cartridges:
        if one.stage.medium == "mineral_dose" and "consumed_g" in one.wear.rates:
            minerals = minerals + one.wear.use("consumed_g", scenario.book.sums[[year]]) / 1000
    lost = sum(calendar.span_of(s).stop - calendar.span_of(s).start for s in calendar.suspensions)
    return Usage(
        drinks=needs.drinks_between(0, year),
        source_gal=source,
        reject_gal=reject,
        mineral_kg=minerals,
        scale_g=scale,
        suspension_days=lost * len(calendar.weekdays) / 7,
    )


def evaluate(
    scenario: Scenario, stages: Sequence[Stage], branches: Sequence[Branch] | None = None, beside: Sequence[State] = ()
) -> Candidate:
    """Follow one candidate from water to money.

    Parameters
    ----------
    scenario : from ``prepare``
    stages : the train, from the source on; empty for none
    branches : the document's by default; others to try a branch behind the filter or before it
    beside : states, not read yet, to be solved in one batch with those of the branches
    """
    places = scenario.document.branches if branches is None else tuple(branches)
    routed = route(scenario, stages, places) if stages or branches is not None else _untreated(scenario)
    served = serve(scenario, places, routed)
    solve_together(list({id(s): s for s in (*beside, *(at.state for at in served)) if s is not None}.values()))
    standing = _standing(scenario, routed, stages, places)
    verdicts = tuple(v for at in served for v in judge_at(scenario, at, standing))
    since = _due_since(verdicts)
    cartridges = tuple(
        cartridge(scenario, s, routed.loads[s.name], since.get(s.name), membrane_left(scenario, stages, s))
        for s in stages
        if routed.loads[s.name]
    )
    calendar = calendar_of(scenario, cartridges)
    money = yearly_cost(
        scenario.document.money,
        bought(cartridges, calendar),
        usage(scenario, routed, cartridges, served),
        scenario.draws,
        scenario.weights,
        visits=len(calendar.visits),
        equipment=[EQUIPMENT[s.medium] for s in stages if s.medium in EQUIPMENT and behind(s, places)],
    )
    checks = _checks(scenario, stages, places, routed)
    return Candidate(
        stages=tuple(stages),
        branches=places,
        served=served,
        reject_L_per_L=routed.reject,
        feed_tds_mg_L=feeds(routed),
        problems=order_problems(stages, context_of(scenario)),
        cartridges=cartridges,
        calendar=calendar,
        checks=checks,
        misfits=tuple(c for c in checks if c.refuses and (c.check, c.part) not in _bare_faults(scenario)),
        cost=money,
        verdicts=verdicts,
    )


def with_descales(scenario: Scenario, candidate: Candidate) -> ChangeCalendar:
    """The candidate's calendar with every descale of every machine inside the plan. What a manual asks for regardless
    is not in it."""
    grams = scenario.draws.span("scale per descale", scenario.document.money.scale_g_per_descale)
    found: list[Descale] = []
    for at in candidate.served:
        if at.machine is None or at.state is None:
            continue
        laid = {at.branch.name: scale_mg_L(at) / 1000}
        dates = descale_dates(scenario.book, scenario.demand, laid, grams)
        found += descales(at.machine.name, dates, scenario.weights)
    return replace(candidate.calendar, descales=tuple(sorted(found, key=lambda d: (d.date, d.machine))))


# What is said of a stage of ``Candidate.idle``.
SERVES_NOTHING = "No filtered branch stands behind it, so no water passes it: it has no dates and no cost."


def _main_first(scenario: Scenario, branches: Sequence[Branch]) -> list[Branch]:
    main = scenario.document.demand.main_branch
    return sorted(branches, key=lambda b: b.name != main)


def serve(scenario: Scenario, branches: Sequence[Branch], routed: Routed) -> tuple[Served, ...]:
    """The water at each branch, the main machine's first, solved where a machine stands. Branches that carry
    the same water to machines of one temperature share the solution."""
    solved: dict[tuple[int, float], State] = {}

    def one(branch: Branch) -> Served:
        water, machine = routed.served[branch.name], scenario.machine_of(branch)
        if machine is None:
            return Served(branch, None, water, None, routed.inhibited[branch.name])
        key = id(water), machine.temperature_C
        if key not in solved:
            solved[key] = describe(water, machine.temperature_C)
        return Served(branch, machine, water, solved[key], routed.inhibited[branch.name])

    return tuple(one(b) for b in _main_first(scenario, branches))


def _standing(
    scenario: Scenario, routed: Routed, stages: Sequence[Stage], branches: Sequence[Branch]
) -> tuple[ServedReading, ...]:
    """The tests of served water that speak of this train and that no change has cleared, each with the stage that
    answers for it: the one that moves the analyte furthest."""
    if tuple(stages) != scenario.stood:
        return ()
    found = []
    for one in scenario.served:
        branch = next((b for b in branches if b.name == one.branch), None)
        if branch is None:
            continue
        answers = _answers(scenario, routed, stages, branch, one.analyte)
        changed = None if answers is None else scenario.changed.get(answers)
        if changed is None or changed < one.date:
            found.append(replace(one, after=answers or ""))
    return tuple(found)


def _answers(scenario: Scenario, routed: Routed, stages: Sequence[Stage], branch: Branch, analyte: str) -> str | None:
    mine = [s for s in stages if s.branch in (None, branch.name)] if branch.filtered else []
    shown = [float(scenario.pooled(analyte_of(water, analyte))[1]) for water in routed.steps[branch.name]]
    moved = [abs(after - before) for before, after in pairwise(shown)]
    furthest = int(np.argmax(moved)) if moved else 0
    return mine[furthest].name if mine and moved[furthest] > 1e-9 * max(map(abs, shown)) else None


def _due_since(verdicts: Iterable[Verdict]) -> dict[str, dt.date]:
    """By stage, since when a reading asks for its change."""
    found: dict[str, dt.date] = {}
    for failing in (f for v in verdicts for f in v.failed if f.status == "act" and f.reading.after):
        name = failing.reading.after
        found[name] = min(failing.since, found.get(name, failing.since))
    return found


def judge_at(
    scenario: Scenario, at: Served, readings: Sequence[ServedReading] = (), role: Role = "served"
) -> tuple[Verdict, ...]:
    """The water at a place judged at its machine; nothing where no machine stands or its state is not solved.
    ``readings``: tests of served water that no change has cleared."""
    if at.machine is None or at.state is None:
        return ()
    return judge(
        at.water,
        at.state,
        known=scenario.known,
        weights=scenario.weights,
        role=role,
        machine=at.machine,
        targets=scenario.document.targets,
        supplies=scenario.supplies,
        branch=at.branch.name,
        phase_names=scenario.phase_names,
        inhibited_up_to_mg_L_as_CaCO3=at.inhibited_up_to_mg_L_as_CaCO3,
        readings=readings,
    )


def _untreated(scenario: Scenario) -> Routed:
    """The document's branches without any treatment, followed once."""
    return scenario.once("untreated", lambda: route(scenario, (), scenario.document.branches))


def _bare_faults(scenario: Scenario) -> frozenset[tuple[str, str]]:
    """The checks that the unit fails with no train at all."""

    def faults() -> frozenset[tuple[str, str]]:
        checks = _checks(scenario, (), scenario.document.branches, _untreated(scenario))
        return frozenset((c.check, c.part) for c in checks if c.refuses)

    return scenario.once("bare faults", faults)


def _checks(
    scenario: Scenario, stages: Sequence[Stage], branches: Sequence[Branch], routed: Routed
) -> tuple[Check, ...]:
    document = scenario.document
    return fit(
        document.unit,
        branches,
        stages,
        litres={b.name: scenario.day_litres(b.name)[0] for b in branches},
        peak_litres={b.name: scenario.day_litres(b.name)[1] for b in branches},
        reject_L_per_L={name: np.max(np.atleast_2d(lost), axis=0) for name, lost in routed.reject.items()},
        machines=document.machines,
        draws=scenario.draws,
        weights=scenario.weights,
        residual_mg_L=np.min(np.atleast_2d(scenario.waters.total_chlorine_mg_L), axis=0),
        residual_measured=bool(scenario.known & {"total_chlorine", "free_chlorine"}),
        network=routed.network,
        feed_tds_mg_L=feeds(routed),
    )


@dataclass(frozen=True, slots=True)
class Weight:
    """What a candidate is ranked by, shape (n,) or (1,): money a year, and what being out of goal is worth."""

    cost: FloatArray
    loss: dict[Weighed, FloatArray]

    @property
    def total(self) -> FloatArray:
        """Cost and loss together, per draw."""
        return np.asarray(self.cost + sum(self.loss.values()), dtype=np.float64)


def stake(scenario: Scenario) -> Stake:
    """What a year's drinks and a gram of scale are worth in this plan."""
    money = scenario.document.money
    per_descale = scenario.draws.span("scale per descale", money.scale_g_per_descale)
    descale = scenario.draws.span("price: descale", price_of(money, "descale")[0])
    drinks = scenario.demand.drinks_between(0, scenario.demand.year())
    each = float(mean(descale, scenario.weights)) * float(mean(1 / per_descale, scenario.weights))
    return Stake(scenario.document.worth, np.asarray(drinks, dtype=np.float64), each)


def lost_at(scenario: Scenario, at: Served, *, measured_only: bool) -> Lost:
    """How far out of goal the water at a machine is."""
    assert at.machine is not None
    assert at.state is not None
    return severity(
        at.water,
        at.state,
        known=scenario.known,
        machine=at.machine,
        targets=scenario.document.targets,
        supplies=scenario.supplies,
        measured_only=measured_only,
        inhibited_up_to_mg_L_as_CaCO3=at.inhibited_up_to_mg_L_as_CaCO3,
    )


def worst_of(found: Sequence[Mapping[Weighed, FloatArray]]) -> dict[Weighed, FloatArray]:
    """The losses of several machines as one: every drink meets the worst, scale is laid down in each."""
    zero: FloatArray = np.zeros(1)
    worst: dict[Weighed, FloatArray] = dict.fromkeys(WEIGHED, zero)
    for one in found:
        for subject in WEIGHED:
            both = worst[subject], one[subject]
            worst[subject] = both[0] + both[1] if subject == "scale" else np.maximum(*both)
    return worst


def losses(scenario: Scenario, served: Sequence[Served], *, measured_only: bool = True) -> dict[Weighed, FloatArray]:
    """What a year of these waters being out of goal is worth to the user, by subject and draw."""
    at_stake, year = stake(scenario), scenario.demand.year()
    return worst_of(
        [
            at_stake.lost(
                lost_at(scenario, at, measured_only=measured_only),
                scenario.demand.litres(at.branch.name, 0, year) * scenario.by_phase(scale_mg_L(at)) / 1000,
            )
            for at in served
            if at.machine is not None and at.state is not None
        ]
    )
