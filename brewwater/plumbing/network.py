"""One pipe network: flow, pressure, contact time and membrane output of every stage and fixture of a train.

How it is piped: stages that name no branch stand on the trunk, before every filtered branch; a branch's own
stages stand on it after the tee. A membrane fills a storage tank. What goes round the membrane (its bypass), and
the raw water of a blend valve behind it on the same line, joins *before* that tank: the tank holds the water as it
is served, and a pump behind it (``Unit.repump``) sends it on. So what stands up to the tank runs at the steady
flow that fills it, and what stands after it at the fixtures' draw.

Flows in US gal/min, pressures in psi (gauge), outputs in US gal/day; arrays whose last axis is the draw (an axis
of settings may stand before it, where a bypass has one).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.plumbing.flow import MOST_GPM, End, drop_stated, flow_of, pipe_loss_psi, pump_psi, stage_drop, supply_psi
from brewwater.plumbing.parts import Branch, Known, Pipe, branch_pipe
from brewwater.records import Span
from brewwater.treatment import Stage, medium_class
from brewwater.treatment.media.catalytic_carbon import empty_bed_contact_s
from brewwater.treatment.media.reverse_osmosis import output_gal_per_day
from brewwater.treatment.medium import quantity, treatment_limit
from brewwater.units import GAL_L

FloatArray = NDArray[np.float64]
Litres = Mapping[str, FloatArray]


@dataclass(slots=True)
class Asked:
    """What is asked of a point of the network: of each fixture's draw a share, and steady flows that fill tanks,
    gpm, by membrane."""

    draws: dict[str, FloatArray] = field(default_factory=dict)
    fills: dict[str, FloatArray] = field(default_factory=dict)

    def add(self, other: Asked) -> None:
        """Ask for this too. A tank on the trunk is filled once, whatever branches it serves."""
        self.draws |= {b: self.draws.get(b, np.zeros(1)) + x for b, x in other.draws.items()}
        self.fills |= other.fills

    def times(self, share: FloatArray) -> Asked:
        """A share of it."""
        return Asked({b: x * share for b, x in self.draws.items()}, {m: x * share for m, x in self.fills.items()})


@dataclass(frozen=True, slots=True)
class Pressure:
    """Pressure at one place, psi, with cartridges clean and with the one that clogs most (for a membrane: all before
    it) at its end. ``worst_psi``, ``best_psi``: at its end, the assumed drops at the unfavourable and the favourable
    end of their classes. Negative: the water does not reach it. ``missing``: why it is not known."""

    clean_psi: FloatArray
    end_psi: FloatArray
    worst_psi: FloatArray
    best_psi: FloatArray
    assumed: tuple[str, ...] = ()
    missing: str = ""


def peak_of(branches: Sequence[Branch], flows: Mapping[str, FloatArray]) -> FloatArray:
    """Flow while every fixture that draws at the peak does so at once, US gal/min. Of a single branch, or where none
    draws at the peak, the largest counts."""
    together = largest = np.zeros(1)
    for branch in (b for b in branches if b.name in flows):
        largest = np.maximum(largest, flows[branch.name])
        if branch.draws_at_once:
            together = together + flows[branch.name]
    return np.maximum(together, largest)


def behind(stage: Stage, branches: Sequence[Branch]) -> list[Branch]:
    """The filtered branches that a stage serves."""
    return [b for b in branches if b.filtered and stage.branch in (None, b.name)]


def way_of(stages: Sequence[Stage], branch: Branch) -> tuple[Stage, ...]:
    """The stages that a branch's water passes, from the source on."""
    return tuple(s for s in stages if branch.filtered and s.branch in (None, branch.name))


def membrane_of(stages: Sequence[Stage], branch: Branch) -> Stage | None:
    """The membrane on a branch's way, whose product waits in a tank; None without one in service."""
    ways = way_of(stages, branch)
    return next((s for s in ways if s.medium == "reverse_osmosis" and s.bypass_percent < 100), None)


def up_to_tank(stages: Sequence[Stage], branch: Branch) -> tuple[Stage, ...]:
    """The stages on a branch's way up to its last membrane's tank: to the membrane, or to the blend valve behind it
    on the same line. Empty without a membrane."""
    ways = way_of(stages, branch)
    at = [i for i, s in enumerate(ways) if s.medium == "reverse_osmosis" and s.bypass_percent < 100]
    return ways[: _tank_after(ways, at[-1]) + 1] if at else ()


