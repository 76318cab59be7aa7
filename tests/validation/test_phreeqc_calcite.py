"""PHREEQC with phreeqc.dat: calcite in pure water, closed and at a fixed CO2 pressure (our own runs)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals

Check = Callable[..., None]
CACO3_MG = 100.0869


def pure(**amounts: float) -> Totals:
    names = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity", "dic")
    return Totals(*(np.array(amounts.get(n, 0.0)) for n in names))


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
    printed(
        source, f"Ca at {temperature} °C, mmol/kg", -float(ccpp) / CACO3_MG, calcium, 0.00006, kind="derived", why=why
    )


@pytest.mark.parametrize(
    ("temperature", "log_pco2", "ph", "calcium"),
    [
        (10, -3.4, 8.234, 0.6800),
        (25, -3.4, 8.214, 0.5331),
        (60, -3.4, 8.220, 0.3138),
        (90, -3.4, 8.236, 0.2180),
        (25, -3.5, 8.279, 0.4933),
    ],
)
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
    printed(
        source,
        f"Ca at {temperature} °C, mmol/kg",
        float(totals.calcium) * 1000,
        calcium,
        0.0006 * calcium,
        kind="derived",
        why=why,
    )
