"""The solver: activities, ion pairs and mass balances of the carbonate system, Newton steps on whole arrays.

Every dissolved species is made of the components H+ (activity ``h``), free carbonate ``c``, free sulfate
``s`` and a metal. With ``nu`` the exponents of a species in (h, c, s), the balances

    2 DIC - Alk = sum nu_h m,    DIC = sum nu_c m,    SO4 = sum nu_s m

are the gradient of a convex function of (ln h, ln c, ln s), and their Jacobian ``sum nu_i nu_j m``, less what
the metals take away, is symmetric and positive: Newton steps have one goal only. In equilibrium with calcite
the free calcium is ``Ksp/c``; calcium's exponents change and nothing else, the balances then being the
invariants of dissolution: 2 DIC - Alk, DIC - Ca and SO4. Activity coefficients and the activity of water lag
one step behind.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brewwater.chemistry.constants import LN10, activity_parameters, debye_hueckel, log_k
from brewwater.chemistry.totals import Totals

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MAX_STEPS = 60
_TINY = 1e-14  # mol/L, stands for an absent ligand so that its logarithm exists
_TOLERANCE = 1e-8

Mode = Literal["closed", "ph", "open"]


@dataclass(frozen=True, slots=True)
class Constants:
    """Natural logarithms of the constants at the waters' temperature, and Debye-Hückel A (on ln) and B."""

    kw: FloatArray
    hco3: FloatArray
    co2: FloatArray
    co2_pair: FloatArray
    hso4: FloatArray
    caoh: FloatArray
    caco3: FloatArray
    cahco3: FloatArray
    caso4: FloatArray
    cahso4: FloatArray
    mgoh: FloatArray
    mgco3: FloatArray
    mghco3: FloatArray
    mgso4: FloatArray
    naco3: FloatArray
    nahco3: FloatArray
    naso4: FloatArray
    kso4: FloatArray
    calcite: FloatArray
    a: FloatArray
    b: FloatArray

    @classmethod
    def at(cls, temperature_C: FloatArray) -> Constants:
        """The constants at a temperature, written as formation from the components H+, CO3, SO4, metal."""
        ln = {
            name: LN10 * log_k(name, temperature_C)
            for name in (
                "kw", "co2_pair", "hso4", "caoh", "caco3", "caso4", "mgoh", "mgco3", "mghco3", "mgso4",
                "naco3", "naso4", "kso4", "calcite",
            )
        }  # fmt: skip
        k1, k2 = LN10 * log_k("k1", temperature_C), LN10 * log_k("k2", temperature_C)
        a, b = debye_hueckel(temperature_C)
        return cls(
            **ln,
            hco3=-k2,
            co2=-k1 - k2,
            cahco3=LN10 * log_k("cahco3", temperature_C) - k2,
            cahso4=LN10 * log_k("cahso4", temperature_C) + ln["hso4"],
            nahco3=LN10 * log_k("nahco3", temperature_C) - k2,
            a=LN10 * a,
            b=b,
        )

    def take(self, rows: BoolArray) -> Constants:
        """The constants of some of the waters."""
        return Constants(*(v[rows] if v.ndim else v for v in (getattr(self, f.name) for f in fields(self))))


@dataclass(slots=True)
class State:
    """Solved waters: activity of H+, free concentrations in mol/L, and what follows from them."""

    h: FloatArray
    c: FloatArray
    s: FloatArray
    ionic_strength: FloatArray
    water_activity: FloatArray
    calcium: FloatArray
    calcium_total: FloatArray
    proton: FloatArray  # 2 DIC - Alk
    buffer: FloatArray  # -dAlk/dln h at constant DIC, eq/L
    solved: BoolArray

    def put(self, rows: BoolArray, part: State) -> None:
        """Write the part of the waters that was solved apart."""
        for f in fields(self):
            getattr(self, f.name)[rows] = getattr(part, f.name)


