"""One flow for one stage, whoever asks; and what holds for the pipes of any unit with any train.

``BREWWATER_TREES`` sets how many trains and units are drawn (200 by hand, a few in CI).
"""

from __future__ import annotations

import json
import os
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.ensemble import Draws
from brewwater.planning.candidate import evaluate, route
from brewwater.planning.document import PlanDocument, demo_document
from brewwater.planning.scenario import Scenario, prepare
from brewwater.planning.search import weigh
from brewwater.planning.search.weigh import Scales
from brewwater.plumbing import Branch, Network, Unit, known
from brewwater.plumbing.check import Judge
from brewwater.plumbing.network import up_to_tank
from brewwater.treatment import DataSheet, Stage, StageSettings
from brewwater.treatment import train as train_room

MANY = int(os.environ.get("BREWWATER_TREES", "12"))
MEDIA = (
    "sediment",
    "carbon",
    "catalytic_carbon",
    "scale_inhibitor",
    "weak_acid",
    "softening",
    "reverse_osmosis",
    "blend",
    "calcite",
)
KINDS = ("espresso_machine", "brewer", "hot_water", "ice", "rinser", "hand_sink")


def train_of(rng: np.random.Generator, branches: tuple[str, ...]) -> tuple[Stage, ...]:
    """A train of 0 to 6 stages in any order, most of them on the trunk."""
    made = []
    for i in range(rng.integers(0, 7)):
        medium = str(rng.choice(MEDIA))
        rated = rng.random() < 0.5
        sheet = DataSheet(
            service_flow_gpm=float(rng.uniform(0.2, 3)) if rated else None,
            bed_volume_L=float(rng.uniform(0.3, 5)) if rated else None,
            rated_output_gal_per_day=float(rng.uniform(20, 400)) if rng.random() < 0.5 else None,
        )
        made.append(
            Stage.model_validate(
                {
                    "name": f"{medium} {i}",
                    "medium": medium,
                    "branch": str(rng.choice(branches)) if rng.random() < 0.25 else None,
                    "bypass_percent": float(rng.choice([0, 0, 0, 15, 40, 80])),
                    "size": str(rng.choice(["small", "medium", "large"])),
                    "sheet": sheet,
                    "recovery": float(rng.uniform(0.15, 0.7)) if rng.random() < 0.5 else None,
                }
            )
        )
    return tuple(made)


def unit_of(rng: np.random.Generator, document: PlanDocument) -> PlanDocument:
    """The demo's water and demand on other fixtures, filtered or not, and another unit."""
    branches = tuple(
        b.model_copy(
            update={
                "filtered": bool(rng.random() < 0.7),
                "at_once": None if rng.random() < 0.5 else bool(rng.random() < 0.5),
            }
        )
        for b in document.branches
    )
    kind: Any = str(rng.choice(["cart", "truck", "kiosk", "shop"]))
    return document.model_copy(update={"branches": branches, "unit": Unit(kind=kind)})


def test_treatment_fit_and_search_ask_for_one_flow(monkeypatch: pytest.MonkeyPatch) -> None:
    """The flow each medium is run at, the one its check is held against, and the one a search weighs it at."""
    rng, small = np.random.default_rng(20261130), Draws(32)
    seen: dict[str, np.ndarray] = {}
    real = train_room.apply

    def spy(stage: Stage, water: Any, chosen: StageSettings) -> Any:
        if chosen.peak_flow_gpm is not None:
            seen[stage.name] = chosen.peak_flow_gpm
        return real(stage, water, chosen)

    monkeypatch.setattr(train_room, "apply", spy)
    compared = 0
    for _ in range(MANY):
        document = unit_of(rng, demo_document())
        scenario = prepare(document, small)
        names = tuple(b.name for b in document.branches)
        stages = train_of(rng, names)
        seen.clear()
        candidate = evaluate(scenario, stages)
        of_treatment, judge = dict(seen), Judge(scenario.weights)
        checked = {c.part: c.value for c in candidate.checks if c.check == "cartridge_flow"}
        for name, flow in of_treatment.items():
            if name in checked:
                assert checked[name] == pytest.approx(judge.high(flow), rel=1e-12), name
        trunk = tuple(s for s in stages if s.branch is None)
        if trunk and any(b.filtered for b in document.branches):
            seen.clear()
            route(scenario, trunk, document.branches)
            alone = dict(seen)
            seen.clear()
            _, chosen = Scales(scenario)._run([trunk])
            for stage, of_search in zip(trunk, chosen, strict=True):
                assert of_search.peak_flow_gpm is not None
                np.testing.assert_allclose(of_search.peak_flow_gpm, alone[stage.name], rtol=1e-12)
                compared += 1
    assert compared >= MANY / 2


