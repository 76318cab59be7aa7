"""What every medium owes: mass and charge kept, bypass monotone, nothing changed at 100 % bypass."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.ensemble import Draws
from brewwater.treatment import MEDIA, Dose, Stage, apply, run_train, settings_for
from brewwater.treatment.media.reverse_osmosis import reject_water
from brewwater.water import MINOR, MOLAR_MASS_G, Water

DRAWS = Draws(16)
EVERY = sorted(MEDIA)
QUICK = settings(max_examples=12, deadline=None)


def stage_of(medium: str, bypass_percent: float = 0.0) -> Stage:
    doses = (Dose(salt="potassium_bicarbonate", mg_L=60), Dose(salt="calcium_chloride_dihydrate", mg_L=30))
    return Stage(
        name=medium,
        medium=medium,
        bypass_percent=bypass_percent,
        doses=doses if medium == "mineral_dose" else (),
    )


@st.composite
def waters(draw: st.DrawFn) -> Water:
    """A charge-balanced water of 16 draws: sodium or chloride closes the balance."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    n = DRAWS.n
    a = {
        ion: rng.uniform(0, high, n)
        for ion, high in (
            ("calcium", 4e-3),
            ("magnesium", 2e-3),
            ("sodium", 5e-3),
            ("potassium", 3e-4),
            ("chloride", 4e-3),
            ("sulfate", 2e-3),
            ("nitrate", 8e-4),
        )
    }
    alkalinity = rng.uniform(1e-4, 7e-3, n)
    gap = 2 * (a["calcium"] + a["magnesium"] - a["sulfate"]) + a["sodium"] + a["potassium"] - a["chloride"]
    gap = gap - a["nitrate"] - alkalinity
    a["chloride"] = a["chloride"] + np.maximum(gap, 0)
    a["sodium"] = a["sodium"] + np.maximum(-gap, 0)
    bare = Totals(**a, alkalinity=alkalinity, dic=np.zeros(n))
    temperature = rng.uniform(5, 30, n)
    totals = Totals(**a, alkalinity=alkalinity, dic=chemistry.dic_from_ph(bare, rng.uniform(6.5, 8.6, n), temperature))
    minor = {name: rng.uniform(0, 2, n) for name in MINOR}
    return Water.of(totals, temperature, **minor)


def amounts(water: Water) -> dict[str, np.ndarray]:
    kept = {f.name: getattr(water.totals, f.name) for f in fields(Totals)}
    return kept | {name: getattr(water, name) for name in MINOR}


@pytest.mark.parametrize("medium", EVERY)
@given(water=waters())
@QUICK
def test_charge_balance_is_kept(medium: str, water: Water) -> None:
    outlet = apply(stage_of(medium, 30), water, settings_for(stage_of(medium), DRAWS)).outlet
    assert np.abs(water.totals.charge_imbalance).max() < 1e-12
    assert np.abs(outlet.totals.charge_imbalance).max() < 1e-12


@pytest.mark.parametrize("medium", EVERY)
@given(water=waters())
@QUICK
def test_no_amount_goes_negative(medium: str, water: Water) -> None:
    outlet = apply(stage_of(medium), water, settings_for(stage_of(medium), DRAWS)).outlet
    for name, amount in amounts(outlet).items():
        if name != "alkalinity":
            assert np.min(amount) >= 0, name


@pytest.mark.parametrize("medium", EVERY)
@given(water=waters())
@QUICK
def test_full_bypass_changes_nothing(medium: str, water: Water) -> None:
    result = apply(stage_of(medium, 100), water, settings_for(stage_of(medium), DRAWS, raw=water))
    before, after = amounts(water), amounts(result.outlet)
    for name in before:
        np.testing.assert_allclose(after[name], before[name], rtol=1e-12, atol=1e-18, err_msg=name)
    for name in ("volume_L", "exchange_eq", "chlorine_g", "reject_L", "consumed_g"):
        assert np.all(getattr(result.load, name) == 0), name


@pytest.mark.parametrize("medium", EVERY)
@given(water=waters())
@QUICK
def test_every_amount_is_monotone_and_linear_in_bypass(medium: str, water: Water) -> None:
    bypass = np.linspace(0, 1, 9)[:, None]
    raw = water.with_(totals=water.totals.map(lambda x: 2 * x))  # for the blend, another inlet water
    result = apply(stage_of(medium), water, settings_for(stage_of(medium), DRAWS, bypass=bypass, raw=raw))
    for name, amount in amounts(result.outlet).items():
        full = np.broadcast_to(amount, (9, DRAWS.n))
        steps = np.diff(full, axis=0)
        scale = np.abs(full).max() + 1e-30
        assert np.all(steps * np.sign(full[-1] - full[0]) >= -1e-12 * scale), name
        np.testing.assert_allclose(np.diff(steps, axis=0) / scale, 0, atol=1e-12, err_msg=name)
    for name in ("volume_L", "exchange_eq", "chlorine_g", "reject_L", "consumed_g"):
        assert np.all(np.diff(np.broadcast_to(getattr(result.load, name), (9, DRAWS.n)), axis=0) <= 1e-15), name