@dataclass(slots=True)
class Gammas:
    """Activity coefficients at an ionic strength."""

    h: FloatArray
    oh: FloatArray
    carbonate1: FloatArray  # HCO3-, NaSO4-, KSO4-; to the fourth power CO3--
    calcium: FloatArray
    magnesium: FloatArray
    sodium: FloatArray
    potassium: FloatArray
    sulfate: FloatArray
    cahco3: FloatArray
    mghco3: FloatArray
    mgoh: FloatArray
    davies: FloatArray
    neutral: FloatArray

    @classmethod
    def at(cls, ionic_strength: FloatArray, k: Constants) -> Gammas:
        """WATEQ extended Debye-Hückel; Davies for ions without parameters; 10^(0.1 I) for neutral species."""
        root = np.sqrt(ionic_strength)
        top = -k.a * root
        width = k.b * root
        parameters = activity_parameters()

        def wateq(name: str, charge: int) -> FloatArray:
            size, slope = parameters[name]
            exponent = (charge * charge) * top / (1 + size * width)
            if slope:
                exponent = exponent + (slope * LN10) * ionic_strength
            return np.exp(exponent)

        return cls(
            h=wateq("h", 1), oh=wateq("oh", 1), carbonate1=wateq("carbonate", 1), calcium=wateq("calcium", 2),
            magnesium=wateq("magnesium", 2), sodium=wateq("sodium", 1), potassium=wateq("potassium", 1),
            sulfate=wateq("sulfate", 2), cahco3=wateq("cahco3", 1), mghco3=wateq("mghco3", 1),
            mgoh=wateq("mgoh", 1),
            davies=np.exp(-k.a * (root / (1 + root) - 0.3 * ionic_strength)),
            neutral=np.exp(0.1 * LN10 * ionic_strength),
        )  # fmt: skip


@dataclass(slots=True)
class Molalities:
    """Every charged species, and the sums that the balances need."""

    h: FloatArray
    oh: FloatArray
    hco3: FloatArray
    co2: FloatArray
    hso4: FloatArray
    calcium: FloatArray
    caoh: FloatArray
    cahco3: FloatArray
    cahso4: FloatArray
    magnesium: FloatArray
    mgoh: FloatArray
    mghco3: FloatArray
    sodium: FloatArray
    naco3: FloatArray
    naso4: FloatArray
    potassium: FloatArray
    kso4: FloatArray
    calcium_total: FloatArray
    gradient: tuple[FloatArray, FloatArray, FloatArray]  # sums of nu_h m, nu_c m, nu_s m
    hessian: tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]  # hh hc hs cc cs ss


