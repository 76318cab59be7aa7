"""A log that was learned from once is not learned from again: same figures, whatever came between."""

from __future__ import annotations

import datetime as dt
import sys
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest

from brewwater.log.entry import make_reading
from brewwater.plan import Plan, make_plan
from brewwater.planning import correction as corrected
from brewwater.planning.document import PlanDocument, demo_document
from brewwater.records import Span
from brewwater.treatment import Stage, usual_sheet
from brewwater.web.search_service.parcel import receive, send


def logged(gallons: float = 800) -> PlanDocument:
    document = demo_document()
    start = document.demand.calendar.start

    def line(day: int, kind: str, value: float, unit: str, where: str = "") -> object:
        date = (start + dt.timedelta(days=day)).isoformat()
        return make_reading(
            {"date": date, "kind": kind, "value": value, "unit": unit, "where": where, "method": "drop_kit"}
        )

    lines = (
        line(0, "meter_gal", 0, "gal"),
        line(30, "meter_gal", 384, "gal"),
        line(60, "meter_gal", gallons, "gal"),
        line(35, "hardness", 280, "mg/L", document.supplies[0].name),
        line(40, "hardness", 90, "mg/L", "served"),
    )
    train = tuple(
        Stage(name=name, medium=name, size="medium", sheet=usual_sheet(name, "medium"), bypass_percent=bypass)
        for name, bypass in (("carbon", 0.0), ("weak_acid", 20.0))
    )
    few = document.settings.model_copy(update={"draws": 256})
    return document.model_copy(update={"readings": lines, "train": train, "settings": few})


def figures(plan: Plan) -> list[np.ndarray]:
    return [
        plan.scenario.weights,
        plan.scenario.waters.hardness_mg_L_as_CaCO3,
        plan.candidate.cost.total,
        *(np.array([d.date.toordinal() for d in c.alone.dues]) for c in plan.candidate.cartridges),
        *(c.usable_gal for c in plan.candidate.cartridges),
    ]


def same(one: Plan, two: Plan) -> bool:
    pairs = zip(figures(one), figures(two), strict=True)
    return all(np.array_equal(a, b, equal_nan=True) for a, b in pairs) and one.moved == two.moved


@pytest.fixture(autouse=True)
def _forget() -> None:
    corrected._WAYS.clear()


def learned_anew(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    count: list[int] = []
    learn = corrected.learn

    def counting(*scenario: object) -> object:
        count.append(1)
        return learn(*scenario)  # type: ignore[arg-type]

    monkeypatch.setattr(corrected, "learn", counting)
    return count


def test_a_price_of_ones_own_gives_what_learning_anew_would_give(monkeypatch: pytest.MonkeyPatch) -> None:
    count = learned_anew(monkeypatch)
    document = logged()
    # a price that is known takes no draw: the columns asked for afterwards are others
    money = document.money.model_copy(
        update={"prices": document.money.prices.model_copy(update={"test_kit": Span(low=20, typical=20, high=20)})}
    )
    policy = document.policy.model_copy(update={"margin": 0.6})
    priced = document.model_copy(update={"money": money, "policy": policy})
    first = make_plan(document, search=False)
    assert first.correction.resampled > 0
    remembered = make_plan(priced, search=False)
    assert len(count) == 1
    corrected._WAYS.clear()
    fresh = make_plan(priced, search=False)
    assert len(count) == 2
    assert same(remembered, fresh)
    assert not same(remembered, first)


@pytest.mark.parametrize("part", ["reading", "water", "drinks", "train", "draws"])
def test_what_the_readings_are_held_against_is_learned_anew(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    count = learned_anew(monkeypatch)
    document = logged()
    make_plan(document, search=False)
    supply = document.supplies[0]
    hard = supply.analysis["total_hardness"]
    stiffer = hard.model_copy(update={"value": Span(low=hard.value.low + 5, high=hard.value.high + 6)})
    few = document.settings.model_copy(update={"draws": 128})
    train = document.train or ()
    more = document.demand.drinks_per_service_day or Span(low=1, high=2)
    other = {
        "reading": logged(820),
        "water": document.model_copy(
            update={
                "supplies": (
                    supply.model_copy(update={"analysis": {**supply.analysis, "total_hardness": stiffer}}),
                    *document.supplies[1:],
                )
            }
        ),
        "drinks": document.model_copy(
            update={
                "demand": document.demand.model_copy(
                    update={"drinks_per_service_day": Span(low=more.low + 5, high=more.high + 5)}
                )
            }
        ),
        "train": document.model_copy(update={"train": (train[0], train[1].model_copy(update={"bypass_percent": 30}))}),
        "draws": document.model_copy(update={"settings": few}),
    }[part]
    changed = make_plan(other, search=False)
    assert len(count) == 2
    corrected._WAYS.clear()
    assert same(changed, make_plan(other, search=False))


def test_only_so_many_logs_are_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(corrected, "_WAYS", corrected.Ways(3))
    document = replace_draws(logged(), 16)
    for extra in range(5):
        make_plan(replace_gallons(document, 700 + extra), search=False)
    assert len(corrected._WAYS) == 3


def replace_draws(document: PlanDocument, draws: int) -> PlanDocument:
    return document.model_copy(update={"settings": document.settings.model_copy(update={"draws": draws})})


def replace_gallons(document: PlanDocument, gallons: float) -> PlanDocument:
    return document.model_copy(update={"readings": logged(gallons).readings})


def test_a_plan_with_a_log_goes_to_another_process_and_back(tmp_path: Path) -> None:
    plan = make_plan(logged(), search=False)
    assert plan.correction.resampled > 0
    pipe = BytesIO()
    send(plan, pipe, tmp_path)
    (file,) = tmp_path.iterdir()
    assert file.stat().st_size + pipe.tell() < 40e6
    pipe.seek(0)
    back = receive(pipe, tmp_path)
    assert same(plan, back)
    for name in ("log/a column nobody asked for", "neither this one"):  # moved as the plan's own draws are
        assert np.array_equal(plan.scenario.draws.normal(name), back.scenario.draws.normal(name))


def test_threads_that_learn_and_forget_at_once_get_what_one_alone_gets(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(corrected, "_WAYS", corrected.Ways(3))
    document = replace_draws(logged(), 16)
    documents = [replace_gallons(document, 700 + extra) for extra in range(5)]
    alone = [make_plan(d, search=False).scenario.weights.copy() for d in documents]
    corrected._WAYS.clear()
    with ThreadPoolExecutor(5) as pool:
        found = list(pool.map(lambda d: make_plan(d, search=False).scenario.weights, documents * 2))
    assert all(np.array_equal(weights, alone[n % 5]) for n, weights in enumerate(found))
    assert len(corrected._WAYS) == 3


def test_ways_bear_many_threads_at_once() -> None:
    ways = corrected.Ways(4)

    def work(seed: int) -> int:
        right = 0
        for turn in range(3000):
            key = str((seed * 31 + turn * 7) % 11)
            ways.keep(key, ((), np.array([float(key)]), 0))
            way = ways.get(key)
            right += way is None or way[1][0] == float(key)
        return right

    switch = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        with ThreadPoolExecutor(8) as pool:
            assert list(pool.map(work, range(8))) == [3000] * 8
    finally:
        sys.setswitchinterval(switch)
    assert len(ways) == 4
