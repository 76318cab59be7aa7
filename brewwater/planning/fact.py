"""Forecast against fact: what the plan foretold on the day a cartridge went in, and what became of it.

The plan is the document as it stands, with the log as it stood that day: no line after it is seen. Two things are
foretold. How much water passes until the day of the change: a meter tells that of every cartridge. And when it is used
up: only tests tell that, of those that a test showed past their end; one that was changed before only says "not yet".
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from brewwater.changes.forecast import end_of_life
from brewwater.ensemble import mean, percentiles
from brewwater.log import foretold_gal, metered_gal
from brewwater.planning.candidate import evaluate
from brewwater.planning.cartridges import bears, bought, cartridge
from brewwater.planning.correction import correct, scene_of
from brewwater.planning.document import PlanDocument
from brewwater.planning.prediction import Prediction
from brewwater.planning.scenario import Scenario, prepare
from brewwater.planning.spells import Past, Spell, meters_of, past_of, with_draws

FloatArray = NDArray[np.float64]
Three = tuple[float, float, float]

INSIDE = (0.1, 0.9)


@dataclass(frozen=True, slots=True)
class Foretold:
    """One cartridge that has come out, against the plan of the day it went in.

    early, expected, late : when it was to be changed, by that plan's calendar; None past the plan
    gal : US gallons that a meter would count until it came out, 10th, 50th and 90th percentile; None without a meter
    gal_at : probability that the plan gave to fewer gallons than the meter counted
    used_up_at : probability that the plan gave to being used up sooner than it was: at the last test that showed it
        working and the first that showed it past its end, or 1 where none did. None where no test shows either
    """

    spell: Spell
    early: dt.date | None
    expected: dt.date | None
    late: dt.date | None
    gal: Three | None
    gal_at: float | None
    used_up_at: tuple[float, float] | None

    @property
    def gal_inside(self) -> bool | None:
        """Whether the metered gallons lie in the plan's range; None where no meter tells."""
        return None if self.gal_at is None else INSIDE[0] <= self.gal_at <= INSIDE[1]

    @property
    def seen_used_up(self) -> bool:
        """Whether a test showed it past its end before it came out."""
        return self.spell.through is not None


@dataclass(frozen=True, slots=True)
class Spent:
    """One cartridge's money in the logged days: how many the plan before any reading bought, how many the log has, and
    the price of one (mean, the plan's currency)."""

    cartridge: str
    planned: int
    made: int
    each: float


@dataclass(frozen=True, slots=True)
class Facts:
    """Forecast against fact for one unit.

    first, last : the logged days; ``planned_gal``: through the filters in them before any reading, 10th, 50th and 90th
        percentile, and ``metered_gal``, of the meter with the most days; None where none counts
    """

    name: str
    first: dt.date
    last: dt.date
    changes: tuple[Foretold, ...]
    spent: tuple[Spent, ...]
    planned_gal: Three | None
    metered_gal: float | None
    currency: str


def foretold(past: Past, spell: Spell, document: PlanDocument) -> Foretold:
    """What the plan foretold of a cartridge on the day it went in.

    Parameters
    ----------
    past : the document's whole log: where the meters are, and what became of the cartridge
    document : with its whole log, of which only what was there that day is used
    """
    assert spell.out is not None
    then = document.model_copy(update={"readings": tuple(r for r in document.readings if r.date <= spell.went_in)})
    scenario = correct(prepare(then), then.train).scenario
    stage, calendar = spell.stage, document.demand.calendar
    view = Prediction(scenario, scene_of(scenario, then.train), past.view.log)
    one = cartridge(scenario, stage, view.routed.loads[stage.name])
    due = next(iter(one.alone.of(stage.name)), None)
    n, weights = scenario.draws.n, scenario.weights

    gal, gal_at = None, None
    if spell.gal is not None:
        meter = meters_of(past.view.scene, past.view.log.meters, stage)[0]
        share = foretold_gal(meter, past.view.scene, spell.went_in, spell.out, scenario.demand, scenario.draws)
        low, middle, high = percentiles(share, weights)
        gal = float(low), float(middle), float(high)
        gal_at = float(mean((share < spell.gal).astype(np.float64), weights))
    made = len(scenario.made.get(stage.name, ()))
    unlimited = replace(bears(scenario, stage, made), days=np.array([np.inf]))
    at = max((spell.went_in - calendar.start).days, 0)
    went_in = np.full(one.wear.n, at, dtype=np.int64)
    day, _ = end_of_life(one.wear, unlimited, went_in, one.wear.sums_before(went_in), 1.0, 0.0, np.zeros(1))
    ends = np.broadcast_to(day, (n,))

    def sooner(when: dt.date) -> float:
        return float(mean((ends <= (when - calendar.start).days).astype(np.float64), weights))

    used_up = None
    if spell.good is not None or spell.through is not None:
        used_up = (
            0.0 if spell.good is None else sooner(spell.good),
            1.0 if spell.through is None else sooner(spell.through),
        )
    return Foretold(
        spell,
        None if due is None else due.early,
        None if due is None else due.date,
        None if due is None else due.late,
        gal,
        gal_at,
        used_up,
    )