def species(t: Totals, k: Constants, g: Gammas, aw: FloatArray, h: FloatArray, c: FloatArray, s: FloatArray,
            calcite: bool) -> Molalities:
    """Concentrations of all species, mol/L, with the balances and their derivatives by (ln h, ln c, ln s)."""
    g1 = g.carbonate1
    g2 = g1 * g1
    act_c = g2 * g2 * c  # activity of carbonate
    act_s = g.sulfate * s
    hc, hs = h * act_c, h * act_s
    inv_0, inv_1, inv_d = 1 / g.neutral, 1 / g1, 1 / g.davies
    alkaline = aw / h

    h_ = h / g.h
    oh = np.exp(k.kw) * alkaline / g.oh
    hco3 = np.exp(k.hco3) * hc * inv_1
    co2_activity = np.exp(k.co2) * h * hc / aw
    co2 = co2_activity * inv_0
    pair = np.exp(k.co2_pair) * co2_activity * co2_activity * inv_0
    hso4 = np.exp(k.hso4) * hs * inv_d

    if calcite:
        act_ca = np.exp(k.calcite) / act_c
        ca = act_ca / g.calcium
        caco3 = np.exp(k.caco3 + k.calcite) * inv_0
        cahco3 = np.exp(k.cahco3) * act_ca * hc / g.cahco3
        caoh = np.exp(k.caoh) * act_ca * alkaline * inv_d
        caso4 = np.exp(k.caso4) * act_ca * act_s * inv_0
        cahso4 = np.exp(k.cahso4) * act_ca * hs * inv_d
    else:
        r1 = np.exp(k.caco3) * g.calcium * act_c * inv_0
        r2 = np.exp(k.cahco3) * g.calcium * hc / g.cahco3
        r3 = np.exp(k.caoh) * g.calcium * alkaline * inv_d
        r4 = np.exp(k.caso4) * g.calcium * act_s * inv_0
        r5 = np.exp(k.cahso4) * g.calcium * hs * inv_d
        ca = t.calcium / (1 + r1 + r2 + r3 + r4 + r5)
        caco3, cahco3, caoh, caso4, cahso4 = ca * r1, ca * r2, ca * r3, ca * r4, ca * r5

    r1 = np.exp(k.mgco3) * g.magnesium * act_c * inv_0
    r2 = np.exp(k.mghco3) * g.magnesium * hc / g.mghco3
    r3 = np.exp(k.mgoh) * g.magnesium * alkaline / g.mgoh
    r4 = np.exp(k.mgso4) * g.magnesium * act_s * inv_0
    mg = t.magnesium / (1 + r1 + r2 + r3 + r4)
    mgco3, mghco3, mgoh, mgso4 = mg * r1, mg * r2, mg * r3, mg * r4

    r1 = np.exp(k.naco3) * g.sodium * act_c * inv_d
    r2 = np.exp(k.nahco3) * g.sodium * hc * inv_0
    r4 = np.exp(k.naso4) * g.sodium * act_s * inv_1
    na = t.sodium / (1 + r1 + r2 + r4)
    naco3, nahco3, naso4 = na * r1, na * r2, na * r4

    r4 = np.exp(k.kso4) * g.potassium * act_s * inv_1
    po = t.potassium / (1 + r4)
    kso4 = po * r4

    # sums over species by exponent; the calcium species differ where calcite holds calcium
    co2_all = co2 + 2 * pair
    mg_h, mg_c, mg_s = mghco3 - mgoh, mgco3 + mghco3, mgso4
    na_c, na_s = naco3 + nahco3, naso4
    w_mg = 1 / np.maximum(t.magnesium, _TINY)
    w_na = 1 / np.maximum(t.sodium, _TINY)
    w_k = 1 / np.maximum(t.potassium, _TINY)
    g_h = h_ - oh + hco3 + 2 * co2_all + hso4 + cahco3 - caoh + cahso4 + mg_h + nahco3
    g_s = s + hso4 + caso4 + cahso4 + mg_s + na_s + kso4
    g_c = c + hco3 + co2_all + mg_c + na_c
    hh = (h_ + oh + hco3 + 4 * co2 + 16 * pair + hso4 + cahco3 + caoh + cahso4 + mghco3 + mgoh + nahco3
          - mg_h * mg_h * w_mg - nahco3 * nahco3 * w_na)
    h_c = hco3 + 2 * co2 + 8 * pair + mghco3 + nahco3 - mg_h * mg_c * w_mg - nahco3 * na_c * w_na
    h_s = hso4 + cahso4 - mg_h * mg_s * w_mg - nahco3 * na_s * w_na
    cc = c + hco3 + co2 + 4 * pair + mg_c + na_c - mg_c * mg_c * w_mg - na_c * na_c * w_na
    c_s = -mg_c * mg_s * w_mg - na_c * na_s * w_na
    ss = g_s - mg_s * mg_s * w_mg - na_s * na_s * w_na - kso4 * kso4 * w_k
    if calcite:
        bound = ca + caoh + caso4 + cahso4
        g_c = g_c - bound
        h_c = h_c + caoh - cahso4
        cc = cc + bound
        c_s = c_s - caso4 - cahso4
    else:
        ca_h, ca_c, ca_s = cahco3 - caoh + cahso4, caco3 + cahco3, caso4 + cahso4
        w_ca = 1 / np.maximum(t.calcium, _TINY)
        g_c = g_c + ca_c
        hh = hh - ca_h * ca_h * w_ca
        h_c = h_c + cahco3 - ca_h * ca_c * w_ca
        h_s = h_s - ca_h * ca_s * w_ca
        cc = cc + ca_c - ca_c * ca_c * w_ca
        c_s = c_s - ca_c * ca_s * w_ca
        ss = ss - ca_s * ca_s * w_ca
    return Molalities(
        h_, oh, hco3, co2_all, hso4, ca, caoh, cahco3, cahso4, mg, mgoh, mghco3, na, naco3, naso4, po, kso4,
        ca + caco3 + cahco3 + caoh + caso4 + cahso4, (g_h, g_c, g_s), (hh, h_c, h_s, cc, c_s, ss),
    )


