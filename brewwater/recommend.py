"""Which train: candidates of every kind, "nothing" included, weighed on equal terms over the whole ensemble.

A candidate is weighed by its expected yearly cost plus what its waters being out of goal is worth to the user
(``Worth``). One setting must serve every water of the fill calendar: verdicts are those of the worst one.
Bypass is continuous: the coarse grid finds the family, a bounded search the setting; cartridge size goes up to
the next while changes come too often.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from scipy import optimize

from brewwater.capacity import changes_a_year, wear
from brewwater.chain import (
    NOT_BOUGHT,
    Given,
    Outcome,
    Weight,
    context_of,
    evaluate,
    losses,
    route,
    serve,
)
from brewwater.ensemble import mean
from brewwater.treatment import (
    Dose,
    Load,
    Problem,
    Stage,
    capacity,
    medium_class,
    order_problems,
    usual_sheet,
)
from brewwater.treatment.stage import Medium, Size

Progress = Callable[[float], None]
Cancelled = Callable[[], bool]

NAMES: dict[Medium, str] = {
    "sediment": "Sediment filter",
    "carbon": "Carbon",
    "catalytic_carbon": "Catalytic carbon",
    "scale_inhibitor": "Scale inhibitor",
    "weak_acid": "Weak-acid exchange",
    "softening": "Softener",
    "calcium_to_magnesium": "Calcium-for-magnesium exchange",
    "chloride_anion": "Chloride-form anion exchange",
    "reverse_osmosis": "Reverse osmosis",
    "mixed_bed": "Mixed bed",
    "mineral_dose": "Minerals",
    "calcite": "Calcite bed",
}
# What each family is weighed at before the bounded search: per cent bypass, and recovery of a membrane.
_BYPASS = {
    "weak_acid": (0, 10, 20, 30, 40, 50, 60),
    "softening": (0, 20, 40, 60),
    "calcium_to_magnesium": (0, 30),
    "chloride_anion": (0, 40),
    "reverse_osmosis": (0, 10, 20, 30, 40),
    "mixed_bed": (0, 10, 20, 30, 40),
}
_RECOVERY = (0.25, 0.33, 0.5)
# Minerals after a demineralising stage, mg/L: buffer and hardness (the salts are in reference/salts.csv).
_DOSES = (
    (),
    (Dose(salt="sodium_bicarbonate", mg_L=50.0),),
    (Dose(salt="potassium_bicarbonate", mg_L=60.0), Dose(salt="magnesium_sulfate_heptahydrate", mg_L=120.0)),
)
_SIZES: tuple[Size, ...] = ("small", "medium", "large")
_REFINED = 4


@dataclass(frozen=True, slots=True)
class Alternative:
    """One kind of train at its best setting.

    weight : cost and loss per draw, unmeasured quantities left out of the loss: what it was ranked by
    open_weight : the same with what is unmeasured drawn from its prior: what a test could show
    refused : the rules that speak against it, empty where none does
    """

    outcome: Outcome
    weight: Weight
    open_weight: Weight
    refused: tuple[Problem, ...]
    why: str

    @property
    def fits(self) -> bool:
        """True where the unit bears it and no rule speaks against it."""
        return self.outcome.fits and not self.refused


def stage(medium: Medium, size: Size = "medium", **settings: object) -> Stage:
    """A usual stage of a medium: the class's figures, no capacity claimed."""
    return Stage.model_validate(
        {
            "name": NAMES[medium],
            "medium": medium,
            "size": size,
            "sheet": usual_sheet(medium, size),
            **settings,
        }
    )


def candidates(given: Given) -> Iterator[tuple[Stage, ...]]:
    """Every family on its coarse grid, in the smallest size; "nothing" first."""
    sediment = stage("sediment")
    carbon = stage("catalytic_carbon" if given.disinfectant == "chloramine" else "carbon")
    yield ()
    yield (sediment,)
    base = (sediment, carbon)
    yield base
    yield (*base, stage("scale_inhibitor"))
    for medium, shares in _BYPASS.items():
        for bypass in shares:
            if medium == "reverse_osmosis":
                for recovery in _RECOVERY:
                    membrane = stage("reverse_osmosis", bypass_percent=bypass, recovery=recovery)
                    yield from _remineralised((*base, membrane))
            elif medium == "mixed_bed":
                yield from _remineralised((*base, stage("mixed_bed", bypass_percent=bypass)))
            else:
                yield (*base, stage(medium, bypass_percent=bypass))  # type: ignore[arg-type]  # keys are media
    for bypass in (0, 20, 40):
        yield (*base, stage("softening", bypass_percent=bypass), stage("chloride_anion"))
        membrane = stage("reverse_osmosis", bypass_percent=bypass, recovery=0.5)
        yield from _remineralised((*base, stage("softening"), membrane))


def _remineralised(train: tuple[Stage, ...]) -> Iterator[tuple[Stage, ...]]:
    for doses in _DOSES:
        yield (*train, stage("mineral_dose", doses=doses)) if doses else train
    yield (*train, stage("calcite"))


# A size is refused where its cartridges would be changed more often than this, while a larger one exists.
MOST_CHANGES_A_YEAR = 6.0


