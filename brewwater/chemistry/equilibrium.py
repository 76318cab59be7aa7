"""The solver: activities, ion pairs and mass balances of the carbonate system, Newton steps on whole arrays.

Every dissolved species is made of the components H+ (activity ``h``), free carbonate ``c``, free sulfate
``s`` and a metal. With ``nu`` the exponents of a species in (h, c, s), the balances

    2 DIC - Alk = sum nu_h m,    DIC = sum nu_c m,    SO4 = sum nu_s m

are the gradient of a convex function of (ln h, ln c, ln s), and their Jacobian ``sum nu_i nu_j m``, less what
the metals take away, is symmetric and positive: Newton steps have one goal only. In equilibrium with calcite
the free calcium is ``Ksp/c``; calcium's exponents change and nothing else, the balances then being the
invariants of dissolution: 2 DIC - Alk, DIC - Ca and SO4. Activity coefficients lag one step behind.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brewwater.chemistry.activity import condition
from brewwater.chemistry.balance import TINY, balance
from brewwater.chemistry.constants import LN10
from brewwater.chemistry.rows import (
    CAHCO3,
    CAHSO4,
    CAOH,
    CASO4,
    CO2,
    HCO3,
    HSO4,
    KSO4,
    OH,
    PAIR,
    Amounts,
    Constants,
    H,
    Solved,
    Workspace,
)

FloatArray = NDArray[np.float64]
Mode = Literal["closed", "ph", "open"]

MAX_STEPS = 60
STEP_DONE = 5e-4  # of a logarithm, and relative of ionic strength; about a thirtieth of it remains
_NO_CARBON = 1e-9  # mol/L
_LONGEST_STEP = 4.6  # a factor of a hundred


def near(t: Amounts, free: FloatArray, want_h: FloatArray, calcite: bool, w: Workspace, steps: int) -> None:
    """Bring h and c near the answer with the metals and sulfate held as they are: one unknown, cheap steps.

    With calcite, c follows from h by Alk - 2 Ca, a quadratic; else by DIC. The steps are Newton's on
    ln h for the logarithm of 2 DIC - Alk, which is nearly straight, or for itself where its sign is wrong.
    """
    h, c = free[:2]
    m, metal = w.m, w.metal
    first = 1 if calcite else 0
    x0 = 1 + m[first:3].sum(axis=0) / c
    x1 = m[3 + first : 7].sum(axis=0) / (h * c)
    x2 = (m[CO2] + 2 * m[PAIR]) / (h * h * c)
    base = m[13 + first : 16].sum(axis=0) * h
    acid = (m[H] + m[HSO4]) / h
    if calcite:
        bound = m[CAHCO3] / h
        solid = 2 * (metal[0] + m[CASO4]) * c
        keep = t.alkalinity - 2 * t.metals[0]
        charged = acid + bound
    else:
        charged = acid
        carbon = np.maximum(t.dic, TINY)
    for _ in range(steps):
        bicarbonate, carbonic = x1 * h, x2 * h * h
        oh, positive = base / h, charged * h
        if calcite:
            slope = 2 * x0 + bicarbonate
            rest = oh - positive - keep
            root = np.sqrt(rest * rest + 4 * slope * solid)
            c = np.where(rest < 0, (root - rest) / (2 * slope), 2 * solid / (root + rest))
            dc = c * (oh + positive - c * bicarbonate) / root
        else:
            total = x0 + bicarbonate + carbonic
            c = carbon / total
            dc = -c * (bicarbonate + 2 * carbonic) / total
        q = c * (bicarbonate + 2 * carbonic) + positive - oh
        dq = dc * (bicarbonate + 2 * carbonic) + c * (bicarbonate + 4 * carbonic) + positive + oh
        ratio = want_h / q
        step = np.where(ratio > 0, np.log(np.abs(ratio)) * q, want_h - q) / dq
        h = h * np.exp(np.minimum(np.maximum(step, -3.0), 3.0))
    free[0] = h
    np.copyto(free[1], c)


def start(t: Amounts, k: Constants, ph: FloatArray | None) -> FloatArray:
    """A first guess of h, c and s from alkalinity and DIC without ion pairs, at a middling gamma."""
    k1 = np.exp(k.species[HCO3] - k.species[CO2]) * 1.15
    k2 = np.exp(-k.species[HCO3]) * 1.5
    kw = np.exp(k.species[OH]) * 1.15
    s = np.maximum(0.8 * t.sulfate, TINY)
    if ph is not None:
        h = np.exp(-LN10 * ph)
        c = np.maximum(t.alkalinity + h - kw / h, 1e-9) / (2 + h / k2)
        return np.stack([h, c, s])
    dic = np.maximum(t.dic, 1e-12)
    ratio = np.minimum(np.maximum(t.alkalinity / dic, 1e-9), 2 - 1e-9)
    # alkalinity carried by carbonate alone: ratio h^2 + (ratio - 1) k1 h + (ratio - 2) k1 k2 = 0
    half = 0.5 * (ratio - 1) * k1
    product = (2 - ratio) * k1 * k2
    root = np.sqrt(half * half + ratio * product)
    carbonate = np.where(half < 0, (root - half) / ratio, product / (root + half))
    # strong acid or base beyond what carbonate carries, with the weak end of the buffer
    acid, base = -t.alkalinity, t.alkalinity - 2 * dic
    h_acid = 0.5 * (acid + np.sqrt(acid * acid + 4 * (kw + k1 * dic)))
    oh_base = 0.5 * (base + np.sqrt(base * base + 4 * kw * (1 + dic / k2)))
    h = np.minimum(np.maximum(carbonate, kw / oh_base), h_acid)
    return np.stack([h, dic / (1 + h / k2 * (1 + h / k1)), s])


def solve(
    t: Amounts,
    k: Constants,
    w: Workspace,
    mode: Mode = "closed",
    *,
    calcite: bool = False,
    ph: FloatArray | None = None,
    ln_co2: FloatArray | None = None,
    before: Solved | None = None,
) -> Solved:
    """Solve ``n`` waters.

    Parameters
    ----------
    t : totals; ``dic`` is not read in modes ``ph`` and ``open``
    k : constants at the temperature wanted
    w : scratch rows for at least ``n`` waters
    mode : ``closed`` keeps alkalinity and DIC; ``ph`` keeps alkalinity and holds pH; ``open`` keeps
        alkalinity and holds the activity of CO2
    calcite : hold calcite in equilibrium, dissolving or dropping what that needs
    ph, ln_co2 : what is held, shape ``(n,)``
    before : a state of these waters to start from

    Returns
    -------
    Solved : ``solved`` False where the steps did not settle
    """
    n = t.n
    if before is None:
        before = Solved.empty(n)
        before.free[:] = start(t if mode == "closed" else t.with_dic(np.maximum(t.alkalinity, 1e-6)), k, ph)
        before.strength[:] = (
            2.7 * (t.metals[0] + t.metals[1]) + t.metals[2] + t.potassium + 0.7 * t.sulfate - t.charge + before.h + 1e-7
        )
        before.water_activity[:] = 1.0
    return _steps(t, k, w, mode, calcite, ln_co2, before, MAX_STEPS, fresh=True)


def _steps(
    t: Amounts,
    k: Constants,
    w: Workspace,
    mode: Mode,
    calcite: bool,
    ln_co2: FloatArray | None,
    before: Solved,
    steps: int,
    *,
    fresh: bool,
) -> Solved:
    n = t.n
    w = w.of(n)
    out = Solved.empty(n)
    free, strength = out.free, out.strength
    free[:] = before.free
    strength[:] = before.strength
    aw, ln_aw = out.water_activity, w.more[1]
    aw[:] = before.water_activity
    want_s = np.maximum(t.sulfate, TINY)
    want_h = 2 * t.dic - t.alkalinity
    want_c = np.maximum(t.dic, TINY)
    if calcite:
        want_c -= t.metals[0]
    want_alk = t.alkalinity - 2 * t.metals[0] if calcite else t.alkalinity
    d, m, metal = w.step, w.m, w.metal
    new, x, y, moved = w.more[4:]
    solutes = t.others + t.dic - 2 * t.metals[0] if calcite else t.others
    for step in range(steps):
        np.log(aw, out=ln_aw)
        ksp = condition(k, strength, ln_aw, w)
        if mode == "open":
            np.divide(np.exp(ln_co2 - 0.1 * LN10 * strength) / w.k[CO2], free[0] * free[0], out=free[1])
        sums = balance(t, free, ksp if calcite else None, w)
        if fresh and step == 0 and mode == "closed":
            near(t, free, want_h, calcite, w, 3)
            sums = balance(t, free, ksp if calcite else None, w)
        g_h, g_c, g_s, hh, hc, hs, cc, cs, ss = sums
        if mode == "closed":
            _newton3(d, sums, want_h, want_c, want_s, w)
        elif mode == "ph":
            d[0] = 0.0
            d[1], d[2] = _newton2(2 * cc - hc, 2 * cs - hs, cs, ss, want_alk - 2 * g_c + g_h, want_s - g_s)
            # nearly linear in c and s themselves; a step in the logarithm that ends there
            np.log1p(np.maximum(d[1:], -0.99), out=d[1:])
        else:
            d[0], d[2] = _newton2(
                4 * (hc - cc) - hh, 2 * cs - hs, hs - 2 * cs, ss, want_alk - 2 * g_c + g_h, want_s - g_s
            )
            np.multiply(d[0], -2.0, out=d[1])
        # metals after the step, to first order, and with them the ionic strength: gamma lags by one step only
        change = w.three[4]
        change *= d[0]
        w.three[5] *= d[1]
        change += w.three[5]
        w.three[6] *= d[2]
        change += w.three[6]
        change *= metal
        if calcite:
            np.multiply(metal[0], d[1], out=change[0])
        np.subtract(metal, change, out=change)
        np.add(change[0], change[1], out=new)
        new *= 3.0
        new += change[2]
        new += t.potassium
        new -= m[KSO4]
        np.add(d[0], 1.0, out=x)
        x *= m[H]
        new += x
        np.add(d[0], d[1], out=x)
        x += 1.0
        np.add(m[CAHCO3], m[4], out=y)
        y *= x
        new += y
        new += m[CAHSO4]
        new += m[CAOH]
        new += m[14]
        new -= t.charge
        np.add(d[1:], 1.0, out=w.three[0][:2])
        w.three[0][:2] *= free[1:]
        new += w.three[0][0]
        new += w.three[0][1]

        # activity of water by the sum of all solutes; bound ones count once
        np.add.reduce(w.three[2], axis=0, out=moved)
        np.add.reduce(w.three[3], axis=0, out=y)
        moved += y
        moved += m[KSO4]
        if calcite:
            np.add(change[0], m[0], out=x)
            x += m[CAHCO3]
            x += m[CASO4]
            x *= 2.0
            x += solutes
        else:
            np.add(solutes, g_c, out=x)
        x += m[OH]
        x -= moved
        np.multiply(x, -0.017, out=aw)
        aw += 1.0
        np.maximum(aw, 0.5, out=aw)
        np.abs(d, out=w.three[0])
        np.maximum.reduce(w.three[0], axis=0, out=moved)
        np.subtract(new, strength, out=x)
        np.abs(x, out=x)
        np.multiply(new, STEP_DONE, out=y)
        settled = (moved < STEP_DONE) & (x < y)
        # lost to overflow or not a number, or (pH held) no carbon left to take away: further steps are idle
        idle = ~np.isfinite(moved)
        if mode == "ph":
            idle |= (g_c < _NO_CARBON) & (d[1] < -2)
        todo = n - int(np.count_nonzero(settled | idle))
        if not moved.max(initial=0.0) <= _LONGEST_STEP:  # one that is not a number shall not spare the others
            d *= np.minimum(1.0, _LONGEST_STEP / moved)
            np.minimum(new, 1.0, out=new)
        np.maximum(new, 1e-9, out=strength)
        np.exp(d, out=w.three[0])
        free *= w.three[0]
        if 2 * todo < n:
            break
    # everything else at the end of the last step, to first order
    dh, dc, ds = d
    out.calcium[:] = change[0]
    out.ksp[:] = ksp
    out.solved[:] = settled
    if calcite:
        np.add(change[0], m[0], out=x)
        for row, factor in ((CAHCO3, 1 + dh), (CAOH, 1 - dh - dc), (CASO4, 1 + ds - dc), (CAHSO4, 1 + dh + ds - dc)):
            factor *= m[row]
            x += factor
        out.calcium_total[:] = x
    elif mode == "closed":
        out.dic[:] = t.dic
    else:
        out.dic[:] = g_c + hc * dh + cc * dc + cs * ds
    if mode == "ph":
        # hydroxide alone exceeds the alkalinity: the carbon that is implied is negative
        out.dic[idle] = 0.5 * (t.alkalinity + g_h)[idle]
    if todo and step + 1 < steps:
        rest = np.flatnonzero(~(settled | idle))
        out.put(
            rest,
            _steps(
                t.take(rest),
                k.take(rest),
                w,
                mode,
                calcite,
                None if ln_co2 is None else ln_co2[rest],
                out.take(rest),
                steps - step - 1,
                fresh=False,
            ),
        )
    return out


def _newton2(
    a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray, p: FloatArray, q: FloatArray
) -> tuple[FloatArray, FloatArray]:
    det = a * d - b * c
    return (p * d - b * q) / det, (a * q - c * p) / det


def _newton3(
    out: FloatArray,
    sums: tuple[FloatArray, ...],
    want_h: FloatArray,
    want_c: FloatArray,
    want_s: FloatArray,
    w: Workspace,
) -> None:
    """Solve the symmetric positive system into the rows of ``out``: s is eliminated, then Cramer's rule."""
    g_h, g_c, g_s, hh, hc, hs, cc, cs, ss = sums
    u, v, r, a, b, c, x = w.more[1:8]
    p, q = w.rows[0], w.rows[1]
    np.divide(hs, ss, out=u)
    np.divide(cs, ss, out=v)
    np.subtract(want_s, g_s, out=r)
    np.subtract(want_h, g_h, out=p)
    np.subtract(want_c, g_c, out=q)
    np.multiply(u, r, out=x)
    p -= x
    np.multiply(v, r, out=x)
    q -= x
    np.multiply(u, hs, out=a)
    np.subtract(hh, a, out=a)
    np.multiply(u, cs, out=b)
    np.subtract(hc, b, out=b)
    np.multiply(v, cs, out=c)
    np.subtract(cc, c, out=c)
    dh, dc, ds = out
    np.multiply(p, c, out=dh)
    np.multiply(b, q, out=x)
    dh -= x
    np.multiply(a, q, out=dc)
    np.multiply(b, p, out=x)
    dc -= x
    a *= c
    b *= b
    a -= b
    out[:2] /= a
    np.divide(r, ss, out=ds)
    u *= dh
    ds -= u
    v *= dc
    ds -= v