def test_a_search_over_bypasses_weighs_each_at_its_own_flow() -> None:
    scenario: Scenario = prepare(demo_document(), Draws(32))
    carbon, membrane = Stage(name="c", medium="carbon"), Stage(name="m", medium="reverse_osmosis", recovery=0.25)
    trains = [(carbon, membrane.model_copy(update={"bypass_percent": p})) for p in (0.0, 25.0, 60.0)]
    network = scenario.network(trains[0], scenario.document.branches, weigh._bypasses(trains))
    together = network.flow_gpm(carbon)
    for row, one in zip(together, trains, strict=True):
        alone = scenario.network(one, scenario.document.branches).flow_gpm(carbon)
        np.testing.assert_allclose(np.ravel(row), alone, rtol=1e-12)


@st.composite
def networks(draw: st.DrawFn) -> Network:
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    kinds = draw(st.lists(st.sampled_from(KINDS), min_size=1, max_size=5))
    branches = tuple(
        Branch.model_validate({"name": f"b{i}", "kind": k, "filtered": bool(rng.random() < 0.7)})
        for i, k in enumerate(kinds)
    )
    litres = {b.name: np.array([float(rng.choice([0, 50, 900, 20_000]))]) for b in branches}
    unit = Unit(kind=draw(st.sampled_from(["cart", "truck", "kiosk", "shop"])))
    return Network(known(unit), branches, train_of(rng, tuple(b.name for b in branches)), busiest_L=litres)


@settings(max_examples=10 * MANY, deadline=None)
@given(networks())
def test_no_flow_is_negative_and_no_peak_below_its_mean(network: Network) -> None:
    minutes = 60 * (network.on.unit.hours_per_service_day or 24)
    direct = [b for b in network.branches if not up_to_tank(network.stages, b)]
    mean = sum(float(network._busiest_L[b.name][0]) / 3.785411784 / minutes for b in direct)
    assert float(network.trunk_gpm[0]) >= mean * (1 - 1e-12)
    for stage in network.stages:
        flow = float(network.flow_gpm(stage)[0])
        assert 0 <= flow < np.inf
        if stage.medium != "reverse_osmosis":  # a feed comes off the mixed flow ahead of the bypass
            assert (
                flow
                <= float(network.trunk_gpm[0])
                + sum(float(network.tank_draw_gpm(m)[0]) for m in network.membranes)
                + 1e-9
            )


@settings(max_examples=10 * MANY, deadline=None)
@given(networks(), st.floats(0, 20_000), st.floats(1.001, 4), st.floats(1, 200))
def test_membrane_output_falls_with_dissolved_solids(network: Network, tds: float, times: float, psi: float) -> None:
    for membrane in network.membranes:
        fresh, salty = (float(network.product_gal_per_day(membrane, np.array([psi]), x)[0]) for x in (tds, tds * times))
        assert salty <= fresh
        if salty > 0 and tds * (times - 1) > 1:
            assert salty < fresh


def test_a_saltier_plan_makes_less_on_the_fits_own_check() -> None:
    """70 gal a day at 459 and at 1,046 mg/L was one figure: the check reads the water at the membrane."""
    document = demo_document()
    train = (
        Stage(name="m", medium="reverse_osmosis", sheet=DataSheet(rated_output_gal_per_day=150, rated_pressure_psi=60)),
    )
    made = []
    for tds in (300, 900, 1800):
        data = json.loads(document.model_dump_json())
        for supply in data["supplies"]:
            supply["analysis"] = {"total_dissolved_solids": {"value": tds, "unit": "mg/L", "method": "lab"}}
        salted = PlanDocument.model_validate(data)
        checks = evaluate(prepare(salted, Draws(64)), train).checks
        made.append(next(c.value for c in checks if c.check == "membrane_output"))
    assert made[0] > made[1] > made[2]  # type: ignore[operator]
