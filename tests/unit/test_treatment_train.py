"""Trains: waters forward, loads backward."""

from __future__ import annotations

import numpy as np
import pytest

from brewwater.ensemble import Draws
from brewwater.treatment import Stage, run_train, settings_for
from brewwater.water import Water

ONE = Draws(1)
TAP = Water(
    pH=7.6,
    calcium_mg_L=80,
    magnesium_mg_L=10,
    sodium_mg_L=20,
    chloride_mg_L=60,
    sulfate_mg_L=40,
    alkalinity_mg_L_as_CaCO3=160,
    free_chlorine_mg_L=2.0,
)


def test_carbon_ahead_of_a_membrane_sees_the_feed() -> None:
    stages = (
        Stage(name="carbon", medium="carbon"),
        Stage(name="membrane", medium="reverse_osmosis", recovery=0.25),
    )
    result = run_train(stages, TAP, ONE)
    carbon, membrane = result.loads
    assert float(carbon.volume_L[0]) == pytest.approx(4)
    assert float(carbon.chlorine_g[0]) == pytest.approx(4 * 0.002)
    assert float(membrane.volume_L[0]) == pytest.approx(1)
    assert float(result.reject_L[0]) == pytest.approx(3)


def test_blend_after_a_membrane_takes_the_inlet_water() -> None:
    stages = (
        Stage(name="carbon", medium="carbon"),
        Stage(name="membrane", medium="reverse_osmosis", recovery=0.5),
        Stage(name="blend", medium="blend", bypass_percent=30),
    )
    result = run_train(stages, TAP, ONE)
    permeate = result.waters[1]
    mixed = 0.3 * TAP.hardness_mg_L_as_CaCO3 + 0.7 * permeate.hardness_mg_L_as_CaCO3
    assert float(result.served.hardness_mg_L_as_CaCO3[0]) == pytest.approx(float(mixed[0]))
    assert float(result.served.free_chlorine_mg_L[0]) > 0.6  # raw water brings its chlorine
    assert float(result.loads[0].volume_L[0]) == pytest.approx(0.7 * 2)
    assert float(result.reject_L[0]) == pytest.approx(0.7)


def test_membrane_bypass_is_dechlorinated_by_the_carbon_before_it() -> None:
    stages = (
        Stage(name="carbon", medium="carbon"),
        Stage(name="membrane", medium="reverse_osmosis", recovery=0.5, bypass_percent=30),
    )
    result = run_train(stages, TAP, ONE)
    assert float(result.served.free_chlorine_mg_L[0]) == pytest.approx(0.03)
    assert float(result.loads[0].volume_L[0]) == pytest.approx(0.3 + 0.7 / 0.5)


def test_no_stage_serves_the_water_as_it_comes() -> None:
    result = run_train((), TAP, ONE)
    assert result.served is TAP
    assert result.loads == ()
    assert float(result.reject_L[0]) == 0


def test_a_grid_of_settings_runs_at_once() -> None:
    draws = Draws(64)
    stages = (Stage(name="carbon", medium="carbon"), Stage(name="bed", medium="weak_acid"))
    grid = np.linspace(0, 1, 11)[:, None]
    result = run_train(stages, TAP, draws, settings={"bed": settings_for(stages[1], draws, bypass=grid)})
    alkalinity = result.served.alkalinity_mg_L_as_CaCO3
    assert alkalinity.shape == (11, 64)
    assert np.all(np.diff(alkalinity, axis=0) > 0)
    for row, bypass in ((0, 0), (4, 40), (10, 100)):
        single = run_train((stages[0], stages[1].model_copy(update={"bypass_percent": bypass})), TAP, draws)
        np.testing.assert_allclose(alkalinity[row], single.served.alkalinity_mg_L_as_CaCO3, rtol=1e-12)