def usual_output(membrane: Stage) -> Span:
    """Rated product of a membrane's class, US gal/day."""
    found = medium_class(membrane.medium, membrane.size).output_gal_per_day
    assert found is not None  # every size of a membrane has it; held by a test
    return found


def _lost_psi(pipe: Pipe, flow_gpm: FloatArray, temperature_C: float) -> FloatArray:
    """``pipe_loss_psi``; past its table the loss grows with the square of the flow (fully turbulent), so that a demand
    that no pipe carries leaves no pressure instead of no answer."""
    within = np.minimum(flow_gpm, MOST_GPM)
    still = pipe_loss_psi(pipe, np.zeros(1), temperature_C)  # the rise alone
    past = np.maximum(flow_gpm / MOST_GPM, 1.0) ** 2
    return np.asarray(still + (pipe_loss_psi(pipe, within, temperature_C) - still) * past)


def _unknown(why: str) -> Pressure:
    nowhere = np.array([np.nan])
    return Pressure(nowhere, nowhere, nowhere, nowhere, (), why)


def _tank_after(ways: Sequence[Stage], membrane: int) -> int:
    """Index of the stage behind which a membrane's tank stands."""
    end = membrane
    for i, stage in enumerate(ways[membrane + 1 :], start=membrane + 1):
        if stage.medium == "reverse_osmosis" and stage.bypass_percent < 100:
            break
        if stage.medium == "blend" and stage.branch == ways[membrane].branch:
            end = i
    return end


