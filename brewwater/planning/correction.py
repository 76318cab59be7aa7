"""The plan corrected by its log: what was read against what the chain gives, and the draws that explain both.

The readings correct the draws; the same chain then runs again on them (``plan.make_plan``).
"""

from __future__ import annotations

import datetime as dt
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from brewwater.changes import ChangeCalendar, InService
from brewwater.ensemble import Draws, percentiles
from brewwater.log import (
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
    diagnose,
    follow,
    learn,
    metered_gal,
    sort_log,
    timeline,
)
from brewwater.planning.candidate import Candidate
from brewwater.planning.document import PlanDocument
from brewwater.planning.prediction import Prediction
from brewwater.planning.scenario import Scenario, prepare
from brewwater.reports.analysis import Measurement
from brewwater.treatment import Stage
from brewwater.units import GAL_L, PLAN_UNITS
from brewwater.verdicts.readings import ServedReading

FloatArray = NDArray[np.float64]
Way = tuple[tuple[Step, ...], FloatArray, int]
DateSpan = tuple[dt.date | None, dt.date | None, dt.date | None]

# A source reading that fewer draws than this allow, within three standard deviations, contradicts the report.
_HARDLY_ANY = 0.002
_NOTE_OF = {"alkalinity_missing": "alkalinity", "hardness_missing": "total_hardness"}


@dataclass(frozen=True, slots=True)
class Correction:
    """What the log did to the draws.

    scenario : the corrected draws, for the chain; ``document`` in it is the one that was planned
    log : the sorted log; ``flags`` on lines not used or used with care; ``diagnoses``
    resampled : how often the draws had to be resampled; 0: weighing was enough
    """

    scenario: Scenario
    log: Sorted
    flags: tuple[Flag, ...]
    diagnoses: tuple[Diagnosis, ...]
    resampled: int


@dataclass(frozen=True, slots=True)
class MovedChange:
    """The next change of one cartridge before and after the readings (early, expected, late), and why it moved."""

    name: str
    before: DateSpan
    after: DateSpan
    days: int | None
    why: str


def _last(test: Tested) -> Tested:
    """The last row alone."""
    return replace(test, day=test.day[-1:], phase=test.phase[-1:], value=test.value[-1:], sd=test.sd[-1:])


def correct(scenario: Scenario, stages: Sequence[Stage] | None) -> Correction:
    """Correct the draws by the document's log.

    Parameters
    ----------
    scenario : from ``prepare``, before any reading
    stages : the train that stood there while the readings were taken; None where that is not known: tests of
        served water are then kept, but not used

    Returns
    -------
    Correction : with one draw (a plain calculation) nothing is corrected; the lines are still sorted and flagged
    """
    document = scenario.document
    scene = scene_of(scenario, stages)
    log = sort_log(document.readings, scene)
    first = Prediction(scenario, scene, log)
    seen, new = _seen(first, document)
    diagnoses = diagnose(log, scene.stages, scene.branches, seen)
    flags = log.flags + _not_followed(log, seen)
    if not log.informs:
        return Correction(scenario, log, flags, diagnoses, 0)
    scenario = replace(
        scenario,
        served=_served(log, document),
        stood=scene.stages,
        changed={stage: days[-1] for stage, days in log.changed.items()},
    )
    if scenario.draws.n == 1:
        return Correction(scenario, log, flags, diagnoses, 0)

    tried = {s.name: tests for s in scene.stages if (tests := _tests_of(first, s))}

    def look(draws: Draws) -> Prediction:
        found = prepare(new, draws, log.meters, scenario.tank)
        return Prediction(replace(found, bed={name: bed_holds(name, draws) for name in tried}), scene, log)

    learned = _learned(scenario, scene, new, look)
    found = learned.view.scenario
    read = {
        name: frozenset(t.analyte for t in log.tests if t.place == "supply" and t.name == name)
        for name in scenario.tank.names
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
        bed_tested=_bed_tested(tried, log, document),
        served=scenario.served,
        stood=scenario.stood,
        changed=scenario.changed,
    )
    return Correction(corrected, log, flags, diagnoses, learned.resampled)


def scene_of(scenario: Scenario, stages: Sequence[Stage] | None) -> Scene:
    """What the document's log is read against; ``stages`` as for ``correct``."""
    document = scenario.document
    earliest = min((r.date for r in document.readings), default=document.demand.calendar.start)
    return Scene(
        line=timeline(document.demand, scenario.demand, earliest),
        plan=scenario.demand,
        tank=scenario.tank,
        stages=tuple(stages or ()),
        train_known=stages is not None,
        branches=document.branches,
        main_branch=document.demand.main_branch,
        in_service=document.in_service,
        start=document.demand.calendar.start,
    )


def _days(test: Tested, document: PlanDocument) -> list[dt.date]:
    start = document.demand.calendar.start
    return [start + dt.timedelta(days=int(day)) for day in test.day]


def _served(log: Sorted, document: PlanDocument) -> tuple[ServedReading, ...]:
    """The tests of served water, one by one."""
    return tuple(
        ServedReading(test.name, test.analyte, float(value), float(sd), day)
        for test in log.tests
        if test.place == "served"
        for day, value, sd in zip(_days(test, document), test.value, test.sd, strict=True)
    )


def _tests_of(view: Prediction, stage: Stage) -> list[Tested]:
    """The tests of served water that show what a stage does: those of an analyte that it moves."""
    found = []
    for test in (t for t in view.log.tests if t.place == "served"):
        mine = view.train_before(test.name)
        if stage in mine:
            at, steps = mine.index(stage), view.routed.steps[test.name]
            before, after = (analyte_of(water, test.analyte) for water in steps[at : at + 2])
            found += [] if np.array_equal(before, after) else [test]
    return found