def ionic_strength(t: Totals, c: FloatArray, s: FloatArray, m: Molalities) -> FloatArray:
    """Half the sum of z^2 m over all species, mol/L."""
    single = (
        m.h + m.oh + m.hco3 + m.hso4 + m.caoh + m.cahco3 + m.cahso4 + m.mgoh + m.mghco3 + m.sodium + m.naco3
        + m.naso4 + m.potassium + m.kso4 + t.chloride + t.nitrate
    )
    return np.asarray(0.5 * single + 2 * (m.calcium + m.magnesium + c + s), dtype=np.float64)


def _start(t: Totals, k: Constants, h: FloatArray | None) -> tuple[FloatArray, FloatArray]:
    """A first guess of h and free carbonate from alkalinity and DIC without ion pairs, at a middling gamma."""
    k1 = np.exp(k.hco3 - k.co2) * 1.15
    k2 = np.exp(-k.hco3) * 1.5
    kw = np.exp(k.kw) * 1.15
    dic = np.maximum(t.dic, 1e-12)
    if h is None:
        ratio = np.clip(t.alkalinity / dic, 1e-9, 2 - 1e-9)
        # alkalinity carried by carbonate alone: ratio h^2 + (ratio - 1) k1 h + (ratio - 2) k1 k2 = 0
        half = 0.5 * (ratio - 1) * k1
        root = np.sqrt(half * half - ratio * (ratio - 2) * k1 * k2)
        carbonate = np.where(half < 0, (root - half) / ratio, (2 - ratio) * k1 * k2 / (root + np.abs(half)))
        # strong acid or base beyond what carbonate carries, with the weak end of the buffer
        acid, base = -t.alkalinity, t.alkalinity - 2 * dic
        h_acid = 0.5 * (acid + np.sqrt(acid * acid + 4 * (kw + k1 * dic)))
        oh_base = 0.5 * (base + np.sqrt(base * base + 4 * kw * (1 + dic / k2)))
        h = np.clip(carbonate, kw / oh_base, h_acid)
    c = dic / (1 + h / k2 * (1 + h / k1))
    return h, c