class Network:
    """The pipes of one unit with one train on one choice of filtered branches.

    Parameters
    ----------
    on : the unit, filled in (``parts.known``)
    branches, stages : the document's parts; the train from the source on
    draws : the ensemble; typical figures where left out
    busiest_L : litres of the busiest service day by branch, shape (n,) or (1,): no peak is below their mean flow
    bypass : share that goes round a stage, by its name, any broadcastable shape; the stage's own where left out
    """

    def __init__(
        self,
        on: Known,
        branches: Sequence[Branch],
        stages: Sequence[Stage] = (),
        *,
        draws: Draws | None = None,
        busiest_L: Litres | None = None,
        bypass: Mapping[str, FloatArray] | None = None,
    ) -> None:
        self.on, self.branches, self.stages, self.draws = on, tuple(branches), tuple(stages), draws
        self._bypass = bypass or {}
        self._busiest_L = busiest_L or {}
        self._ways = {b.name: way_of(stages, b) for b in branches}
        self._at_outlet = {s.name: Asked() for s in stages}
        self._source = Asked()
        self._from_tank: dict[str, Asked] = {}
        self._tank_L_per_L: dict[str, dict[str, FloatArray]] = {}
        for branch in branches:
            self._walk(branch)

    # flow

    def fixture_gpm(self, branch: Branch) -> FloatArray:
        """A fixture's flow while it draws; never below the mean flow of its busiest day."""
        return np.maximum(flow_of(branch, self.draws), self._mean_gpm[branch.name])

    def flow_gpm(self, stage: Stage) -> FloatArray:
        """Flow through a stage's medium at the peak, what goes round it left out; a membrane's is its feed, 0 where
        no filtered branch stands behind it."""
        asked = self._at_outlet[stage.name]
        if self._in_service(stage):
            return self._feed_gpm(stage) if asked.fills else np.zeros(1)
        return self._peak(asked) * (1 - self._around(stage))

    @cached_property
    def trunk_gpm(self) -> FloatArray:
        """Flow at the start of the trunk at the peak: fixtures that draw at once, and what fills membranes' tanks in
        place of the fixtures behind them."""
        return self._peak(self._source)

    def tank_draw_gpm(self, membrane: Stage) -> FloatArray:
        """Flow out of a membrane's tank at the peak, by the pump behind it."""
        return self._peak(self._from_tank[membrane.name])

    def contact_s(self, stage: Stage, bed_L: float) -> FloatArray:
        """Empty-bed contact time of a bed of ``bed_L`` litres at the peak, s; infinite where nothing flows."""
        return empty_bed_contact_s(bed_L, self.flow_gpm(stage))

    # pressure

    def inlet(self, branch: Branch) -> Pressure:
        """Pressure at a branch's inlet while every fixture of the peak draws."""
        unit, ways = self.on.unit, self._ways[branch.name]
        own = _lost_psi(branch_pipe(unit, branch), self.fixture_gpm(branch), unit.water_C)
        membranes = [s for s in ways if self._in_service(s)]
        if not membranes:
            drops = [(s, self.flow_gpm(s)) for s in ways]
            return self._after(self._trunk_psi - own, drops, self._supply_assumed)
        if unit.repump is None:
            return _unknown(f"the pump after the storage tank of {membranes[-1].name} is not given")
        drops = [(s, self.flow_gpm(s)) for s in ways[len(up_to_tank(ways, branch)) :]]
        return self._after(pump_psi(unit.repump, self.tank_draw_gpm(membranes[-1])) - own, drops, ())

    def membrane_inlet(self, membrane: Stage, start_psi: FloatArray | None = None) -> Pressure:
        """Pressure at a membrane while its tank fills and nothing else draws, the filters before it clean or all at
        their end.

        Parameters
        ----------
        membrane : one behind which a filtered branch stands
        start_psi : pressure where its water comes in, psi, in place of the unit's own pump or mains
        """
        unit = self.on.unit
        branch = behind(membrane, self.branches)[0]
        ways = self._ways[branch.name]
        before = ways[: [s.name for s in ways].index(membrane.name)]
        earlier = [s for s in before if self._in_service(s)]
        taken: tuple[str, ...] = () if start_psi is not None else self._supply_assumed
        filling = self._source.fills.get(membrane.name, np.zeros(1))
        if earlier:  # it is fed from the tank of the one before it
            if unit.repump is None:
                return _unknown(f"the pump after the storage tank of {earlier[-1].name} is not given")
            before = before[len(up_to_tank(before, branch)) :]
            start_psi, taken = pump_psi(unit.repump, self._feed_gpm(membrane)), ()
        if start_psi is None:
            start_psi = self._supplied(filling)
        flows = [
            (s, self._at_outlet[s.name].fills.get(membrane.name, np.zeros(1)) * (1 - self._around(s))) for s in before
        ]
        return self._after(start_psi, flows, taken, every=True)

    # membranes

    @property
    def membranes(self) -> tuple[Stage, ...]:
        """Those in service with a filtered branch behind them."""
        return tuple(s for s in self.stages if self._in_service(s) and self._at_outlet[s.name].fills)

    def rated_gal_per_day(self, membrane: Stage) -> FloatArray:
        """A membrane's rated product; of its class where the sheet rates none."""
        rated = membrane.sheet.rated_output_gal_per_day
        if rated is not None:
            return np.array([rated])
        usual = usual_output(membrane)
        if self.draws is None:
            return np.array([usual.middle])
        return self.draws.span(f"{membrane.name}: rated output", usual)

    def product_gal_per_day(
        self,
        membrane: Stage,
        psi: FloatArray,
        tds_mg_L: FloatArray | float | None = None,
        temperature_C: FloatArray | float | None = None,
        rated_gal_per_day: FloatArray | float | None = None,
    ) -> FloatArray:
        """A membrane's product at an inlet pressure, against the osmotic pressure of its feed, US gal/day.

        Parameters
        ----------
        tds_mg_L : of the water at its inlet; that of the rating where left out
        temperature_C : of the water; the unit's where left out
        rated_gal_per_day : another rated output than ``rated_gal_per_day(membrane)``
        """
        rated = self.rated_gal_per_day(membrane) if rated_gal_per_day is None else rated_gal_per_day
        return output_gal_per_day(
            membrane,
            treatment_limit("membrane_rating_tds") if tds_mg_L is None else tds_mg_L,
            quantity(membrane, "recovery", self.draws),
            psi,
            self.on.unit.water_C if temperature_C is None else temperature_C,
            rated_gal_per_day=rated,
        )

    def tank_litres(self, membrane: Stage, litres: Litres) -> FloatArray:
        """Of litres served by branch, those that come out of a membrane's tank, its blend counted."""
        shares = self._tank_L_per_L[membrane.name]
        return np.asarray(sum((litres.get(b, np.zeros(1)) * x for b, x in shares.items()), start=np.zeros(1)))

    def product_share(self, membrane: Stage) -> FloatArray:
        """Share of a tank's water that passed the membrane, 0 to 1; the rest went round it."""
        share: FloatArray = 1 - self._around(membrane)
        ways = self._ways[behind(membrane, self.branches)[0].name]
        at = [s.name for s in ways].index(membrane.name)
        for stage in ways[at + 1 : _tank_after(ways, at) + 1]:
            if stage.medium == "blend":
                share = share * (1 - self._around(stage))
        return share

    # how it is worked

    @cached_property
    def _supply_assumed(self) -> tuple[str, ...]:
        return tuple(self.on.missing(("pump",) if self.on.unit.has_tanks else ("mains_psi",)))

    @cached_property
    def _trunk_psi(self) -> FloatArray:
        """Pressure behind the trunk's pipe at the peak."""
        return self._supplied(self.trunk_gpm)

    def _supplied(self, flow_gpm: FloatArray) -> FloatArray:
        unit = self.on.unit
        assert unit.pipe is not None  # every template has one
        return supply_psi(self.on, flow_gpm, self.draws) - _lost_psi(unit.pipe, flow_gpm, unit.water_C)

    def _after(
        self,
        start_psi: FloatArray,
        flows: Sequence[tuple[Stage, FloatArray]],
        assumed: tuple[str, ...],
        every: bool = False,
    ) -> Pressure:
        """Pressure after cartridges: clean, and with the one that clogs most (or ``every`` one) at its end."""

        def left(at: End) -> tuple[FloatArray, FloatArray]:
            clean = rise = np.zeros(1)
            for stage, flow in flows:
                drop = stage_drop(stage, flow, at)
                clean = clean + drop.clean_psi
                more = drop.end_psi - drop.clean_psi
                rise = rise + more if every else np.maximum(rise, more)
            return start_psi - clean, start_psi - clean - rise

        silent = tuple(f"pressure drop of {s.name}" for s, _ in flows if not drop_stated(s))
        clean, end = left("usual")
        worst, best = (left("high")[1], left("low")[1]) if silent else (end, end)
        return Pressure(clean, end, worst, best, (*assumed, *silent))

    def _around(self, stage: Stage) -> FloatArray:
        given = self._bypass.get(stage.name)
        return np.array([stage.bypass_percent / 100]) if given is None else given

    def _in_service(self, stage: Stage) -> bool:
        if stage.medium != "reverse_osmosis":
            return False
        around = self._around(stage)
        if np.any(around >= 1) and not np.all(around >= 1):
            raise InputError(f"{stage.name} bypass", 1.0, "below 1 beside others that are", "Leave 100 % out.")
        return not np.all(around >= 1)

    def _product_gpm(self, membrane: Stage) -> FloatArray:
        return self.rated_gal_per_day(membrane) / 1440

    def _feed_gpm(self, membrane: Stage) -> FloatArray:
        return self._product_gpm(membrane) / quantity(membrane, "recovery", self.draws)

    @cached_property
    def _mean_gpm(self) -> dict[str, FloatArray]:
        """Mean flow of the busiest service day by branch."""
        minutes = 60 * (self.on.unit.hours_per_service_day or 24.0)
        return {b.name: np.asarray(self._busiest_L.get(b.name, np.zeros(1))) / GAL_L / minutes for b in self.branches}

    def _peak(self, asked: Asked) -> FloatArray:
        by_name = {b.name: b for b in self.branches}
        found = peak_of(self.branches, {b: self.fixture_gpm(by_name[b]) * x for b, x in asked.draws.items()})
        mean = sum((self._mean_gpm[b] * x for b, x in asked.draws.items()), start=np.zeros(1))
        return np.asarray(np.maximum(found, mean) + sum(asked.fills.values(), start=np.zeros(1)))

    def _walk(self, branch: Branch) -> None:
        """From a fixture up to the source: what each stage on the way, and each tank, is asked."""
        ways, one = self._ways[branch.name], np.ones(1)
        ends = {_tank_after(ways, i): s for i, s in enumerate(ways) if self._in_service(s)}
        asked, raw, litres = Asked(draws={branch.name: one}), Asked(), one
        for i in reversed(range(len(ways))):
            stage, around = ways[i], self._around(ways[i])
            if i in ends:
                membrane = ends[i]
                self._from_tank.setdefault(membrane.name, Asked()).add(asked)
                self._tank_L_per_L.setdefault(membrane.name, {})[branch.name] = litres
                asked = Asked(fills={membrane.name: self._product_gpm(membrane) / self.product_share(membrane)})
            self._at_outlet[stage.name].add(asked)
            if stage.medium == "blend":
                raw.add(asked.times(around))
                asked, litres = asked.times(1 - around), litres * (1 - around)
            elif self._in_service(stage):
                mixed = asked.fills[stage.name]
                asked = Asked(fills={stage.name: self._feed_gpm(stage) + mixed * around})
                litres = litres * (around + (1 - around) / quantity(stage, "recovery", self.draws))
        for name, amount in raw.fills.items():
            asked.fills[name] = asked.fills.get(name, np.zeros(1)) + amount
        asked.add(Asked(draws=raw.draws))
        self._source.add(asked)
