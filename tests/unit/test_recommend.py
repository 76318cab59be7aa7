"""The recommendation: kinds and settings, what they are weighed by, ranking, words."""

from __future__ import annotations

import os
import runpy
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewwater.changes.wear import Wear, wear
from brewwater.cost import EQUIPMENT, price_of, written
from brewwater.demand import DAYS_PER_YEAR
from brewwater.ensemble import mean
from brewwater.plan import quick_plan
from brewwater.planning.candidate import evaluate, route
from brewwater.planning.scenario import prepare
from brewwater.planning.search import NAMES, Kind, Scales, Search, bases, kinds, recommend, stage
from brewwater.planning.search.weigh import MOST_CHANGES_A_YEAR, yearly_litres
from brewwater.records import Span
from brewwater.treatment import Capacity, capacity, medium_class

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).parents[1] / "scenarios" / "recommend_scenarios.py")))
HARD = {"total_hardness": 290, "alkalinity": 240, "chloride": 20, "sulfate": 30, "ph": 7.4}


@pytest.fixture(scope="module")
def scenario():  # type: ignore[no-untyped-def]
    return prepare(AT.document(HARD, disinfectant="free_chlorine"))


@pytest.fixture(scope="module")
def ranked(scenario):  # type: ignore[no-untyped-def]
    return recommend(scenario)


def kind_of(*media: str, disinfectant: str = "free_chlorine") -> Kind:
    base = bases(disinfectant)[-1].stages
    return next(k for k in kinds(base) if k.media[len(base) :] == media)


def test_every_setting_of_a_kind_is_one_train() -> None:
    kind = kind_of("reverse_osmosis", "mineral_dose")
    assert kind.bounds == ((0, 90), (0, 200), (0, 200))
    assert len(kind.grid()) == len(set(kind.grid())) == 6 * (3 * 3 - 1)  # without the dose of nothing
    train = kind.train((12.345, 61.6, 3.0), 0.33)
    membrane, minerals = train[-2:]
    assert (membrane.bypass_percent, membrane.recovery) == (12.3, 0.33)
    assert [(d.salt, d.mg_L) for d in minerals.doses] == [("potassium_bicarbonate", 62)]
    assert kind_of("scale_inhibitor").grid() == ((),)


@pytest.mark.parametrize(
    ("disinfectant", "carbons"),
    [
        ("chloramine", {"catalytic_carbon"}),
        ("free_chlorine", {"carbon"}),
        ("unknown", {"carbon", "catalytic_carbon"}),
        ("none", {"carbon"}),
    ],
)
def test_carbons_on_offer(disinfectant: str, carbons: set[str]) -> None:
    offered = bases(disinfectant)
    assert offered[0].stages == ()  # nothing competes
    found = {m for b in offered for m in b.media} - {"sediment"}
    assert found == carbons
    last = {"none": ("sediment",), "unknown": ("sediment", "catalytic_carbon")}
    assert offered[-1].media == last.get(disinfectant, ("sediment", *carbons))


def test_every_medium_of_a_train_is_on_offer() -> None:
    base = bases("free_chlorine")
    others = (*bases("chloramine"), *bases("free_chlorine", iron=True))
    offered = {m for k in (*base, *others, *kinds(base[-1].stages)) for m in k.media}
    assert offered == set(NAMES)


def steady(on: Wear, bears: Capacity, margin: float) -> np.ndarray:
    """Cartridges a year over the plan: the highest of use over usable capacity and of the time limit."""
    year = on.ledger.sums[[-1]] * DAYS_PER_YEAR / len(on.ledger.days)
    rate = DAYS_PER_YEAR / np.asarray(bears.days)
    for currency in on.rates:
        rate = np.maximum(rate, on.use(currency, year) / (getattr(bears, currency) * margin))
    return rate


def test_litres_of_a_year_by_water(scenario) -> None:  # type: ignore[no-untyped-def]
    for branch in scenario.demand.branches:
        by_water = yearly_litres(scenario, branch)
        year = scenario.demand.litres(branch) * DAYS_PER_YEAR / len(scenario.demand.days)
        np.testing.assert_allclose(by_water.sum(axis=0), np.broadcast_to(year, by_water.shape[1:]))


