"""The plan corrected by its log: what was read against what the chain gives, and the draws that explain both.

The readings correct the draws; the same chain then runs again on them (``plan.make_plan``).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from brewwater.branches import peak_flow_gpm
from brewwater.capacity import Wear, wear
from brewwater.chain import Outcome, Routed, bears, route
from brewwater.ensemble import Draws, percentiles
from brewwater.forecast import InService
from brewwater.given import Given, prepare
from brewwater.inputs import PlanDocument
from brewwater.intake.analysis import Measurement
from brewwater.readings import (
    Diagnosis,
    Flag,
    Learned,
    Scene,
    Seen,
    Sorted,
    Step,
    Tested,
    analyte_of,
    bed_holds,
    counted_log,
    diagnose,
    follow,
    learn,
    metered_gal,
    metered_log,
    sort_log,
    tested_log,
    timeline,
)
from brewwater.treatment import Stage, run_train
from brewwater.units import GAL_L, PLAN_UNITS
from brewwater.water import Water

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
DateSpan = tuple[dt.date | None, dt.date | None, dt.date | None]

# A source reading that fewer draws than this allow, within three standard deviations, contradicts the report.
_HARDLY_ANY = 0.002
# What a part of a water does not bring into a mixture by its volume: a stage that leaves it alone may still move it.
_NOT_MIXED = {"conductivity", "ph"}
_NOTE_OF = {"alkalinity_missing": "alkalinity", "hardness_missing": "total_hardness"}


@dataclass(frozen=True, slots=True)
class Correction:
    """What the log did to the draws.

    given : the corrected draws, for the chain; ``document`` in it is the one that was planned
    log : the sorted log; ``flags`` on lines not used or used with care; ``diagnoses``
    resampled : how often the draws had to be resampled; 0: weighing was enough
    """

    given: Given
    log: Sorted
    flags: tuple[Flag, ...]
    diagnoses: tuple[Diagnosis, ...]
    resampled: int


@dataclass(frozen=True, slots=True)
class Moved:
    """The next change of one cartridge before and after the readings (early, expected, late), and why it moved."""

    name: str
    before: DateSpan
    after: DateSpan
    days: int | None
    why: str


class _View:
    """What the chain gives for one set of draws, as far as the log asks for it."""

    def __init__(self, given: Given, scene: Scene, log: Sorted) -> None:
        self.given, self.scene, self.log = given, scene, log
        self._worn: dict[str, Wear] = {}
        self._per_litre: dict[tuple[str, int], FloatArray] = {}

    @cached_property
    def routed(self) -> Routed:
        return route(self.given, self.scene.stages, self.scene.branches)

    def explain(self) -> FloatArray:
        """Log likelihood of the whole log, shape (n,)."""
        given = self.given
        total = np.zeros(given.draws.n)
        for meter in self.log.meters:
            total = total + metered_log(meter, given.demand, given.draws)
        for counted in self.log.counts:
            total = total + counted_log(counted, given.demand)
        for test in self.log.tests:
            total = total + tested_log(test, self.predicted(test))
        return total

    def predicted(self, test: Tested) -> FloatArray:
        """What the plan gives for each test, shape (row, n); of length 1 where all rows or draws are alike."""
        given = self.given
        if test.place == "supply":
            water = given.supply_waters[given.tank.names.index(test.name)]
            return np.atleast_2d(analyte_of(water, test.analyte))
        phases, row = np.unique(test.phase, return_inverse=True)
        if test.place == "source" or not self.train_before(test.name):
            water = given.waters.each(lambda x: _rows(x, phases))
            return np.asarray(_rows(analyte_of(water, test.analyte), row))
        return analyte_of(self._served(test), test.analyte)

    def train_before(self, branch: str) -> list[Stage]:
        filtered = any(b.name == branch and b.filtered for b in self.scene.branches)
        return [s for s in self.scene.stages if s.branch in (None, branch)] if filtered else []

    def _served(self, test: Tested) -> Water:
        """The served water of each row, its cartridges as far used as they were by then."""
        given = self.given
        flow = peak_flow_gpm(self.scene.branches)
        mine = self._changing(test.analyte, self.train_before(test.name), self.routed.steps[test.name])
        settings = {
            s.name: replace(given.settings(s, flow), used=self.used(s, test.day)) for s in mine
        }  # fmt: skip
        inlet = given.waters.each(lambda x: _rows(x, test.phase))
        return run_train(mine, inlet, given.draws, settings=settings).served

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
        given, line = self.given, self.scene.line
        loads = self.routed.loads.get(stage.name, {})
        if not loads:
            return np.zeros((len(day), 1))
        litres_each = np.asarray(sum(given.demand.branch_amounts(b) for b in loads))
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
            served, new = np.maximum(on.served(every), 1e-9), bears(self.given, stage, number)
            share = np.zeros(self.given.draws.n)
            for currency in on.rates:
                share = np.maximum(share, on.use(currency, every) / served / getattr(new, currency))
            self._per_litre[key] = share
        return self._per_litre[key]

    def _wear(self, stage: Stage) -> Wear:
        """The year's load on the stage."""
        if stage.name not in self._worn:
            loads = self.routed.loads[stage.name]
            self._worn[stage.name] = wear(self.given.book, self.given.demand, loads)
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
            stated = self.given.draws.span(f"{stage.name}: used at the start", found.used)
            # stated for the start of the plan: what the plan has run since then comes on top
            at_first = went_in[which] == first
            before = np.where(at_first[:, None], stated, 0.0)
            start = np.where(at_first, np.maximum(first, line.start), went_in[which])
            return start, in_plan, before
        return went_in[which], in_plan, before