def solve(t: Totals, k: Constants, mode: Mode = "closed", *, calcite: bool = False, ph: FloatArray | None = None,
          ln_co2: FloatArray | None = None, start: State | None = None) -> State:
    """Solve waters given as one-dimensional arrays of one length (constants may be single).

    Parameters
    ----------
    t : totals; ``dic`` is not read in modes ``ph`` and ``open``
    k : constants at the temperature wanted
    mode : ``closed`` keeps alkalinity and DIC; ``ph`` keeps alkalinity and holds pH; ``open`` keeps
        alkalinity and holds the activity of CO2
    calcite : hold calcite in equilibrium, dissolving or dropping what that needs
    ph, ln_co2 : what is held
    start : solved waters to start from

    Returns
    -------
    State : ``solved`` False where the steps did not settle
    """
    n = t.alkalinity.shape
    if start is not None:
        h, c, s = start.h, start.c, start.s
        strength, aw = start.ionic_strength, start.water_activity
    else:
        held = None if ph is None else np.exp(-LN10 * ph)
        carbon = t
        if mode != "closed":
            carbon = Totals(**{**{f.name: getattr(t, f.name) for f in fields(t)},
                               "dic": np.maximum(np.abs(t.alkalinity), 1e-6)})
        h, c = _start(carbon, k, held)
        s = np.maximum(t.sulfate, _TINY)
        strength = 0.5 * (
            4 * (t.calcium + t.magnesium + t.sulfate) + t.sodium + t.potassium + t.chloride + t.nitrate
            + np.abs(t.alkalinity)
        ) + 1e-7
        aw = np.ones(n)
    want_h = 2 * t.dic - t.alkalinity
    want_c = np.maximum(t.dic, _TINY) - (t.calcium if calcite else 0.0)
    want_alk = t.alkalinity - (2 * t.calcium if calcite else 0.0)
    want_s = np.maximum(t.sulfate, _TINY)
    if mode == "open":
        assert ln_co2 is not None
        g = Gammas.at(strength, k)
        c = np.exp(ln_co2 - k.co2) * aw / (h * h * g.carbonate1**4)

    solved = np.zeros(n, dtype=np.bool_)
    for step in range(MAX_STEPS):
        g = Gammas.at(strength, k)
        if mode == "open":
            assert ln_co2 is not None
            c = np.exp(ln_co2 - k.co2) * aw / (h * h * g.carbonate1**4)
        m = species(t, k, g, aw, h, c, s, calcite)
        g_h, g_c, g_s = m.gradient
        hh, hc, hs, cc, cs, ss = m.hessian
        new_strength = ionic_strength(t, c, s, m)
        f_s = g_s - want_s
        if mode == "closed":
            dh, dc, ds = _solve3(hh, hc, hs, cc, cs, ss, want_h - g_h, want_c - g_c, -f_s)
        elif mode == "ph":
            dh = np.zeros(n)
            dc, ds = _solve2(2 * cc - hc, 2 * cs - hs, cs, ss, want_alk - (2 * g_c - g_h), -f_s)
        else:
            dh, ds = _solve2(4 * hc - 4 * cc - hh, 2 * cs - hs, hs - 2 * cs, ss, want_alk - (2 * g_c - g_h), -f_s)
            dc = np.zeros(n)
        moved = np.maximum(np.maximum(np.abs(dh), np.abs(dc)), np.abs(ds))
        solved = (moved < _TOLERANCE) & (np.abs(new_strength - strength) <= 1e-7 * strength)
        if solved.all():
            break
        shrink = np.minimum(1.0, 2.3 / np.maximum(moved, 1e-300))
        h, c, s = h * np.exp(shrink * dh), c * np.exp(shrink * dc), s * np.exp(shrink * ds)
        # far from the answer a guess may imply absurd concentrations; keep gamma sensible until they settle
        strength = np.minimum(new_strength, 1.0) if step < 8 else np.minimum(new_strength, 10.0)
        aw = 1 - 0.017 * _molality_sum(t, m)
        aw = np.maximum(aw, 0.5)
    return State(h, c, s, strength, aw, m.calcium, m.calcium_total, g_h, hh, solved)


def _molality_sum(t: Totals, m: Molalities) -> FloatArray:
    return np.asarray(
        t.sodium + t.potassium + t.chloride + t.nitrate + m.calcium + m.magnesium + t.sulfate + m.hco3 + m.co2
        + m.oh + m.h,
        dtype=np.float64,
    )


def _solve2(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray, p: FloatArray,
            q: FloatArray) -> tuple[FloatArray, FloatArray]:
    det = a * d - b * c
    return (p * d - b * q) / det, (a * q - c * p) / det


def _solve3(hh: FloatArray, hc: FloatArray, hs: FloatArray, cc: FloatArray, cs: FloatArray, ss: FloatArray,
            p: FloatArray, q: FloatArray, r: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Solve the symmetric positive system by elimination of s, then c."""
    w = 1 / ss
    u, v = hs * w, cs * w
    hh, hc, cc = hh - u * hs, hc - u * cs, cc - v * cs
    p, q = p - u * r, q - v * r
    det = hh * cc - hc * hc
    dh = (p * cc - hc * q) / det
    dc = (hh * q - hc * p) / det
    return dh, dc, (r - hs * dh - cs * dc) * w


