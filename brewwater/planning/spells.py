"""What each cartridge of a log really bore: from the day it went in to the day it came out, by meters and tests.

A cartridge that came out before any test showed it used up only says that it bore at least so much: nothing here
takes the day of a change for the end of a life.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import percentiles
from brewwater.log import Metered, Scene, Tested, analyte_of, metered_gal, sort_log
from brewwater.planning.correction import Correction, correct, scene_of
from brewwater.planning.document import PlanDocument
from brewwater.planning.prediction import Prediction
from brewwater.planning.scenario import Scenario, prepare
from brewwater.reports.instruments import instrument
from brewwater.treatment import Stage
from brewwater.treatment.train import share_lost
from brewwater.verdicts.measure import rule

FloatArray = NDArray[np.float64]

# Of the days that a cartridge was in, so many must lie between two readings of a meter for its gallons to be known.
_METERED = 0.9


@dataclass(frozen=True, slots=True)
class Spell:
    """One cartridge of the log.

    number : 0 for the first that the log knows of
    went_in, out : ``out`` None while it is still in; ``until``: ``out``, or the last day that the log tells of
    gal : US gallons served through it until then, by the meter; None where no meter followed it
    good, through : the last test that surely showed it working, the first that surely showed it past its rated end;
        None where no test shows either
    gal_good, gal_through : gallons by those days
    """

    stage: Stage
    number: int
    went_in: dt.date
    out: dt.date | None
    until: dt.date
    gal: float | None
    good: dt.date | None = None
    through: dt.date | None = None
    gal_good: float | None = None
    gal_through: float | None = None


@dataclass(frozen=True, slots=True)
class Past:
    """A unit's log read against its plan: the corrected draws, what the log is read against, and its cartridges."""

    correction: Correction
    view: Prediction
    spells: tuple[Spell, ...]

    @property
    def scenario(self) -> Scenario:
        """The draws as the whole log corrects them."""
        return self.correction.scenario


def with_draws(document: PlanDocument, most: int) -> PlanDocument:
    """The document with at most so many draws, for what is asked of many units or days."""
    fewer = min(document.settings.draws, most)
    return document.model_copy(update={"settings": document.settings.model_copy(update={"draws": fewer})})


def past_of(document: PlanDocument, draws: int = 256) -> Past | None:
    """The cartridges of a document's log; None where the document states no train, or nothing was logged."""
    if not document.train or not document.readings:
        return None
    document = with_draws(document, draws)
    correction = correct(prepare(document), document.train)
    scene = scene_of(correction.scenario, document.train)
    view = Prediction(correction.scenario, scene, correction.log)
    last = min(max(r.date for r in document.readings), scene.line.last)
    found: list[Spell] = []
    for stage in document.train or ():
        if view.routed.loads.get(stage.name):
            found += _spells(view, document, stage, last)
    return Past(correction, view, tuple(found))


def _spells(view: Prediction, document: PlanDocument, stage: Stage, last: dt.date) -> list[Spell]:
    line, swaps = view.scene.line, view.log.changed.get(stage.name, ())
    in_service = document.in_place(stage.name)
    start = document.demand.calendar.start
    fresh = in_service is None or in_service.used.high == 0  # else what it had borne before is not metered
    first = start if in_service is None else in_service.installed
    ends = [first, *(d for d in swaps if d > first)]
    found = []
    for number, went_in in enumerate(ends):
        out = ends[number + 1] if number + 1 < len(ends) else None
        until = out or last
        if until <= went_in or not (line.holds(went_in) and line.holds(until)) or (number == 0 and not fresh):
            continue
        gal = passed(view.scene, view.log.meters, stage, went_in, until)
        found.append(_tested(view, document, Spell(stage, number, went_in, out, until, gal)))
    return found


def meters_of(scene: Scene, meters: Sequence[Metered], stage: Stage) -> list[Metered]:
    """The meters that count what passes a stage, and nothing else."""
    behind = set(scene.behind(stage.name) or ())
    return [m for m in meters if set(m.branches) == behind]


