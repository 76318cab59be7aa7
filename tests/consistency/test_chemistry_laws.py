"""Laws that hold for every water: conservation, neutrality, round trips, order and shape of arrays."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.chemistry.speciation import species_at

LAWS = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
temperatures = st.floats(2, 95)
CHARGES = {
    "h": 1,
    "oh": -1,
    "hco3": -1,
    "carbonate": -2,
    "sulfate": -2,
    "hso4": -1,
    "chloride": -1,
    "nitrate": -1,
    "calcium": 2,
    "cahco3": 1,
    "caoh": 1,
    "cahso4": 1,
    "magnesium": 2,
    "mghco3": 1,
    "mgoh": 1,
    "sodium": 1,
    "naco3": -1,
    "naso4": -1,
    "potassium": 1,
    "kso4": -1,
}


@st.composite
def waters(draw: st.DrawFn, least_dic: float = 1e-5) -> Totals:
    """Electroneutral totals, zero alkalinity and mineral acidity included."""

    def log(low: float, high: float) -> float:
        return draw(st.one_of(st.just(0.0), st.floats(low, high).map(lambda x: 10.0**x)))

    calcium, magnesium, potassium = log(-6, -2.1), log(-6, -2.3), log(-6, -3)
    sulfate, nitrate = log(-6, -2.2), log(-6, -3)
    alkalinity = draw(st.one_of(st.just(0.0), st.floats(-5e-4, 1e-2)))
    dic = draw(st.floats(np.log10(least_dic), -1.7).map(lambda x: 10.0**x))
    gap = 2 * (calcium + magnesium - sulfate) + potassium - nitrate - alkalinity
    salt = draw(st.floats(-5, -2).map(lambda x: 10.0**x))
    return Totals(
        *(
            np.array(v)
            for v in (
                calcium,
                magnesium,
                max(-gap, 0) + salt,
                potassium,
                max(gap, 0) + salt,
                sulfate,
                nitrate,
                alkalinity,
                dic,
            )
        )
    )


def close(a: Totals, b: Totals, tolerance: float = 1e-12) -> None:
    for f in fields(Totals):
        np.testing.assert_allclose(getattr(a, f.name), getattr(b, f.name), rtol=tolerance, atol=1e-15)


@LAWS
@given(waters(), waters(), st.floats(0, 1))
def test_mixing_conserves_and_commutes(a: Totals, b: Totals, share: float) -> None:
    mixed = chemistry.mix([a, b], [share, 1 - share])
    close(mixed, chemistry.mix([b, a], [1 - share, share]))
    for f in fields(Totals):
        total = share * getattr(a, f.name) + (1 - share) * getattr(b, f.name)
        np.testing.assert_allclose(getattr(mixed, f.name), total, rtol=1e-12, atol=1e-18)


@LAWS
@given(waters(), temperatures, st.floats(60, 130))
def test_heating_then_cooling_returns(water: Totals, cold: float, hot: float) -> None:
    before = chemistry.speciate(water, cold)
    then = chemistry.speciate(water, hot)
    # what the hot water's pH implies is the carbon that went in
    carbon = chemistry.dic_from_ph(water, then.ph, hot)
    back = chemistry.speciate(replace(water, dic=carbon), cold)
    # buffer capacity tells how far an error of pH reaches
    slack = 2e-4 * (1 + float(water.dic) / float(before.buffer_capacity_eq_L))
    assert abs(float(carbon) - float(water.dic)) < 2e-4 * (float(water.dic) + abs(float(water.alkalinity)) + 1e-4)
    assert abs(float(back.ph) - float(before.ph)) < slack + 0.02 * (float(water.alkalinity) < 1e-5)


@LAWS
@given(waters(), st.floats(2, 130))
def test_electroneutrality_in_is_out(water: Totals, temperature: float) -> None:
    found, strength = species_at(water, temperature)
    charge = sum(z * float(found[name]) for name, z in CHARGES.items())
    assert abs(charge - float(water.charge_imbalance)) < 3e-5 * float(strength) + 1e-9
    half = 0.5 * sum(z * z * float(found[name]) for name, z in CHARGES.items())
    np.testing.assert_allclose(half, strength, rtol=1e-4)


@LAWS
@given(waters(), st.floats(2, 130))
def test_species_add_up_to_the_totals(water: Totals, temperature: float) -> None:
    found, _ = species_at(water, temperature)
    m = {name: float(v) for name, v in found.items()}
    held = {
        "calcium": m["calcium"] + m["caco3"] + m["cahco3"] + m["caoh"] + m["caso4"] + m["cahso4"],
        "magnesium": m["magnesium"] + m["mgco3"] + m["mghco3"] + m["mgoh"] + m["mgso4"],
        "sodium": m["sodium"] + m["naco3"] + m["nahco3"] + m["naso4"],
        "potassium": m["potassium"] + m["kso4"],
        "sulfate": sum(m[n] for n in ("sulfate", "hso4", "caso4", "cahso4", "mgso4", "naso4", "kso4")),
        "dic": m["carbonate"]
        + m["hco3"]
        + m["co2"]
        + 2 * m["co2_pair"]
        + sum(m[n] for n in ("caco3", "mgco3", "naco3", "cahco3", "mghco3", "nahco3")),
    }
    for name, amount in held.items():
        np.testing.assert_allclose(amount, getattr(water, name), rtol=2e-4, atol=1e-8, err_msg=name)


@LAWS
@given(waters(), st.floats(2, 130))
def test_precipitating_the_ccpp_brings_the_index_to_zero(water: Totals, temperature: float) -> None:
    after = chemistry.precipitate(water, chemistry.ccpp(water, temperature))
    assert float(after.calcium) > 0
    assert abs(float(chemistry.calcite_saturation_index(after, temperature))) < 1e-3
    assert abs(float(chemistry.ccpp(after, temperature))) < 0.01


@LAWS
@given(waters(), st.floats(2, 130), st.floats(1e-6, 2e-3))
def test_acid_never_raises_ph(water: Totals, temperature: float, acid: float) -> None:
    acidic = replace(water, alkalinity=water.alkalinity - acid, chloride=water.chloride + acid)
    assert float(chemistry.solve_ph(acidic, temperature)) <= float(chemistry.solve_ph(water, temperature))


@LAWS
@given(waters(), temperatures, st.floats(-5, -1))
def test_degassed_water_is_in_balance_with_that_air(water: Totals, temperature: float, log_pco2: float) -> None:
    open_ = chemistry.degas(water, temperature, log_pco2)
    np.testing.assert_array_equal(open_.alkalinity, water.alkalinity)
    assert abs(float(chemistry.speciate(open_, temperature).log_pco2) - log_pco2) < 1e-3


@LAWS
@given(waters(least_dic=1e-4), temperatures)
def test_gradient_of_alkalinity_is_the_buffer_capacity(water: Totals, temperature: float) -> None:
    s = chemistry.speciate(water, temperature)
    step = 0.02 * float(s.buffer_capacity_eq_L)
    up = chemistry.speciate(replace(water, alkalinity=water.alkalinity + step), temperature)
    down = chemistry.speciate(replace(water, alkalinity=water.alkalinity - step), temperature)
    slope = 2 * step / (float(up.ph) - float(down.ph))
    # the one at constant activity coefficients, the other with what acid does to them
    np.testing.assert_allclose(slope, s.buffer_capacity_eq_L, rtol=0.05)


def many(n: int) -> tuple[Totals, np.ndarray]:
    rng = np.random.default_rng(5)
    parts = [10 ** rng.uniform(-5, -2.5, n) for _ in range(9)]
    return Totals(*parts), rng.uniform(2, 95, n)


def test_order_and_shape_of_arrays_do_not_matter() -> None:
    totals, at = many(600)
    straight, ccpp = chemistry.speciate(totals, at), chemistry.ccpp(totals, at)
    order = np.random.default_rng(6).permutation(600)
    shuffled = totals.map(lambda a: a[order])
    np.testing.assert_allclose(chemistry.speciate(shuffled, at[order]).ph, straight.ph[order], atol=2e-4)
    np.testing.assert_allclose(chemistry.ccpp(shuffled, at[order]), ccpp[order], rtol=1e-4, atol=0.02)
    square = totals.map(lambda a: a.reshape(20, 30))
    np.testing.assert_array_equal(chemistry.speciate(square, at.reshape(20, 30)).ph, straight.ph.reshape(20, 30))
    for i in (0, 99, 599):
        alone = chemistry.speciate(totals.map(lambda a, i=i: a[i]), at[i])
        assert alone.ph.shape == ()
        assert abs(float(alone.ph) - straight.ph[i]) < 2e-4
        assert abs(float(alone.ccpp_mg_L_as_CaCO3) - ccpp[i]) < 0.02 + 1e-4 * abs(ccpp[i])
    across = chemistry.speciate(totals.map(lambda a: a[:3, None]), at[None, :4])
    assert across.ph.shape == (3, 4)
    assert abs(across.ph[2, 1] - float(chemistry.solve_ph(totals.map(lambda a: a[2]), at[1]))) < 2e-4


def test_the_same_twice_and_on_any_number_of_cores() -> None:
    totals, at = many(20_000)
    first = chemistry.speciate(totals, at)
    np.testing.assert_array_equal(first.ph, chemistry.speciate(totals, at).ph)
    head = totals.map(lambda a: a[:8000])  # one chunk, one thread
    np.testing.assert_array_equal(chemistry.speciate(head, at[:8000]).ph, first.ph[:8000])


def test_one_by_one_is_the_series() -> None:
    totals, at = many(500)
    ph = chemistry.solve_ph(totals, at)
    series = chemistry.judge(totals, ph, at, [60.0, 120.0])
    np.testing.assert_allclose(series.dic_mol_L, totals.dic, rtol=2e-3, atol=1e-7)
    solved = replace(totals, dic=series.dic_mol_L)
    for judged, temperature in ((series.own, at), (series.heated[0], 60.0), (series.heated[1], 120.0)):
        apart = chemistry.speciate(solved, temperature)
        np.testing.assert_allclose(judged.ph, apart.ph, atol=3e-4)
        np.testing.assert_allclose(judged.calcite_saturation_index, apart.calcite_saturation_index, atol=3e-4)
        np.testing.assert_allclose(judged.ccpp_mg_L_as_CaCO3, apart.ccpp_mg_L_as_CaCO3, rtol=1e-4, atol=0.02)