def recommend(
    given: Given, progress: Progress | None = None, cancelled: Cancelled | None = None
) -> tuple[Alternative, ...]:
    """The best setting of every kind of train, ranked: those that fit first, then by expected cost and loss.

    Parameters
    ----------
    given : from ``chain.prepare``
    progress : called with the share done, 0 to 1
    cancelled : asked between candidates; True ends the search with what was found so far
    """
    search = _Search(given)
    pool = list(candidates(given))
    best: dict[tuple[str, ...], tuple[float, tuple[Stage, ...]]] = {}
    for number, train in enumerate(pool):
        if cancelled is not None and cancelled():
            break
        value = search.value(train)
        family = tuple(s.medium for s in train)
        if family not in best or value < best[family][0]:
            best[family] = value, train
        if progress is not None:
            progress(0.7 * (number + 1) / len(pool))
    leading = sorted(best.values(), key=lambda found: found[0])
    refined = [search.refined(train) for _, train in leading[:_REFINED]]
    kept = refined + [train for _, train in leading[_REFINED:]]
    found = []
    for number, train in enumerate(kept):
        found.append(search.alternative(search.sized(train)))
        if progress is not None:
            progress(0.7 + 0.3 * (number + 1) / len(kept))
    found.sort(key=lambda a: (bool(a.refused), not a.fits, search.expected(a.weight)))
    return tuple(_explained(given, found))


class _Search:
    """Weighs trains; what two trains share is computed once."""

    def __init__(self, given: Given) -> None:
        self.given = given
        self.context = context_of(given)
        self._flow = given.peak_filtered_flow_gpm

    def expected(self, weight: Weight) -> float:
        return float(mean(weight.total, self.given.weights))

    def refused(self, train: Sequence[Stage]) -> tuple[Problem, ...]:
        return tuple(p for p in order_problems(train, self.context) if not p.advice)

    def value(self, train: Sequence[Stage]) -> float:
        """Expected money and loss of a train in its best sizes; a refused one counts ten times."""
        given = self.given
        routed = route(given, train, given.document.branches)
        loss = losses(given, serve(given, given.document.branches, routed))
        total = sum(float(mean(x, given.weights)) for x in loss.values())
        for item in train:
            total += min(cost for cost, _, _ in self._sizes(item, routed.loads[item.name]))
        return total * (10 if self.refused(train) else 1)

    def _sizes(self, item: Stage, loads: Mapping[str, Load]) -> list[tuple[float, bool, Size]]:
        """Yearly cost of each size in steady use, whether it is changed too often, and the size."""
        if not loads or item.medium in NOT_BOUGHT:
            return [(0.0, False, item.size)]
        on = wear(self.given.book, self.given.demand, loads)
        found = []
        for size in _SIZES:
            bears = capacity(_in_size(item, size), self.given.draws, disinfectant=self.given.disinfectant)
            changes = float(
                mean(changes_a_year(on, bears, self.given.document.policy.margin), self.given.weights)
            )
            price = medium_class(item.medium, size).price
            found.append((changes * (price.middle if price else 0.0), changes > MOST_CHANGES_A_YEAR, size))
        usable = [f for f in found if not f[1]] or found[-1:]
        return [f for f in usable if self._bears_flow(item, f[2])] or usable[-1:]

    def _bears_flow(self, item: Stage, size: Size) -> bool:
        limit = medium_class(item.medium, size).service_flow_gpm
        return limit is None or limit.middle >= self._flow or item.medium == "reverse_osmosis"

    def sized(self, train: Sequence[Stage]) -> tuple[Stage, ...]:
        """The train with each stage in its cheapest size that is not changed too often and bears the flow."""
        routed = route(self.given, train, self.given.document.branches)
        return tuple(_in_size(s, min(self._sizes(s, routed.loads[s.name]))[2]) for s in train)

    def refined(self, train: tuple[Stage, ...]) -> tuple[Stage, ...]:
        """The train with its bypass set by a bounded search; unchanged where no stage has one."""
        at = next((i for i, s in enumerate(train) if s.medium in _BYPASS), None)
        if at is None:
            return train

        def with_bypass(percent: float) -> tuple[Stage, ...]:
            changed = train[at].model_copy(update={"bypass_percent": round(float(percent), 1)})
            return (*train[:at], changed, *train[at + 1 :])

        middle = train[at].bypass_percent
        found = optimize.minimize_scalar(
            lambda x: self.value(with_bypass(x)), bounds=(max(middle - 10, 0), min(middle + 10, 95)),
            method="bounded", options={"xatol": 0.5, "maxiter": 12},
        )  # fmt: skip
        better = with_bypass(found.x)
        return better if found.fun < self.value(train) else train

    def alternative(self, train: tuple[Stage, ...]) -> Alternative:
        outcome = evaluate(self.given, train)
        cost = outcome.cost.total
        return Alternative(
            outcome=outcome,
            weight=Weight(cost, losses(self.given, outcome.served)),
            open_weight=Weight(cost, losses(self.given, outcome.served, measured_only=False)),
            refused=self.refused(train),
            why="",
        )


def _in_size(item: Stage, size: Size) -> Stage:
    return item.model_copy(update={"size": size, "sheet": usual_sheet(item.medium, size)})


def _explained(given: Given, ranked: Sequence[Alternative]) -> Iterator[Alternative]:
    """Each alternative with a sentence: why it leads, or why it falls short."""
    for place, one in enumerate(ranked):
        failed = one.outcome.misfits
        loss = {s: float(mean(x, given.weights)) for s, x in one.weight.loss.items()}
        money = f"{one.outcome.cost.expected:,.0f} {one.outcome.cost.currency} a year"
        if one.refused:
            why = f"Refused: {one.refused[0].message}"
        elif failed:
            why = f"Does not fit the unit: {failed[0].why}"
        elif place == 0:
            why = f"Least cost and least harm together: {money}."
        else:
            worst = max(loss, key=lambda s: loss[s])
            first = ranked[0]
            dearer = float(one.outcome.cost.expected - first.outcome.cost.expected)
            short = loss[worst] - float(mean(first.weight.loss[worst], given.weights))
            if short > max(dearer, 0.0):
                why = f"Leaves {worst} out of goal more often than the first; {money}."
            else:
                why = f"Costs more than it mends: {money}, {dearer:+,.0f} against the first."
        yield replace(one, why=why)
