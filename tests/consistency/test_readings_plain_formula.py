"""The likelihood of a log, worked out as the plan does it, against the plain formula: every test by itself, its
water through the whole train row by row, and the slip by logaddexp."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from brewwater.changes.wear import wear
from brewwater.ensemble import Draws
from brewwater.log import Tested as Rows
from brewwater.log import analyte_of, counted_log, metered_gal
from brewwater.log.likelihood import SLIP, learn, normal_log, robust, robust_normal
from brewwater.planning import correction as corrected
from brewwater.planning.cartridges import bears
from brewwater.planning.document import demo_document, load_document
from brewwater.planning.scenario import prepare
from brewwater.reports.instruments import instrument
from brewwater.treatment import Stage, run_train

FloatArray = NDArray[np.float64]
TRAIN = [{"name": "Carbon", "medium": "carbon"}, {"name": "Resin", "medium": "weak_acid", "bypass_percent": 20}]


def plain_robust(log_likelihood: FloatArray, sd: FloatArray) -> FloatArray:
    return np.asarray(np.logaddexp(np.log1p(-SLIP) + log_likelihood, np.log(SLIP / (40 * sd))))


def plain_tested(test: Rows, predicted: FloatArray) -> FloatArray:
    sd = test.sd[:, None]
    found = plain_robust(normal_log(test.value[:, None], predicted, sd), sd).sum(axis=0)
    return np.asarray(found * min(1.0, 9.0 / len(test.value)))


def plain_used(view: Any, stage: Stage, day: NDArray[np.int64]) -> FloatArray:
    scenario, line, n = view.scenario, view.scene.line, view.scenario.draws.n
    loads = view.routed.loads[stage.name]
    on = wear(scenario.book, scenario.demand, loads)
    every = np.broadcast_to(on.ledger.sums[[-1]], on.served_L.shape)
    start, number, before = view._in_place(stage, day)
    litres = (line.sums[day + line.start] - line.sums[start]) @ sum(scenario.demand.branch_amounts(b) for b in loads)
    share = np.zeros((len(day), 1))
    for currency in on.rates:
        each = on.use(currency, every) / np.maximum(on.served(every), 1e-9)
        limit = np.array([np.broadcast_to(getattr(bears(scenario, stage, int(k)), currency), n) for k in number])
        share = np.maximum(share, litres * each / limit)
    return np.asarray(share + before)


def plain_predicted(view: Any, test: Rows) -> FloatArray:
    scenario = view.scenario
    shape = len(test.value), scenario.draws.n
    if test.place == "supply":
        water = scenario.supply_waters[scenario.tank.names.index(test.name)]
        return np.broadcast_to(analyte_of(water, test.analyte), shape)

    def at(x: FloatArray) -> FloatArray:
        grid = np.atleast_2d(x)
        return grid[test.phase] if len(grid) > 1 else np.repeat(grid, len(test.phase), axis=0)

    inlet = scenario.waters.each(at)
    if test.place == "source":
        return np.broadcast_to(analyte_of(inlet, test.analyte), shape)
    stages, network = view.train_before(test.name), scenario.network(view.scene.stages, view.scene.branches)
    settings = {
        s.name: replace(scenario.settings(s, network.flow_gpm(s)), used=plain_used(view, s, test.day)) for s in stages
    }
    return np.broadcast_to(
        analyte_of(run_train(stages, inlet, scenario.draws, settings=settings).served, test.analyte), shape
    )


def plain_explain(view: Any) -> FloatArray:
    scenario = view.scenario
    total = np.zeros(scenario.draws.n)
    for meter in view.log.meters:
        slope = 1 + instrument("meter_gal").relative_sd * scenario.draws.normal(f"log/meter {meter.where}: reads true")
        expected = metered_gal(meter, scenario.demand) * slope
        day = instrument("day_to_day").relative_sd / np.sqrt(np.maximum(meter.service_days, 1.0))
        share = np.hypot(day, np.sqrt(2 / 12) / np.maximum(meter.service_days, 1.0))
        sd = np.hypot(expected * share[:, None], 1.0)
        total = total + plain_robust(normal_log(meter.gal[:, None], expected, sd), sd).sum(axis=0)
    for counted in view.log.counts:
        total = total + counted_log(counted, scenario.demand)
    for test in view.log.tests:
        total = total + plain_tested(test, plain_predicted(view, test))
    return total


def log(seed: int) -> list[dict[str, Any]]:
    """Readings of every kind at random: many alike, on any day, with changes of cartridges between."""
    demo, rng = demo_document(), np.random.default_rng(seed)
    start, supplies = demo.demand.calendar.start, [s.name for s in demo.supplies]
    kinds: list[Callable[[int], dict[str, Any]]] = [
        lambda day: {"kind": "meter_gal", "value": 9.0 * (day + 400), "unit": "gal"},
        lambda day: {"kind": "drinks_sold", "value": int(rng.integers(90, 180))},
        lambda day: {
            "kind": "hardness",
            "value": int(rng.choice([240, 255, 270])),
            "unit": "mg/L",
            "method": "drop_kit",
            "where": str(rng.choice([*supplies, "source", "served"])),
        },
        lambda day: {
            "kind": "alkalinity",
            "value": int(rng.choice([60, 180, 200])),
            "unit": "mg/L",
            "method": "drop_kit",
            "where": str(rng.choice([*supplies, "served"])),
        },
        lambda day: {
            "kind": "conductivity",
            "value": int(rng.integers(300, 600)),
            "unit": "uS/cm",
            "method": "meter",
            "where": str(rng.choice([supplies[0], "served"])),
        },
        lambda day: {
            "kind": "total_chlorine",
            "value": float(rng.choice([0.0, 0.5])),
            "unit": "mg/L",
            "method": "strip",
            "where": "served",
        },
        lambda day: {
            "kind": "chloride",
            "value": int(rng.integers(20, 90)),
            "unit": "mg/L",
            "method": "strip",
            "where": "served",
        },
    ]
    lines = []
    for day in sorted(int(d) for d in rng.integers(1, 600, 160)):
        lines.append({"date": (start + dt.timedelta(days=day)).isoformat(), **kinds[rng.integers(len(kinds))](day)})
    for day in rng.integers(100, 500, 2):
        changed = {"kind": "changed_cartridge", "where": str(rng.choice(["Carbon", "Resin"]))}
        lines.append({"date": (start + dt.timedelta(days=int(day))).isoformat(), **changed})
    return lines


@pytest.mark.parametrize("seed", range(3))
def test_log_likelihood_is_that_of_the_plain_formula(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    base = demo_document().model_dump(mode="json")
    start = demo_document().demand.calendar.start
    placed = [{"stage": "Resin", "installed": (start - dt.timedelta(days=40)).isoformat(), "used": [0.1, 0.3]}]
    document = load_document(
        base | {"train": TRAIN, "settings": {"draws": 64, "seed": seed}, "readings": log(seed), "in_service": placed}
    )
    views: list[Any] = []

    def watched(draws: Draws, look: Any, explain: Any, held: Any = None) -> Any:
        def seen(view: Any) -> FloatArray:
            views.append(view)
            return np.asarray(explain(view))

        return learn(draws, look, seen, held)

    monkeypatch.setattr(corrected, "learn", watched)
    corrected._WAYS.clear()
    corrected.correct(prepare(document), document.train)
    corrected._WAYS.clear()
    assert len({(t.place, t.analyte) for t in views[0].log.tests}) >= 5
    for view in views[:4]:
        for test in view.log.tests:
            got = np.broadcast_to(view.predicted(test), (len(test.value), 64))
            np.testing.assert_allclose(got, plain_predicted(view, test), rtol=1e-10, atol=1e-12)
        np.testing.assert_allclose(view.explain(), plain_explain(view), rtol=1e-9)


def test_slip_of_one_reading_is_that_of_logaddexp() -> None:
    rng = np.random.default_rng(1)
    sd = rng.uniform(0.01, 30, (40, 1))
    value, predicted = rng.normal(0, 60, (40, 1)), rng.normal(0, 60, (40, 500))
    expected = plain_robust(normal_log(value, predicted, sd), sd)
    np.testing.assert_allclose(robust(normal_log(value, predicted, sd), sd), expected, rtol=1e-11)
    np.testing.assert_allclose(robust_normal(value, predicted, sd), expected, rtol=1e-11)
