"""What a firm's own units tell for its next unit: water over plan, water a drink, what its cartridges bear."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from brewwater.changes.wear import usable_gal, wear
from brewwater.ensemble import Draws, mean
from brewwater.log.own_units import OwnFactor, OwnLife, OwnUnits
from brewwater.log.pooled import Pooled, pool, read_between, read_exactly
from brewwater.planning.document import PlanDocument
from brewwater.planning.scenario import prepare
from brewwater.planning.spells import Past, Spell, past_of, use_over_plan, with_draws
from brewwater.reports.instruments import instrument
from brewwater.treatment import Stage, capacity
from brewwater.treatment.rating import cartridge_spread, is_rated
from brewwater.treatment.stage import Medium

FloatArray = NDArray[np.float64]
Kind = tuple[Medium, bool]

# Fewer units than this say little that their own plans do not (a choice).
LEAST_UNITS = 3


@dataclass(frozen=True, slots=True)
class Told:
    """What one unit tells, as likelihoods of a factor over ``log.pooled.THETA``.

    use : metered over planned water behind the filters; ``per_drink``: US gallons metered for each drink counted, over
        one gallon; ``lives``: by medium, and whether the sheet states a rating, over the plan's middle figure
    used_up, taken_early : cartridges that a test showed past their end, and those taken out or still in before that
    over_plan : metered over planned, the plain ratio, or None
    """

    name: str
    use: FloatArray | None = None
    per_drink: FloatArray | None = None
    lives: Mapping[Kind, FloatArray] = field(default_factory=dict)
    used_up: Mapping[Kind, int] = field(default_factory=dict)
    taken_early: Mapping[Kind, int] = field(default_factory=dict)
    over_plan: float | None = None


@dataclass(frozen=True, slots=True)
class Fleet:
    """The hierarchical estimate over units. ``None`` where fewer than three units tell of a factor."""

    told: tuple[Told, ...]
    use: Pooled | None
    per_drink: Pooled | None
    lives: Mapping[Kind, Pooled]

    @property
    def gal_per_drink(self) -> tuple[float, float, float] | None:
        """US gallons through the filters for a drink in a next unit: low, middle and high of eight cases in ten."""
        if self.per_drink is None:
            return None
        middle, far = self.per_drink.middle, _TENTH * self.per_drink.next_sd
        return float(np.exp(middle - far)), float(np.exp(middle)), float(np.exp(middle + far))

    def figures(self, day: dt.date) -> OwnUnits | None:
        """What the next unit's plan takes; None where nothing is told by enough units."""
        lives = tuple(
            OwnLife(
                medium=kind[0],
                rated=kind[1],
                middle=float(np.exp(found.middle)),
                log_sd=found.next_sd,
                units=sum(kind in t.lives for t in self.told),
                seen=sum(t.used_up.get(kind, 0) + t.taken_early.get(kind, 0) for t in self.told),
            )
            for kind, found in self.lives.items()
        )
        count = sum(t.use is not None for t in self.told)
        use = self.use and OwnFactor(
            middle=float(np.exp(self.use.middle)), log_sd=self.use.next_sd, units=count, seen=count
        )
        if use is None and not lives:
            return None
        return OwnUnits(as_of=day, units=len(self.told), use=use, lives=lives)


def told_by(document: PlanDocument, draws: int = 256) -> Told | None:
    """What a unit's log tells of its plan's own figures, without what other units told; None where it tells nothing."""
    plain = document.model_copy(update={"own_units": None})
    past = past_of(plain, draws)
    if past is None:
        return None
    stated = prepare(with_draws(plain, 1))
    read = use_over_plan(past.view, stated)
    lives: dict[Kind, FloatArray] = {}
    ends: dict[Kind, list[int]] = {}
    for name in dict.fromkeys(s.stage.name for s in past.spells):
        mine = [s for s in past.spells if s.stage.name == name]
        found = _life(past, mine)
        if found is None:
            continue
        kind = mine[0].stage.medium, is_rated(mine[0].stage)
        lives[kind] = lives[kind] * found if kind in lives else found
        count = ends.setdefault(kind, [0, 0])
        for spell in mine:
            count[spell.through is None] += 1
    if read is None and not lives:
        return None
    return Told(
        document.name,
        None if read is None else read_exactly(read[0], read[1]),
        _per_drink(past),
        lives,
        {k: v[0] for k, v in ends.items()},
        {k: v[1] for k, v in ends.items()},
        None if read is None else float(np.exp(read[0])),
    )