def facts_of(document: PlanDocument, draws: int = 256) -> Facts | None:
    """Forecast against fact for a unit; None where its document states no train or nothing was logged."""
    document = with_draws(document, draws)
    past = past_of(document, draws)
    if past is None:
        return None
    changes = tuple(foretold(past, spell, document) for spell in past.spells if spell.out is not None)
    days = [r.date for r in document.readings]
    start = document.demand.calendar.start
    first, last = max(min(days), start), max(days)
    prior = prepare(document)
    planned, metered = _gallons(past, prior)
    return Facts(
        document.name,
        min(first, last),
        last,
        changes,
        _spent(past, prior, last),
        planned,
        metered,
        document.money.currency,
    )


def _gallons(past: Past, prior: Scenario) -> tuple[Three | None, float | None]:
    """What the plan before any reading put through the meter with the most days while it counted, and what it did."""
    meter = max(past.view.log.meters, key=lambda m: float(m.service_days.sum()), default=None)
    if meter is None:
        return None, None
    low, middle, high = percentiles(metered_gal(meter, prior.demand).sum(axis=0), prior.weights)
    return (float(low), float(middle), float(high)), float(meter.gal.sum())


def _spent(past: Past, prior: Scenario, last: dt.date) -> tuple[Spent, ...]:
    stages = prior.document.train or ()
    candidate = evaluate(prior, stages)
    found = []
    for one in bought(candidate.cartridges, candidate.calendar):
        planned = sum(d.date <= last for d in candidate.calendar.of(one.name))
        start = prior.document.demand.calendar.start
        made = sum(start < d <= last for d in past.view.log.changed.get(one.name, ()))
        each = float(mean(prior.draws.span(f"price: {one.name}", one.price), prior.weights))
        found.append(Spent(one.name, planned, made, each))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often the plans' ranges of eight in ten held.

    gal, gal_of : cartridges whose metered gallons lay in their range, and how many were metered
    used_up, used_up_interval : share of the cartridges whose end lay in its range, with 95 % interval, those taken out
        before their end counted as "not yet" (Kaplan and Meier 1958); None where fewer than ten were seen used up
    seen, early : cartridges seen used up, and taken out before with a test that showed them working
    """

    gal: int
    gal_of: int
    used_up: float | None
    used_up_interval: tuple[float, float] | None
    seen: int
    early: int

    @property
    def gal_interval(self) -> tuple[float, float] | None:
        """95 % interval of the share of gallons inside (Wilson 1927); None where nothing was metered."""
        return wilson(self.gal, self.gal_of) if self.gal_of else None


def wilson(inside: int, of: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927)."""
    z, share = 1.959964, inside / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z * np.sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return float(middle - half), float(middle + half)


# Fewer ends than this show nothing of how often a range holds (a choice).
_LEAST_ENDS = 10


def coverage(changes: Iterable[Foretold]) -> Coverage:
    """How often the ranges held, over any number of changes of any number of units."""
    rows = list(changes)
    metered = [r.gal_inside for r in rows if r.gal_inside is not None]
    ends = [r for r in rows if r.used_up_at is not None]
    seen = [r for r in ends if r.seen_used_up]
    share, interval = None, None
    if len(seen) >= _LEAST_ENDS:
        at = np.array([_end_at(r) for r in ends])
        share, error = _between(at, np.array([r.seen_used_up for r in ends]))
        interval = max(share - 1.959964 * error, 0.0), min(share + 1.959964 * error, 1.0)
    return Coverage(sum(metered), len(metered), share, interval, len(seen), len(ends) - len(seen))


def _end_at(row: Foretold) -> float:
    """The probability at which a cartridge ended: the middle of its two tests, or where it was last seen working."""
    assert row.used_up_at is not None
    low, high = row.used_up_at
    return (low + high) / 2 if row.seen_used_up else low


def _between(at: FloatArray, seen: NDArray[np.bool_]) -> tuple[float, float]:
    """Share that ends within ``INSIDE`` and its standard error, by the product of those that pass each end; shape (n,).

    Between the ends of a range the product's own sum (Greenwood's) gives the error of what is left of those that reach
    its low end.
    """
    order = np.argsort(at, kind="stable")
    at, seen = at[order], seen[order]
    left = len(at) - np.arange(len(at))
    passes = np.where(seen, 1 - 1 / left, 1.0)
    with np.errstate(divide="ignore"):
        grows = np.where(seen & (left > 1), 1 / (left * np.maximum(left - 1, 1)), 0.0)

    def upto(end: float) -> tuple[float, float]:
        inside = at <= end
        return float(np.prod(passes[inside])), float(grows[inside].sum())

    (low, low_var), (high, high_var) = upto(np.nextafter(INSIDE[0], 0)), upto(INSIDE[1])
    # S(low) - S(high) = S(low) (1 - q), q = S(high)/S(low) of the days between; the two are nearly independent
    q = high / low if low > 0 else 0.0
    variance = (1 - q) ** 2 * low**2 * low_var + low**2 * q**2 * max(high_var - low_var, 0.0)
    return low - high, float(np.sqrt(variance))