def _rows(values: FloatArray, rows: IntArray) -> FloatArray:
    """Rows of an array (phase, n), of one (n,), or of a scalar, for each asked phase; one row where all are alike."""
    grid = np.atleast_2d(values)
    if len(grid) == 1:
        return np.asarray(grid)
    return np.asarray(grid[rows[:1]] if (rows == rows[0]).all() else grid[rows])


def _last(test: Tested) -> Tested:
    """The last row alone."""
    return replace(test, day=test.day[-1:], phase=test.phase[-1:], value=test.value[-1:], sd=test.sd[-1:])


def correct(given: Given, stages: Sequence[Stage] | None) -> Correction:
    """Correct the draws by the document's log.

    Parameters
    ----------
    given : from ``prepare``, before any reading
    stages : the train that stood there while the readings were taken; None where that is not known: tests of
        served water are then kept, but not used

    Returns
    -------
    Correction : with one draw (a plain calculation) nothing is corrected; the lines are still sorted and flagged
    """
    document = given.document
    earliest = min((r.date for r in document.readings), default=document.demand.calendar.start)
    scene = Scene(
        line=timeline(document.demand, given.demand, earliest), plan=given.demand, tank=given.tank,
        stages=tuple(stages or ()), train_known=stages is not None, branches=document.branches,
        main_branch=document.demand.main_branch,
        in_service=document.in_service, start=document.demand.calendar.start,
    )  # fmt: skip
    log = sort_log(document.readings, scene)
    first = _View(given, scene, log)
    seen, new = _seen(first, document)
    diagnoses = diagnose(log, scene.stages, scene.branches, seen)
    flags = log.flags + _not_followed(log, seen)
    if not log.informs or given.draws.n == 1:
        return Correction(given, log, flags, diagnoses, 0)

    tried = {s.name for t in log.tests if t.place == "served" for s in first.train_before(t.name)}

    def look(draws: Draws) -> _View:
        found = prepare(new, draws, log.meters, given.tank)
        return _View(replace(found, bed={name: bed_holds(name, draws) for name in tried}), scene, log)

    learned = _learned(given, scene, new, look)
    found = learned.view.given
    read = {
        name: frozenset(t.analyte for t in log.tests if t.place == "supply" and t.name == name)
        for name in given.tank.names
    }
    everywhere = frozenset(t.analyte for t in log.tests if t.place == "source")
    known = found.known | everywhere | frozenset.intersection(*read.values())
    corrected = replace(
        found,
        document=_as_changed(new, log),
        weights=learned.weights,
        known=known,
        read={name: mine | everywhere for name, mine in read.items()},
        notes=tuple(n for n in found.notes if _NOTE_OF.get(n.code) not in known),
        made=_made(document, log),
        used=_used(learned.view, document, log),
    )
    return Correction(corrected, log, flags, diagnoses, learned.resampled)