def _per_drink(past: Past) -> FloatArray | None:
    """Likelihood of the gallons through the filters for each drink counted, over one gallon."""
    counted = sum(float(c.drinks.sum()) for c in past.view.log.counts)
    days = sum(float(c.service_days.sum()) for c in past.view.log.counts)
    meters = [m for m in past.view.log.meters if past.view.scene.main_branch in m.branches]
    if counted <= 0 or days <= 0 or not meters:
        return None
    meter = max(meters, key=lambda m: float(m.service_days.sum()))
    service, gal = float(meter.service_days.sum()), float(meter.gal.sum())
    if service <= 0 or gal <= 0:
        return None
    apart = instrument("day_to_day").relative_sd * np.sqrt(1 / days + 1 / service)
    sd = np.sqrt(instrument("meter_gal").relative_sd ** 2 + apart**2 + 1 / counted)
    return read_exactly(float(np.log(gal / service / (counted / days))), float(sd))


def _life(past: Past, spells: Sequence[Spell]) -> FloatArray | None:
    """Likelihood of what one stage's cartridges bear over the plan's middle figure; None where nothing tells."""
    scenario, stage = past.scenario, spells[0].stage
    middle = capacity(stage, Draws(1), disinfectant=scenario.disinfectant)
    if not middle.known:
        return None
    on = wear(scenario.book, scenario.demand, past.view.routed.loads[stage.name])
    usable = np.broadcast_to(usable_gal(on, middle), scenario.weights.shape)
    if not np.all(np.isfinite(usable) & (usable > 0)):
        return None
    log_usable = np.log(usable)
    at = float(mean(log_usable, scenario.weights))
    doubt = float(np.sqrt(np.maximum(mean((log_usable - at) ** 2, scenario.weights), 0)))
    low, high = [], []
    for spell in spells:  # after the last test that shows it working nobody knows, whenever it came out
        if spell.gal_good is None and spell.gal_through is None:
            continue
        low.append(-np.inf if not spell.gal_good else np.log(spell.gal_good) - at)
        high.append(np.inf if not spell.gal_through else np.log(spell.gal_through) - at)
    if not low:
        return None
    shared = np.hypot(doubt, instrument("meter_gal").relative_sd)
    return read_between(low, high, cartridge_spread(), float(shared))


def pooled(told: Sequence[Told]) -> Fleet:
    """The estimate from what each unit tells."""

    def of(rows: list[FloatArray]) -> Pooled | None:
        return pool(rows) if len(rows) >= LEAST_UNITS else None

    kinds = dict.fromkeys(k for t in told for k in t.lives)
    lives = {k: of([t.lives[k] for t in told if k in t.lives]) for k in kinds}
    return Fleet(
        tuple(told),
        of([t.use for t in told if t.use is not None]),
        of([t.per_drink for t in told if t.per_drink is not None]),
        {k: v for k, v in lives.items() if v is not None},
    )


def with_own_units(document: PlanDocument, figures: OwnUnits | None) -> PlanDocument:
    """The document with figures of the firm's own units in it, or without any."""
    return document.model_copy(update={"own_units": figures})


# Normal quantile of nine in ten: a range of eight in ten about a middle.
_TENTH = 1.2815515655446004


def eight_in_ten(factor: OwnFactor) -> tuple[float, float]:
    """The range in which the factor of a next unit lies in eight cases of ten."""
    return factor.middle * float(np.exp(-_TENTH * factor.log_sd)), factor.middle * float(np.exp(_TENTH * factor.log_sd))


def own_units_used(document: PlanDocument, stages: Sequence[Stage]) -> tuple[str, ...]:
    """Where a plan uses figures of its owner's own units, a sentence each."""
    own = document.own_units
    if own is None:
        return ()

    def said(factor: OwnFactor) -> str:
        low, high = eight_in_ten(factor)
        return f"{factor.middle:.2f} times ({low:.2f} to {high:.2f}), from {factor.units} of them"

    found = []
    if own.use is not None and any(b.filtered for b in document.branches):
        found.append(f"By {own.source}: the water behind the filters is what is stated {said(own.use)}.")
    for stage in stages:
        life = own.life_of(stage, is_rated(stage))
        if life is not None:
            over = "its rating" if life.rated else "the usual figure of its class"
            found.append(f"By {own.source}: {stage.name} bears {over} {said(life)}.")
    return tuple(found)
