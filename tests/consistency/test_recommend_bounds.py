"""The search's bounded states give the severities of the full solution, at a part of the work."""

from __future__ import annotations

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.reports.analysis import Supply
from brewwater.verdicts import MachineProfile, TargetChoice, describe
from brewwater.verdicts.goals import Goal
from brewwater.verdicts.severity import SUBJECTS, bounded, severity
from brewwater.water import Water, speciate

KNOWN = frozenset(
    {
        "total_hardness",
        "alkalinity",
        "calcium",
        "ph",
        "chloride",
        "sulfate",
        "sodium",
        "total_dissolved_solids",
    }
)
MACHINES = (
    MachineProfile(wetted_metal="copper_brass"),
    MachineProfile(kind="steam_boiler", minimum_conductivity_uS_cm=150, wetted_metal="stainless"),
    MachineProfile(kind="brewer", boiler_temperature_C=85, minimum_conductivity_uS_cm=30),
)


def waters(n: int) -> Water:
    """Waters of every sort, the dilute, the acid and the saline included: log-uniform amounts."""
    rng = np.random.default_rng(12)

    def between(low: float, high: float) -> np.ndarray:
        return np.asarray(np.exp(rng.uniform(np.log(low), np.log(high), n)))

    return Water(
        pH=rng.uniform(5.0, 9.3, n),
        temperature_C=rng.uniform(4, 30, n),
        calcium_mg_L=between(0.3, 250),
        magnesium_mg_L=between(0.1, 90),
        sodium_mg_L=between(0.3, 250),
        potassium_mg_L=between(0.1, 20),
        chloride_mg_L=between(0.5, 300),
        sulfate_mg_L=between(0.5, 900),
        alkalinity_mg_L_as_CaCO3=between(1.5, 450),
    )


@pytest.mark.parametrize("machine", MACHINES, ids=lambda m: m.kind)
@pytest.mark.parametrize("low", [None, 6.0])
def test_bounded_states_lose_no_severity(machine: MachineProfile, low: float | None) -> None:
    water = waters(1500)
    targets = TargetChoice()
    if low is not None:
        targets = TargetChoice(overrides={"ph": Goal(low=low, high=8.0, red_below=5.5, red_above=8.6)})
    full, part = describe(water, machine.temperature_C), bounded(water, machine, targets)
    scenario = {"known": KNOWN, "machine": machine, "targets": targets, "supplies": [Supply(name="Any")]}
    exact, quick = (severity(water, state, **scenario) for state in (full, part))  # type: ignore[arg-type]
    for subject in SUBJECTS:
        # a part of the waters is solved in another batch, which ends its steps within 0.0001 of a pH
        np.testing.assert_allclose(quick[subject], exact[subject], rtol=0, atol=5e-4, err_msg=subject)
        np.testing.assert_array_equal(quick[subject] > 1e-6, exact[subject] > 1e-6, err_msg=subject)
        assert 0 < np.count_nonzero(exact[subject]) < exact[subject].size  # the sample has both sides


def test_bounds_are_on_the_safe_side() -> None:
    water, machine = waters(1500), MACHINES[1]
    full, part = describe(water, machine.temperature_C), bounded(water, machine, TargetChoice())
    # solved as the bounded state solves: a batch of other waters ends its steps elsewhere, within 0.0001
    gypsum = speciate(water, machine.temperature_C).gypsum_saturation_index
    solved = np.isfinite(full.machine_gypsum_index)
    np.testing.assert_array_equal(solved, np.isfinite(gypsum))
    np.testing.assert_allclose(full.machine_gypsum_index[solved], gypsum[solved], rtol=0, atol=1e-4)
    assert np.all(part.machine_gypsum_index[solved] >= gypsum[solved] - 1e-4)
    assert np.all(part.conductivity_uS_cm <= full.conductivity_uS_cm * (1 + 1e-9))
    falls, bounded_falls = (np.maximum(s.machine_ccpp_mg_L_as_CaCO3, 0) for s in (full, part))
    np.testing.assert_allclose(bounded_falls[solved], falls[solved], rtol=1e-6, atol=1e-9)
    assert np.mean(part.machine_ccpp_mg_L_as_CaCO3 == 0) > 0.3  # those were not solved
    estimate = part._plain_airy_ph()
    mild = (water.totals.alkalinity > 2e-5) & (full.air_ph < 9)
    assert np.abs(estimate - full.air_ph)[mild].max() < part.PH_DOUBT


def test_ph_in_the_air_is_that_of_the_degassed_water() -> None:
    water = waters(1500)
    twice = chemistry.solve_ph(chemistry.degas(water.totals, water.temperature_C), water.temperature_C)
    once = chemistry.degassed_ph(water.totals, water.temperature_C)
    np.testing.assert_allclose(once, twice, atol=5e-5)


def test_the_estimate_of_the_line_is_within_its_doubt() -> None:
    water, machine = waters(20_000), MACHINES[0]
    full, part = describe(water, machine.temperature_C), bounded(water, machine, TargetChoice())
    guessed = np.isfinite(full.line_ph) & (part.line_ph != full.line_ph)
    assert np.mean(guessed) > 0.25  # those were not solved
    assert np.abs(part.line_ph - full.line_ph)[guessed].max() < part.LINE_DOUBT


def test_bounds_hold_for_water_without_ions() -> None:
    water = waters(1)
    dust = water.totals.map(lambda amount: np.full(amount.shape, -1e-23))  # what a charge balance leaves
    water = Water.of(dust, np.array([15.0]))
    part = bounded(water, MACHINES[0], TargetChoice())
    assert np.nan_to_num(part.machine_ccpp_mg_L_as_CaCO3) == 0
