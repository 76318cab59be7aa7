"""Each medium on one plain water, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.treatment import MEDIA, DataSheet, Stage, apply, bypass_for_target, run_train, settings_for
from brewwater.treatment.media.catalytic_carbon import empty_bed_contact_s
from brewwater.treatment.media.reverse_osmosis import (
    concentration_factor,
    output_gal_per_day,
    temperature_factor,
)
from brewwater.treatment.media.scale_inhibitor import held_back, temporary_hardness_mg_L_as_CaCO3
from brewwater.treatment.solved import carbon_dioxide_share
from brewwater.treatment.stage import Medium
from brewwater.treatment.train import share_lost
from brewwater.water import Water

ONE = Draws(1)
HARD = Water(
    pH=7.5,
    calcium_mg_L=90,
    magnesium_mg_L=16,
    sodium_mg_L=10,
    chloride_mg_L=20,
    sulfate_mg_L=42.6,
    alkalinity_mg_L_as_CaCO3=240,
    free_chlorine_mg_L=1.0,
    chloramine_mg_L=2.0,
    silica_mg_L=15,
)


def treat(stage: Stage, water: Water = HARD, **settings: np.ndarray) -> Water:
    return apply(stage, water, settings_for(stage, ONE, **settings)).treated


def one(value: np.ndarray) -> float:
    return float(np.squeeze(value))


def test_registry_holds_every_medium_id_under_its_own_name() -> None:
    ids = set(Medium.__args__)  # type: ignore[attr-defined]
    assert set(MEDIA) == ids
    assert all(medium.id == key for key, medium in MEDIA.items())


def test_weak_acid_stops_at_the_smaller_of_hardness_and_alkalinity() -> None:
    stage = Stage(name="bed", medium="weak_acid", leakage_mg_L_as_CaCO3=10)
    outlet = treat(stage)
    assert one(outlet.alkalinity_mg_L_as_CaCO3) == pytest.approx(10)
    assert one(HARD.hardness_mg_L_as_CaCO3 - outlet.hardness_mg_L_as_CaCO3) == pytest.approx(230)
    ratio = one(outlet.totals.calcium / outlet.totals.magnesium)
    assert ratio == pytest.approx(one(HARD.totals.calcium / HARD.totals.magnesium))
    soft = Water(pH=8, calcium_mg_L=10, alkalinity_mg_L_as_CaCO3=260, sodium_mg_L=100)
    left = treat(stage, soft)
    assert one(left.hardness_mg_L_as_CaCO3) == pytest.approx(10)
    assert one(left.alkalinity_mg_L_as_CaCO3) == pytest.approx(260 - (24.974 - 10), abs=0.01)


def test_weak_acid_lowers_ph_until_the_gas_leaves() -> None:
    outlet = treat(Stage(name="bed", medium="weak_acid"))
    line = one(chemistry.solve_ph(outlet.totals, 20))
    cup = one(chemistry.solve_ph(chemistry.degas(outlet.totals, 20), 20))
    assert line < 5.6
    assert cup > 7.2


def test_weak_acid_leaves_water_below_its_leakage_alone() -> None:
    bare = Water(pH=7, calcium_mg_L=2, alkalinity_mg_L_as_CaCO3=5)
    outlet = treat(Stage(name="bed", medium="weak_acid"), bare)
    assert one(outlet.hardness_mg_L_as_CaCO3) == pytest.approx(one(bare.hardness_mg_L_as_CaCO3))


def test_softening_trades_hardness_for_sodium_only() -> None:
    outlet = treat(Stage(name="bed", medium="softening", leakage_mg_L_as_CaCO3=5))
    assert one(outlet.hardness_mg_L_as_CaCO3) == pytest.approx(5)
    assert one(outlet.alkalinity_mg_L_as_CaCO3) == pytest.approx(240)
    assert one(outlet.chloride_mg_L) == pytest.approx(20)
    assert one(outlet.sodium_mg_L) == pytest.approx(10 + 0.4594 * (290.64 - 5), abs=0.05)


def test_calcium_to_magnesium_keeps_total_hardness() -> None:
    outlet = treat(Stage(name="bed", medium="calcium_to_magnesium", exchange_target=60))
    assert one(outlet.calcium_hardness_mg_L_as_CaCO3) == pytest.approx(60)
    assert one(outlet.hardness_mg_L_as_CaCO3) == pytest.approx(one(HARD.hardness_mg_L_as_CaCO3))
    usual = treat(Stage(name="bed", medium="calcium_to_magnesium"))
    assert one(usual.totals.calcium / HARD.totals.calcium) == pytest.approx(0.3)


def test_chloride_anion_pays_for_alkalinity_with_chloride() -> None:
    outlet = treat(Stage(name="bed", medium="chloride_anion"))
    gained = one(outlet.totals.chloride - HARD.totals.chloride)
    lost = one(HARD.totals.alkalinity - outlet.totals.alkalinity + 2 * (HARD.totals.sulfate - outlet.totals.sulfate))
    assert gained == pytest.approx(lost)
    assert one(outlet.chloride_mg_L) > 150


def test_carbon_by_hand() -> None:
    outlet = treat(Stage(name="c", medium="carbon"))
    assert one(outlet.free_chlorine_mg_L) == pytest.approx(0.015)  # typical 98.5 % at the rated flow
    assert one(outlet.chloramine_mg_L) == pytest.approx(1.7)  # plain carbon takes little chloramine
    gone = 3.0 - 1.715
    assert one(outlet.chloride_mg_L - HARD.chloride_mg_L) == pytest.approx(gone * 35.453 / 70.906)
    assert one(HARD.alkalinity_mg_L_as_CaCO3 - outlet.alkalinity_mg_L_as_CaCO3) == pytest.approx(
        gone / 70.906 * 50.04345, rel=1e-6
    )


def test_carbon_at_twice_its_rated_flow_leaks_the_root() -> None:
    sheet = DataSheet(service_flow_gpm=0.5)
    stage = Stage(name="c", medium="carbon", sheet=sheet)
    fast = treat(stage, peak_flow_gpm=np.array([1.0]))
    slow = treat(stage, peak_flow_gpm=np.array([0.1]))
    assert one(fast.free_chlorine_mg_L) == pytest.approx(0.015**0.5)
    assert one(slow.free_chlorine_mg_L) == pytest.approx(0.015)  # no credit for slower water


def test_catalytic_carbon_by_contact_time() -> None:
    assert one(empty_bed_contact_s(3.785411784, 1.0)) == pytest.approx(60)  # one gallon at one gal/min
    assert np.isinf(empty_bed_contact_s(1.0, 0.0))
    stage = Stage(name="c", medium="catalytic_carbon", sheet=DataSheet(bed_volume_L=3.785411784))
    at = [one(treat(stage, peak_flow_gpm=np.array([flow])).chloramine_mg_L) for flow in (0.1, 0.25, 0.5, 2.0)]
    assert at == sorted(at)
    assert at[1] == pytest.approx(2.0 / 30)  # 4 min, the typical need: 3 mg/L would become 0.1
    rated = Stage(
        name="c",
        medium="catalytic_carbon",
        sheet=DataSheet(bed_volume_L=0.5, rated_for="chloramine", service_flow_gpm=0.5),
    )
    assert one(treat(rated, peak_flow_gpm=np.array([0.5])).chloramine_mg_L) == pytest.approx(0.06)


def test_scale_inhibitor_removes_nothing_and_holds_within_its_conditions() -> None:
    stage = Stage(name="p", medium="scale_inhibitor")
    outlet = treat(stage)
    assert one(outlet.hardness_mg_L_as_CaCO3) == one(HARD.hardness_mg_L_as_CaCO3)
    assert one(outlet.phosphate_mg_L) == pytest.approx(3)
    mild = Water(pH=7.5, calcium_mg_L=50, alkalinity_mg_L_as_CaCO3=110)
    assert one(temporary_hardness_mg_L_as_CaCO3(mild)) == pytest.approx(110)
    up_to = run_train((stage,), HARD, ONE).inhibited_up_to_mg_L_as_CaCO3
    assert up_to.tolist() == [150.0]
    assert held_back(mild, up_to, steam_boiler=False).all()
    assert not held_back(mild, up_to, steam_boiler=True).any()
    assert not held_back(HARD, up_to, steam_boiler=False).any()
    assert not held_back(mild, np.zeros(1), steam_boiler=False).any()
    membrane = Stage(name="m", medium="reverse_osmosis")
    assert run_train((stage, membrane), HARD, ONE).inhibited_up_to_mg_L_as_CaCO3.tolist() == [0.0]
    assert run_train((membrane, stage), HARD, ONE).inhibited_up_to_mg_L_as_CaCO3.tolist() == [150.0]


def test_mixed_bed_leaves_a_trace_of_everything() -> None:
    outlet = treat(Stage(name="d", medium="mixed_bed"))
    assert one(outlet.tds_mg_L / HARD.tds_mg_L) == pytest.approx(0.01)
    assert one(outlet.totals.dic / HARD.totals.dic) == pytest.approx(0.01)
    load = apply(Stage(name="d", medium="mixed_bed"), HARD, settings_for(Stage(name="d", medium="mixed_bed"), ONE)).load
    assert one(load.exchange_eq) > 0.99 * one(HARD.totals.anion_charge)  # CO2 and silica load the anion resin too


def test_membrane_passes_gas_and_little_else() -> None:
    stage = Stage(name="m", medium="reverse_osmosis", recovery=0.25)
    outlet = treat(stage)
    for ion, low, high in (("calcium", 0.01, 0.05), ("chloride", 0.03, 0.08), ("sulfate", 0.003, 0.012)):
        assert low < one(getattr(outlet.totals, ion) / getattr(HARD.totals, ion)) < high
    gas = one(carbon_dioxide_share(HARD) * HARD.totals.dic)
    assert one(outlet.totals.dic) > gas > 0.9 * one(outlet.totals.dic - outlet.totals.alkalinity)
    assert one(chemistry.solve_ph(outlet.totals, 20)) < one(chemistry.solve_ph(HARD.totals, 20)) - 0.8
    load = apply(stage, HARD, settings_for(stage, ONE)).load
    assert (one(load.feed_L), one(load.reject_L)) == (4.0, 3.0)


def test_gas_of_a_feed_is_remembered_only_for_the_same_feed() -> None:
    first = one(carbon_dioxide_share(HARD))
    acid = HARD.with_(totals=replace(HARD.totals, dic=HARD.totals.dic * 1.2))
    assert one(carbon_dioxide_share(acid)) > 2 * first
    assert one(carbon_dioxide_share(HARD)) == first
    colder = HARD.with_(temperature_C=np.array(5.0))
    assert one(carbon_dioxide_share(colder)) != first


def test_membrane_takes_a_stated_rejection_and_refuses_an_unknown_ion() -> None:
    stage = Stage(name="m", medium="reverse_osmosis", rejection={"silica": 0.5})
    assert one(treat(stage).silica_mg_L) == pytest.approx(7.5)
    with pytest.raises(InputError, match=r"rejection\.sulphate: 0\.5 .*calcium.*Correct"):
        treat(Stage(name="m", medium="reverse_osmosis", rejection={"sulphate": 0.5}))


def test_membrane_output_falls_with_cold_and_pressure() -> None:
    stage = Stage(
        name="m",
        medium="reverse_osmosis",
        sheet=DataSheet(rated_output_gal_per_day=100, rated_pressure_psi=60),
    )

    def output(psi: float, celsius: float) -> float:
        return one(output_gal_per_day(stage, HARD.tds_mg_L, 0.25, psi, celsius))

    assert output(60, 25) == pytest.approx(100, rel=0.05)
    assert output(60, 10) == pytest.approx(output(60, 25) * 0.585, rel=0.01)
    assert 0.4 < output(30, 25) / output(60, 25) < 0.5
    assert output(2, 25) == 0  # below the osmotic pressure
    assert np.isnan(output_gal_per_day(Stage(name="m", medium="reverse_osmosis"), 250, 0.25, 60, 25)).all()


def test_membrane_limits_are_named() -> None:
    with pytest.raises(InputError, match="temperature_C"):
        temperature_factor(45.0)
    with pytest.raises(InputError, match="recovery"):
        concentration_factor(1.0)
    assert float(concentration_factor(0.5, 0.9)) == pytest.approx(1.9)


def test_calcite_dissolves_towards_saturation_and_never_precipitates() -> None:
    hungry = Water(pH=5.5, calcium_mg_L=2, alkalinity_mg_L_as_CaCO3=5)
    outlet = treat(Stage(name="k", medium="calcite"), hungry)
    gained = one(outlet.hardness_mg_L_as_CaCO3 - hungry.hardness_mg_L_as_CaCO3)
    assert gained == pytest.approx(0.6 * -one(chemistry.ccpp(hungry.totals, 20)))
    assert one(outlet.alkalinity_mg_L_as_CaCO3 - hungry.alkalinity_mg_L_as_CaCO3) == pytest.approx(gained)
    scaling = Water(pH=8.6, calcium_mg_L=90, alkalinity_mg_L_as_CaCO3=240)
    assert one(treat(Stage(name="k", medium="calcite"), scaling).totals.calcium) == one(scaling.totals.calcium)


def test_bypass_for_a_target_and_a_target_out_of_reach() -> None:
    stage = Stage(name="bed", medium="weak_acid", leakage_mg_L_as_CaCO3=10)
    figures = settings_for(stage, ONE)
    share = bypass_for_target(stage, HARD, figures, np.array([[60.0], [5.0], [300.0]]))
    assert share[0, 0] == pytest.approx(50 / 230)
    assert np.isnan(share[1:]).all()
    outlet = apply(stage, HARD, settings_for(stage, ONE, bypass=share[0])).outlet
    assert one(outlet.alkalinity_mg_L_as_CaCO3) == pytest.approx(60)


def test_a_bypass_outside_its_range_is_refused() -> None:
    stage = Stage(name="bed", medium="weak_acid")
    with pytest.raises(InputError, match=r"bed bypass: 1\.2 is not usable; a share from 0 to 1"):
        apply(stage, HARD, settings_for(stage, ONE, bypass=np.array([1.2])))


def test_a_spent_bed_lets_the_water_through() -> None:
    stage = Stage(name="bed", medium="softening")
    hardness = [
        one(apply(stage, HARD, settings_for(stage, ONE, used=np.array([used]))).outlet.hardness_mg_L_as_CaCO3)
        for used in (0.5, 1.0, 2.0)
    ]
    assert hardness[0] == pytest.approx(5)
    assert 50 < hardness[1] < 200
    assert hardness[2] == pytest.approx(one(HARD.hardness_mg_L_as_CaCO3))
    sharp, late = share_lost("mixed_bed", np.array([1.1])), share_lost("carbon", np.array([1.1]))
    assert one(sharp) == 1.0
    assert 0 < one(late) < 0.5
    assert one(share_lost("reverse_osmosis", np.array([3.0]))) == 0
