"""What no candidate changes, gathered once: the draws, the waters at the inlet, the demand and the calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from brewwater.changes import Standstill, moves_of, stops_of
from brewwater.changes.wear import Ledger, ledger
from brewwater.demand import Demand, demand
from brewwater.ensemble import Draws, percentiles
from brewwater.log import Metered, follow_meters
from brewwater.log.own_units import used_like_own
from brewwater.planning.document import PlanDocument
from brewwater.planning.once import Once
from brewwater.plumbing import Branch, Network, known
from brewwater.reports.analysis import Disinfectant, Supply
from brewwater.supply.completion import Note, complete
from brewwater.supply.tank_days import TankDays, tank_days
from brewwater.treatment import Stage, StageSettings, settings_for
from brewwater.treatment.media.reverse_osmosis import concentrate_calcite_index, concentrate_gypsum_index
from brewwater.units import percent
from brewwater.verdicts import MachineProfile
from brewwater.verdicts.readings import ServedReading
from brewwater.water import Water, mix

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Scenario:
    """What no candidate changes.

    weights : shape (n,), not negative
    waters : the waters that reach the inlet, shape (phase, n) or (phase, 1)
    phase_share : share of the first year's service days with each water, shape (phase,)
    supply_waters : the supplies themselves, shape (n,) or (1,), in the order of ``supplies``
    known : analytes measured in every supply; ``notes`` what the completion assumed
    read : analytes tested at the source by the log, by supply
    made : days on which cartridges were changed by the log, by stage
    used : share of the cartridge in place used before the start, by stage, where a meter tells it; shape (n,)
    bed : part of its capacity that a stage's cartridges really hold, where tests of the served water tell it
    bed_tested : number of the last cartridge (0: the first of the plan) that those tests speak of, by stage; a stage
        that is not in it: of every one
    served : tests of served water, taken while ``stood`` was the train; ``changed``: by stage, the day of the last
        change in the log
    once : what was worked out for one candidate and serves the others
    """

    document: PlanDocument
    draws: Draws
    weights: FloatArray
    supplies: tuple[Supply, ...]
    supply_waters: tuple[Water, ...]
    waters: Water
    phase_names: tuple[str, ...]
    phase_share: FloatArray
    known: frozenset[str]
    notes: tuple[Note, ...]
    disinfectant: Disinfectant
    demand: Demand
    tank: TankDays
    book: Ledger
    stops: tuple[Standstill, ...]
    moves: IntArray
    read: Mapping[str, frozenset[str]] = field(default_factory=dict)
    made: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    used: Mapping[str, FloatArray] = field(default_factory=dict)
    bed: Mapping[str, FloatArray] = field(default_factory=dict)
    bed_tested: Mapping[str, int] = field(default_factory=dict)
    served: tuple[ServedReading, ...] = ()
    stood: tuple[Stage, ...] = ()
    changed: Mapping[str, dt.date] = field(default_factory=dict)
    once: Once = field(default_factory=Once, init=False, repr=False, compare=False)

    @property
    def main_branch(self) -> Branch:
        """The branch of the main machine."""
        return next(b for b in self.document.branches if b.name == self.document.demand.main_branch)

    def day_litres(self, branch: str) -> tuple[FloatArray, FloatArray]:
        """Litres of an ordinary and of the busiest service day on a branch, worked out once for all candidates."""
        needs = self.demand
        return self.once(
            ("day litres", branch), lambda: (needs.ordinary_day_litres(branch), needs.peak_day_litres(branch))
        )

    def machine_of(self, branch: Branch) -> MachineProfile | None:
        """The machine on a branch, or None."""
        return next((m for m in self.document.machines if m.name == branch.machine), None)

    def concentrate_gypsum(self, recovery: float) -> tuple[float, float]:
        """Gypsum index of a membrane's concentrate in the worst water: the middle, and what nine draws of ten stay
        under."""
        return self._concentrate("gypsum", recovery, concentrate_gypsum_index)

    def concentrate_calcite(self, recovery: float) -> tuple[float, float]:
        """Calcite index of a membrane's concentrate in the worst water, as ``concentrate_gypsum``."""
        return self._concentrate("calcite", recovery, concentrate_calcite_index)

    def _concentrate(
        self, salt: str, recovery: float, index_of: Callable[[Water, float], FloatArray]
    ) -> tuple[float, float]:
        return self.once(("concentrate", salt, recovery), lambda: self._worst_index(index_of(self.waters, recovery)))

    def _worst_index(self, values: FloatArray) -> tuple[float, float]:
        index = np.atleast_2d(values)
        # without its ions nothing can drop out; what is not solved may
        index = np.where(np.isnan(index), 9.0, np.maximum(index, -9.0))
        rows = [percentiles(row, self.weights) for row in index]
        worst = max(rows, key=lambda row: float(row[1]))
        return float(worst[1]), max(float(row[2]) for row in rows)

    def pooled(self, values: FloatArray) -> FloatArray:
        """10th, 50th and 90th percentile over draws and waters, each water by its share of the service days."""
        n = len(self.weights)
        grid = np.broadcast_to(np.atleast_2d(values), (len(self.phase_share), n))
        return percentiles(grid.reshape(-1), (self.phase_share[:, None] * self.weights).reshape(-1))

    def by_phase(self, values: FloatArray) -> FloatArray:
        """Mean over the waters by their share of the service days: shape (n,) or (1,)."""
        grid = np.atleast_2d(np.asarray(values, dtype=np.float64))
        return np.asarray((self.phase_share[:, None] * grid).sum(axis=0) if len(grid) > 1 else grid[0])

    def network(
        self, stages: Sequence[Stage], branches: Sequence[Branch], bypass: Mapping[str, FloatArray] | None = None
    ) -> Network:
        """The pipes of the unit with a train on a choice of filtered branches; ``bypass`` in place of the stages'."""
        busiest = {b.name: self.day_litres(b.name)[1] for b in branches}
        unit = known(self.document.unit)
        return Network(unit, branches, stages, draws=self.draws, busiest_L=busiest, bypass=bypass)

    def settings(self, stage: Stage, peak_flow: FloatArray | None) -> StageSettings:
        """The drawn performance of a stage, drawn once: candidates that share a stage share its draws.
        ``peak_flow``: through its medium, US gal/min."""
        key = "settings", stage.name, stage.medium, repr(stage.leakage_mg_L_as_CaCO3), repr(stage.recovery)
        found = self.once(key, lambda: settings_for(stage, self.draws))
        return StageSettings(performance=found.performance, peak_flow_gpm=peak_flow)


