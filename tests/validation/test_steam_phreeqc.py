"""Scale of a steam boiler, CO2 kept and CO2 gone, against PHREEQC at 1 to 20 times the feed.

``STEAM_WATERS`` sets how many waters are tried (50 by hand, fewer in a test run).
"""

from __future__ import annotations

import os
import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.chemistry.steam import ccpp_vented, co2_taken, steam_scale

ENGINE = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("phreeqc_engine.py"))))
COUNT = int(os.environ.get("STEAM_WATERS", "6"))
HOT_C = 90.0  # the constants' own range
CACO3_MG_PER_MOL = 100_086.9


def taps(n: int) -> Totals:
    """Tap waters of 30 to 300 mg/L hardness and 20 to 250 alkalinity, the charge closed by sodium or chloride."""
    rng = np.random.default_rng(7)
    calcium, magnesium = rng.uniform(2e-4, 2e-3, n), rng.uniform(1e-4, 1e-3, n)
    alkalinity, sulfate = rng.uniform(4e-4, 5e-3, n), rng.uniform(5e-5, 5e-4, n)
    gap = 2 * (calcium + magnesium - sulfate) - alkalinity
    sodium, chloride = 3e-4 + np.maximum(-gap, 0), 3e-4 + np.maximum(gap, 0)
    zero = np.zeros(n)
    return Totals(
        calcium=calcium,
        magnesium=magnesium,
        sodium=sodium,
        potassium=zero,
        chloride=chloride,
        sulfate=sulfate,
        nitrate=zero,
        alkalinity=alkalinity,
        dic=alkalinity * rng.uniform(1.02, 1.3, n),
    )


def phreeqc_falls(engine: object, t: Totals, i: int, vented: bool) -> float:
    """mol of calcite that falls from a litre of water ``i`` at ``HOT_C``."""
    names = {"Ca": "calcium", "Mg": "magnesium", "Na": "sodium", "Cl": "chloride", "S(6)": "sulfate", "C(4)": "dic"}
    lines = [f"{element} {float(getattr(t, name)[i])!r}" for element, name in names.items()]
    phases = ["Calcite 0 0"] + (["CO2(g) -3.4 10"] if vented else [])
    engine.ip.run_string(  # type: ignore[attr-defined]
        "\n".join(
            [
                "SELECTED_OUTPUT 1\n-reset false\n-totals Ca",
                f"SOLUTION 1\nunits mol/kgw\ntemp {HOT_C}\npH 8 charge",
                *lines,
                "EQUILIBRIUM_PHASES 1",
                *phases,
                "END\n",
            ]
        )
    )
    rows = engine.ip.get_selected_output_array()  # type: ignore[attr-defined]
    return float(t.calcium[i]) - float(rows[-1][0])


@pytest.mark.parametrize("cycles", [1, 2, 5, 10, 20])
def test_both_ends_beside_phreeqc(cycles: int) -> None:
    engine = ENGINE.engine()
    feed = taps(COUNT)
    strong = feed.map(lambda a: a * cycles)
    closed, vented, between = steam_scale(feed, 1 - 1 / cycles, HOT_C)
    assert np.all(between <= np.maximum(closed, vented) + 1e-9)
    assert np.all(between >= np.minimum(closed, vented) - 1e-9)
    for i in range(COUNT):
        for ours, gone in ((closed[i], False), (vented[i], True)):
            theirs = max(phreeqc_falls(engine, strong, i, gone), 0.0) * CACO3_MG_PER_MOL / cycles
            assert ours == pytest.approx(theirs, rel=0.02, abs=1.0), (i, cycles, gone)


def test_scale_grows_with_the_steam() -> None:
    feed = taps(3)
    shares = [0.0, 0.01, 0.2, 0.5, 0.8, 0.95]
    laid = np.stack([steam_scale(feed, s, 120.0)[2] for s in shares])
    assert np.all(np.diff(laid, axis=0) > -1e-6)
    assert np.all(laid[-1] > laid[0])


def test_a_little_steam_takes_nearly_all_co2() -> None:
    assert float(co2_taken(0.0, 120.0)) == 0
    assert 0.95 < float(co2_taken(0.02, 120.0)) < 1
    assert float(co2_taken(0.5, 120.0)) > 0.999


def test_nothing_falls_from_hungry_water() -> None:
    feed = replace(taps(2), calcium=np.full(2, 1e-6))
    assert np.all(ccpp_vented(feed, 25.0) == 0)
    assert np.all(chemistry.ccpp(feed, 25.0) < 0)


@pytest.mark.parametrize("lacking", ["calcium", "alkalinity"])
def test_nothing_falls_where_nothing_could(lacking: str) -> None:
    feed = replace(taps(2), **{lacking: np.zeros(2)})
    assert np.all(ccpp_vented(feed, 120.0) == 0)
