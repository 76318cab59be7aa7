"""Terms of the indices that no printed example reaches: dissolved solids, and carbonate and hydroxide at high pH."""

from __future__ import annotations

from math import log10

import numpy as np
import pytest
from scipy.optimize import brentq

from brewwater import chemistry
from brewwater.chemistry.constants import log_k
from brewwater.water import Water


@pytest.mark.parametrize("solids", [10, 100, 1000])
@pytest.mark.parametrize("temperature", [5, 25, 80])
def test_closed_form_in_one_line(solids: float, temperature: float) -> None:
    """pHs = 44.15 + log(TDS)/10 - 13.12 log T - log Ca - log Alk, the terms A to D gathered."""
    ours = float(chemistry.saturation_ph_simplified(150, 34, solids, temperature))
    theirs = 44.15 + log10(solids) / 10 - 13.12 * log10(temperature + 273) - log10(150) - log10(34)
    assert ours == pytest.approx(theirs, abs=1e-9)


@pytest.mark.parametrize("ph", [4.8, 7.0, 9.5, 10.6])
def test_bicarbonate_is_what_the_alkalinity_leaves(ph: float) -> None:
    """Bicarbonate found by bisection on the alkalinity's own definition, activities at 1.8e6 (E T)^-1.5."""
    totals = Water(pH=8, calcium_mg_L=20, alkalinity_mg_L_as_CaCO3=60).totals.map(np.squeeze)
    strength, kelvin = 0.004, 298.15
    a = 1.82e6 * ((60954 / (kelvin + 116) - 68.937) * kelvin) ** -1.5
    pfm = a * (strength**0.5 / (1 + strength**0.5) - 0.3 * strength)
    gamma = 10**-pfm
    h, k2, kw = 10**-ph, 10 ** float(log_k("k2", 25.0)), 10 ** float(log_k("kw", 25.0))

    def off(bicarbonate: float) -> float:
        carbonate = k2 * bicarbonate * gamma / (h * gamma**4)
        return bicarbonate + 2 * carbonate + kw / (h * gamma) - h / gamma - float(totals.alkalinity)

    bicarbonate = brentq(off, 0, 1)
    index = log10(float(totals.calcium) * gamma**4 * k2 * bicarbonate * gamma / h) - float(log_k("calcite", 25.0))
    assert float(chemistry.langelier_index(ph, totals, 25.0, strength)) == pytest.approx(index, abs=1e-6)