def prepare(
    document: PlanDocument, draws: Draws | None = None, meters: Sequence[Metered] = (), tank: TankDays | None = None
) -> Scenario:
    """Draw the ensemble of a document: waters, demand, calendar. The log is not applied (``corrected``).

    Parameters
    ----------
    document : the plan document
    draws : other draws than those of the document's settings
    meters : where meters are read, the demand is free to follow them
    tank : of the same calendar and fills, where it is known: it is the same for all draws

    Raises
    ------
    InputError : a part of the document cannot be used
    """
    draws = draws or Draws(document.settings.draws, document.settings.seed)
    needs = demand(document.demand, [b.name for b in document.branches], draws)
    if document.own_units is not None:
        filtered = [b.name for b in document.branches if b.filtered]
        needs = used_like_own(needs, document.demand, document.own_units, filtered, draws)
    needs = follow_meters(needs, meters, draws)
    calendar = document.demand.calendar
    tank = tank or tank_days(document.fill, needs, calendar)
    by_name = {s.name: s for s in document.supplies}
    supplies = tuple(by_name[name] for name in tank.names)
    completed = [complete(s, draws) for s in supplies]
    waters = mix([c.water for c in completed], tank.shares.T[:, :, None])
    weights = np.exp(sum((c.log_weight for c in completed), start=np.zeros(draws.n)))
    year = needs.open[: needs.year()]
    counts = np.bincount(tank.phase_of_day[: needs.year()][year], minlength=tank.phases).astype(np.float64)
    kinds = {s.disinfectant for s in supplies}
    return Scenario(
        document=document,
        draws=draws,
        weights=weights,
        supplies=supplies,
        supply_waters=tuple(c.water for c in completed),
        waters=waters,
        phase_names=tuple(_phase_name(row, tank.names) for row in tank.shares),
        phase_share=counts / max(counts.sum(), 1),
        known=frozenset.intersection(*(c.known for c in completed)),
        notes=tuple(dict.fromkeys(note for c in completed for note in c.notes)),
        disinfectant=next((k for k in ("chloramine", "unknown", "free_chlorine") if k in kinds), "none"),
        demand=needs,
        tank=tank,
        book=ledger(needs, tank),
        stops=stops_of(calendar),
        moves=moves_of(calendar, document.policy),
    )


def _phase_name(shares: FloatArray, names: Sequence[str]) -> str:
    parts = [(s, n) for s, n in zip(shares, names, strict=True) if s > 0]
    if len(parts) == 1:
        return parts[0][1]
    return " + ".join(f"{percent(share)} {name}" for share, name in sorted(parts, reverse=True))