def test_steady_changes_are_those_of_the_capacity_room(scenario) -> None:  # type: ignore[no-untyped-def]
    train = (stage("sediment"), stage("carbon"), stage("weak_acid", bypass_percent=25))
    routed = route(scenario, train, scenario.document.branches)
    scales = Scales(scenario)
    run, _ = scales._run([train])
    for at, item in enumerate(train):
        on = wear(scenario.book, scenario.demand, routed.loads[item.name])
        bears = capacity(item, scenario.draws, disinfectant=scenario.disinfectant)
        by_hand = steady(on, bears, scenario.document.policy.margin)
        _, rate, _ = scales._sized(item, run.loads[at], lambda _: np.zeros(1), 1, as_is=True)
        np.testing.assert_allclose(rate[0], np.broadcast_to(by_hand, rate[0].shape), rtol=1e-9)


@pytest.mark.parametrize(
    "media", [("weak_acid",), ("reverse_osmosis", "mineral_dose"), ("mixed_bed", "calcite"), ("scale_inhibitor",)]
)
def test_many_settings_at_once_are_each_one_alone(scenario, media: tuple[str, ...]) -> None:  # type: ignore[no-untyped-def]
    kind, scales = kind_of(*media), Scales(scenario)
    grid = kind.grid()[:: max(1, len(kind.grid()) // 5)]
    recovery = kind.recoveries[0] if kind.recoveries else None
    lot = scales.lot(kind, grid, recovery)
    for i, train in enumerate(lot.trains):
        candidate = evaluate(scenario, train)
        alone = scales.weigh(train, candidate.served)  # the full solution, at the sizes chosen
        assert float(mean(alone.cost, scenario.weights)) == pytest.approx(lot.cost[i], rel=1e-6)  # of the solver
        for subject, lost in alone.loss.items():
            # the pH of a part of the waters is solved in another batch, which ends its steps elsewhere
            assert float(mean(lost, scenario.weights)) == pytest.approx(lot.loss[subject][i], rel=1e-4, abs=1e-3)


def test_recoveries_share_their_water(scenario) -> None:  # type: ignore[no-untyped-def]
    # behind an inhibitor, where a higher recovery takes nothing of the membrane's life
    kind, scales = kind_of("scale_inhibitor", "reverse_osmosis", "mineral_dose"), Scales(scenario)
    grid = kind.grid()[::9]
    together = scales.lots(kind, grid, kind.recoveries)
    for recovery, lot in zip(kind.recoveries, together, strict=True):
        alone = scales.lot(kind, grid, recovery)
        np.testing.assert_allclose(lot.total, alone.total, rtol=1e-6)
        assert lot.trains == alone.trains
    assert (together[0].cost > together[-1].cost).all()  # more reject, more carbon


def test_a_membrane_costs_its_share_every_year(scenario) -> None:  # type: ignore[no-untyped-def]
    base = bases("free_chlorine")[-1].stages
    membrane = (*base, stage("scale_inhibitor"), stage("reverse_osmosis", "small", recovery=0.25))
    candidate = evaluate(scenario, membrane)
    lines = {line.name: line.amount for line in candidate.cost.lines}
    unit = price_of(scenario.document.money, EQUIPMENT["reverse_osmosis"])[0]
    yearly = lines["Membrane unit with tank and pump over its life"]
    assert float(yearly) == pytest.approx(unit.middle / scenario.document.money.head_life_years, rel=0.15)
    assert lines["Cartridges: Reverse osmosis"] == 0  # it lasts two and a half years
    assert sum(lines.values(), Decimal(0)) == candidate.cost.expected
    scales = Scales(scenario)
    with_it, without = (
        float(mean(scales.weigh(t, evaluate(scenario, t).served).cost, scenario.weights)) for t in (membrane, base)
    )
    price = medium_class("reverse_osmosis", "small").price
    assert price is not None
    descaling = 1000  # at most; the hard water's descaling falls away
    assert with_it - without > price.middle / 2.5 + unit.low / 5 - descaling
    own = scenario.document.money.model_copy(
        update={
            "prices": scenario.document.money.prices.model_copy(update={"membrane_unit": Span(low=5000, high=5000)})
        }
    )
    dear = prepare(scenario.document.model_copy(update={"money": own}))
    assert "reverse_osmosis" not in {m.medium for m in recommend(dear)[0].candidate.stages}


def test_ranking(scenario, ranked) -> None:  # type: ignore[no-untyped-def]
    totals = [Scales(scenario).value(a.weight) for a in ranked]
    fits = [a.fits for a in ranked]
    assert fits == sorted(fits, reverse=True)
    sound = [t for t, ok in zip(totals, fits, strict=True) if ok]
    assert sound == sorted(sound)
    assert len(ranked) <= 14
    assert () in [a.candidate.stages for a in ranked]


def test_asked_for_cures_are_always_answered(ranked) -> None:  # type: ignore[no-untyped-def]
    seen = {m for a in ranked for m in AT.media(a.candidate.stages)}
    assert {"scale_inhibitor", "weak_acid", "softening", "reverse_osmosis", "mixed_bed", "carbon"} <= seen


def test_words_are_plain_and_true(scenario, ranked) -> None:  # type: ignore[no-untyped-def]
    first = round(float(mean(ranked[0].weight.cost, scenario.weights)))
    for place, one in enumerate(ranked):
        assert "_" not in one.why and "nan" not in one.why.lower()
        assert one.why.endswith(".")
        cost = round(float(mean(one.weight.cost, scenario.weights)))
        if one.refused:
            assert one.why.startswith("Refused: ")
            assert one.refused[0].message in one.why
        elif one.candidate.fits:
            assert f"{written(cost, 'USD')} a year over 2 years" in one.why
            if place and cost != first:
                more = "more" if cost > first else "less"
                assert f"{written(abs(cost - first), 'USD')} {more} than the first" in one.why
            assert one.why.startswith("Costs more") <= (cost > first)


def test_a_shortfall_named_is_one(scenario, ranked) -> None:  # type: ignore[no-untyped-def]
    for one in ranked[1:]:
        if not one.why.startswith("Falls short"):
            continue
        for subject, said in (("cup", "the cup:"), ("scale", "in scale:"), ("corrosion", "in corrosion:")):
            worse = mean(one.weight.loss[subject], scenario.weights) > mean(
                ranked[0].weight.loss[subject], scenario.weights
            )
            assert worse or said not in one.why


def test_sizes_bear_the_flow_and_are_not_changed_weekly(scenario, ranked) -> None:  # type: ignore[no-untyped-def]
    for one in ranked:
        for cartridge in one.candidate.cartridges:
            often = float(mean(steady(cartridge.wear, cartridge.capacity, 0.8), scenario.weights))
            if cartridge.stage.size != "two large":
                assert often <= MOST_CHANGES_A_YEAR


def test_progress_runs_to_the_end(scenario) -> None:  # type: ignore[no-untyped-def]
    told: list[float] = []
    recommend(scenario, told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    assert len(told) > 20


@pytest.mark.parametrize("after", [0, 1, 5, 24])
def test_a_cancelled_search_gives_what_it_has(scenario, after: int, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    asked = iter(range(1000))
    found = recommend(scenario, cancelled=lambda: next(asked) >= after)
    assert len(found) <= 4
    assert bool(found) == bool(after)
    assert all(a.why for a in found)


def test_the_same_plan_gives_the_same_answer(scenario) -> None:  # type: ignore[no-untyped-def]
    ranked, again = recommend(prepare(scenario.document)), recommend(prepare(scenario.document))
    assert [a.candidate.stages for a in again] == [a.candidate.stages for a in ranked]
    assert [a.why for a in again] == [a.why for a in ranked]


def test_at_least_two_hundred_trains_are_weighed(scenario) -> None:  # type: ignore[no-untyped-def]
    search = Search(scenario)
    found = [search.coarse(kind) for kind in search.steps()]
    assert search.weighed >= 200
    assert len(found) > 15


def test_that_chlorine_may_pass_buys_no_minerals() -> None:
    """A soft water within every goal; nothing is known of its chlorine, which is weighed apart from the cup's rest."""
    found = quick_plan(hardness=60, alkalinity=50, tds=110, drinks=200)
    assert [s.medium for s in found.candidate.stages] == ["sediment", "catalytic_carbon"]