KEPT = {
    "sediment": set(MOLAR_MASS_G) | {"alkalinity", "dic"},
    "scale_inhibitor": set(MOLAR_MASS_G) | {"alkalinity", "dic"},
    "carbon": {"calcium", "magnesium", "sodium", "potassium", "sulfate", "nitrate", "dic"},
    "catalytic_carbon": {"calcium", "magnesium", "sodium", "potassium", "sulfate", "nitrate", "dic"},
    "weak_acid": {"sodium", "potassium", "chloride", "sulfate", "nitrate", "dic"},
    "softening": {"potassium", "chloride", "sulfate", "nitrate", "alkalinity", "dic"},
    "calcium_to_magnesium": {"sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity", "dic"},
    "chloride_anion": {"calcium", "magnesium", "sodium", "potassium"},
    "calcite": {"magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate"},
    "mineral_dose": {"magnesium", "sodium", "sulfate", "nitrate"},
}


@pytest.mark.parametrize("medium", sorted(KEPT))
@given(water=waters())
@QUICK
def test_each_medium_leaves_what_it_does_not_touch(medium: str, water: Water) -> None:
    outlet = apply(stage_of(medium), water, settings_for(stage_of(medium), DRAWS)).outlet
    for ion in KEPT[medium]:
        np.testing.assert_allclose(getattr(outlet.totals, ion), getattr(water.totals, ion), rtol=1e-13)


@given(water=waters())
@QUICK
def test_what_leaves_the_water_is_counted_on_the_bed(water: Water) -> None:
    for medium in ("weak_acid", "softening"):
        result = apply(stage_of(medium, 25), water, settings_for(stage_of(medium), DRAWS))
        lost = 2 * (
            water.totals.calcium
            + water.totals.magnesium
            - result.outlet.totals.calcium
            - result.outlet.totals.magnesium
        )
        np.testing.assert_allclose(np.broadcast_to(result.load.exchange_eq, lost.shape), lost, atol=1e-15)
    carbon = apply(stage_of("carbon"), water, settings_for(stage_of("carbon"), DRAWS))
    chlorine = water.total_chlorine_mg_L - carbon.outlet.total_chlorine_mg_L
    chloride = carbon.outlet.totals.chloride - water.totals.chloride
    np.testing.assert_allclose(chloride * 70.906 * 1000, chlorine, rtol=1e-9)  # one chloride, one Cl2: trade basis
    dosed = apply(stage_of("calcite"), water, settings_for(stage_of("calcite"), DRAWS))
    gained = dosed.outlet.totals.calcium - water.totals.calcium
    np.testing.assert_allclose(dosed.load.consumed_g, gained * 100.0869, rtol=1e-9)


@given(water=waters(), recovery=st.floats(0.1, 0.8))
@QUICK
def test_membrane_keeps_mass_between_product_and_reject(water: Water, recovery: float) -> None:
    stage = Stage(name="membrane", medium="reverse_osmosis", recovery=recovery)
    result = apply(stage, water, settings_for(stage, DRAWS))
    reject = reject_water(water, result.treated, np.array([recovery]))
    for name, amount in amounts(water).items():
        together = recovery * amounts(result.treated)[name] + (1 - recovery) * amounts(reject)[name]
        np.testing.assert_allclose(together, amount, rtol=1e-9, atol=1e-15, err_msg=name)
    np.testing.assert_allclose(result.load.feed_L, 1 / recovery)
    np.testing.assert_allclose(result.load.feed_L - 1, result.load.reject_L)


@given(water=waters(), recovery=st.floats(0.1, 0.8), blend=st.floats(0, 60), raw=st.floats(0, 50))
@QUICK
def test_volume_of_a_train_adds_up(water: Water, recovery: float, blend: float, raw: float) -> None:
    train = (
        Stage(name="carbon", medium="carbon"),
        Stage(name="membrane", medium="reverse_osmosis", recovery=recovery, bypass_percent=blend),
        Stage(name="blend", medium="blend", bypass_percent=raw),
    )
    result = run_train(train, water, DRAWS)
    drawn = result.loads[0].feed_L + raw / 100  # the blend valve's water comes from before the train
    np.testing.assert_allclose(drawn, 1 + result.reject_L, rtol=1e-12)
    product = (1 - raw / 100) * (1 - blend / 100)
    np.testing.assert_allclose(result.loads[1].volume_L, product, rtol=1e-12)
    np.testing.assert_allclose(
        result.loads[0].volume_L, (1 - raw / 100) * (blend / 100 + (1 - blend / 100) / recovery), rtol=1e-12
    )
