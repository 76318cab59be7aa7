"""The recommended train is not beaten by brute force in its own search space; sense holds as inputs move."""

from __future__ import annotations

import runpy
from itertools import pairwise, product
from pathlib import Path
from types import SimpleNamespace

import pytest

from brewwater.ensemble import mean
from brewwater.planning.scenario import Scenario, prepare
from brewwater.planning.search import Alternative, Kind, Scales, Search, recommend

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).parents[1] / "scenarios" / "recommend_scenarios.py")))
WATERS = {
    "hard": {"total_hardness": 290, "alkalinity": 240, "chloride": 20, "sulfate": 30},
    "salty": {"total_hardness": 35, "alkalinity": 30, "chloride": 95, "sulfate": 20, "ph": 7.2},
    "permanent": {"total_hardness": 280, "alkalinity": 45, "total_dissolved_solids": 520},
    "good": {"total_hardness": 85, "alkalinity": 55, "total_dissolved_solids": 140},
    "middling": {"total_hardness": 160, "alkalinity": 115, "total_dissolved_solids": 230, "ph": 7.7},
    "no alkalinity": {"total_hardness": [80, 260], "total_dissolved_solids": [180, 420]},
}
# The search may take the least treatment within two hundredths of the best.
AS_GOOD = 1.021


def total(scenario: Scenario, one: Alternative) -> float:
    return Scales(scenario).value(one.weight)


def brute(kind: Kind) -> list[tuple[float, ...]]:
    """A coarse grid of its own, between the search's points."""
    of_bypass = [] if kind.bypass_at is None else [[3.0, 8.0, 13.0, 18.0, 23.0, 28.0, 33.0, 44.0, 55.0]]
    return list(product(*of_bypass, *([20.0, 50.0, 95.0] for _ in kind.doses or ())))


@pytest.mark.parametrize("name", WATERS)
def test_brute_force_finds_nothing_better(name: str) -> None:
    scenario = prepare(AT.document(WATERS[name], draws=64, disinfectant="free_chlorine"))
    best = recommend(scenario)[0]
    search = Search(scenario)
    for kind in search.steps():
        for one in search.weigh(kind, [*kind.grid(), *brute(kind)]):
            if not search.refused(one.train):
                assert total(scenario, best) <= one.value * AS_GOOD, (name, one.train)


@pytest.mark.parametrize("name", ["hard", "middling"])
def test_the_leading_setting_is_the_least_treatment_as_good(name: str) -> None:
    scenario = prepare(AT.document(WATERS[name], draws=64, disinfectant="free_chlorine"))
    first = recommend(scenario)[0]
    search = Search(scenario)
    train = first.candidate.stages
    kind = next(k for k in search.steps() if k.media == tuple(s.medium for s in train))
    if kind.bypass_at is None:
        pytest.skip("nothing to bypass")
    percent = train[kind.bypass_at].bypass_percent
    doses = {d.salt: d.mg_L for d in train[-1].doses}
    amounts = [doses.get(s, 0.0) for s in kind.doses or ()]
    recovery = next((s.recovery for s in train if s.medium == "reverse_osmosis"), None)
    lot = search.scales.lot(kind, [(percent + step, *amounts) for step in (-12.0, -6.0, 0.0, 2.0, 4.0)], recovery)
    weighed = search.scales.of_setting(lot)
    assert weighed[2] <= weighed[:2].min() * AS_GOOD  # as good as more treatment, and less is worse or more is out
    assert weighed[4] > weighed[2] or lot.faults[4] > max(lot.faults[2], 0.05)


def test_the_more_the_cup_is_worth_the_less_of_it_is_lost() -> None:
    document = AT.document(WATERS["middling"], draws=64, disinfectant="free_chlorine")
    lost, cost = [], []
    for worth in (0.0, 250.0, 1000.0, 4000.0, 16000.0):
        of = document.worth.model_copy(update={"cup": worth, "scale": 0.0, "corrosion": 0.0})
        scenario = prepare(document.model_copy(update={"worth": of}))
        first = recommend(scenario)[0]
        share = float(mean(first.weight.loss["cup"], scenario.weights)) / worth if worth else 1.0
        lost.append(share)
        cost.append(float(mean(first.weight.cost, scenario.weights)))
    assert all(later <= earlier + 0.02 for earlier, later in pairwise(lost))
    assert all(later >= earlier * 0.97 for earlier, later in pairwise(cost))
    assert lost[-1] < 0.5 * lost[1]


@pytest.mark.parametrize("disinfectant", ["chloramine", "unknown", "free_chlorine", "none"])
@pytest.mark.parametrize("values", [WATERS["good"], WATERS["no alkalinity"]], ids=["good", "no alkalinity"])
def test_common_sense(values: dict[str, float], disinfectant: str) -> None:
    scenario = prepare(AT.document(values, draws=32, disinfectant=disinfectant))
    resins = {"weak_acid", "softening", "calcium_to_magnesium", "chloride_anion"}
    for one in recommend(scenario):
        media = set(AT.media(one.candidate.stages))
        if disinfectant == "chloramine":
            assert "carbon" not in media
        if "alkalinity" not in values and media & resins:
            assert not one.fits
        if "reverse_osmosis" in media and disinfectant != "none" and one.fits:
            assert media & {"carbon", "catalytic_carbon"}
            assert "sediment" in media
