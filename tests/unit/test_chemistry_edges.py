"""Chemistry at the edges: waters that cannot be, errors by field, defaults, and one result by two ways."""

from __future__ import annotations

import csv
import math
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.chemistry.activity import log_gamma_davies
from brewwater.chemistry.constants import debye_hueckel
from brewwater.chemistry.speciation import degassed_ph, species_at
from brewwater.errors import InputError


def tap(n: int = 1, **changed: float) -> Totals:
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
    return Totals(*(np.full(n, amounts[f.name]) for f in fields(Totals)))


def test_degassed_ph_is_the_ph_of_the_degassed_water() -> None:
    for pressure in (-3.4, -2.0):
        apart = chemistry.speciate(chemistry.degas(tap(), 25.0, pressure), 25.0).ph
        np.testing.assert_allclose(degassed_ph(tap(), 25.0, pressure), apart, atol=3e-4)
    np.testing.assert_array_equal(degassed_ph(tap(), 25.0), degassed_ph(tap(), 25.0, -3.4))


def test_carbon_is_not_read_where_it_is_sought() -> None:
    other = replace(tap(), dic=np.array([np.nan]))
    np.testing.assert_array_equal(chemistry.degas(other, 25.0).dic, chemistry.degas(tap(), 25.0).dic)
    np.testing.assert_array_equal(chemistry.dic_from_ph(other, 7.5, 25.0), chemistry.dic_from_ph(tap(), 7.5, 25.0))
    judged, straight = (chemistry.judge(w, 7.5, 25.0, [93.0]) for w in (other, tap()))
    np.testing.assert_array_equal(judged.own.ph, straight.own.ph)


@pytest.mark.parametrize("n", [1, 100])
def test_a_water_without_carbon_is_marked_and_not_judged(n: int) -> None:
    # at pH 11.5 hydroxide alone exceeds the alkalinity; the others are not touched by it
    ph = np.full(n, 11.5)
    ph[: n // 2] = 8.0
    low = tap(n, alkalinity=4e-4)
    series = chemistry.judge(low, ph, 25.0, [60.0])
    sound = ph == 8.0
    np.testing.assert_array_equal(series.dic_mol_L > 0, sound)
    assert np.isfinite(series.dic_mol_L).all()
    for values in (
        series.ionic_strength_mol_L,
        *(
            getattr(j, f)
            for j in (series.own, *series.heated)
            for f in ("ph", "calcite_saturation_index", "ccpp_mg_L_as_CaCO3")
        ),
    ):
        np.testing.assert_array_equal(np.isfinite(values), sound)
    told = chemistry.speciate(replace(low, dic=series.dic_mol_L), 25.0)
    np.testing.assert_array_equal(told.converged, sound)
    for field in ("ph", "ionic_strength_mol_L", "co2_mol_L", "bicarbonate_mol_L", "buffer_capacity_eq_L"):
        np.testing.assert_array_equal(np.isfinite(getattr(told, field)), sound)
    np.testing.assert_array_equal(np.isfinite(chemistry.ccpp(replace(low, dic=series.dic_mol_L), 25.0)), sound)
    species, strength = species_at(replace(low, dic=series.dic_mol_L), 25.0)
    np.testing.assert_array_equal(np.isfinite(species["co2"]), sound)
    np.testing.assert_array_equal(np.isfinite(strength), sound)


def test_mixing_by_shares_of_any_shape_and_refusing_others() -> None:
    hard, soft = tap(), tap().map(lambda a: a / 10)
    shares = np.array([[0.0, 0.5, 1.0], [1.0, 0.5, 0.0]])
    np.testing.assert_allclose(chemistry.mix([hard, soft], shares).calcium, [1.2e-4, 6.6e-4, 1.2e-3])
    with pytest.raises(InputError) as refused:
        chemistry.mix([hard, soft], np.array([[0.5, 0.5], [0.5, 0.6]]))
    assert refused.value.field == "shares"
    np.testing.assert_allclose(refused.value.value, [1.0, 1.1])  # type: ignore[call-overload]
    with pytest.raises(ValueError, match="shorter"):
        chemistry.mix([hard], [0.5, 0.5])


def test_a_boiler_by_default_at_120_degrees_drawn_little() -> None:
    boiler = chemistry.steam_boiler(tap(), 2.0, 1.5)
    np.testing.assert_array_equal(boiler.closed.temperature_C, 120.0)
    np.testing.assert_array_equal(boiler.vented.temperature_C, 120.0)
    np.testing.assert_allclose(boiler.cycles, 4.0)
    with pytest.raises(InputError) as refused:
        chemistry.steam_boiler(tap(), 2.0, np.array([1.0, 2.5]))
    assert (refused.value.field, refused.value.value) == ("steam_L", 2.5)


def test_conductivity_is_the_sum_over_ions() -> None:
    table = Path(__file__).parents[2] / "reference" / "ion_diffusion.csv"
    with table.open(encoding="utf-8", newline="") as handle:
        ions = {r["ion"]: (abs(int(r["charge"])), float(r["diffusion_m2_s_25C"])) for r in csv.DictReader(handle)}
    found, strength = species_at(tap(2), 25.0)
    gamma = 10 ** float(log_gamma_davies(1, strength[0], debye_hueckel(25.0)[0]))
    siemens = sum(
        z**2
        * d
        * 96485.33212**2
        / (8.314462618 * 298.15)
        * 1e3
        * float(found[ion][0])
        * (gamma ** (z**2)) ** (0.6 / math.sqrt(z))
        for ion, (z, d) in ions.items()
    )  # S/m
    np.testing.assert_allclose(chemistry.conductivity_uS_cm(tap(2)), siemens * 1e4, rtol=1e-9)
    # potassium chloride without end diluted: 149.8 S cm2/mol, the figure of the handbooks
    bare = tap().map(lambda a: a * 0)
    dilute = replace(bare, potassium=np.array([1e-5]), chloride=np.array([1e-5]))
    per_litre = chemistry.conductivity_uS_cm(dilute) - chemistry.conductivity_uS_cm(bare)
    assert float(per_litre[0]) / 1e-5 / 1e3 == pytest.approx(149.8, abs=0.6)


def test_a_reading_at_its_own_temperature_in_whole_degrees() -> None:
    assert float(chemistry.conductivity_at_25C(1000, 25)) == 1000
    assert float(chemistry.conductivity_at_25C(1000, 20)) == pytest.approx(1000 / (1 - 5 * 0.0191))
