"""The recommendation: kinds and settings, what they are weighed by, ranking, words."""

from __future__ import annotations

import os
import runpy
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewwater.capacity import changes_a_year, wear
from brewwater.chain import evaluate, route
from brewwater.cost import EQUIPMENT, price_of
from brewwater.document import Span
from brewwater.ensemble import mean
from brewwater.given import prepare
from brewwater.recommend import NAMES, Kind, Scales, Search, bases, kinds, recommend, stage
from brewwater.recommend.weigh import MOST_CHANGES_A_YEAR, yearly_litres
from brewwater.treatment import capacity

AT = SimpleNamespace(
    **runpy.run_path(str(Path(__file__).parents[1] / "scenarios" / "recommend_scenarios.py"))
)
HARD = {"total_hardness": 290, "alkalinity": 240, "chloride": 20, "sulfate": 30, "ph": 7.4}


@pytest.fixture(scope="module")
def given():  # type: ignore[no-untyped-def]
    return prepare(AT.document(HARD, disinfectant="free_chlorine"))


@pytest.fixture(scope="module")
def ranked(given):  # type: ignore[no-untyped-def]
    return recommend(given)


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
    offered = {m for k in (*base, *bases("chloramine"), *kinds(base[-1].stages)) for m in k.media}
    assert offered == set(NAMES)


def test_litres_of_a_year_by_water(given) -> None:  # type: ignore[no-untyped-def]
    for branch in given.demand.branches:
        by_water = yearly_litres(given, branch)
        year = given.demand.litres(branch, 0, given.demand.year())
        np.testing.assert_allclose(by_water.sum(axis=0), np.broadcast_to(year, by_water.shape[1:]))


def test_steady_changes_are_those_of_the_capacity_room(given) -> None:  # type: ignore[no-untyped-def]
    train = (stage("sediment"), stage("carbon"), stage("weak_acid", bypass_percent=25))
    routed = route(given, train, given.document.branches)
    scales = Scales(given)
    run, chosen = scales._run([train])
    for at, item in enumerate(train):
        on = wear(given.book, given.demand, routed.loads[item.name])
        bears = capacity(item, given.draws, disinfectant=given.disinfectant)
        by_hand = changes_a_year(on, bears, given.document.policy.margin)
        _, rate, _ = scales._sized(item, run.loads[at], chosen[at], given.waters, 1, as_is=True)
        np.testing.assert_allclose(rate[0], np.broadcast_to(by_hand, rate[0].shape), rtol=1e-9)


