"""Concentrations of all species at given free h, c and s, and the mass balances with their derivatives."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from brewwater.chemistry.rows import (
    BY_C,
    BY_HC,
    BY_HS,
    BY_OH,
    BY_S,
    CAHCO3,
    CAHSO4,
    CAOH,
    CASO4,
    CO2,
    HSO4,
    KSO4,
    METAL_HC,
    METAL_OH,
    METAL_S,
    PAIR,
    Amounts,
    H,
    Workspace,
)

FloatArray = NDArray[np.float64]
TINY = 1e-14  # mol/L, stands for an absent ligand so that its logarithm exists


def balance(t: Amounts, free: FloatArray, calcite: FloatArray | None, w: Workspace) -> tuple[FloatArray, ...]:
    """Concentrations into ``w.m`` and ``w.metal``; the balances and their derivatives by (ln h, ln c, ln s).

    Parameters
    ----------
    t : totals
    free : rows h, c, s
    calcite : Ksp on concentrations where calcite holds calcium, else None

    Returns
    -------
    g_h, g_c, g_s : sums of nu m; hh, hc, hs, cc, cs, ss : the symmetric derivative. Rows of ``w``.
    """
    h, c, s = free
    m, k, metal = w.m, w.k, w.metal
    hc, hs, co2, g_h, g_c, g_s, hh, hc_, hs_, cc, cs, ss, x = w.rows[:13]
    np.multiply(h, c, out=hc)
    np.multiply(h, s, out=hs)
    np.multiply(k[BY_C], c, out=m[BY_C])
    np.multiply(k[BY_HC], hc, out=m[BY_HC])
    np.multiply(k[BY_S], s, out=m[BY_S])
    np.multiply(k[BY_HS], hs, out=m[BY_HS])
    np.divide(k[BY_OH], h, out=m[BY_OH])
    np.multiply(k[H], h, out=m[H])
    hc *= h
    np.multiply(k[CO2], hc, out=m[CO2])
    np.multiply(m[CO2], m[CO2], out=m[PAIR])
    m[PAIR] *= k[PAIR]

    # metals: free = total / (1 + ratios of bound to free)
    den = w.three[0]
    np.add(m[BY_C], m[METAL_HC], out=den)
    den += m[METAL_S]
    den[:2] += m[METAL_OH]
    den[0] += m[CAHSO4]
    den += 1.0
    np.divide(t.metals, den, out=metal)
    if calcite is not None:
        np.divide(calcite, c, out=metal[0])
    m[BY_C] *= metal
    m[METAL_HC] *= metal
    m[METAL_S] *= metal
    m[METAL_OH] *= metal[:2]
    m[CAHSO4] *= metal[0]
    np.add(m[KSO4], 1.0, out=x)
    np.divide(t.potassium, x, out=x)
    m[KSO4] *= x

    # sums over blocks
    np.add(m[CO2], m[PAIR], out=co2)
    co2 += m[PAIR]
    np.add.reduce(m[BY_HC], axis=0, out=hc_)
    np.add.reduce(m[BY_OH], axis=0, out=x)
    np.add(m[CAHSO4], m[HSO4], out=hs_)
    np.add(hc_, hs_, out=g_h)
    g_h += m[H]
    np.add(g_h, x, out=hh)
    g_h -= x
    np.add.reduce(m[BY_C], axis=0, out=g_c)
    g_c += c
    g_c += hc_
    g_c += co2
    np.add.reduce(m[BY_S], axis=0, out=g_s)
    g_s += s
    g_s += hs_
    ss[:] = g_s
    np.multiply(m[PAIR], 2.0, out=x)
    np.add(g_c, x, out=cc)
    co2 *= 2.0
    g_h += co2
    hc_ += co2
    x *= 2.0
    hc_ += x
    co2 *= 2.0
    hh += co2
    x *= 2.0
    hh += x
    cs.fill(0.0)

    # what the metals take away; calcium in balance with calcite takes nothing, but its exponents change
    first = 0 if calcite is None else 1
    v_h, v_c, v_s, u_h, u_c = (b[first:] for b in w.three[1:6])
    share = w.three[6][first:]
    np.add(m[BY_C], m[METAL_HC], out=w.three[2])
    w.three[1][:] = m[METAL_HC]
    w.three[1][:2] -= m[METAL_OH]
    w.three[3][:] = m[METAL_S]
    w.three[1][0] += m[CAHSO4]
    w.three[3][0] += m[CAHSO4]
    np.multiply(metal, den, out=w.three[6])  # totals again, without dividing by nothing
    np.add(share, TINY, out=share)
    np.divide(v_h, share, out=u_h)
    np.divide(v_c, share, out=u_c)
    np.divide(v_s, share, out=share)
    for left, right, total in (
        (u_h, v_h, hh),
        (u_h, v_c, hc_),
        (u_h, v_s, hs_),
        (u_c, v_c, cc),
        (u_c, v_s, cs),
        (share, v_s, ss),
    ):
        np.multiply(left, right, out=den[first:])
        for row in den[first:]:
            total -= row
    if calcite is not None:
        np.add(m[0], m[CAHCO3], out=co2)
        g_c -= co2
        cc -= co2
        hc_ -= m[CAHCO3]
        np.add(m[CASO4], m[CAHSO4], out=co2)
        cs -= co2
        co2 += m[CAOH]
        co2 += metal[0]
        g_c -= co2
        cc += co2
        hc_ += m[CAOH]
        hc_ -= m[CAHSO4]
    return g_h, g_c, g_s, hh, hc_, hs_, cc, cs, ss
