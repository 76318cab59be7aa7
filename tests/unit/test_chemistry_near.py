"""What the solver starts from and steps by: a first guess, cheap steps before the first, balances and their slopes."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from brewwater.chemistry import Totals
from brewwater.chemistry.activity import condition
from brewwater.chemistry.balance import balance
from brewwater.chemistry.equilibrium import near, start
from brewwater.chemistry.rows import SPECIES, Amounts, Constants, Workspace

FloatArray = np.ndarray[Any, Any]
N = 300


def waters() -> Totals:
    rng = np.random.default_rng(11)
    calcium, magnesium, sodium, potassium, chloride, sulfate, nitrate, alkalinity, dic = 10 ** rng.uniform(
        -4, -2.2, (9, N)
    )
    # from mineral acid through half-neutralised and neutral to caustic
    alkalinity *= np.tile([-0.1, 0.1, 1, 1, 1, 1], N // 6)
    dic = np.where(alkalinity > 0, alkalinity * 10 ** rng.uniform(-0.2, 0.8, N), dic)
    return Totals(calcium, magnesium, sodium, potassium, chloride, sulfate, nitrate, alkalinity, dic)


class Before:
    """The species at a first guess, and what each becomes when h and c move while metals and sulfate stay."""

    def __init__(self, calcite: bool) -> None:
        self.t, self.w = Amounts.of(waters(), N), Workspace(N)
        constants = Constants.at(np.array([25.0]))
        self.free = start(self.t, constants, None)
        ksp = condition(constants, np.full(N, 0.01), np.zeros(N), self.w)
        balance(self.t, self.free, ksp if calcite else None, self.w)
        self.h, self.c = self.free[0].copy(), self.free[1].copy()
        self.m = {name: self.w.m[i].copy() for i, name in enumerate(SPECIES)}
        self.calcium = self.w.metal[0].copy()

    def moved(self, calcite: bool) -> dict[str, FloatArray]:
        """In balance with calcite the calcium goes with 1/c, and with it all that holds calcium."""
        h, c = self.free[0] / self.h, self.free[1] / self.c
        powers = {
            "caco3": c,
            "mgco3": c,
            "naco3": c,
            "cahco3": h * c,
            "mghco3": h * c,
            "nahco3": h * c,
            "hco3": h * c,
            "caso4": 1,
            "mgso4": 1,
            "naso4": 1,
            "kso4": 1,
            "cahso4": h,
            "hso4": h,
            "caoh": 1 / h,
            "mgoh": 1 / h,
            "oh": 1 / h,
            "h": h,
            "co2": h * h * c,
            "co2_pair": h * h * c,
        }
        held = {"caco3", "cahco3", "caso4", "cahso4", "caoh"} if calcite else set()
        found = {name: self.m[name] * powers[name] / (c if name in held else 1) for name in SPECIES}
        return found | {"carbonate": self.free[1], "calcium": self.calcium / (c if calcite else 1)}


def scaled(gap: FloatArray, *parts: FloatArray) -> float:
    """The greatest gap over the greatest part of the balance."""
    return float(np.max(np.abs(gap) / np.max(np.abs(parts), axis=0)))


def steps(calcite: bool, count: int) -> tuple[float, float]:
    """How far the two balances are from holding after so many steps."""
    at = Before(calcite)
    want = 2 * at.t.dic - at.t.alkalinity
    near(at.t, at.free, want, calcite, at.w, count)
    m = at.moved(calcite)
    carbon = (
        m["carbonate"] + sum(m[n] for n in ("mgco3", "naco3", "mghco3", "nahco3", "hco3", "co2")) + 2 * m["co2_pair"]
    )
    acid = sum(m[n] for n in ("mghco3", "nahco3", "hco3", "hso4", "h")) + 2 * m["co2"] + 4 * m["co2_pair"]
    base = m["mgoh"] + m["oh"] + (0 if calcite else m["caoh"])
    acid_gap = acid + m["cahco3"] - base - want
    if not calcite:
        carbon_gap = carbon + m["caco3"] + m["cahco3"] - at.t.dic
        return scaled(acid_gap, acid, base, want), scaled(carbon_gap, at.t.dic)
    # Alk - 2 Ca: what calcite takes of one it takes of the other
    alkaline = (
        2 * (m["carbonate"] + m["mgco3"] + m["naco3"])
        + m["mghco3"]
        + m["nahco3"]
        + m["hco3"]
        + base
        - m["h"]
        - m["hso4"]
    )
    solid = 2 * (m["calcium"] + m["caso4"]) + m["cahco3"]
    keep = at.t.alkalinity - 2 * at.t.metals[0]
    return scaled(acid_gap, acid, base, want), scaled(alkaline - solid - keep, alkaline, solid, keep)


@pytest.mark.parametrize("calcite", [False, True])
def test_steps_end_where_both_balances_hold(calcite: bool) -> None:
    assert max(steps(calcite, 60)) < 1e-13


@pytest.mark.parametrize("calcite", [False, True])
def test_steps_are_newtons(calcite: bool) -> None:
    # the digits double with each step near the end; with a wrong slope ten would leave far more
    assert max(steps(calcite, 10)) < 1e-12


@pytest.mark.parametrize("calcite", [False, True])
def test_derivatives_of_the_balances_are_their_slopes(calcite: bool) -> None:
    at = Before(calcite)
    at.t.potassium[:] = 0  # so little of it is bound that its slope is left out
    ksp = condition(Constants.at(np.array([25.0])), np.full(N, 0.01), np.zeros(N), at.w).copy() if calcite else None

    def balances(logs: FloatArray) -> list[FloatArray]:
        return [row.copy() for row in balance(at.t, np.exp(logs), ksp, at.w)]

    here = np.log(at.free)
    g_h, g_c, g_s, hh, hc, hs, cc, cs, ss = balances(here)
    told = np.array([[hh, hc, hs], [hc, cc, cs], [hs, cs, ss]])
    size = np.max(np.abs([g_h, g_c, g_s, hh, cc, ss]), axis=0)
    for j in range(3):
        step = np.zeros((3, 1))
        step[j] = 1e-4
        slopes = (np.array(balances(here + step)[:3]) - balances(here - step)[:3]) / 2e-4
        np.testing.assert_allclose(told[:, j] / size, slopes / size, atol=1e-7)


def test_the_first_guess_solves_the_water_without_pairs() -> None:
    t, k = Amounts.of(waters(), N), Constants.at(np.array([25.0]))
    h, c, s = start(t, k, None)
    # the thermodynamic constants at a middling activity of the ions
    k1, k2, kw = (10.0**x * g for x, g in ((-6.352, 1.15), (-10.329, 1.5), (-13.998, 1.15)))
    np.testing.assert_allclose(t.dic, c * (1 + h / k2 + h * h / (k1 * k2)), rtol=0.01)
    np.testing.assert_allclose(s, 0.8 * t.sulfate)
    alkaline = c * (2 + h / k2) + kw / h - h
    middle = (t.alkalinity > np.maximum(0.1 * t.dic, 1e-3)) & (t.alkalinity < t.dic)
    assert middle.sum() > 50
    np.testing.assert_allclose(alkaline[middle], t.alkalinity[middle], rtol=0.01)
    acid = t.alkalinity < 0  # all of it acid, and what CO2 gives
    np.testing.assert_allclose(alkaline[acid], t.alkalinity[acid], rtol=0.02, atol=1e-5)
    caustic = t.alkalinity > 2.2 * t.dic
    np.testing.assert_allclose(alkaline[caustic], t.alkalinity[caustic], rtol=0.05)
    held = np.full(N, 7.5)
    h, c, _ = start(t, k, held)
    np.testing.assert_allclose(h, 10.0**-7.5)
    rich = t.alkalinity > 1e-5
    np.testing.assert_allclose((c * (2 + h / k2) + kw / h - h)[rich], t.alkalinity[rich], rtol=0.01)