def _bed_tested(tried: Mapping[str, Sequence[Tested]], log: Sorted, document: PlanDocument) -> dict[str, int]:
    """By stage, the number of the one cartridge that its tests speak of. Where they speak of several the make is
    known by them, and the stage is left out."""
    start, found = document.demand.calendar.start, {}
    for stage, tests in tried.items():
        swaps = log.changed.get(stage, ())
        spoken_of = {sum(d <= day for d in swaps) for test in tests for day in _days(test, document)}
        if len(spoken_of) == 1:
            found[stage] = spoken_of.pop() - sum(d <= start for d in swaps)
    return found


# What a change of these leaves as it was read: words, prices, policy, worth. Everything else moves the draws.
_NOT_READ = {"name", "note", "units", "money", "policy", "worth", "targets"}


class Ways:
    """The ways that logs took through the draws, by what was read of their documents: the last ``most`` asked for,
    safe to share between threads.

    A way is its steps, the weights (shape (n,), read-only) and how often the draws were resampled.
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self._lock = threading.Lock()
        self._ways: OrderedDict[str, Way] = OrderedDict()

    def __len__(self) -> int:
        return len(self._ways)

    def get(self, key: str) -> Way | None:
        """The way of that key, or None; it then is the last asked for."""
        with self._lock:
            if key in self._ways:
                self._ways.move_to_end(key)
            return self._ways.get(key)

    def keep(self, key: str, way: Way) -> None:
        """Keep a way, and forget the one that nobody asked for the longest where there are too many."""
        way[1].flags.writeable = False
        with self._lock:
            self._ways[key] = way
            self._ways.move_to_end(key)
            while len(self._ways) > self.most:
                self._ways.popitem(last=False)

    def clear(self) -> None:
        """Forget all."""
        with self._lock:
            self._ways.clear()


_WAYS = Ways(16)


def _learned(
    scenario: Scenario, scene: Scene, document: PlanDocument, look: Callable[[Draws], Prediction]
) -> Learned[Prediction]:
    """``learn``, or the way it took before for the same log, water, demand and train: the same result, one look."""
    stages = [s.model_dump(mode="json") for s in scene.stages]
    read = [
        document.model_dump_json(exclude=_NOT_READ),
        scenario.document.model_dump_json(include={"supplies"}),
        stages,
    ]
    key = sha256(repr(read).encode()).hexdigest()
    found = _WAYS.get(key)
    if found is not None:
        path, weights, times = found
        draws = follow(scenario.draws, path)
        return Learned(draws, weights, look(draws), times, path)
    learned = learn(scenario.draws, look, lambda view: view.explain(), lambda view: np.log(view.scenario.weights))
    _WAYS.keep(key, (learned.path, learned.weights, learned.resampled))
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


def _used(view: Prediction, document: PlanDocument, log: Sorted) -> dict[str, FloatArray]:
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
            bare = Prediction(
                view.scenario,
                replace(view.scene, in_service=(InService(stage=part.stage, installed=part.installed),)),
                log,
            )
            found[part.stage] = bare.used(stage, np.array([0]))[0]
    return found


def _seen(view: Prediction, document: PlanDocument) -> tuple[Seen, PlanDocument]:
    """What the plan expected before any reading, and the document with what the readings replace."""
    scenario, log = view.scenario, view.log
    weights = scenario.weights

    def middle(values: FloatArray) -> float:
        return float(percentiles(values, weights, [0.5])[..., 0].sum())

    served: dict[int, tuple[FloatArray, float]] = {}
    allowed: dict[int, float] = {}
    replaced: set[int] = set()
    new = document
    for number, test in enumerate(log.tests):
        predicted = np.broadcast_to(view.predicted(_last(test))[0], scenario.draws.n)
        if test.place == "served":
            mine = view.train_before(test.name)
            shares = [
                middle(np.broadcast_to(view.used(s, test.day[-1:])[0], scenario.draws.n))
                for s in mine
                if s.medium not in ("sediment", "mineral_dose")
            ]
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
    per_day = {b.name: middle(scenario.demand.litres_per_service_day(b.name)) / GAL_L for b in document.branches}
    clean = [s.sheet.clean_pressure_drop_psi for s in view.scene.stages]
    return Seen(
        planned_gal=[middle(metered_gal(m, scenario.demand)) for m in log.meters],
        planned_drinks=[middle(c.sums @ scenario.demand.drinks) for c in log.counts],
        planned_gal_per_day=per_day,
        served=served,
        allowed=allowed,
        replaced=frozenset(replaced),
        clean_drop_psi=sum(x for x in clean if x is not None) if clean and None not in clean else None,
    ), new


def _with_measurement(document: PlanDocument, test: Tested, value: float) -> PlanDocument:
    entry = Measurement.model_validate(
        {
            "value": value,
            "unit": PLAN_UNITS[test.analyte],
            "method": test.method,
            "date": test.date.isoformat(),
        }
    )
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


def moved(before: Candidate, after: Candidate, correction: Correction) -> tuple[MovedChange, ...]:
    """The next change of each cartridge, before and after, with the reason in words.

    Changes that the log says are made are no longer next.
    """
    causes = _causes(correction)
    found = []
    for one in after.cartridges:
        name = one.stage.name
        number = len(after.calendar.made.get(name, ())) + 1
        was, now = (_dates(c.calendar, name, number) for c in (before, after))
        days = None if was[1] is None or now[1] is None else (now[1] - was[1]).days
        why = causes if was != now else "unchanged"
        found.append(MovedChange(name, was, now, days, why))
    return tuple(found)


def _dates(calendar: ChangeCalendar, name: str, number: int) -> DateSpan:
    due = next((d for d in calendar.of(name) if d.number == number), None)
    return (None, None, None) if due is None else (due.early, due.date, due.late)


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