# What a change of these leaves as it was read: words, prices, policy, worth. Everything else moves the draws.
_NOT_READ = {"name", "note", "units", "money", "policy", "worth", "targets"}
_MOST_KEPT = 16
_kept: dict[str, tuple[tuple[Step, ...], FloatArray, int]] = {}


def _learned(given: Given, scene: Scene, document: PlanDocument, look: Callable[[Draws], _View]) -> Learned[_View]:
    """``learn``, or the way it took before for the same log, water, demand and train: the same result, one look."""
    stages = [s.model_dump(mode="json") for s in scene.stages]
    read = [document.model_dump_json(exclude=_NOT_READ), given.document.model_dump_json(include={"supplies"}), stages]
    key = sha256(repr(read).encode()).hexdigest()
    found = _kept.get(key)
    if found is not None:
        path, weights, times = found
        draws = follow(given.draws, path)
        return Learned(draws, weights, look(draws), times, path)
    learned = learn(given.draws, look, lambda view: view.explain(), lambda view: np.log(view.given.weights))
    if len(_kept) >= _MOST_KEPT:
        _kept.pop(next(iter(_kept)), None)
    _kept[key] = learned.path, learned.weights, learned.resampled
    return learned


def _as_changed(document: PlanDocument, log: Sorted) -> PlanDocument:
    """The document with cartridges in place as the log has them at the start."""
    start = document.demand.calendar.start
    in_place = {p.stage: p for p in document.in_service}
    for stage, days in log.changed.items():
        past = [d for d in days if d <= start]
        if past and (stage not in in_place or past[-1] > in_place[stage].installed):
            in_place[stage] = InService(stage=stage, installed=past[-1])
    return document.model_copy(update={"in_service": tuple(in_place.values())})


def _made(document: PlanDocument, log: Sorted) -> dict[str, tuple[int, ...]]:
    calendar = document.demand.calendar
    return {
        stage: tuple((d - calendar.start).days for d in days if calendar.start < d < calendar.end)
        for stage, days in log.changed.items()
    }


def _used(view: _View, document: PlanDocument, log: Sorted) -> dict[str, FloatArray]:
    """Share used before the start of each cartridge that a meter has followed since it went in."""
    line = view.scene.line
    found = {}
    for part in _as_changed(document, log).in_service:
        stage = next((s for s in view.scene.stages if s.name == part.stage), None)
        if stage is None or not line.holds(part.installed) or part.installed >= document.demand.calendar.start:
            continue
        behind = set(view.scene.behind(stage.name) or ())
        at = line.at(part.installed)
        # followed: some interval of a meter on the same branches reaches into its time before the start
        if any(set(m.branches) == behind and np.any((m.last > at) & (m.first < line.start)) for m in log.meters):
            bare = _View(view.given, replace(view.scene, in_service=(
                InService(stage=part.stage, installed=part.installed),)), log)  # fmt: skip
            found[part.stage] = bare.used(stage, np.array([0]))[0]
    return found


