"""The search: every kind of train on its coarse grid, the leading ones at their best setting, ranked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from brewwater.planning.candidate import Candidate, Weight, context_of, evaluate
from brewwater.planning.cartridges import NOT_BOUGHT
from brewwater.planning.scenario import Scenario
from brewwater.planning.search.best import Best, Look, all_best
from brewwater.planning.search.kinds import MOST_BYPASS, Kind, Setting, bases, in_size, kinds, stage
from brewwater.planning.search.weigh import MOST_CHANGES_A_YEAR, Scales
from brewwater.planning.search.words import explained
from brewwater.treatment import BrokenRule, Stage, order_problems
from brewwater.treatment.classes import SIZES
from brewwater.treatment.order import CALCIUM_TAKERS, DEMINERALISERS, REMINERALISERS, fouls
from brewwater.verdicts.goals import weighing

Progress = Callable[[float], None]
Cancelled = Callable[[], bool]

# Kinds whose coarse best is within this much of the first's weight are brought to their best setting.
_REFINED_WITHIN = 1.4
_REFINED_AT_MOST = 4
# First steps of the way to the best setting, per cent and mg/L, and how many are taken; a step that finds nothing
# better is quartered, because half of it was tried.
_BYPASS_STEP, _DOSE_STEP, _ROUNDS = 8.0, 25.0, 5
_REFUSED = 1e7
# Of settings whose weights differ by less than this share the least treatment is taken: the doubt of every price
# is far larger.
_AS_GOOD = 0.02


@dataclass(frozen=True, slots=True)
class Alternative:
    """One kind of train at its best setting.

    weight : cost a year over the life of its parts and loss, per draw, unmeasured quantities left out of the
        loss: what it was ranked by
    open_weight : the same with what is unmeasured drawn from its prior: what a test could show
    refused : the rules that speak against it, empty where none does
    why : why it leads, or what it falls short in
    """

    candidate: Candidate
    weight: Weight
    open_weight: Weight
    refused: tuple[BrokenRule, ...]
    why: str

    @property
    def fits(self) -> bool:
        """True where the unit bears it and no rule speaks against it."""
        return self.candidate.fits and not self.refused


def recommend(
    scenario: Scenario, progress: Progress | None = None, cancelled: Cancelled | None = None
) -> tuple[Alternative, ...]:
    """The best setting of every kind of train, ranked: those that fit first, then by expected cost and loss.

    Parameters
    ----------
    scenario : from ``scenario.prepare``
    progress : called with the share done, 0 to 1
    cancelled : asked between batches; True ends the search with what was found so far
    """
    search = Search(scenario)

    def between(first: float, last: float) -> Callable[[float], bool]:
        """Tells the share done, from one share of the whole to another; False where the search is given up."""

        def each(share: float) -> bool:
            _tell(progress, first + share * (last - first))
            return cancelled is None or not cancelled()

        return each

    found = [one for one in search.all_coarse(between(0.0, 0.5)) if one]
    leading = search.leading(sorted(found, key=lambda b: b.value))
    for one, better in zip(leading, search.all_refined(leading, between(0.5, 0.75)), strict=True):
        if better:
            found[found.index(one)] = better
    found = _short(found)
    found += search.with_plain_carbon(found)
    made: list[Alternative] = []
    for number, one in enumerate(found):
        if made and cancelled is not None and cancelled():
            break
        made.append(search.alternative(one))
        _tell(progress, 0.75 + 0.25 * (number + 1) / len(found))
    made.sort(key=lambda a: (not a.fits, search.scales.value(a.weight)))
    return tuple(explained(scenario, made))


# What a reader asks about, whatever comes of it: nothing, carbon, and each usual cure.
_ALWAYS = (
    {"scale_inhibitor"},
    {"weak_acid"},
    {"softening"},
    {"reverse_osmosis"},
    {"softening", "reverse_osmosis"},
    {"mixed_bed"},
)
_LISTED = 10


def _short(found: Sequence[Best]) -> list[Best]:
    """The list that is followed to the end, best first: one of those that differ only in how a demineralised
    water gets its minerals back; what a reader asks about; and the best of the others."""
    best: dict[tuple[str, ...], Best] = {}
    for one in sorted(found, key=lambda b: b.value):
        media = one.kind.media
        if any(m in DEMINERALISERS for m in media):
            media = tuple(m for m in media if m not in REMINERALISERS)
        best.setdefault(media, one)
    ranked = list(best.values())

    def asked(one: Best) -> bool:
        cures = set(one.kind.media) - REMINERALISERS - {"sediment", "carbon", "catalytic_carbon"}
        return cures in _ALWAYS or (not cures and not {"sediment", *REMINERALISERS} & set(one.kind.media[-1:]))

    others = [one for one in ranked if not asked(one)]
    room = max(_LISTED - (len(ranked) - len(others)), 1)
    return [one for one in ranked if one not in others[room:]]


def _tell(progress: Progress | None, share: float) -> None:
    if progress is not None:
        progress(share)


class Search:
    """One search over one plan's waters; ``weighed`` counts the trains with settings that were weighed."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.scales = Scales(scenario)
        self.context = context_of(scenario)
        self.weighed = 0

    def steps(self) -> Iterator[Kind]:
        """The kinds to try: the bases, and everything else behind the last of them, which bears what may come. Where
        no branch is filtered, nothing: no water would pass a stage."""
        first = bases(self.scenario.disinfectant, fouls(self.context))
        if not any(b.filtered for b in self.scenario.document.branches):
            yield first[0]
            return
        yield from first
        yield from kinds(self._carbons(first).stages)

    def _carbons(self, first: Sequence[Kind]) -> Kind:
        """The base that everything else stands behind: the last, or where its chlorine passes the same with two
        carbons in series."""
        last = first[-1]
        twice = [k for k in first if k.media.count("catalytic_carbon") == 2]
        if not twice or last.media[: len(twice[0].media)] == twice[0].media:
            return last
        one, two = (self.weigh(k, [()])[0].value for k in (last, twice[0]))
        return twice[0] if two < one and "iron_manganese" not in last.media else last

    def refused(self, train: Sequence[Stage]) -> tuple[BrokenRule, ...]:
        """The rules that speak against a train. An exchanger is not bought before hardness is measured: it may be a
        water without any, from which it takes nothing."""
        found = tuple(p for p in order_problems(train, self.context) if not p.advice)
        if "total_hardness" in self.scenario.known:
            return found
        blind = (s.name for s in train if s.medium in CALCIUM_TAKERS)
        return found + tuple(BrokenRule("hardness_not_known", name, "Measure hardness first.") for name in blind)

    def weigh(self, kind: Kind, settings: Sequence[Setting]) -> list[Best]:
        """Every setting of a kind at every recovery."""
        recoveries = kind.recoveries or (None,)
        found = []
        for recovery, lot in zip(recoveries, self.scales.lots(kind, settings, recoveries), strict=True):
            total = self.scales.of_setting(lot)
            for i, (setting, train) in enumerate(zip(settings, lot.trains, strict=True)):
                refused = self.refused(train) or (lot.changes[i] > MOST_CHANGES_A_YEAR and _heavy(train))
                # of refused ones the lowest recovery stays, which says most: not even so
                value = float(total[i]) + _REFUSED * (1 + (recovery or 0.0)) * bool(refused)
                found.append(Best(kind, setting, recovery, train, value, float(lot.faults[i])))
        self.weighed += len(found)
        return found

    def all_coarse(self, each: Callable[[float], bool]) -> list[Best | None]:
        """The best of every kind's coarse grid; None for those not come to before ``each`` said to end."""
        return self._all([(kind, partial(self.coarse, kind)) for kind in self.steps()], each)

    def all_refined(self, leading: Sequence[Best], each: Callable[[float], bool]) -> list[Best | None]:
        """Each brought to its best setting, or None."""
        return self._all([(_of_one(b), partial(self.refined, b)) for b in leading], each)

    def _all(self, looks: Sequence[tuple[Kind, Look]], each: Callable[[float], bool]) -> list[Best | None]:
        found, elsewhere = all_best(looks, each, lambda: self.weighed)
        self.weighed += elsewhere
        return found

    def coarse(self, kind: Kind) -> Best:
        """The best of the coarse grid."""
        return min(self.weigh(kind, kind.grid()), key=lambda b: b.value)

    def leading(self, found: Sequence[Best]) -> list[Best]:
        """The kinds worth bringing to their best setting."""
        sound = [b for b in found if b.value < _REFUSED]
        near = [b for b in sound if b.value <= _REFINED_WITHIN * sound[0].value and b.kind.bounds]
        return near[:_REFINED_AT_MOST]

    def refined(self, one: Best) -> Best:
        """The best setting near the coarse one; bypass and doses are continuous.

        A compass search whose every round is weighed as one array, where a minimiser that asks for one setting
        at a time would spend its time between the arrays."""
        kind = _of_one(one)
        steps = [() if kind.bypass_at is None else (_BYPASS_STEP,), (_DOSE_STEP,) * len(kind.doses or ())]
        best, step = one, np.concatenate(steps)
        low, high = np.array(kind.bounds).T
        for _ in range(_ROUNDS):
            here = np.array(best.setting)
            around = np.concatenate([here + way * np.diag(step) for way in (-1, -0.5, 0.5, 1)])
            inside = {tuple(float(v) for v in x) for x in np.clip(around, low, high)} - {best.setting}
            tried = self.weigh(kind, sorted(s for s in inside if kind.doses_something(s)))
            found = min(tried, key=lambda b: b.value)
            if found.value < best.value:
                best = found
            else:
                step = step / 4
        return best if kind.bypass_at is None else self._least(kind, best)

    def _least(self, kind: Kind, best: Best) -> Best:
        """Of the settings that weigh as good as the best: one in goal, where there is one, and then the least."""
        percent, *doses = best.setting
        bypasses = {min(max(percent + 0.5 * step, 0.0), MOST_BYPASS) for step in range(-12, 13)} - {percent}
        tried = [best, *self.weigh(kind, [(b, *doses) for b in sorted(bypasses)])]
        most = max(weighing()["few_faults"], best.faults)
        as_good = [b for b in tried if b.value <= best.value * (1 + _AS_GOOD) and b.faults <= most]
        return max(as_good, key=lambda b: b.setting[0], default=best)

    def with_plain_carbon(self, found: Sequence[Best]) -> list[Best]:
        """Where the disinfectant is unknown: the leading train with plain carbon, which a chlorine test may allow."""
        if self.scenario.disinfectant != "unknown" or not found:
            return []
        first = min(found, key=lambda b: b.value)
        plain = tuple(stage("carbon") if s.medium == "catalytic_carbon" else s for s in first.kind.stages)
        if plain == first.kind.stages or any(b.kind.media == tuple(s.medium for s in plain) for b in found):
            return []
        kind = replace(first.kind, stages=plain, recoveries=() if first.recovery is None else (first.recovery,))
        return self.weigh(kind, [first.setting])

    def alternative(self, one: Best) -> Alternative:
        """A kind at its best setting, followed to the end; in a size or recovery that fits, where one does."""
        candidate = evaluate(self.scenario, one.train)
        if not candidate.fits and not self.refused(one.train):
            for train in self._others(one):
                other = evaluate(self.scenario, train)
                if other.fits:
                    candidate = other
                    break
        train = candidate.stages
        return Alternative(
            candidate=candidate,
            weight=self.scales.weigh(train, candidate.served),
            open_weight=self.scales.weigh(train, candidate.served, measured_only=False),
            refused=self.refused(train),
            why="",
        )

    def _others(self, one: Best) -> Iterator[tuple[Stage, ...]]:
        """The same setting in the next sizes up and at the other recoveries that no rule forbids, cheapest first."""
        trains = [one.train]
        for recovery in reversed(one.kind.recoveries):
            if recovery != one.recovery:
                lot = self.scales.lot(one.kind, [one.setting], recovery)
                trains += [t for t in lot.trains if not self.refused(t)]
        for up in range(len(SIZES)):
            for train in trains:
                if up or train is not one.train:
                    yield tuple(s if s.medium in NOT_BOUGHT else _larger(s, up) for s in train)


def _heavy(train: Sequence[Stage]) -> bool:
    """A mixed bed is for little water: heavy cartridges, each end sudden (common practice)."""
    return any(s.medium == "mixed_bed" for s in train)


def _of_one(one: Best) -> Kind:
    """Its kind, at its recovery alone."""
    return replace(one.kind, recoveries=() if one.recovery is None else (one.recovery,))


def _larger(item: Stage, steps: int) -> Stage:
    return in_size(item, SIZES[min(SIZES.index(item.size) + steps, len(SIZES) - 1)])
