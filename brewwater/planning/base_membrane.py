"""Make it at base and carry it: the same membrane water where the reject goes to a base's drain, costed.

On board a membrane draws its reject from the fresh tank and sends it to the waste tank. At a base it runs on the
mains, and only what it makes is carried: in a tank of its own, beside the fresh tank for all else, or in the
fresh tank itself, whose every fixture then draws membrane water.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.cost import EQUIPMENT, Cost, written, yearly_cost
from brewwater.ensemble import percentiles
from brewwater.errors import InputError
from brewwater.planning.candidate import Candidate, Routed, feeds, route, usage
from brewwater.planning.cartridges import Cartridge, bought, calendar_of, cartridge, membrane_left
from brewwater.planning.scenario import Scenario
from brewwater.planning.search import Alternative
from brewwater.plumbing import Branch, Check, Day, Known, known, unit_template
from brewwater.plumbing.check import Judge, at_least, settled
from brewwater.plumbing.fit_tanks import peak_checks, tank_checks, weight_checks
from brewwater.plumbing.network import membrane_of, up_to_tank
from brewwater.plumbing.tanks import next_size, waste_rule
from brewwater.treatment import Load, Stage
from brewwater.units import GAL_L, plain

FloatArray = NDArray[np.float64]
Place = Literal["on_board", "own_tank", "fresh_tank"]

TITLE = "Make it at base and carry it"
NAMES: dict[Place, str] = {
    "on_board": "Membrane on board",
    "own_tank": "Made at base, carried in a tank of its own",
    "fresh_tank": "Made at base, carried in the fresh tank",
}
TANKS = ("fresh_tank_hours", "waste_tank_ratio", "waste_tank_fill", "peak_day_fills")
UNCOUNTED = "The minutes that filling and carrying take are not in the cost: weigh them yourself."
AFTER_TANK = "Carbon after the carried tank"


@dataclass(frozen=True, slots=True)
class Way:
    """One way to come by the membrane's water. Arrays: shape (draw,) or (1,).

    cost : the whole year, by line; ``dearer``: what it costs more than on board (less: negative)
    fresh_gal, waste_gal : taken from the fresh tank and sent to the waste tank on an ordinary service day
    reject_gal : of the membrane on that day, wherever it goes; ``made_gal``: its product
    run_hours : the membrane's for that day at base, per draw; None on board
    carried_gal, base_tank_gal : tanks to buy, US gal; None: not needed
    checks : of the tanks, and that the membrane makes a day's water in a day
    asks : what it asks of the user, in sentences
    """

    key: Place
    cost: Cost
    dearer: FloatArray
    fresh_gal: FloatArray
    waste_gal: FloatArray
    reject_gal: FloatArray
    made_gal: FloatArray
    run_hours: FloatArray | None
    carried_gal: float | None
    base_tank_gal: float | None
    checks: tuple[Check, ...]
    asks: tuple[str, ...]

    @property
    def name(self) -> str:
        """In words."""
        return NAMES[self.key]

    @property
    def passes(self) -> bool | None:
        """Whether tanks and membrane bear it; None where a check rests on what was not given. A weight that
        cannot be judged is left aside."""
        found = [c for c in self.checks if c.ok is not None or c.check != "weight"]
        if any(c.refuses for c in found):
            return False
        return None if any(c.assumed or c.ok is None for c in found) else True


@dataclass(frozen=True, slots=True)
class AtBase:
    """A train's membrane on board, and the two ways to run it at base.

    membranes, stages : of the train it is worked for; ``own``: it is the plan's own train
    note : one sentence
    """

    membranes: tuple[str, ...]
    stages: tuple[Stage, ...]
    own: bool
    ways: tuple[Way, ...]
    note: str


def made_at_base(scenario: Scenario, candidate: Candidate, alternatives: Sequence[Alternative] = ()) -> AtBase | None:
    """The ways to run a membrane at base, of this train, or else of the best alternative whose membrane the
    tanks do not bear.

    Returns
    -------
    None for a plumbed unit, where no membrane is in question, and where several are: each would need a look of
    its own
    """
    found = _in_question(scenario, candidate, alternatives)
    if found is None or sum(s.medium == "reverse_osmosis" for s in found.stages) > 1:
        return None
    return _worked(scenario, found, own=found is candidate)


def tanks_fail(scenario: Scenario, candidate: Candidate, alternatives: Sequence[Alternative] = ()) -> bool:
    """True where a membrane is in question and its unit does not bear it on board."""
    found = _in_question(scenario, candidate, alternatives)
    return found is not None and any(c.refuses for c in _of_tanks(found))


def _in_question(scenario: Scenario, candidate: Candidate, alternatives: Sequence[Alternative]) -> Candidate | None:
    if not scenario.document.unit.has_tanks:
        return None
    if _behind(candidate):
        return candidate
    for one in alternatives:
        tanks = any(c.check in TANKS for c in one.candidate.misfits)
        if tanks and not one.refused and _behind(one.candidate):
            return one.candidate
    return None


def _of_tanks(candidate: Candidate) -> tuple[Check, ...]:
    return tuple(c for c in candidate.checks if c.check in (*TANKS, "weight"))


def _behind(candidate: Candidate) -> list[Branch]:
    return [b for b in candidate.branches if membrane_of(candidate.stages, b) is not None]


def _worked(scenario: Scenario, candidate: Candidate, *, own: bool) -> AtBase:
    made = _Work(scenario, candidate)
    ways = (made.on_board(), made.own_tank(), made.fresh_tank())
    return AtBase(tuple(s.name for s in made.membranes), candidate.stages, own, ways, _note(scenario, ways))


class _Work:
    """What the three ways share. Every draw is the plan's own, so that their differences are of the ways alone."""

    def __init__(self, scenario: Scenario, candidate: Candidate) -> None:
        self.scenario, self.candidate = scenario, candidate
        self.unit = scenario.document.unit
        self.on: Known = known(self.unit)
        self.judge = Judge(scenario.weights)
        self.hours = self.on.unit.hours_per_service_day or 24.0
        self.behind = _behind(candidate)
        self.others = [b for b in candidate.branches if b not in self.behind]
        self.routed = route(scenario, candidate.stages, candidate.branches)
        self.membranes = self.routed.network.membranes
        at_base = [s for b in self.behind for s in up_to_tank(candidate.stages, b)]
        self.at_base = tuple(s for s in candidate.stages if s in at_base)
        self.output, self.assumed = self._output()

    def on_board(self) -> Way:
        lost = self._reject(self.behind, self.routed)
        day = self._day(self.candidate.branches)
        made = self._made(self.behind, self.routed, 0)
        return Way(
            "on_board",
            self.candidate.cost,
            np.zeros(1),
            day.fresh_gal + lost,
            day.waste_gal + lost,
            lost,
            made,
            None,
            None,
            None,
            _of_tanks(self.candidate),
            (),
        )

    def own_tank(self) -> Way:
        """Only the branches behind the membrane draw its water, from a tank of their own."""
        base, board = [], []
        for stage in self.candidate.stages:
            loads = self.routed.loads[stage.name]
            here = {b.name: loads[b.name] for b in self.behind if b.name in loads and stage in self.at_base}
            rest = {name: load for name, load in loads.items() if name not in here}
            base += [self._cartridge(stage, here)] if here else []
            board += [self._cartridge(stage, rest)] if rest else []
        share = self.on.unit.usable_fresh_share or 1.0
        wanted = self.judge.high(self._gal(self.behind, 1)) / self.unit.fills_per_day / share
        carried, too_large = self._tank("carried_tank", wanted, "be carried")
        tank, full = self._base_tank(self.behind, self.routed)
        extra = ["carried_tank", *(["base_tank"] if tank else [])]
        cost = self._cost(board, base, self.others, self.behind, self.routed, extra)
        ask = (
            f"A tank of its own of {plain(carried or wanted)} gal with its pump, of food-grade plastic, emptied "
            f"each day: "
            "nothing in membrane water keeps it fresh."
        )
        return self._way(
            "own_tank",
            cost,
            self.others,
            self.behind,
            self.routed,
            tank,
            ask + self._smaller(carried),
            [*too_large, *full],
            carried,
        )

    def _cartridge(self, stage: Stage, loads: Mapping[str, Load]) -> Cartridge:
        """The candidate's cartridge under other loads."""
        return cartridge(self.scenario, stage, loads, life=membrane_left(self.scenario, self.candidate.stages, stage))

    def _smaller(self, carried: float | None) -> str:
        """Where the waste tank is too small for both tanks: the fresh tank that it would be enough for."""
        unit, rule = self.on.unit, waste_rule(self.unit.jurisdiction)
        fresh, waste, own = unit.fresh_tank_gal or 0.0, unit.waste_tank_gal or 0.0, carried or 0.0
        allowed = waste / rule.ratio() - own
        if waste >= rule.required_gal(fresh + own) or allowed <= 0:
            return ""
        need = self.judge.high(self._day(self.others).fresh_gal) / unit.fills_per_day
        return (
            f" The waste tank then answers for {plain(fresh + own, 6)} gal: with a fresh tank of "
            f"{plain(allowed)} gal it is large "
            f"enough, and {plain(need)} gal are drawn from it between two fills."
        )

    def fresh_tank(self) -> Way:
        """Everything on board draws membrane water from the fresh tank, dosed with chlorine that a carbon takes
        out again."""
        stages = up_to_tank(self.candidate.stages, self.behind[0])
        bare = [b.model_copy(update={"filtered": True}) for b in self.others]
        besides = route(self.scenario, [s.model_copy(update={"branch": None}) for s in stages], bare)
        loads = {name: {**mine, **besides.loads.get(name, {})} for name, mine in self.routed.loads.items()}
        every = replace(self.routed, loads=loads, reject={**self.routed.reject, **besides.reject})
        dose = max(float(r["minimum_mg_L"]) for r in reference.table("tank_residual") if r["when"] == "taken on board")
        spent = {b.name: Load(chlorine_g=np.array([dose / 1000])) for b in self.behind}
        board = [cartridge(self.scenario, Stage(name=AFTER_TANK, medium="carbon"), spent)]
        base: list[Cartridge] = []
        for stage in (s for s in self.candidate.stages if loads[s.name]):
            (base if stage in self.at_base else board).append(self._cartridge(stage, loads[stage.name]))
        branches = [*self.behind, *self.others]
        tank, full = self._base_tank(branches, every)
        cost = self._cost(board, base, [], branches, every, ["base_tank"] if tank else [])
        ask = (
            f"Membrane water holds no chlorine: dose the fresh tank to {plain(dose, 6)} mg/L at each fill, test "
            f"it each day, "
            "and take it out again by a carbon after the tank (counted). Read the bleach's label; never mix it."
        )
        return self._way("fresh_tank", cost, branches, branches, every, tank, ask, full)

    def _way(
        self,
        key: Place,
        cost: Cost,
        drawn: Sequence[Branch],
        made_for: Sequence[Branch],
        routed: Routed,
        tank: float | None,
        ask: str,
        tank_checked: Sequence[Check],
        carried: float | None = None,
    ) -> Way:
        scenario = self.scenario
        day, peak = self._day(drawn), self._day(drawn, 1)
        made, lost = self._made(made_for, routed, 0), self._reject(made_for, routed)
        hours = made / np.maximum(self.output, 1e-9) * 24
        unit = self.on.unit.model_copy(update={"product_tank_gal": carried})
        checks = (
            *tank_checks(self.on, day, self.judge, carried or 0.0),
            *peak_checks(self.on, peak, self.judge),
            *weight_checks(unit, ("the carried tank",) if carried else ()),
            self._in_time(hours),
            *tank_checked,
        )
        cold = self.unit.water_C
        low, middle, high = percentiles(hours, scenario.weights)
        gallons = self.judge.middle(self.output)
        asks = (
            f"Mains at base, and a drain there that takes {plain(self.judge.middle(lost))} gal of reject on a service "
            "day, with an air gap; the local code decides.",
            f"The membrane runs {plain(middle, 2)} h ({plain(low, 2)} to {plain(high, 2)}) for a service day, "
            f"at {plain(gallons)} gal a day "
            f"and {plain(cold, 6)} °C" + (f" (not given: {', '.join(self.assumed)})." if self.assumed else "."),
            f"A storage tank of {plain(tank, 6)} gal at base for the busiest day."
            if tank
            else "No storage tank at base: it fills the carried tank while the unit stands there.",
            "The tanks are full at the start of one busiest day; several such days in a row are not checked.",
            ask,
        )
        return Way(
            key,
            cost,
            np.asarray(cost.total - self.candidate.cost.total),
            day.fresh_gal,
            day.waste_gal,
            lost,
            made,
            hours,
            carried,
            tank,
            checks,
            asks,
        )

    def _in_time(self, hours: FloatArray) -> Check:
        worst = self.judge.high(hours)
        how = f"The membrane runs {plain(worst)} h for a service day's water, and a day has 24"
        source, holds = "the membrane's data sheet, temperature and mains pressure", [at_least(24.0, worst)]
        return settled("membrane_hours", worst, 24.0, "h", holds, source, how, "base", gone=self.assumed)

    def _gal(self, branches: Sequence[Branch], peak: int) -> FloatArray:
        litres = (self.scenario.day_litres(b.name)[peak] for b in branches)
        return np.asarray(sum(litres, start=np.zeros(1))) / GAL_L

    def _day(self, drawn: Sequence[Branch], peak: int = 0) -> Day:
        """What ``drawn`` take from the fresh tank, and what all branches send to the waste tank, without reject."""
        waste = (self._gal([b], peak) * b.waste_share for b in self.candidate.branches)
        return Day(self._gal(drawn, peak), np.zeros(1), np.asarray(sum(waste, start=np.zeros(1))))

    def _reject(self, branches: Sequence[Branch], routed: Routed) -> FloatArray:
        return np.asarray(sum((self._gal([b], 0) * self._worst(routed.reject[b.name]) for b in branches), np.zeros(1)))

    def _made(self, branches: Sequence[Branch], routed: Routed, peak: int) -> FloatArray:
        """Product of the membranes on a day, US gal."""
        made = np.zeros(1)
        for loads in (routed.loads[m.name] for m in self.membranes):
            for branch in branches:
                if branch.name in loads:
                    made = made + self._gal([branch], peak) * self._worst(loads[branch.name].volume_L)
        return made

    def _worst(self, per_litre: FloatArray) -> FloatArray:
        return np.asarray(np.max(np.atleast_2d(per_litre), axis=0))

    def _output(self) -> tuple[FloatArray, list[str]]:
        """Product at base, US gal a day per draw (of all membranes together), and what was not given for it."""
        gone = []
        mains = self.unit.mains_psi or unit_template("shop").mains_psi
        assert mains is not None  # a shop's template has it
        if self.unit.mains_psi is None:
            gone.append("mains pressure at base")
        start, network, tds = self.scenario.draws.span("mains at base", mains), self.routed.network, feeds(self.routed)
        total = np.zeros(1)
        for stage in self.membranes:
            if stage.sheet.rated_output_gal_per_day is None:
                gone.append(f"the rated output of {stage.name}")
            psi = network.membrane_inlet(stage, start).end_psi
            makes = network.product_gal_per_day(stage, psi, tds[stage.name])
            total = total + np.min(np.atleast_2d(makes), axis=0)
        return total, gone

    def _base_tank(self, branches: Sequence[Branch], routed: Routed) -> tuple[float | None, list[Check]]:
        """The tank that holds at base what the membrane cannot make while the unit stands there on the busiest
        day, or what waits for a later fill of that day."""
        need, fills = self.judge.high(self._made(branches, routed, 1)), self.unit.fills_per_day
        overnight = self.judge.low(self.output) * (24 - self.hours) / 24
        stored = max(need - overnight, need * (1 - 1 / fills))
        return self._tank("base_tank", stored, "wait at base") if stored > 1e-6 else (None, [])

    def _tank(self, key: str, wanted_gal: float, word: str) -> tuple[float | None, list[Check]]:
        """The usual size that is large enough, or a failed check where none is."""
        try:
            return next_size("tank", wanted_gal), []
        except InputError as error:
            why = f"{plain(wanted_gal)} gal must {word} on the busiest day; {error.limit}."
            return None, [Check(key, wanted_gal, None, "gal", False, reference.cite("common_practice"), why, "base")]

    def _cost(
        self,
        board: Sequence[Cartridge],
        base: Sequence[Cartridge],
        from_tank: Sequence[Branch],
        from_base: Sequence[Branch],
        routed: Routed,
        equipment: Sequence[str],
    ) -> Cost:
        scenario, needs = self.scenario, self.scenario.demand
        year = needs.year()
        on_board = replace(routed, reject={b.name: routed.reject[b.name] for b in from_tank})
        used = usage(scenario, on_board, [*board, *base], self.candidate.served)
        taken = lost = np.zeros(1)
        for branch in from_base:
            gallons = needs.litres(branch.name, 0, year) / GAL_L
            spilled = gallons * scenario.by_phase(routed.reject[branch.name])
            taken, lost = taken + gallons + spilled, lost + spilled
        here, there = (calendar_of(scenario, cartridges) for cartridges in (board, base))
        paid = bought(board, here)
        names = {one.name for one in paid}
        for one in bought(base, there):
            paid.append(replace(one, at_base=True, name=f"{one.name} at base" if one.name in names else one.name))
        keys = [EQUIPMENT[s.medium] for s in self.candidate.stages if s.medium in EQUIPMENT]
        return yearly_cost(
            scenario.document.money,
            paid,
            replace(used, base_gal=taken, base_reject_gal=lost),
            scenario.draws,
            scenario.weights,
            visits=len({*here.visits, *there.visits}),
            equipment=[*keys, *equipment],
        )


