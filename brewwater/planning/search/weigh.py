"""What a train is ranked by: money a year over the life of its parts, and what its water leaves out of goal.

The dates of a first year buy whole cartridges, so a membrane of two and a half years would seem free; here
every cartridge counts by the share used up in a year of steady use, the mean over the years of the plan. Many
settings of one kind of train are weighed as one array; what the losses do not read is not solved.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from brewwater.changes.wear import CURRENCIES, Currency
from brewwater.cost import EQUIPMENT, price_of
from brewwater.demand import DAYS_PER_YEAR
from brewwater.ensemble import mean
from brewwater.planning.candidate import Served, Weight, lost_at, scale_mg_L, stake, worst_of
from brewwater.planning.cartridges import NOT_BOUGHT, membrane_left
from brewwater.planning.scenario import Scenario
from brewwater.planning.search.kinds import Kind, Setting, in_size
from brewwater.treatment import (
    Load,
    Stage,
    StageSettings,
    TrainResult,
    capacity,
    price_of_one,
    run_train,
)
from brewwater.treatment.classes import SIZES
from brewwater.units import GAL_L
from brewwater.verdicts.goals import weighing
from brewwater.verdicts.severity import WEIGHED, Weighed, bounded
from brewwater.verdicts.state import State
from brewwater.water import Water

FloatArray = NDArray[np.float64]

# A size is refused where its cartridges would be changed more often than this, while a larger one exists.
MOST_CHANGES_A_YEAR = 6.0
# Of all values in one batch: bounds the memory of a search over many waters.
_MOST_AT_ONCE = 200_000
_WORSE_THAN_ANY_PRICE = 1e6


@dataclass(frozen=True, slots=True)
class Lot:
    """Settings of one kind weighed together.

    trains : as they would be bought, each stage in its best size
    cost : expected money a year, shape (setting,); loss : expected loss by subject, shape (setting,)
    faults : measures out of goal, mean over the draws, shape (setting,)
    changes : cartridges a year of the stage that is changed most often, shape (setting,)
    """

    trains: tuple[tuple[Stage, ...], ...]
    cost: FloatArray
    loss: Mapping[Weighed, FloatArray]
    faults: FloatArray
    changes: FloatArray

    @property
    def total(self) -> FloatArray:
        """Expected cost and loss together, shape (setting,)."""
        return np.asarray(self.cost + sum(self.loss.values()), dtype=np.float64)


class Scales:
    """Weighs trains on the waters, the demand and the prices of one plan. Every stage stands on the trunk."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.share = scenario.weights / scenario.weights.sum()
        self._filtered = [b for b in scenario.document.branches if b.filtered]
        self._litres = {b.name: yearly_litres(scenario, b.name) for b in scenario.document.branches}
        self._through = sum((self._litres[b.name] for b in self._filtered), start=np.zeros((1, 1)))
        self._peak_gal = scenario.demand.peak_day_litres(*(b.name for b in self._filtered)) / GAL_L
        self._bears: dict[tuple[str, str], tuple[Stage, Mapping[Currency, FloatArray], FloatArray]] = {}
        self._stake = stake(scenario)
        self._a_fault = weighing()["a_fault"] * float(self.expected(self._stake.whole_year("cup")))
        unfiltered = (b for b in scenario.document.branches if not b.filtered)
        self._elsewhere = self._at_machines([b.name for b in unfiltered], scenario.waters, np.zeros(1))

    def expected(self, values: FloatArray) -> FloatArray:
        """Mean over the draws, the last axis."""
        return np.asarray(values @ self.share if values.shape[-1] > 1 else values[..., 0], dtype=np.float64)

    def counted(self, loss: FloatArray) -> FloatArray:
        """The expected loss of a subject as far as it is likely: nothing is bought for what hardly ever is out."""
        often = self.expected((loss > 0).astype(np.float64))
        low, high = weighing()["unlikely_share"], weighing()["likely_share"]
        return self.expected(loss) * np.clip((often - low) / (high - low), 0.0, 1.0)

    def value(self, weight: Weight) -> float:
        """What trains are ranked by: expected money, and what it loses as far as that is likely."""
        return float(self.expected(weight.cost)) + sum(float(self.counted(x)) for x in weight.loss.values())

    def of_setting(self, lot: Lot) -> FloatArray:
        """What the settings of one kind are chosen by, shape (setting,): the whole expectation, and a little for
        each measure that is out of goal."""
        return lot.total + lot.faults * self._a_fault

    def lot(self, kind: Kind, settings: Sequence[Setting], recovery: float | None = None) -> Lot:
        """Weigh settings of a kind at one recovery."""
        return self.lots(kind, settings, (recovery,))[0]

    def lots(self, kind: Kind, settings: Sequence[Setting], recoveries: Sequence[float | None]) -> list[Lot]:
        """Weigh settings of a kind at each recovery. The product of a membrane is the same at each of them, so
        its water is solved once."""
        at_once = max(1, _MOST_AT_ONCE // (len(self.scenario.phase_share) * len(self.share)))
        found: list[list[Lot]] = [[] for _ in recoveries]
        for first in range(0, len(settings), at_once):
            part = settings[first : first + at_once]
            served: tuple[dict[Weighed, FloatArray], FloatArray] | None = None
            for number, recovery in enumerate(recoveries):
                trains = [kind.train(s, recovery) for s in part]
                run, chosen = self._run(trains)
                if served is None:
                    served = self._at_filtered(run.served, run.inhibited_up_to_mg_L_as_CaCO3)
                money, sizes, changes = self._money(trains, run, chosen)
                found[number].append(self._lot(trains, sizes, money, changes, *served))
        return [_joined(lots) for lots in found]

    def weigh(self, train: Sequence[Stage], served: Sequence[Served], *, measured_only: bool = True) -> Weight:
        """The weight of one train as it stands, by draw; ``served`` from its evaluation, whose states are used."""
        run, chosen = self._run([tuple(train)])
        money = self._money([tuple(train)], run, chosen, as_is=True)[0]
        loss, _ = self._worst([(at, at.state) for at in served], measured_only)
        shape = self.share.shape
        total = np.broadcast_to(money, (1, *shape))[0]
        return Weight(total, {s: np.broadcast_to(x, shape) for s, x in loss.items()})

    def sized(self, train: Sequence[Stage]) -> tuple[tuple[Stage, ...], float]:
        """A train in its best sizes, and its expected money a year; no water of it is judged."""
        run, chosen = self._run([tuple(train)])
        money, sizes, _ = self._money([tuple(train)], run, chosen)
        return tuple(options[0] for options in sizes), float(self.expected(money)[0])

    def _lot(
        self,
        trains: Sequence[tuple[Stage, ...]],
        sizes: Sequence[Sequence[Stage]],
        money: FloatArray,
        changes: FloatArray,
        loss: Mapping[Weighed, FloatArray],
        faults: FloatArray,
    ) -> Lot:
        count = len(trains)
        bought = tuple(
            tuple(
                item if item.medium in NOT_BOUGHT else in_size(item, options[i].size)
                for item, options in zip(train, sizes, strict=True)
            )
            for i, train in enumerate(trains)
        )

        def spread(values: FloatArray) -> FloatArray:
            return np.broadcast_to(self.expected(values), (count,))

        each = {s: spread(x) for s, x in loss.items()}
        return Lot(bought, spread(money), each, spread(faults), changes)

    def _run(self, trains: Sequence[tuple[Stage, ...]]) -> tuple[TrainResult, list[StageSettings]]:
        """All trains at once: they differ in bypass and doses, which become an axis before the phases."""
        first = trains[0]
        bypass = _bypasses(trains)
        network = self.scenario.network(first, self.scenario.document.branches, bypass)
        chosen = []
        for at, item in enumerate(first):
            of_stage = self.scenario.settings(item, network.flow_gpm(item))
            of_stage = replace(of_stage, bypass=bypass.get(item.name))
            if item.medium == "mineral_dose":
                salts = dict.fromkeys(d.salt for t in trains for d in t[at].doses)
                by_salt = [{d.salt: d.mg_L for d in t[at].doses} for t in trains]
                of_stage = replace(of_stage, doses={s: _axis([d.get(s, 0.0) for d in by_salt]) for s in salts})
            chosen.append(of_stage)
        by_name = {s.name: c for s, c in zip(first, chosen, strict=True)}
        return run_train(first, self.scenario.waters, self.scenario.draws, settings=by_name), chosen

    def _at_filtered(self, water: Water, inhibited: FloatArray) -> tuple[dict[Weighed, FloatArray], FloatArray]:
        here, faults = self._at_machines([b.name for b in self._filtered], water, inhibited)
        elsewhere, more = self._elsewhere
        return worst_of([here, elsewhere]), np.maximum(faults, more)

    def _at_machines(
        self, branches: Sequence[str], water: Water, inhibited: FloatArray
    ) -> tuple[dict[Weighed, FloatArray], FloatArray]:
        """What is lost at the machines of branches that carry one water, as ``_worst``."""
        found = []
        states: dict[str, State] = {}
        for branch in self.scenario.document.branches:
            machine = self.scenario.machine_of(branch)
            if branch.name not in branches or machine is None:
                continue
            key = machine.model_copy(update={"name": ""}).model_dump_json()
            if key not in states:
                states[key] = bounded(water, machine, self.scenario.document.targets)
            found.append((Served(branch, machine, water, states[key], inhibited), states[key]))
        return self._worst(found, measured_only=True)

    def _worst(
        self, places: Sequence[tuple[Served, State | None]], measured_only: bool
    ) -> tuple[dict[Weighed, FloatArray], FloatArray]:
        """What is lost at machines in money, and how many measures are out of goal at the worst of them."""
        found = []
        faults: FloatArray = np.zeros(1)
        for at, state in places:
            if at.machine is None or state is None:
                continue
            at = replace(at, state=state)
            grams = (scale_mg_L(at) * self._litres[at.branch.name]).sum(axis=-2) / 1000
            lost = lost_at(self.scenario, at, measured_only=measured_only)
            found.append(self._stake.lost(lost, grams))
            faults = np.maximum(faults, lost.faults)
        return worst_of(found), faults

    def _price(self, key: str) -> float:
        return self._middle(f"price: {key}", price_of(self.scenario.document.money, key)[0])

    def _change(self, item: Stage) -> float:
        """What one change costs: a new one, or the salt that regenerates it."""
        salt = item.sheet.regeneration_salt_kg
        if salt is not None:
            return self._middle(f"salt: {item.name}", salt) * self._price("softener_salt_kg")
        price, _ = price_of_one(item)
        return 0.0 if price is None else self._middle(f"price: {item.name}", price)

    def _middle(self, name: str, span: object) -> float:
        return float(mean(self.scenario.draws.span(name, span), self.scenario.weights))  # type: ignore[arg-type]

    def _money(
        self,
        trains: Sequence[tuple[Stage, ...]],
        run: TrainResult,
        chosen: Sequence[StageSettings],
        *,
        as_is: bool = False,
    ) -> tuple[FloatArray, list[list[Stage]], FloatArray]:
        """Money a year by setting and draw, the size of each stage in each setting, and the changes a year of the
        stage that is changed most often."""
        money = self.scenario.document.money
        total = np.zeros((len(trains), 1))
        sizes: list[list[Stage]] = []
        visits: FloatArray = np.zeros((len(trains), 1))
        most = np.zeros(len(trains))
        for at, (item, load, settings) in enumerate(zip(trains[0], run.loads, chosen, strict=True)):
            feed = run.waters[at - 1] if at else self.scenario.waters
            if item.medium in EQUIPMENT:
                total = total + self._price(EQUIPMENT[item.medium]) / money.head_life_years
            if item.medium == "mineral_dose":
                total = total + self._use("consumed_g", load) / 1000 * self._price("mineral_kg")
            if item.medium in NOT_BOUGHT:
                sizes.append([item] * len(trains))
                continue
            overrun = partial(self._overrun, trains, at, load, settings, feed)
            best, changes, stages = self._sized(
                item, load, overrun, len(trains), as_is, membrane_left(self.scenario, trains[0], item)
            )
            total, visits = total + best + self._price("head") / money.head_life_years, visits + changes
            most = np.maximum(most, self.expected(changes))
            sizes.append(stages)
        if money.visits_paid:
            total = total + visits * self._price("labour_visit")
        spilled = (run.reject_L * self._through).sum(axis=-2)
        through = self._through.sum(axis=-2) + spilled
        total = total + through / GAL_L * self._price("hauled_gal" if money.hauled else "water_gal")
        return total, sizes, most

    def _use(self, currency: Currency, load: Load) -> FloatArray:
        """Use of a currency in a year, shape (draw,), or with the settings before it."""
        return np.asarray((getattr(load, currency) * self._through).sum(axis=-2), dtype=np.float64)

    def _sized(
        self,
        item: Stage,
        load: Load,
        overrun: Callable[[Stage], FloatArray],
        count: int,
        as_is: bool,
        life: float = 1.0,
    ) -> tuple[FloatArray, FloatArray, list[Stage]]:
        """Cost and changes a year of the best size for each setting, and that size.

        The cheapest that is not changed too often and bears the flow; where none does, the least bad. ``life``: part
        of its time that this water leaves it.
        """
        uses = {c: self._use(c, load) for c in CURRENCIES if np.any(getattr(load, c) > 0)}
        options = [self._option(item, s) for s in ((item.size,) if as_is else SIZES)]
        changes, costs, ranks = [], [], []
        for option, bears, days in options:
            rate = DAYS_PER_YEAR / days / life
            for currency, use in uses.items():
                if currency in bears:
                    rate = np.maximum(rate, use / bears[currency])
            rate = np.broadcast_to(rate, (count, len(self.share)))
            cost = rate * self._change(option)
            mean_rate, mean_cost = self.expected(rate), self.expected(cost)
            faults = np.maximum(mean_rate / MOST_CHANGES_A_YEAR - 1, 0.0) + overrun(option)
            changes.append(rate)
            costs.append(cost)
            ranks.append(mean_cost + faults * _WORSE_THAN_ANY_PRICE)
        best = np.argmin(np.stack(ranks), axis=0)
        pick = [int(b) for b in best]
        rows = range(count)
        return (
            np.stack([costs[b][i] for i, b in zip(rows, pick, strict=True)]),
            np.stack([changes[b][i] for i, b in zip(rows, pick, strict=True)]),
            [options[b][0] for b in pick],
        )

    def _overrun(
        self,
        trains: Sequence[tuple[Stage, ...]],
        at: int,
        load: Load,
        settings: StageSettings,
        feed: Water,
        option: Stage,
    ) -> FloatArray:
        """1 where a size does not bear the peak flow in nine draws of ten, or a membrane not the busiest day; shape
        (setting,)."""
        if option.medium == "reverse_osmosis":
            # what it makes in a day, waiting in a tank
            train = [option if i == at else s for i, s in enumerate(trains[0])]
            network = self.scenario.network(train, self.scenario.document.branches, _bypasses(trains))
            if option not in network.membranes:
                return np.zeros(len(trains))
            psi = network.membrane_inlet(option).end_psi
            makes = network.product_gal_per_day(option, psi, feed.tds_mg_L)
            over = (self._peak_gal * load.volume_L).mean(axis=-1) > makes.mean(axis=-1)
        elif option.sheet.service_flow_gpm is None or settings.peak_flow_gpm is None:
            over = np.zeros(1, np.bool_)
        else:
            too_much = settings.peak_flow_gpm > option.sheet.service_flow_gpm * 1.0001
            over = self.expected(too_much.astype(np.float64)) > 0.1
        over = np.asarray(over)
        by_setting = over.reshape(len(trains), -1).any(axis=1) if over.ndim > 1 else np.full(len(trains), over.any())
        return np.asarray(by_setting, dtype=np.float64)

    def _option(self, item: Stage, size: str) -> tuple[Stage, Mapping[Currency, FloatArray], FloatArray]:
        """A stage in a size, what it bears with the margin off, and its days."""
        as_given = size == item.size
        option = item if as_given else in_size(item, size)  # type: ignore[arg-type]  # one of SIZES
        key = (repr((item.name, item.medium, item.leakage_mg_L_as_CaCO3, option.sheet)), size)
        if key not in self._bears:
            full = capacity(option, self.scenario.draws, disinfectant=self.scenario.disinfectant)
            margin = self.scenario.document.policy.margin
            bears: dict[Currency, FloatArray] = {
                c: getattr(full, c) * margin for c in CURRENCIES if np.isfinite(getattr(full, c)).any()
            }
            self._bears[key] = option, bears, full.days
        return self._bears[key]


def yearly_litres(scenario: Scenario, branch: str) -> FloatArray:
    """Litres of each water drawn at a branch in a year, the mean over the years of the plan, shape (phase, draw)."""
    book = scenario.book
    share = DAYS_PER_YEAR / len(book.days)
    by_pair = scenario.demand.branch_amounts(branch)[book.term] * (book.sums[-1] * share)[:, None]
    out = np.zeros((len(scenario.phase_share), by_pair.shape[-1]))
    np.add.at(out, book.phase, by_pair)
    return out


def _bypasses(trains: Sequence[tuple[Stage, ...]]) -> dict[str, FloatArray]:
    """Share that goes round each stage whose bypass differs between the trains, by name, shape (setting, 1, 1)."""
    found = {}
    for at, item in enumerate(trains[0]):
        if any(t[at].bypass_percent != item.bypass_percent for t in trains):
            found[item.name] = _axis([t[at].bypass_percent / 100 for t in trains])
    return found


def _axis(values: Sequence[float]) -> FloatArray:
    return np.array(values, dtype=np.float64)[:, None, None]


def _joined(lots: Sequence[Lot]) -> Lot:
    if len(lots) == 1:
        return lots[0]
    return Lot(
        tuple(t for lot in lots for t in lot.trains),
        np.concatenate([lot.cost for lot in lots]),
        {s: np.concatenate([lot.loss[s] for lot in lots]) for s in WEIGHED},
        np.concatenate([lot.faults for lot in lots]),
        np.concatenate([lot.changes for lot in lots]),
    )
