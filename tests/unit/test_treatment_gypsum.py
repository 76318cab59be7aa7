"""Gypsum in a membrane's concentrate: measured sulfate decides, unmeasured sulfate is a range and a question."""

from __future__ import annotations

import runpy
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewwater.chemistry import Totals, speciate
from brewwater.plan import Plan, make_plan
from brewwater.treatment import BrokenRule, Context, Stage, order_problems
from brewwater.treatment.media.reverse_osmosis import concentrate_gypsum_index
from brewwater.water import Water

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).parents[1] / "scenarios" / "recommend_scenarios.py")))
HARD = {"total_hardness": 900, "alkalinity": 60, "chloride": 25}


def gypsum_water(mol_L: float) -> Water:
    zero = np.zeros(1)
    there = np.array([mol_L])
    totals = Totals(there, zero, zero, zero, zero, there, zero, np.array([1e-4]), np.array([1.2e-4]))
    return Water.of(totals, np.array([25.0]))


def test_a_quarter_of_saturation_is_saturated_at_three_quarters_recovery() -> None:
    # gypsum dissolves to about 0.0152 mol/L at 25 °C, where the index is 0
    assert float(concentrate_gypsum_index(gypsum_water(0.0152 / 4), 0.75)[0]) == pytest.approx(0, abs=0.03)


@pytest.mark.parametrize("recovery", [0.2, 0.5, 0.8])
def test_the_bound_is_never_under_what_is_solved(recovery: float) -> None:
    for mol_L in (1e-4, 1e-3, 4e-3, 1e-2):
        feed = gypsum_water(mol_L)
        strong = Totals(*(getattr(feed.totals, n) / (1 - recovery) for n in feed.totals.__dataclass_fields__))
        solved = speciate(strong, 25.0).gypsum_saturation_index
        told = concentrate_gypsum_index(feed, recovery)
        assert told >= solved - 1e-9
        assert (told > 0) == (solved > 0)


def found(recovery: float, **values: float) -> tuple[Plan, list[BrokenRule]]:
    train = (
        Stage(name="Sediment", medium="sediment"),
        Stage(name="Carbon", medium="carbon"),
        Stage(name="Membrane", medium="reverse_osmosis", recovery=recovery),
    )
    document = AT.document({**HARD, **values}, draws=128, disinfectant="free_chlorine")
    made = make_plan(document.model_copy(update={"train": train}), search=False)
    return made, [p for p in made.candidate.problems if p.code == "membrane_gypsum"]


def test_measured_sulfate_decides() -> None:
    (told,) = found(0.75, sulfate=700)[1]
    assert told.advice is False
    assert "is +0." in told.message
    assert "not measured" not in told.message
    assert found(0.25, sulfate=700)[1] == []  # more water wasted
    assert found(0.75, sulfate=50)[1] == []


def test_unmeasured_sulfate_is_a_range_and_a_question() -> None:
    made, problems = found(0.75)
    (told,) = problems
    assert told.advice is True  # nothing is refused on a guess
    assert told.message.startswith("Sulfate is not measured: measure it")
    middle, high = made.scenario.concentrate_gypsum(0.75)
    assert high > middle
    assert f"may reach {high:+.1f}" in told.message
    assert any(w.code == "membrane_gypsum" for w in made.warnings)


def test_softened_first_there_is_no_calcium_for_it() -> None:
    told = Context(concentrate_gypsum=lambda _: (0.5, 0.6))
    membrane = Stage(name="Membrane", medium="reverse_osmosis")
    softener = Stage(name="Softener", medium="softening")
    assert "membrane_gypsum" in {p.code for p in order_problems((membrane,), told)}
    assert "membrane_gypsum" not in {p.code for p in order_problems((softener, membrane), told)}