@pytest.mark.parametrize(
    "media", [("weak_acid",), ("reverse_osmosis", "mineral_dose"), ("mixed_bed", "calcite"), ("scale_inhibitor",)]
)
def test_many_settings_at_once_are_each_one_alone(given, media: tuple[str, ...]) -> None:  # type: ignore[no-untyped-def]
    kind, scales = kind_of(*media), Scales(given)
    grid = kind.grid()[:: max(1, len(kind.grid()) // 5)]
    recovery = kind.recoveries[0] if kind.recoveries else None
    lot = scales.lot(kind, grid, recovery)
    for i, train in enumerate(lot.trains):
        outcome = evaluate(given, train)
        alone = scales.weigh(train, outcome.served)  # the full solution, at the sizes chosen
        assert float(mean(alone.cost, given.weights)) == pytest.approx(lot.cost[i], rel=1e-6)  # of the solver
        for subject, lost in alone.loss.items():
            assert float(mean(lost, given.weights)) == pytest.approx(lot.loss[subject][i], rel=1e-9, abs=1e-9)


def test_recoveries_share_their_water(given) -> None:  # type: ignore[no-untyped-def]
    kind, scales = kind_of("reverse_osmosis", "mineral_dose"), Scales(given)
    grid = kind.grid()[::9]
    together = scales.lots(kind, grid, kind.recoveries)
    for recovery, lot in zip(kind.recoveries, together, strict=True):
        alone = scales.lot(kind, grid, recovery)
        np.testing.assert_allclose(lot.total, alone.total, rtol=1e-6)
        assert lot.trains == alone.trains
    assert (together[0].cost > together[-1].cost).all()  # more reject, more carbon


def test_a_membrane_costs_its_share_every_year(given) -> None:  # type: ignore[no-untyped-def]
    base = bases("free_chlorine")[-1].stages
    membrane = (*base, stage("reverse_osmosis", "small", recovery=0.25))
    outcome = evaluate(given, membrane)
    lines = {line.name: line.amount for line in outcome.cost.lines}
    unit = price_of(given.document.money, EQUIPMENT["reverse_osmosis"])[0]
    yearly = lines["Membrane unit with tank and pump over its life"]
    assert float(yearly) == pytest.approx(unit.middle / given.document.money.head_life_years, rel=0.15)
    assert lines["Cartridges: Reverse osmosis"] == 0  # it lasts two and a half years
    assert sum(lines.values(), Decimal(0)) == outcome.cost.expected
    scales = Scales(given)
    with_it, without = (
        float(mean(scales.weigh(t, evaluate(given, t).served).cost, given.weights)) for t in (membrane, base)
    )
    price = stage("reverse_osmosis", "small").sheet.price
    descaling = 1000  # at most; the hard water's descaling falls away
    assert with_it - without > price.middle / 2.5 + unit.low / 5 - descaling
    own = given.document.money.model_copy(
        update={"prices": given.document.money.prices.model_copy(update={"membrane_unit": Span(low=5000, high=5000)})}
    )
    dear = prepare(given.document.model_copy(update={"money": own}))
    assert "reverse_osmosis" not in {m.medium for m in recommend(dear)[0].outcome.stages}


def test_ranking(given, ranked) -> None:  # type: ignore[no-untyped-def]
    totals = [float(mean(a.weight.total, given.weights)) for a in ranked]
    fits = [a.fits for a in ranked]
    assert fits == sorted(fits, reverse=True)
    sound = [t for t, ok in zip(totals, fits, strict=True) if ok]
    assert sound == sorted(sound)
    assert len(ranked) <= 14
    assert () in [a.outcome.stages for a in ranked]


def test_asked_for_cures_are_always_answered(ranked) -> None:  # type: ignore[no-untyped-def]
    seen = {m for a in ranked for m in AT.media(a.outcome.stages)}
    assert {"scale_inhibitor", "weak_acid", "softening", "reverse_osmosis", "mixed_bed", "carbon"} <= seen


def test_words_are_plain_and_true(given, ranked) -> None:  # type: ignore[no-untyped-def]
    first = float(mean(ranked[0].weight.cost, given.weights))
    for place, one in enumerate(ranked):
        assert "_" not in one.why and "nan" not in one.why.lower()
        assert one.why.endswith(".")
        cost = float(mean(one.weight.cost, given.weights))
        if one.refused:
            assert one.why.startswith("Refused: ")
            assert one.refused[0].message in one.why
        elif one.outcome.fits:
            assert f"{cost:,.0f} USD a year" in one.why
            if place:
                assert f"{abs(cost - first):,.0f} USD {'more' if cost > first else 'less'} than the first" in one.why


def test_a_shortfall_named_is_one(given, ranked) -> None:  # type: ignore[no-untyped-def]
    for one in ranked[1:]:
        if not one.why.startswith("Falls short"):
            continue
        for subject, said in (("cup", "the cup:"), ("scale", "in scale:"), ("corrosion", "in corrosion:")):
            worse = mean(one.weight.loss[subject], given.weights) > mean(ranked[0].weight.loss[subject], given.weights)
            assert worse or said not in one.why


def test_sizes_bear_the_flow_and_are_not_changed_weekly(given, ranked) -> None:  # type: ignore[no-untyped-def]
    for one in ranked:
        for cartridge in one.outcome.cartridges:
            often = float(mean(changes_a_year(cartridge.wear, cartridge.capacity, 0.8), given.weights))
            if cartridge.stage.size != "large":
                assert often <= MOST_CHANGES_A_YEAR


def test_progress_runs_to_the_end(given) -> None:  # type: ignore[no-untyped-def]
    told: list[float] = []
    recommend(given, told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    assert len(told) > 20


@pytest.mark.parametrize("after", [0, 1, 5, 24])
def test_a_cancelled_search_gives_what_it_has(given, after: int, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    asked = iter(range(1000))
    found = recommend(given, cancelled=lambda: next(asked) >= after)
    assert len(found) <= 4
    assert bool(found) == bool(after)
    assert all(a.why for a in found)


def test_the_same_plan_gives_the_same_answer(given) -> None:  # type: ignore[no-untyped-def]
    ranked, again = recommend(prepare(given.document)), recommend(prepare(given.document))
    assert [a.outcome.stages for a in again] == [a.outcome.stages for a in ranked]
    assert [a.why for a in again] == [a.why for a in ranked]


def test_at_least_two_hundred_trains_are_weighed(given) -> None:  # type: ignore[no-untyped-def]
    search = Search(given)
    found = [search.coarse(kind) for kind in search.steps()]
    assert search.weighed >= 200
    assert len(found) > 15
