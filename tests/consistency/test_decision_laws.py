"""Laws of every decision, on random waters: ``LAW_WATERS`` sets how many (300 by hand, few in a test run)."""

from __future__ import annotations

import os
import re
import runpy
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from brewwater.ensemble import mean
from brewwater.planning.candidate import stake
from brewwater.planning.document import PlanDocument, load_document
from brewwater.planning.scenario import prepare
from brewwater.planning.search import Alternative, out_of_goal, recommend
from brewwater.planning.search.words import cost_over_years
from brewwater.verdicts.severity import SUBJECTS

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).parents[1] / "scenarios" / "recommend_scenarios.py")))
COUNT = int(os.environ.get("LAW_WATERS", "3"))
SEEDS = range(COUNT)


def random_water(seed: int) -> dict[str, float]:
    """A tap water: log-uniform hardness and alkalinity, chloride, often a pH or dissolved solids."""
    rng = np.random.default_rng(1000 + seed)
    hardness, alkalinity = np.exp(rng.uniform(np.log(20), np.log(400), 2))
    alkalinity = min(alkalinity, hardness * rng.uniform(0.4, 1.3))
    values = {"total_hardness": hardness, "alkalinity": alkalinity, "free_chlorine": 0.5}
    if rng.random() < 0.7:
        values["chloride"] = float(np.exp(rng.uniform(np.log(3), np.log(120))))
    if rng.random() < 0.5:
        values["ph"] = rng.uniform(6.8, 8.2)
    return {k: float(f"{v:.3g}") for k, v in values.items()}


def document(seed: int, drinks: float, **prices: Any) -> PlanDocument:
    """A kiosk on the mains, where no tank decides."""
    made = AT.document(random_water(seed), drinks=drinks, draws=32, disinfectant="free_chlorine").model_dump()
    made["unit"] = {"kind": "kiosk"}
    made["money"]["prices"].update(prices)
    return load_document(made)


def ranked(seed: int, drinks: float, **prices: Any) -> tuple[Any, tuple[Alternative, ...]]:
    scenario = prepare(document(seed, drinks, **prices))
    return scenario, recommend(scenario)


def lost_share(scenario: Any, one: Alternative) -> float:
    """Of the cup's and the metal's whole worth, the larger part that is lost."""
    at_stake = stake(scenario)
    return max(
        float(mean(one.weight.loss[s], scenario.weights)) / float(mean(at_stake.whole_year(s), scenario.weights))
        for s in ("cup", "chlorine", "corrosion")
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_sold_buys_nothing(seed: int) -> None:
    _, found = ranked(seed, 0)
    assert found[0].candidate.stages == ()


@pytest.mark.parametrize("seed", SEEDS)
def test_more_drinks_never_buy_worse_water(seed: int) -> None:
    lost = []
    for drinks in (30, 150, 750):
        scenario, found = ranked(seed, drinks)
        lost.append(lost_share(scenario, found[0]))
    assert all(after <= before + 0.03 for before, after in pairwise(lost)), lost


@pytest.mark.parametrize("seed", SEEDS)
def test_a_lower_price_never_lowers_a_rank(seed: int) -> None:
    def place(found: tuple[Alternative, ...]) -> int:
        return next((i for i, a in enumerate(found) if "reverse_osmosis" in AT.media(a.candidate.stages)), len(found))

    dear = place(ranked(seed, 120, membrane_unit=1500)[1])
    cheap = place(ranked(seed, 120, membrane_unit=300)[1])
    assert cheap <= dear


@pytest.mark.parametrize("seed", SEEDS)
def test_every_sentence_agrees_with_its_own_figures(seed: int) -> None:
    scenario, found = ranked(seed, 120)
    first = cost_over_years(scenario, found[0])
    for place, one in enumerate(found):
        cost = cost_over_years(scenario, one)
        assert cost == pytest.approx(float(mean(one.weight.cost, scenario.weights)), abs=0.51)
        if one.why.startswith("No treatment pays"):
            lost, *rest = (int(x.replace(",", "")) for x in re.findall(r"\$([\d,]+)", one.why))
            assert (place, one.candidate.stages) == (0, ())
            assert lost == out_of_goal(scenario, one)
            assert not rest or rest[0] <= rest[1]  # what it saves, and what it costs more
            continue
        told = re.search(r"\$([\d,]+) a year[^,;.]*(?:, \$([\d,]+) (more|less) than the first)?", one.why)
        assert told or one.why.startswith(("Refused: ", "Does not fit the unit: ")), one.why
        if told:
            assert float(told[1].replace(",", "")) == cost
            if told[3]:
                assert float(told[2].replace(",", "")) == abs(cost - first)
                assert (told[3] == "more") is (cost > first)
        if one.why.startswith("Costs more than it mends") and place:
            assert "less than the first" not in one.why
        if one.why.startswith("Least cost and least harm"):
            assert place == 0
            assert one.fits
        for subject in SUBJECTS:
            said = {"cup": "the cup: ", "scale": "in scale: ", "corrosion": "in corrosion: "}[subject]
            if one.why.startswith("Falls short") and said in one.why and not one.refused:
                parts = ("cup", "chlorine") if subject == "cup" else (subject,)
                worse, best = ([mean(a.weight.loss[p], scenario.weights) for p in parts] for a in (one, found[0]))
                assert any(w > b for w, b in zip(worse, best, strict=True))
