"""What the chain gives for one set of draws, as far as a log asks for it: each test's water, each meter's litres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from brewwater.changes.wear import Wear, wear
from brewwater.log import Scene, Sorted, Tested, analyte_of, counted_log, metered_log, tested_log
from brewwater.planning.candidate import Routed, route
from brewwater.planning.cartridges import bears
from brewwater.planning.scenario import Scenario
from brewwater.treatment import Stage, run_train
from brewwater.water import Water

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# What a part of a water does not bring into a mixture by its volume: a stage that leaves it alone may still move it.
_NOT_MIXED = {"conductivity", "ph"}


class Prediction:
    """What the chain gives for one set of draws, worked out when first asked for."""

    def __init__(self, scenario: Scenario, scene: Scene, log: Sorted) -> None:
        self.scenario, self.scene, self.log = scenario, scene, log
        self._worn: dict[str, Wear] = {}
        self._per_litre: dict[tuple[str, int], FloatArray] = {}

    @cached_property
    def routed(self) -> Routed:
        return route(self.scenario, self.scene.stages, self.scene.branches)

    def explain(self) -> FloatArray:
        """Log likelihood of the whole log, shape (n,)."""
        scenario = self.scenario
        total = np.zeros(scenario.draws.n)
        for meter in self.log.meters:
            total = total + metered_log(meter, scenario.demand, scenario.draws)
        for counted in self.log.counts:
            total = total + counted_log(counted, scenario.demand)
        for test in self.log.tests:
            total = total + tested_log(test, self.predicted(test))
        return total

    def predicted(self, test: Tested) -> FloatArray:
        """What the plan gives for each test, shape (row, n); of length 1 where all rows or draws are alike."""
        scenario = self.scenario
        if test.place == "supply":
            water = scenario.supply_waters[scenario.tank.names.index(test.name)]
            return np.atleast_2d(analyte_of(water, test.analyte))
        phases, row = np.unique(test.phase, return_inverse=True)
        if test.place == "source" or not self.train_before(test.name):
            water = scenario.waters.each(lambda x: _rows(x, phases))
            return np.asarray(_rows(analyte_of(water, test.analyte), row))
        return self._served(test)

    def train_before(self, branch: str) -> list[Stage]:
        filtered = any(b.name == branch and b.filtered for b in self.scene.branches)
        return [s for s in self.scene.stages if s.branch in (None, branch)] if filtered else []

    def _served(self, test: Tested) -> FloatArray:
        """The served water of each row, its cartridges as far used as they were by then, as ``predicted``."""
        scenario = self.scenario
        group, place = _grouped(test.phase)
        count, size = group.max() + 1, place.max() + 1
        day, phase = np.full((count, size), test.day[0]), np.zeros(count, dtype=np.int64)
        day[group, place], phase[group] = test.day, test.phase
        flow = self.routed.network.flow_gpm
        mine = self._changing(test.analyte, self.train_before(test.name), self.routed.steps[test.name])
        settings = {
            s.name: replace(scenario.settings(s, flow(s)), used=self.used(s, day.reshape(-1)).reshape(count, size, -1))
            for s in mine
        }
        # what the train leaves alone stays one water for a group, whatever its days
        inlet = scenario.waters.each(lambda x: _rows(x, phase)[:, None])
        found = analyte_of(run_train(mine, inlet, scenario.draws, settings=settings).served, test.analyte)
        return np.asarray(np.broadcast_to(found, (count, size, found.shape[-1]))[group, place])

    def _changing(self, analyte: str, stages: list[Stage], steps: Sequence[Water]) -> list[Stage]:
        """The stages up to the last that changes what a test reads; ``steps``: the waters around each of them."""
        if analyte in _NOT_MIXED:
            return stages
        shown = [analyte_of(water, analyte) for water in steps]
        last = max((i for i in range(len(stages)) if not np.array_equal(shown[i], shown[i + 1])), default=-1)
        return stages[: last + 1]

    def used(self, stage: Stage, day: IntArray) -> FloatArray:
        """Share of the cartridge in place that is used before each day of the plan, shape (row, n).

        On the year's mean water; ``day`` may be before the start.
        """
        scenario, line = self.scenario, self.scene.line
        loads = self.routed.loads.get(stage.name, {})
        if not loads:
            return np.zeros((len(day), 1))
        litres_each = np.asarray(sum(scenario.demand.branch_amounts(b) for b in loads))
        start, number, before = self._in_place(stage, day)
        litres = (line.sums[day + line.start] - line.sums[start]) @ litres_each
        of_number = np.array([self._share_per_litre(stage, n) for n in range(int(number.max()) + 1)])
        return np.asarray(np.maximum(litres * _rows(of_number, number), 0.0) + before)

    def _share_per_litre(self, stage: Stage, number: int) -> FloatArray:
        """Share of the stage's cartridge of that number that one litre of the mean year uses, shape (n,)."""
        key = stage.name, number
        if key not in self._per_litre:
            on = self._wear(stage)
            every = np.broadcast_to(on.ledger.sums[[-1]], on.served_L.shape)
            served, new = np.maximum(on.served(every), 1e-9), bears(self.scenario, stage, number)
            share = np.zeros(self.scenario.draws.n)
            for currency in on.rates:
                share = np.maximum(share, on.use(currency, every) / served / getattr(new, currency))
            self._per_litre[key] = share
        return self._per_litre[key]

    def _wear(self, stage: Stage) -> Wear:
        """The year's load on the stage."""
        if stage.name not in self._worn:
            loads = self.routed.loads[stage.name]
            self._worn[stage.name] = wear(self.scenario.book, self.scenario.demand, loads)
        return self._worn[stage.name]

    def _in_place(self, stage: Stage, day: IntArray) -> tuple[IntArray, IntArray, FloatArray]:
        """For each day: when the cartridge then in place went in, which number it is, its share used by then."""
        line, scene = self.scene.line, self.scene
        found = next((p for p in scene.in_service if p.stage == stage.name), None)
        first = line.start if found is None else max(line.at(found.installed), 0)
        swaps = [line.at(d) for d in self.log.changed.get(stage.name, ()) if line.holds(d)]
        went_in = np.array(sorted({first, *swaps}))
        which = np.maximum(np.searchsorted(went_in, day + line.start, side="right") - 1, 0)
        in_plan = np.searchsorted(went_in[went_in > line.start], day + line.start, side="right")
        before = np.zeros((len(day), 1))
        if found is not None and found.used.high > 0:
            stated = self.scenario.draws.span(f"{stage.name}: used at the start", found.used)
            # stated for the start of the plan: what the plan has run since then comes on top
            at_first = went_in[which] == first
            before = np.where(at_first[:, None], stated, 0.0)
            start = np.where(at_first, np.maximum(first, line.start), went_in[which])
            return start, in_plan, before
        return went_in[which], in_plan, before


def _grouped(phase: IntArray) -> tuple[IntArray, IntArray]:
    """Rows of one water put together in groups of the same size: the group of each row, and its place there. Fewer
    places stay empty than there are rows."""
    distinct, which = np.unique(phase, return_inverse=True)
    size = max(1, len(phase) // len(distinct))
    order = np.argsort(which, kind="stable")
    nth = np.empty(len(phase), dtype=np.int64)  # of the rows of its water
    nth[order] = np.arange(len(phase)) - np.searchsorted(which[order], which[order])
    _, group = np.unique(which * len(phase) + nth // size, return_inverse=True)
    return group, nth % size


def _rows(values: FloatArray, rows: IntArray) -> FloatArray:
    """Rows of an array (phase, n), of one (n,), or of a scalar, for each asked phase; one row where all are alike."""
    grid = np.atleast_2d(values)
    if len(grid) == 1:
        return np.asarray(grid)
    return np.asarray(grid[rows[:1]] if (rows == rows[0]).all() else grid[rows])