def _note(scenario: Scenario, ways: Sequence[Way]) -> str:
    """On board beside the way at base that passes, the cheaper one first."""
    board, best = ways[0], min(ways[1:], key=lambda w: (w.passes is False, w.passes is None, float(w.cost.expected)))
    parts = [_said(scenario, w) for w in (board, best)]
    low, _, high = percentiles(best.dearer, scenario.weights)
    more, currency = best.cost.expected - board.cost.expected, board.cost.currency
    word = "more" if more >= 0 else "less"
    ends = sorted((abs(low), abs(high))) if low * high > 0 else (low, high)
    spread = f" ({written(ends[0], currency)} to {written(ends[1], currency)})" if high - low > 1 else ""
    return f"{parts[0]} {parts[1]} That is {written(abs(more), currency)} a year {word}{spread}. {UNCOUNTED}"


def _said(scenario: Scenario, way: Way) -> str:
    fresh, waste = (float(percentiles(x, scenario.weights)[1]) for x in (way.fresh_gal, way.waste_gal))
    failed = [c.check.replace("_", " ") for c in way.checks if c.refuses]
    verdict = {True: "it passes", None: "no verdict yet", False: f"it fails ({', '.join(failed)})"}[way.passes]
    return (
        f"{way.name}: {plain(fresh)} gal a service day from the fresh tank and {plain(waste)} gal to waste, "
        f"{written(way.cost.expected, way.cost.currency)} a year; {verdict}."
    )
