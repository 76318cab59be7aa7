"""Authority: PHREEQC (USGS) through phreeqpython with its bundled ``phreeqc.dat``, on 10,000 random waters.

pH 4.5 to 11, 5 to 95 °C, ionic strength 0.5 to 60 mmol/L, as analysed and heated closed to 60, 93 and 120 °C.
"""

from __future__ import annotations

import runpy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from brewwater import chemistry
from brewwater.chemistry import JudgedSeries, Totals

ENGINE = runpy.run_path(str(Path(__file__).with_name("phreeqc_engine.py")))
WATERS = 10_000
HEATED = (60.0, 93.0, 120.0)
LABELS = ("own", "60", "93", "120")


@pytest.fixture(scope="module")
def both() -> tuple[dict[str, np.ndarray], np.ndarray, JudgedSeries]:
    """The waters, PHREEQC's (water, temperature, (pH, SI, CCPP, DIC)) with NaN where it refuses, and ours."""
    waters = ENGINE["random_waters"](WATERS, seed=20261125)
    theirs = np.full((WATERS, 4, 4), np.nan)
    pp = ENGINE["engine"]()
    for i in range(WATERS):
        try:
            theirs[i] = list(ENGINE["judged"](pp, waters, i, HEATED))
        except Exception as error:  # PHREEQC's own error has no class
            if "non-carbonate alkalinity" not in str(error):
                raise
    names = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate", "alkalinity")
    totals = Totals(*(waters[n] for n in names), dic=np.zeros(()))
    return waters, theirs, chemistry.judge(totals, waters["ph"], waters["temperature_C"], HEATED)


def test_waters_without_carbon_are_those_that_phreeqc_refuses(both: Any) -> None:
    _, theirs, ours = both
    refused = np.isnan(theirs[:, 0, 0])
    assert 100 < refused.sum() < WATERS / 2
    np.testing.assert_array_equal(ours.dic_mol_L <= 0, refused)
    assert np.isnan(ours.own.ph[refused]).all()
    assert np.isnan(ours.own.ccpp_mg_L_as_CaCO3[refused]).all()


@pytest.mark.parametrize("k", range(4), ids=LABELS)
def test_ph_index_and_ccpp(both: Any, k: int, printed: Callable[..., None]) -> None:
    waters, theirs, ours = both
    mine = (ours.own, *ours.heated)[k]
    sound = ~np.isnan(theirs[:, 0, 0])
    assert np.isfinite(mine.ph[sound]).all()
    assert np.isfinite(mine.ccpp_mg_L_as_CaCO3[sound]).all()
    hard = sound & (waters["calcium"] > 0)
    ph = np.abs(mine.ph - theirs[:, k, 0])[sound].max()
    index = np.abs(mine.calcite_saturation_index - theirs[:, k, 1])[hard].max()
    off = np.abs(mine.ccpp_mg_L_as_CaCO3 - theirs[:, k, 2])[sound]
    limit = np.maximum(0.3, 0.005 * np.abs(theirs[sound, k, 2]))
    source = f"PHREEQC, phreeqc.dat of phreeqpython, {sound.sum()} random waters, at {LABELS[k]} °C"
    printed(source, "largest difference in pH", ph, 0.0, 0.005, kind="second_solver", why="third decimal asked for")
    printed(
        source,
        "largest difference in calcite index",
        index,
        0.0,
        0.005,
        kind="second_solver",
        why="third decimal asked for",
    )
    printed(
        source,
        "largest CCPP difference over max(0.3 mg/L, 0.5 %)",
        float((off / limit).max()),
        0.0,
        1.0,
        kind="second_solver",
        why="the limit itself; 99.9 % of waters asked for, all reached",
    )


def test_inorganic_carbon(both: Any) -> None:
    _, theirs, ours = both
    sound = ~np.isnan(theirs[:, 0, 0])
    # where hydroxide carries nearly all alkalinity the carbon is a small difference of large numbers
    off = np.abs(ours.dic_mol_L - theirs[:, 0, 3])[sound]
    assert (off <= 1e-3 * theirs[sound, 0, 3] + 2e-6).all()
