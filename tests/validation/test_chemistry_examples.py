"""Worked examples in print, each with its source beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.water import Water

Check = Callable[..., None]
CACO3_MG = 100.0869


def pure(**amounts: float) -> Totals:
    names = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity", "dic")
    return Totals(*(np.array(amounts.get(n, 0.0)) for n in names))


DIN = {  # no.: pH and T, judged at, DIC, Ca, Mg, Na, K, Cl, NO3, SO4 mmol/L; printed pH, SI, dissolving capacity
    1: (6.90, 20, 10, 6.680, 3.50, 0.75, 2.05, 0.15, 2.50, 0.50, 1.20, 6.98, -0.15, 0.20),
    2: (8.20, 15, 11, 1.661, 1.24, 0.41, 0.90, 0.07, 0.90, 0.55, 0.58, 8.25, 0.27, -0.03),
    3: (7.90, 20, 5.5, 2.456, 1.22, 0.35, 0.15, 0.05, 0.16, 0.07, 0.35, 8.05, 0.17, -0.03),
    4: (8.40, 17, 12, 0.941, 0.57, 0.10, 0.21, 0.02, 0.34, 0.08, 0.10, 8.47, 0.01, 0.0),
    5: (8.90, 20, 10, 0.329, 0.30, 0.15, 0.30, 0.05, 0.30, 0.20, 0.20, 9.08, -0.15, 0.01),
}


@pytest.mark.parametrize("number", DIN)
def test_din_38404_10_1995_table_6(printed: Check, number: int) -> None:
    """pH measured at one temperature, water judged at another; alkalinity closes the charge."""
    ph, at, judged_at, dic, ca, mg, na, k, cl, no3, so4, then_ph, index, dissolves = DIN[number]
    alkalinity = 2 * (ca + mg - so4) + na + k - cl - no3
    totals = pure(
        calcium=ca / 1000, magnesium=mg / 1000, sodium=na / 1000, potassium=k / 1000, chloride=cl / 1000,
        nitrate=no3 / 1000, sulfate=so4 / 1000, alkalinity=alkalinity / 1000,
    )  # fmt: skip
    totals = replace(totals, dic=chemistry.dic_from_ph(totals, ph, at))
    then = chemistry.speciate(totals, judged_at)
    source, why = f"DIN 38404-10:1995, table 6, water {number} (aqion.de)", "DIN's own constants and activities"
    printed(source, "DIC, mmol/L", float(totals.dic) * 1000, dic, 0.01, why=why)
    printed(source, f"pH at {judged_at} °C", float(then.ph), then_ph, 0.03, why=why)
    printed(source, "calcite index", float(then.calcite_saturation_index), index, 0.03, why=why)
    printed(source, "dissolving capacity, mmol/L", -float(then.ccpp_mg_L_as_CaCO3) / CACO3_MG, dissolves, 0.04, why=why)


def test_langelier_at_two_temperatures(printed: Check) -> None:
    source = "corrosion-doctors.org, Langelier index calculation"
    for temperature, index in ((25, -0.7), (82, 0.3)):
        ours = float(chemistry.langelier_index_simplified(7.5, 150, 34, 320, temperature))
        printed(source, f"Langelier index at {temperature} °C", ours, index, 0.05)


def test_ufc_3_240_13fn(printed: Check) -> None:
    source = "UFC 3-240-13FN (2005), examples B-1 and B-2"
    ours = float(chemistry.saturation_ph_simplified(500, 100, 1000, (120 - 32) / 1.8))
    printed(source, "pHs", ours, 6.77, 0.1, why="its table gives B = 1.57 where the closed form gives 1.646")
    printed(source, "PSI", float(chemistry.puckorius_index(6.77, 100)), 6.07, 0.005)
    printed(source, "RSI", float(chemistry.ryznar_index(8.2, 6.77)), 5.34, 0.005)
    # the text prints 1.485 log Alk + 4.54, which gives 7.51; its own table value needs 1.465
    equilibrium_ph = 2 * 6.77 - float(chemistry.puckorius_index(6.77, 100))
    printed(source, "pHeq at 100 mg/L, by its table", equilibrium_ph, 7.47, 0.005)


@pytest.mark.parametrize(("chloride", "sulfate", "ratio"), [(100, 1, 0.7), (2, 150, 0.8)])
def test_larson_skold(printed: Check, chloride: float, sulfate: float, ratio: float) -> None:
    water = Water(pH=8, alkalinity_mg_L_as_CaCO3=200, chloride_mg_L=chloride, sulfate_mg_L=sulfate)
    ours = float(chemistry.larson_skold_ratio(water.totals))
    printed("tidywater test-calculate_corrosion.R", f"Larson-Skold, Cl {chloride}, SO4 {sulfate}", ours, ratio, 0.05)


@pytest.mark.parametrize(
    ("calcium", "alkalinity", "ph", "ccpp"), [(40, 200, 8, 16), (40, 5, 8, -1.3), (20, 5, 6.9, -4), (32, 80, 6.85, -34)]
)
def test_ccpp_of_tidywater(printed: Check, calcium: float, alkalinity: float, ph: float, ccpp: float) -> None:
    """Its fifth (32/20/5 -> -328) parts from PHREEQC and from us (-400): in acid, its activities fail."""
    water = Water(pH=ph, temperature_C=25, calcium_mg_L=calcium, alkalinity_mg_L_as_CaCO3=alkalinity)
    printed("tidywater test-calculate_corrosion.R", f"CCPP, Ca {calcium}, alk {alkalinity}, pH {ph}",
            float(chemistry.ccpp(water.totals, 25.0)), ccpp, max(2.0, 0.1 * abs(ccpp)), why="no ion pairs there")


WATERS = {  # pH, T, alk, Ca, Mg, Na, SO4, Cl; I, SI, SM-form SI, CCPP at own T, 60, 90, 93 °C
    "A": (7.0, 25, 40, 27.2, 0, 10, 0, 35.21, 0.00246, -1.239, -1.234, -15.9, -13.6, -8.5, -7.8),
    "B": (7.6, 20, 120, 45, 10, 20, 40, 25.09, 0.00560, -0.095, -0.066, -2.3, 8.7, 24.8, 26.7),
    "C": (7.5, 15, 250, 90, 20, 25, 60, 34.73, 0.01022, 0.290, 0.327, 20.4, 57.7, 95.9, 99.9),
    "D": (8.0, 25, 200, 40, 0, 0, 0, 0, 0.00388, 0.570, 0.600, 17.4, 32.8, 53.4, 55.6),
    "E": (6.85, 25, 80, 32, 0, 0, 0, 0, 0.00237, -1.019, -1.010, -36.0, -25.3, -8.7, -6.6),
}


@pytest.mark.parametrize("name", WATERS)
def test_phreeqc_with_wateq4f(printed: Check, name: str) -> None:
    ph, at, alk, ca, mg, na, so4, cl, strength, index, form, *ccpp = WATERS[name]
    water = Water(
        pH=ph, temperature_C=at, alkalinity_mg_L_as_CaCO3=alk, calcium_mg_L=ca, magnesium_mg_L=mg, sodium_mg_L=na,
        sulfate_mg_L=so4, chloride_mg_L=cl,
    )  # fmt: skip
    s = chemistry.speciate(water.totals, at)
    source, why = f"PHREEQC with wateq4f.dat, water {name}", "ion pairs of sulfate differ between the databases"
    printed(source, "ionic strength", float(s.ionic_strength_mol_L), strength, 3e-5, kind="derived", why=why)
    printed(source, "calcite index", float(s.calcite_saturation_index), index, 0.003, kind="derived", why=why)
    sm = chemistry.langelier_index(ph, water.totals, at, s.ionic_strength_mol_L)
    printed("Standard Methods 2330 B (from memory), worked apart", f"Langelier index, water {name}", float(sm), form,
            0.001, kind="derived", why="three decimals")
    for temperature, value in zip((at, 60, 90, 93), ccpp, strict=True):
        ours = float(chemistry.ccpp(water.totals, temperature))
        printed(source, f"CCPP at {temperature} °C, mg/L", ours, value, max(0.3, 0.005 * abs(value)),
                kind="derived", why=why)


def test_permeate(printed: Check) -> None:
    water = Water(
        pH=7.68, temperature_C=25, calcium_mg_L=2, alkalinity_mg_L_as_CaCO3=12.6, sodium_mg_L=12, chloride_mg_L=12
    )
    s = chemistry.speciate(water.totals, 25.0)
    source, why = "an engineering note on reverse osmosis permeate", "its temperature is not stated"
    printed(source, "calcite index", float(s.calcite_saturation_index), -2.23, 0.1, why=why)
    printed(source, "CCPP, mg/L", float(s.ccpp_mg_L_as_CaCO3), -6.9, 0.8, why=why)


def test_open_to_air(printed: Check) -> None:
    totals = chemistry.degas(pure(alkalinity=10 / 50043.45), 25.0, -3.42)
    ours = float(chemistry.solve_ph(totals, 25.0))
    printed("tidywater, open system, alkalinity 10, pCO2 10^-3.42", "pH", ours, 7.5, 0.05)


@pytest.mark.parametrize(
    ("temperature", "ph", "calcium"),
    [(10, 10.3108, 0.1108), (25, 9.9068, 0.1230), (60, 9.1364, 0.1577), (90, 8.6190, 0.1819)],
)
def test_calcite_in_pure_water(printed: Check, temperature: float, ph: float, calcium: float) -> None:
    """From neutral water; started at pH 7 whatever the temperature, PHREEQC gives 8.626 and 0.1806 at 90 °C."""
    ccpp = chemistry.ccpp(pure(), temperature)
    ours = chemistry.solve_ph(chemistry.precipitate(pure(), ccpp), temperature)
    source, why = "PHREEQC, phreeqc.dat of phreeqpython, calcite in pure water, closed", "four decimals"
    printed(source, f"pH at {temperature} °C", float(ours), ph, 0.0001, kind="derived", why=why)
    printed(source, f"Ca at {temperature} °C, mmol/kg", -float(ccpp) / CACO3_MG, calcium, 0.00006,
            kind="derived", why=why)


@pytest.mark.parametrize(
    ("temperature", "log_pco2", "ph", "calcium"),
    [(10, -3.4, 8.234, 0.6800), (25, -3.4, 8.214, 0.5331), (60, -3.4, 8.220, 0.3138), (90, -3.4, 8.236, 0.2180),
     (25, -3.5, 8.279, 0.4933)],
)  # fmt: skip
def test_calcite_at_fixed_pco2(printed: Check, temperature: float, log_pco2: float, ph: float, calcium: float) -> None:
    """Air and calcite in turn, until neither changes the water."""
    totals = pure()
    for _ in range(60):
        totals = chemistry.degas(totals, temperature, log_pco2)
        totals = chemistry.precipitate(totals, chemistry.ccpp(totals, temperature))
    totals = chemistry.degas(totals, temperature, log_pco2)
    source = f"PHREEQC, phreeqc.dat of phreeqpython, calcite at log pCO2 {log_pco2}"
    why = "it lets CO2 be slightly less than ideal as a gas"
    ours = float(chemistry.solve_ph(totals, temperature))
    printed(source, f"pH at {temperature} °C", ours, ph, 0.0006, kind="derived", why=why)
    printed(source, f"Ca at {temperature} °C, mmol/kg", float(totals.calcium) * 1000, calcium, 0.0006 * calcium,
            kind="derived", why=why)


def test_potassium_chloride_standard(printed: Check) -> None:
    ours = float(chemistry.conductivity_uS_cm(pure(potassium=0.01, chloride=0.01)))
    printed("EPA Method 120.1 (1982)", "0.01 M KCl at 25 °C, µS/cm", ours, 1413, 14, why="1 %, the model's own limit")
    for temperature, value in ((21, 1305), (22, 1332), (23, 1359), (24, 1386), (26, 1441)):
        printed("EPA Method 120.1 (1982)", f"a reading at {temperature} °C brought to 25 °C",
                float(chemistry.conductivity_at_25C(value, temperature)), 1413, 2, why="one slope for the table")


def test_gypsum_solubility(printed: Check) -> None:
    totals = pure(calcium=0.01564, sulfate=0.01564, alkalinity=1e-6, dic=1e-6)
    printed("PHREEQC version 2 manual, gypsum at 25 °C 15.64 mmol/kg", "gypsum index of that water",
            float(chemistry.speciate(totals, 25.0).gypsum_saturation_index), 0.0, 0.03,
            why="CaSO4 pair 2.25 here, 2.30 there")
