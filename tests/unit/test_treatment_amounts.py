"""What each medium takes, gives and uses, worked by hand.

Molar masses are written out here, so that nothing is compared with itself.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.treatment import (
    DataSheet,
    Dose,
    Stage,
    StageSettings,
    apply,
    bypass_for_target,
    held_back,
    run_train,
    settings_for,
)
from brewwater.treatment.hardness import proportional
from brewwater.treatment.media.blend import raw_share
from brewwater.treatment.media.carbon import left_at_flow
from brewwater.treatment.media.catalytic_carbon import chloramine_left
from brewwater.treatment.media.mineral_dose import batch, salt
from brewwater.treatment.media.reverse_osmosis import (
    concentration_factor,
    osmotic_pressure_psi,
    output_gal_per_day,
    rejections,
    temperature_factor,
)
from brewwater.treatment.medium import between
from brewwater.treatment.solved import calcite_potential_mg_L_as_CaCO3, carbon_dioxide_share
from brewwater.treatment.train import share_lost
from brewwater.water import Water

ONE = Draws(1)
HARD = Water(
    pH=7.4,
    alkalinity_mg_L_as_CaCO3=200,
    temperature_C=12,
    calcium_mg_L=80,
    magnesium_mg_L=12,
    sodium_mg_L=20,
    chloride_mg_L=35.453,
    sulfate_mg_L=48.0313,
    nitrate_mg_L=6.20049,
    silica_mg_L=12.01686,
    iron_mg_L=0.2,
    manganese_mg_L=0.1,
    phosphate_mg_L=1.0,
    free_chlorine_mg_L=1.5,
    chloramine_mg_L=0.5,
)


def stage_of(medium: Any, **more: Any) -> Stage:
    return Stage(name="stage", medium=medium, **more)


def run(medium: Any, water: Water = HARD, *, bypass: float = 0.0, **more: Any) -> Any:
    stage = stage_of(medium, bypass_percent=bypass, **more)
    return apply(stage, water, settings_for(stage, ONE))


def one(value: Any) -> float:
    return float(np.ravel(value)[0])


# blending


def test_share_of_raw_water_by_the_lever_rule() -> None:
    assert one(raw_share(200, 20, 65)) == pytest.approx(0.25)
    assert one(raw_share(3, 2, 2.5)) == pytest.approx(0.5)  # a gap of exactly one
    ends = raw_share(200.0, 20.0, np.array([20.0, 200.0, 19.0, 201.0]))
    np.testing.assert_array_equal(ends, [0, 1, np.nan, np.nan])
    nothing_to_mix = raw_share(np.array([50.0, 50.0]), 50.0, np.array([40.0, 50.0]))
    assert np.isnan(nothing_to_mix).all()


def test_mixed_water_has_the_mixed_temperature_and_a_blend_its_own_raw_water() -> None:
    warm, cold = HARD, HARD.with_(temperature_C=np.array([4.0]))
    assert one(between(warm, cold, np.array([0.25])).temperature_C) == pytest.approx(10.0)
    soft = Water(pH=7, alkalinity_mg_L_as_CaCO3=10, temperature_C=12, calcium_mg_L=4)
    stage = stage_of("blend", bypass_percent=25)
    mixed = apply(stage, soft, settings_for(stage, ONE, raw=HARD)).outlet
    assert one(mixed.alkalinity_mg_L_as_CaCO3) == pytest.approx(0.25 * 200 + 0.75 * 10)


# what is exchanged, in equivalents


def test_calcium_for_magnesium() -> None:
    calcium = 80 / 1000 / 40.078
    found = run("calcium_to_magnesium")
    assert one(found.load.exchange_eq) == pytest.approx(2 * 0.7 * calcium)  # usual share 0.7
    assert one(found.treated.totals.magnesium) == pytest.approx(12 / 1000 / 24.305 + 0.7 * calcium)


def test_anions_for_chloride() -> None:
    # usual shares 0.85, 0.98, 0.90 of 4, 0.5 x 2 and 0.1 meq
    alkalinity = 200 / 1000 / 50.04345
    found = run("chloride_anion")
    scenario = 0.85 * alkalinity + 2 * 0.98 * 0.5e-3 + 0.9 * 0.1e-3
    assert one(found.load.exchange_eq) == pytest.approx(scenario)
    assert one(found.treated.totals.chloride) == pytest.approx(1e-3 + scenario)
    assert one(found.treated.totals.alkalinity) == pytest.approx(0.15 * alkalinity)
    assert one(HARD.totals.dic - found.treated.totals.dic) == pytest.approx(0.85 * alkalinity)
    # in alkaline water not more carbon can leave than the share of what there is
    caustic = Water(pH=11, alkalinity_mg_L_as_CaCO3=200, sodium_mg_L=91.9)
    assert one(caustic.totals.dic) < one(caustic.totals.alkalinity)
    assert one(run("chloride_anion", caustic).treated.totals.dic) == pytest.approx(0.15 * one(caustic.totals.dic))


def test_the_mixed_bed_takes_all_and_is_spent_by_its_harder_working_half() -> None:
    found = run("mixed_bed")
    for name in ("iron_mg_L", "manganese_mg_L", "silica_mg_L", "phosphate_mg_L"):
        assert one(getattr(found.treated, name)) == pytest.approx(0.01 * one(getattr(HARD, name))), name
    dic = one(HARD.totals.dic)  # all of it, CO2 too, and 0.2 mmol of silica
    assert one(found.load.exchange_eq) == pytest.approx(0.99 * (1e-3 + 1e-3 + 1e-4 + dic + 2e-4))
    # a softened caustic water without CO2: the cations are more
    caustic = Water(pH=11.5, alkalinity_mg_L_as_CaCO3=500.4345, sodium_mg_L=229.8977)
    assert one(run("mixed_bed", caustic).load.exchange_eq) == pytest.approx(0.99 * 0.01)


def test_hardness_leaves_in_proportion_in_any_shape_and_not_where_there_is_none() -> None:
    removed = np.array([0.0, 1e-3, 2e-3])
    gone = proportional(HARD, removed)
    np.testing.assert_allclose(-2 * (gone["calcium"] + gone["magnesium"]), removed, atol=1e-18)
    assert gone["calcium"][1] / gone["magnesium"][1] == pytest.approx(one(HARD.totals.calcium / HARD.totals.magnesium))
    hard_and_none = HARD.with_(totals=HARD.totals.map(lambda a: a * np.array([1.0, 0.0])))
    found = proportional(hard_and_none, np.array([1e-3]))
    assert found["calcium"].shape == (2,)
    assert found["calcium"][1] == 0


def test_a_bed_past_its_rating_takes_less() -> None:
    stage = stage_of("weak_acid")  # breaks through from 0.75 to 1.25 of its rating
    fresh = apply(stage, HARD, settings_for(stage, ONE))
    spent = apply(stage, HARD, settings_for(stage, ONE, used=np.array([1.0])))
    assert one(spent.load.exchange_eq) == pytest.approx(one(fresh.load.exchange_eq) / 2)
    assert share_lost("sediment", np.array([0.5, 3.0])).tolist() == [0.0, 0.0]
    halved = run("weak_acid", bypass=50)
    assert one(halved.treated.alkalinity_mg_L_as_CaCO3) == pytest.approx(one(fresh.outlet.alkalinity_mg_L_as_CaCO3))


def test_dissolved_marble_brings_its_carbon() -> None:
    sour = Water(pH=6.2, alkalinity_mg_L_as_CaCO3=20, calcium_mg_L=8)
    outlet = run("calcite", sour).outlet.totals
    gained = outlet.calcium - sour.totals.calcium
    assert one(gained) > 1e-4
    assert one(outlet.dic - sour.totals.dic) == pytest.approx(one(gained))
    assert one(outlet.alkalinity - sour.totals.alkalinity) == pytest.approx(2 * one(gained))


# chlorine and its contact time


def test_what_passes_a_carbon_goes_with_the_contact_time() -> None:
    def passed(rated: float | None, peak: Any) -> list[float]:
        stage = stage_of("carbon", sheet=DataSheet(service_flow_gpm=rated))
        flow = None if peak is None else np.asarray(peak)
        return list(np.ravel(left_at_flow(np.array([0.04]), stage, settings_for(stage, ONE, peak_flow_gpm=flow))))

    assert passed(0.5, [0.25, 0.5, 1.0]) == pytest.approx([0.04, 0.04, 0.2])  # no credit for slow water
    assert passed(0.4, [0.8]) == pytest.approx([0.2])  # 0.04 to the power of one half
    assert passed(None, [5.0]) == passed(0.5, None) == [0.04]


def test_chloramine_by_bed_volume_only_where_the_flow_is_known() -> None:
    no_flow = stage_of("catalytic_carbon", sheet=DataSheet(bed_volume_L=2.0))
    assert one(chloramine_left(no_flow, settings_for(no_flow, ONE))) == pytest.approx(0.03)  # usual: 0.97 removed
    no_bed = stage_of("catalytic_carbon")
    at_flow = settings_for(no_bed, ONE, peak_flow_gpm=np.array([0.5]))
    assert one(chloramine_left(no_bed, at_flow)) == pytest.approx(0.03)
    found = apply(no_bed, HARD, settings_for(no_bed, ONE))
    assert one(found.treated.free_chlorine_mg_L) == pytest.approx(1.5 * 0.015)  # usual: 0.985 removed
    assert one(found.treated.chloramine_mg_L) == pytest.approx(0.5 * 0.03)


# the membrane


def test_rejections_span_the_table() -> None:
    membrane = stage_of("reverse_osmosis")
    low, high = (rejections(membrane, np.array([q])) for q in (0.0, 1.0))
    assert (one(low["sodium"]), one(high["sodium"])) == (0.92, 0.98)
    assert (one(low["alkalinity"]), one(high["alkalinity"])) == (0.95, 0.96)


def test_a_permeate_holds_the_gas_and_its_share_of_the_bound_carbon() -> None:
    found = run("reverse_osmosis")
    gas = one(chemistry.speciate(HARD.totals, 12.0).co2_mol_L)
    passed = one(found.treated.totals.alkalinity) / one(HARD.totals.alkalinity)
    assert one(found.treated.totals.dic) == pytest.approx(gas + (one(HARD.totals.dic) - gas) * passed)
    # four litres of feed for one of product, with 2 mg of chlorine in each
    assert one(found.load.chlorine_g) == pytest.approx(4 * 2 / 1000)


def test_mineral_acid_passes_a_membrane_as_acid() -> None:
    acid = Water.of(
        Totals(*(np.array([x]) for x in (2e-4, 0.0, 1e-4, 0.0, 6e-4, 0.0, 0.0, -1e-4, 2e-4))), np.array([20.0])
    )
    stage = stage_of("reverse_osmosis", rejection={"calcium": 0.9, "sodium": 0.9, "chloride": 0.9, "alkalinity": 0.9})
    out = apply(stage, acid, settings_for(stage, ONE)).treated.totals
    # every rejection alike: a tenth of each ion, and the charge needs no mending
    assert one(out.alkalinity) == pytest.approx(-1e-5)
    assert one(out.chloride) == pytest.approx(6e-5)
    assert one(out.calcium) == pytest.approx(2e-5)


def test_recovery_that_cannot_be_is_named() -> None:
    for recovery in (0.0, 1.0):
        with pytest.raises(InputError) as refused:
            concentration_factor(recovery)
        assert (refused.value.field, refused.value.value) == ("recovery", recovery)


def test_warmth_by_the_published_exponentials() -> None:
    def worked(celsius: float, factor: float) -> float:
        return math.exp(factor * (1 / 298 - 1 / (celsius + 273)))

    assert one(temperature_factor(10)) == pytest.approx(worked(10, 3020), rel=1e-12)
    assert one(temperature_factor(25.5)) == pytest.approx(worked(25.5, 2640), rel=1e-12)
    assert one(temperature_factor(35)) == pytest.approx(worked(35, 2640), rel=1e-12)
    with pytest.raises(InputError) as refused:
        temperature_factor(np.array([20.0, 40.5]))
    assert (refused.value.field, refused.value.value) == ("temperature_C", 40.5)


def test_output_by_net_pressure_and_warmth() -> None:
    def output(temperature: float | None = None, **sheet: float) -> float:
        stage = stage_of(
            "reverse_osmosis",
            recovery=0.5,
            temperature_curve="three_percent",
            sheet=DataSheet(rated_output_gal_per_day=75, **sheet),
        )
        at = HARD.temperature_C if temperature is None else temperature
        return one(output_gal_per_day(stage, HARD.tds_mg_L, 0.5, 50, at))

    assert one(osmotic_pressure_psi(np.array([1000.0]))) == 10
    # at half recovery the concentrate is twice the feed, the mean one and a half times
    net = 50 - one(HARD.tds_mg_L) / 100 * 1.5
    assert output(25.0) == pytest.approx(75 * net / 57.5)  # rated at 60 psi on water of 2.5 psi
    assert output(25.0, rated_pressure_psi=50) == pytest.approx(75 * net / 47.5)
    assert output() == pytest.approx(75 * net / 57.5 * 1.03**-13)  # the feed's own 12 °C


# the inhibitor


def test_what_an_inhibitor_holds_back() -> None:
    limit = np.array([HARD.alkalinity_mg_L_as_CaCO3.item()])  # alkalinity is the smaller
    assert held_back(HARD, limit, steam_boiler=False).all()
    assert not held_back(HARD, limit - 0.01, steam_boiler=False).any()
    pure = Water(pH=7, alkalinity_mg_L_as_CaCO3=0)
    assert not held_back(pure, np.zeros(1), steam_boiler=False).any()  # none in the train
    assert held_back(pure, np.array([0.5]), steam_boiler=False).all()


def test_only_water_that_passes_the_inhibitor_is_held() -> None:
    inhibitor = Stage(name="inhibitor", medium="scale_inhibitor")
    membrane = Stage(name="membrane", medium="reverse_osmosis")

    def held(*stages: Stage, bypasses: dict[str, Any]) -> list[float]:
        settings = {s.name: settings_for(s, ONE, bypass=np.asarray(bypasses.get(s.name, [0.0]))) for s in stages}
        return list(np.ravel(run_train(stages, HARD, ONE, settings=settings).inhibited_up_to_mg_L_as_CaCO3))

    assert held(bypasses={}) == [0.0]
    assert held(inhibitor, bypasses={"inhibitor": [0.0, 1.0]}) == [150.0, 0.0]
    assert held(inhibitor, membrane, bypasses={"membrane": [0.0, 0.5, 1.0]}) == [0.0, 0.0, 150.0]


# salts


def test_a_batch_of_two_salts() -> None:
    epsom, soda = batch(
        (
            Dose(salt="magnesium_sulfate_heptahydrate", mg_L=100),
            Dose(salt="sodium_bicarbonate", mg_L=84.007, purity=0.9),
        ),
        20,
    )
    assert (epsom.salt, epsom.label) == ("magnesium_sulfate_heptahydrate", salt("magnesium_sulfate_heptahydrate").label)
    assert salt("sodium_chloride").key == "sodium_chloride"
    assert epsom.gains["hardness_mg_L_as_CaCO3"] == pytest.approx(100 / 246.474 * 100.0869)
    assert epsom.gains["alkalinity_mg_L_as_CaCO3"] == 0
    assert soda.gains["hardness_mg_L_as_CaCO3"] == 0
    assert soda.gains["alkalinity_mg_L_as_CaCO3"] == pytest.approx(50.04345)
    assert (epsom.grams, soda.grams) == pytest.approx((2.0, 20 * 0.084007 / 0.9))
    assert batch((Dose(salt="sodium_chloride", mg_L=80),), 1)[0].grams == pytest.approx(0.08)  # at the ceiling
    with pytest.raises(InputError):
        batch((Dose(salt="sodium_chloride", mg_L=80.1),), 1)


def test_salts_that_share_an_ion_add_up_and_weigh_by_purity() -> None:
    doses = (
        Dose(salt="magnesium_sulfate_heptahydrate", mg_L=24.6474, purity=0.5),
        Dose(salt="magnesium_chloride_hexahydrate", mg_L=20.3301),
    )
    found = run("mineral_dose", Water(pH=7, alkalinity_mg_L_as_CaCO3=0), doses=doses)
    assert one(found.treated.totals.magnesium) == pytest.approx(2e-4)
    assert one(found.load.consumed_g) == pytest.approx(0.0246474 / 0.5 + 0.0203301)


# what is solved of a feed


def test_a_draw_that_cannot_be_solved_takes_the_middle_of_the_rest() -> None:
    totals = HARD.totals.map(lambda a: np.broadcast_to(a, (3,)).copy())
    totals.dic[:] = HARD.totals.dic * np.array([1.0, 1.1, -1.0])
    found = calcite_potential_mg_L_as_CaCO3(Water.of(totals, np.array(12.0)))
    alone = chemistry.ccpp(totals, 12.0)
    assert np.isnan(alone[2])
    np.testing.assert_allclose(found, [alone[0], alone[1], (alone[0] + alone[1]) / 2])
    totals.dic[:] = -1.0
    assert np.isnan(calcite_potential_mg_L_as_CaCO3(Water.of(totals, np.array(12.0)))).all()
    totals.dic[:] = 0.0
    totals.alkalinity[:] = 0.0
    assert (carbon_dioxide_share(Water.of(totals, np.array(12.0))) == 0).all()


def test_bypass_for_a_target_reads_the_stage() -> None:
    stage = stage_of("calcium_to_magnesium", exchange_target=40.0)
    found = bypass_for_target(stage, HARD, settings_for(stage, ONE), 70.0, lambda w: w.calcium_hardness_mg_L_as_CaCO3)
    whole = 80 / 40.078 * 100.0869
    assert one(found) == pytest.approx((70 - 40) / (whole - 40))


def test_settings_carry_what_they_are_given() -> None:
    assert settings_for(stage_of("blend"), ONE, raw=HARD).raw is HARD
    assert StageSettings().raw is None