def passed(scene: Scene, meters: Sequence[Metered], stage: Stage, first: dt.date, last: dt.date) -> float | None:
    """US gallons by the meters between two days through a stage; between two readings by the service days. None where
    no meter of the branches behind it followed nine tenths of those days."""
    line, at, to = scene.line, scene.line.at(first), scene.line.at(last)
    best = (0.0, 0.0)
    for meter in meters_of(scene, meters, stage):
        low, high = np.maximum(meter.first, at), np.minimum(meter.last, to)
        inside = high > low
        days = np.where(inside, high - low, 0).sum()
        service = line.open_days[meter.last] - line.open_days[meter.first]
        mine = np.where(inside, line.open_days[high] - line.open_days[np.minimum(low, high)], 0)
        share = np.divide(mine, service, out=np.zeros(len(mine)), where=service > 0)
        best = max(best, (float(days), float(share @ meter.gal)))
    covered = best[0] / max(to - at, 1)
    return best[1] / covered if covered >= _METERED else None


def _tested(view: Prediction, document: PlanDocument, spell: Spell) -> Spell:
    """The spell with what tests of the served water showed of it."""
    mine = tuple(r for r in document.readings if spell.went_in < r.date <= spell.until)
    good, through = None, None
    for test in sort_log(mine, view.scene).tests:
        after, before = _shown(view, test, spell.stage)
        for day, sure in zip(before, after, strict=True):
            if sure > 0:
                through = day if through is None else min(through, day)
            elif sure < 0:
                good = day if good is None else max(good, day)
    if good is not None and through is not None and good >= through:
        good = None  # the tests speak against each other: only what is past its end counts
    gal_at = [
        None if day is None else passed(view.scene, view.log.meters, spell.stage, spell.went_in, day)
        for day in (good, through)
    ]
    return replace(spell, good=good, through=through, gal_good=gal_at[0], gal_through=gal_at[1])


def _shown(view: Prediction, test: Tested, stage: Stage) -> tuple[list[int], list[dt.date]]:
    """For each row of a test: 1 where the stage is surely past its rated end, -1 where it surely is not, 0 between;
    and the days. Empty where the test does not show what the stage does."""
    train = view.train_before(test.name) if test.place == "served" else []
    if stage not in train:
        return [], []
    steps, at = view.routed.steps[test.name], train.index(stage)
    middle = [_middles(view, analyte_of(w, test.analyte), test) for w in steps]
    taken = [np.abs(after - before) for before, after in pairwise(middle)]
    if not np.all(taken[at] > 0) or any(np.any(t > taken[at]) for n, t in enumerate(taken) if n != at):
        return [], []  # another stage answers for it
    end = float(share_lost(stage.medium, np.ones(1))[0])
    if not 0 < end < 1:
        return [], []
    # what stands behind the stage moves the analyte too, by as much as before
    lost = (test.value - middle[-1]) / (middle[at] - middle[at + 1])
    error = rule("reading_errors") * test.sd / taken[at]
    sure = np.where(lost - error > end, 1, np.where(lost + error < end, -1, 0))
    start = view.scene.start
    return [int(s) for s in sure], [start + dt.timedelta(days=int(d)) for d in test.day]


def _middles(view: Prediction, values: FloatArray, test: Tested) -> FloatArray:
    """The middle of a water's measure on each row's day."""
    grid = np.atleast_2d(values)
    rows = grid[test.phase] if len(grid) > 1 else np.repeat(grid, len(test.phase), axis=0)
    return np.asarray(percentiles(rows, view.scenario.weights, [0.5])[..., 0])


def use_over_plan(view: Prediction, stated: Scenario) -> tuple[float, float, int] | None:
    """Metered over planned water behind the filters: natural logarithm, standard deviation, service days; None where
    no meter tells.

    Parameters
    ----------
    stated : the plan with one draw and no reading
    """
    filtered = {b.name for b in view.scene.branches if b.filtered}
    best: tuple[float, float, int] | None = None
    for meter in (m for m in view.log.meters if set(m.branches) and set(m.branches) <= filtered):
        planned = float(metered_gal(meter, stated.demand).sum())
        counted, days = float(meter.gal.sum()), int(meter.service_days.sum())
        if planned <= 0 or counted <= 0 or days < 1:
            continue
        error = np.hypot(instrument("meter_gal").relative_sd, instrument("day_to_day").relative_sd / np.sqrt(days))
        if best is None or days > best[2]:
            best = float(np.log(counted / planned)), float(np.hypot(error, 1 / counted)), days
    return best
