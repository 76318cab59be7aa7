"""Chemistry: shapes, limits, flags and errors."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.errors import InputError
from brewwater.water import Water


def plain(**changed: float) -> Totals:
    amounts = {
        "calcium": 1.2e-3,
        "magnesium": 4e-4,
        "sodium": 9e-4,
        "potassium": 5e-5,
        "chloride": 7e-4,
        "sulfate": 4e-4,
        "nitrate": 1e-4,
        "alkalinity": 2.4e-3,
        "dic": 2.5e-3,
    } | changed
    return Totals(*(np.array(amounts[f.name]) for f in fields(Totals)))


def nothing(n: int = 1) -> Totals:
    return Totals(*(np.zeros(n) for _ in fields(Totals)))


def test_pure_water_is_neutral() -> None:
    s = chemistry.speciate(nothing(3), 25.0)
    np.testing.assert_allclose(s.ph, 6.997, atol=0.002)
    assert s.converged.all()
    assert (s.calcite_saturation_index == -np.inf).all()


@pytest.mark.parametrize(
    ("alkalinity", "dic", "low", "high"),
    [
        (0.0, 5e-3, 4.2, 4.5),
        (-1e-3, 5e-3, 2.9, 3.1),
        (2e-4, 2e-2, 4.3, 4.5),
        (1e-3, 0.0, 10.9, 11.1),
    ],
)
def test_waters_from_a_weak_acid_bed_solve(alkalinity: float, dic: float, low: float, high: float) -> None:
    s = chemistry.speciate(plain(alkalinity=alkalinity, dic=dic, calcium=0.0, magnesium=0.0), 25.0)
    assert bool(s.converged)
    assert low < float(s.ph) < high
    assert float(s.ccpp_mg_L_as_CaCO3) < 0


def test_no_inorganic_carbon_is_flagged() -> None:
    totals = plain(alkalinity=4e-4)
    dic = chemistry.dic_from_ph(totals, np.array([8.0, 11.5]), 25.0)
    assert dic[0] > 0 > dic[1]
    s = chemistry.speciate(Totals(*(getattr(totals, f.name) for f in fields(Totals) if f.name != "dic"), dic=dic), 25.0)
    np.testing.assert_array_equal(s.converged, [True, False])
    assert np.isnan([s.ph[1], s.calcite_saturation_index[1], s.ccpp_mg_L_as_CaCO3[1], s.log_pco2[1]]).all()


def test_a_row_that_is_not_a_number_spares_the_others() -> None:
    n = 500
    alkalinity = np.full(n, 2.4e-3)
    alkalinity[[3, 77, 400]] = np.nan
    totals = plain().map(lambda a: np.full(n, float(a)))
    spoiled = Totals(**{f.name: getattr(totals, f.name) for f in fields(Totals)} | {"alkalinity": alkalinity})
    s, sound = chemistry.speciate(spoiled, 20.0), chemistry.speciate(totals, 20.0)
    assert (~s.converged).sum() == 3
    np.testing.assert_allclose(s.ph[s.converged], sound.ph[s.converged], atol=1e-4)
    assert np.isnan(chemistry.ccpp(spoiled, 20.0)[77])


def test_ccpp_waits_until_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    original = chemistry.speciation.ccpp  # type: ignore[attr-defined]
    monkeypatch.setattr(chemistry.speciation, "ccpp", lambda *a: asked.append(1) or original(*a))  # type: ignore[attr-defined]
    s = chemistry.speciate(plain(), 93.0)
    assert not asked
    assert float(s.ccpp_mg_L_as_CaCO3) == float(s.ccpp_mg_L_as_CaCO3)
    assert len(asked) == 1


def test_range_of_the_constants_is_marked() -> None:
    s = chemistry.speciate(plain(), np.array([60.0, 93.0]))
    np.testing.assert_array_equal(s.extrapolated, [False, True])
    assert not s.too_saline.any()
    assert chemistry.speciate(plain(sodium=0.2, chloride=0.2), 20.0).too_saline.all()


@pytest.mark.parametrize("temperature", [-1.0, 131.0, float("nan")])
def test_temperature_out_of_range(temperature: float) -> None:
    for call in (chemistry.speciate, chemistry.ccpp, chemistry.degas, chemistry.solve_ph):
        with pytest.raises(InputError, match="temperature_C"):
            call(plain(), temperature)


def test_heating_raises_the_index_and_losing_co2_raises_it_further() -> None:
    cold, hot = chemistry.speciate(plain(), 15.0), chemistry.speciate(plain(), 93.0)
    open_ = chemistry.speciate(chemistry.degas(plain(), 93.0), 93.0)
    assert float(cold.calcite_saturation_index) < float(hot.calcite_saturation_index)
    assert float(hot.calcite_saturation_index) < float(open_.calcite_saturation_index)
    assert float(hot.ccpp_mg_L_as_CaCO3) < float(open_.ccpp_mg_L_as_CaCO3)


def test_dry_arrays() -> None:
    s = chemistry.speciate(nothing(0), 25.0)
    assert s.ph.shape == (0,)
    assert s.ccpp_mg_L_as_CaCO3.shape == (0,)


def test_shares_must_add_up() -> None:
    with pytest.raises(InputError, match="shares"):
        chemistry.mix([plain(), plain()], [0.5, 0.6])


def test_indices_without_calcium_or_alkalinity() -> None:
    bare = plain(calcium=0.0)
    assert float(chemistry.langelier_index(7.5, bare, 25.0, 0.005)) == -np.inf
    assert float(chemistry.langelier_index_simplified(7.5, 0.0, 100, 200, 25.0)) == -np.inf
    assert float(chemistry.larson_skold_ratio(plain(alkalinity=0.0))) == np.inf


def test_the_two_langelier_forms_differ_by_about_a_fifth() -> None:
    water = Water(pH=7.8, temperature_C=15, calcium_mg_L=60, alkalinity_mg_L_as_CaCO3=150, sodium_mg_L=20)
    strength = chemistry.speciate(water.totals, 15.0).ionic_strength_mol_L
    standard = float(chemistry.langelier_index(7.8, water.totals, 15.0, strength))
    closed = float(
        chemistry.langelier_index_simplified(
            7.8, water.calcium_hardness_mg_L_as_CaCO3, water.alkalinity_mg_L_as_CaCO3, water.tds_mg_L, 15.0
        )
    )
    assert 0.1 < abs(standard - closed) < 0.4


def test_steam_boiler_concentrates() -> None:
    boiler = chemistry.steam_boiler(plain(), makeup_L=10.0, steam_L=np.array([0.0, 8.0]))
    np.testing.assert_allclose(boiler.cycles, [1.0, 5.0])
    np.testing.assert_allclose(boiler.chloride_mg_L, 7e-4 * 35453 * np.array([1, 5]))
    np.testing.assert_allclose(boiler.totals.alkalinity, 2.4e-3 * np.array([1, 5]))
    np.testing.assert_allclose(boiler.alkalinity_mg_L_as_CaCO3, 2.4e-3 * 50043.45 * np.array([1, 5]))
    assert (np.diff(boiler.closed.ccpp_mg_L_as_CaCO3) > 0).all()
    assert (boiler.vented.ph > boiler.closed.ph).all()
    assert boiler.closed.extrapolated.all()


@pytest.mark.parametrize(("makeup", "steam"), [(10.0, 10.0), (10.0, -1.0), (0.0, 0.0)])
def test_a_boiler_that_is_never_drawn_from(makeup: float, steam: float) -> None:
    with pytest.raises(InputError, match="steam_L"):
        chemistry.steam_boiler(plain(), makeup, steam)


def test_conductivity_of_a_tap_water_beside_phreeqc() -> None:
    water = Water(
        pH=7.6,
        temperature_C=25,
        alkalinity_mg_L_as_CaCO3=120,
        calcium_mg_L=45,
        magnesium_mg_L=10,
        sodium_mg_L=20,
        sulfate_mg_L=40,
        chloride_mg_L=25.09,
    )
    # PHREEQC through phreeqpython gives 393; its own exponent differs
    assert float(chemistry.conductivity_uS_cm(water.totals)) == pytest.approx(393, rel=0.02)