def _seen(view: _View, document: PlanDocument) -> tuple[Seen, PlanDocument]:
    """What the plan expected before any reading, and the document with what the readings replace."""
    given, log = view.given, view.log
    weights = given.weights

    def middle(values: FloatArray) -> float:
        return float(percentiles(values, weights, [0.5])[..., 0].sum())

    served: dict[int, tuple[FloatArray, float]] = {}
    allowed: dict[int, float] = {}
    replaced: set[int] = set()
    new = document
    for number, test in enumerate(log.tests):
        predicted = np.broadcast_to(view.predicted(_last(test))[0], given.draws.n)
        if test.place == "served":
            mine = view.train_before(test.name)
            shares = [middle(np.broadcast_to(view.used(s, test.day[-1:])[0], given.draws.n)) for s in mine
                      if s.medium not in ("sediment", "mineral_dose")]  # fmt: skip
            served[number] = percentiles(predicted, weights), max(shares, default=0.0)
            continue
        value, sd = float(np.median(test.value)), float(np.median(test.sd))
        close = np.abs(predicted - value) <= 3 * sd
        allowed[number] = float(close @ weights / weights.sum())
        agree = bool(np.all(np.abs(test.value - value) <= 3 * test.sd))
        sure = test.method == "lab" or (len(test.value) > 1 and agree)
        if allowed[number] < _HARDLY_ANY and sure and test.place == "supply":
            replaced.add(number)
            new = _with_measurement(new, test, value)
    per_day = {b.name: middle(given.demand.litres_per_service_day(b.name)) / GAL_L for b in document.branches}
    clean = [s.sheet.clean_pressure_drop_psi for s in view.scene.stages]
    return Seen(
        planned_gal=[middle(metered_gal(m, given.demand)) for m in log.meters],
        planned_drinks=[middle(c.sums @ given.demand.drinks) for c in log.counts],
        planned_gal_per_day=per_day, served=served, allowed=allowed, replaced=frozenset(replaced),
        clean_drop_psi=sum(x for x in clean if x is not None) if clean and None not in clean else None,
    ), new  # fmt: skip


def _with_measurement(document: PlanDocument, test: Tested, value: float) -> PlanDocument:
    entry = Measurement.model_validate({
        "value": value, "unit": PLAN_UNITS[test.analyte], "method": test.method, "date": test.date.isoformat(),
    })  # fmt: skip
    supplies = tuple(
        s.model_copy(update={"analysis": {**s.analysis, test.analyte: entry}}) if s.name == test.name else s
        for s in document.supplies
    )
    return document.model_copy(update={"supplies": supplies})


def _not_followed(log: Sorted, seen: Seen) -> tuple[Flag, ...]:
    found = []
    for number, test in enumerate(log.tests):
        if seen.allowed.get(number, 1.0) < _HARDLY_ANY and number not in seen.replaced:
            message = "The report does not allow this reading; it weighs little until a second one agrees with it."
            found += [Flag(i, "unexplained", message, used=True) for i in test.ids]
    return tuple(found)


def moved(before: Outcome, after: Outcome, prior: Given, correction: Correction) -> tuple[Moved, ...]:
    """The next change of each cartridge, before and after, with the reason in words.

    Changes that the log says are made are no longer next.
    """
    causes = _causes(correction)
    found = []
    for old, new in zip(before.cartridges, after.cartridges, strict=True):
        skip = len(correction.given.made.get(new.stage.name, ()))
        was = _dates(old.changes.dates(prior.weights), skip)
        now = _dates(new.changes.dates(correction.given.weights), skip)
        days = None if was[1] is None or now[1] is None else (now[1] - was[1]).days
        why = causes if was != now else "unchanged"
        found.append(Moved(new.stage.name, was, now, days, why))
    return tuple(found)


def _dates(every: Sequence[DateSpan], number: int) -> DateSpan:
    return every[number] if number < len(every) else (None, None, None)


def _causes(correction: Correction) -> str:
    log = correction.log
    parts = []
    if log.meters:
        parts.append(f"{sum(len(m.gal) for m in log.meters)} metered intervals")
    if log.counts:
        parts.append("the drinks sold")
    if log.tests:
        side = {"served": "served", "supply": "source", "source": "source"}
        parts.append(", ".join(dict.fromkeys(f"{t.analyte.replace('_', ' ')} ({side[t.place]})" for t in log.tests)))
    if log.changed:
        parts.append("the cartridges changed")
    codes: Mapping[str, str] = {d.code: d.message for d in correction.diagnoses}
    lead = ("meter_high", "meter_low", "demand_differs", "through_too_early")
    first = next((codes[c] for c in lead if c in codes), "")
    return f"By {', '.join(parts)}. {first}".strip()
