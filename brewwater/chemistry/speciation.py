"""Waters solved at a temperature: pH, saturation, CCPP, pCO2. Any broadcastable shape; both cores when many.

Heating or cooling in a closed vessel keeps every total; so ``speciate(totals, 93)`` is the water heated
without losing CO2, and ``speciate(degas(totals, 93), 93)`` the other end, an open kettle. Constants hold from
0 to 90 °C, to 130 °C they are extrapolated (``Speciation.extrapolated``), and to an ionic strength of
0.1 mol/L (``Speciation.too_saline``).
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.constants import (
    EXTRAPOLATED_TO_C,
    LN10,
    VALID_TO_C,
    VALID_TO_IONIC_STRENGTH_MOL_L,
    log_k,
)
from brewwater.chemistry.equilibrium import Constants, Gammas, State, solve, species
from brewwater.chemistry.totals import Totals
from brewwater.errors import InputError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MG_CACO3_PER_MOL = 100086.9
CHUNK = 8000
_ATMOSPHERE = -3.4  # about 400 ppm of CO2


@dataclass(frozen=True)
class Speciation:
    """Waters at chemical equilibrium at ``temperature_C``; every array has the broadcast shape, NaN where
    ``converged`` is False.

    ``ph``; ``ionic_strength_mol_L``; ``calcite_saturation_index`` (log10 of IAP/Ksp);
    ``gypsum_saturation_index``; ``log_pco2`` (log10 atm, the pressure the water would be in balance with);
    ``co2_mol_L``; ``bicarbonate_mol_L`` and ``carbonate_mol_L`` free; ``buffer_capacity_eq_L`` (dAlk/dpH at
    constant DIC, eq/L per pH unit). ``ccpp_mg_L_as_CaCO3`` is computed when first asked for.
    """

    totals: Totals
    temperature_C: FloatArray
    ph: FloatArray
    ionic_strength_mol_L: FloatArray
    calcite_saturation_index: FloatArray
    gypsum_saturation_index: FloatArray
    log_pco2: FloatArray
    co2_mol_L: FloatArray
    bicarbonate_mol_L: FloatArray
    carbonate_mol_L: FloatArray
    buffer_capacity_eq_L: FloatArray
    converged: BoolArray

    @cached_property
    def ccpp_mg_L_as_CaCO3(self) -> FloatArray:
        """Calcium carbonate precipitation potential: the calcite that must drop out (positive) or dissolve
        (negative) to reach saturation at this temperature in a closed vessel, mg/L as CaCO3."""
        return ccpp(self.totals, self.temperature_C)

    @property
    def extrapolated(self) -> BoolArray:
        """True where the temperature is above 90 °C, the range of the constants."""
        return np.broadcast_to(self.temperature_C > VALID_TO_C, self.ph.shape)

    @property
    def too_saline(self) -> BoolArray:
        """True where the ionic strength is above 0.1 mol/L, the range of the activity model."""
        return np.asarray(self.ionic_strength_mol_L > VALID_TO_IONIC_STRENGTH_MOL_L)


def _checked(temperature_C: ArrayLike) -> FloatArray:
    t = np.asarray(temperature_C, dtype=np.float64)
    bad = ~((t >= 0) & (t <= EXTRAPOLATED_TO_C))
    if bad.any():
        raise InputError("temperature_C", float(t[bad].flat[0]), "0 to 130 °C can be computed", "Correct it.")
    return t


def _over_chunks(work: Callable[[Totals, FloatArray, FloatArray | None], tuple[Any, ...]], totals: Totals,
                 temperature_C: FloatArray, held: FloatArray | None = None) -> tuple[Any, ...]:
    """Run ``work`` on flat chunks that fit the cache, on every core, and put the results together."""
    shape = np.broadcast_shapes(totals.shape, temperature_C.shape, () if held is None else held.shape)

    def flat(a: FloatArray) -> FloatArray:
        return np.ascontiguousarray(np.broadcast_to(np.asarray(a, dtype=np.float64), shape).reshape(-1))

    flat_totals = totals.map(flat)
    single = temperature_C.size == 1
    flat_t = temperature_C.reshape(-1) if single else flat(temperature_C)
    flat_held = None if held is None else flat(held)
    n = flat_totals.alkalinity.size
    pieces = [slice(i, i + CHUNK) for i in range(0, n, CHUNK)] or [slice(0, 0)]

    def one(rows: slice) -> tuple[Any, ...]:
        with np.errstate(all="ignore"):
            return work(
                flat_totals.map(lambda a: a[rows]),
                flat_t if single else flat_t[rows],
                None if flat_held is None else flat_held[rows],
            )

    cores = min(len(pieces), os.cpu_count() or 1)
    if cores == 1:
        parts = [one(rows) for rows in pieces]
    else:
        with ThreadPoolExecutor(cores) as pool:
            parts = list(pool.map(one, pieces))
    return tuple(np.concatenate(column).reshape(shape) for column in zip(*parts, strict=True))


def speciate(totals: Totals, temperature_C: ArrayLike) -> Speciation:
    """Solve waters at a temperature, nothing lost and nothing dropped out.

    Parameters
    ----------
    totals : mol/L and eq/L, any broadcastable shape; ``dic`` must not be negative
    temperature_C : °C, 0 to 130

    Raises
    ------
    InputError : a temperature outside that
    """
    at = _checked(temperature_C)

    def work(t: Totals, temperature: FloatArray, _: FloatArray | None) -> tuple[Any, ...]:
        k = Constants.at(temperature)
        state = solve(t, k)
        good = state.solved & (t.dic >= 0)
        return tuple(np.where(good, v, np.nan) for v in _results(t, k, temperature, state)) + (good,)

    return Speciation(totals, at, *_over_chunks(work, totals, at))


def _results(t: Totals, k: Constants, temperature: FloatArray, x: State) -> tuple[FloatArray, ...]:
    g = Gammas.at(x.ionic_strength, k)
    act_c = g.carbonate1**4 * x.c
    co2_activity = np.exp(k.co2) * x.h * x.h * act_c / x.water_activity
    hco3 = np.exp(k.hco3) * x.h * act_c / g.carbonate1
    gypsum = np.log10(g.calcium * x.calcium * g.sulfate * x.s * x.water_activity**2)
    return (
        -np.log10(x.h),
        x.ionic_strength,
        (np.log(g.calcium * x.calcium * act_c) - k.calcite) / LN10,
        gypsum - log_k("gypsum", temperature),
        np.log10(co2_activity) - log_k("co2_gas", temperature),
        co2_activity / g.neutral,
        hco3,
        x.c,
        x.buffer * LN10,
    )


def solve_ph(totals: Totals, temperature_C: ArrayLike) -> FloatArray:
    """pH of waters at a temperature in a closed vessel; NaN where unsolved. Arguments as ``speciate``."""
    return speciate(totals, temperature_C).ph


def calcite_saturation_index(totals: Totals, temperature_C: ArrayLike) -> FloatArray:
    """log10(IAP/Ksp) of calcite at a temperature in a closed vessel; NaN where unsolved."""
    return speciate(totals, temperature_C).calcite_saturation_index


def ccpp(totals: Totals, temperature_C: ArrayLike) -> FloatArray:
    """Calcium carbonate precipitation potential at a temperature, closed vessel, mg/L as CaCO3.

    Positive where calcite drops out, negative where it would dissolve; NaN where unsolved. Calcite and pH are
    solved together.
    """
    at = _checked(temperature_C)

    def work(t: Totals, temperature: FloatArray, _: FloatArray | None) -> tuple[Any, ...]:
        state = solve(t, Constants.at(temperature), calcite=True)
        good = state.solved & (t.dic >= 0)
        return (np.where(good, (t.calcium - state.calcium_total) * MG_CACO3_PER_MOL, np.nan),)

    result: FloatArray = _over_chunks(work, totals, at)[0]
    return result


def precipitate(totals: Totals, ccpp_mg_L_as_CaCO3: ArrayLike) -> Totals:
    """The water after so much calcite has dropped out (negative: dissolved)."""
    mol = np.asarray(ccpp_mg_L_as_CaCO3, dtype=np.float64) / MG_CACO3_PER_MOL
    return replace(
        totals,
        calcium=totals.calcium - mol,
        dic=totals.dic - mol,
        alkalinity=totals.alkalinity - 2 * mol,
    )


def dic_from_ph(totals: Totals, ph: ArrayLike, temperature_C: ArrayLike) -> FloatArray:
    """Inorganic carbon, mol/L, of waters whose pH was measured at ``temperature_C``.

    ``totals.dic`` is not read. Negative where alkalinity and pH imply no inorganic carbon: such a water
    cannot be, and ``speciate`` marks it unsolved. NaN where unsolved.

    Parameters
    ----------
    totals : mol/L and eq/L
    ph : 0 to 14
    temperature_C : °C of the pH measurement, 0 to 130
    """
    at = _checked(temperature_C)

    def work(t: Totals, temperature: FloatArray, held: FloatArray | None) -> tuple[Any, ...]:
        state = solve(t, Constants.at(temperature), "ph", ph=held)
        dic = 0.5 * (t.alkalinity + state.proton)
        return (np.where(state.solved | (dic <= 0), dic, np.nan),)

    result: FloatArray = _over_chunks(work, replace(totals, dic=np.zeros(())), at,
                                      np.asarray(ph, dtype=np.float64))[0]
    return result


def degas(totals: Totals, temperature_C: ArrayLike, log_pco2: ArrayLike = _ATMOSPHERE) -> Totals:
    """The water in balance with air: alkalinity and every ion kept, inorganic carbon as CO2 settles it.

    Parameters
    ----------
    totals : mol/L and eq/L; ``dic`` is not read
    temperature_C : °C, 0 to 130
    log_pco2 : log10 of the CO2 pressure in atm; -3.4 is outdoor air
    """
    at = _checked(temperature_C)

    def work(t: Totals, temperature: FloatArray, held: FloatArray | None) -> tuple[Any, ...]:
        assert held is not None
        ln_co2 = LN10 * (log_k("co2_gas", temperature) + held)
        state = solve(t, Constants.at(temperature), "open", ln_co2=ln_co2)
        return (np.where(state.solved, 0.5 * (t.alkalinity + state.proton), np.nan),)

    dic = _over_chunks(work, totals, at, np.asarray(log_pco2, dtype=np.float64))[0]
    return replace(totals, dic=dic)


def mix(waters: list[Totals] | tuple[Totals, ...], shares: ArrayLike) -> Totals:
    """Mix waters by volume; every total is conserved.

    Parameters
    ----------
    waters : ``k`` waters of shapes that broadcast
    shares : shape ``(k, ...)``, adding to 1 along the first axis
    """
    parts = np.asarray(shares, dtype=np.float64)
    if not np.allclose(parts.sum(axis=0), 1):
        raise InputError("shares", parts.sum(axis=0), "volume shares add to 1", "Correct the shares.")
    return Totals(*(
        np.asarray(sum(p * getattr(w, f.name) for p, w in zip(parts, waters, strict=True)), dtype=np.float64)
        for f in fields(Totals)
    ))


def species_at(totals: Totals, temperature_C: ArrayLike) -> tuple[dict[str, FloatArray], FloatArray]:
    """Molalities of every charged species, mol/L by name, and ionic strength, closed vessel; NaN unsolved."""
    at = _checked(temperature_C)
    names = ("h", "oh", "hco3", "hso4", "calcium", "caoh", "cahco3", "cahso4", "magnesium", "mgoh", "mghco3",
             "sodium", "naco3", "naso4", "potassium", "kso4")  # fmt: skip

    def work(t: Totals, temperature: FloatArray, _: FloatArray | None) -> tuple[Any, ...]:
        k = Constants.at(temperature)
        x = solve(t, k)
        m = species(t, k, Gammas.at(x.ionic_strength, k), x.water_activity, x.h, x.c, x.s, calcite=False)
        good = x.solved & (t.dic >= 0)
        values = [getattr(m, name) for name in names] + [x.c, x.s, x.ionic_strength]
        return tuple(np.where(good, v, np.nan) for v in values)

    *values, c, s, strength = _over_chunks(work, totals, at)
    found = dict(zip(names, values, strict=True))
    found["bicarbonate"] = found.pop("hco3")
    return found | {"carbonate": c, "sulfate": s, "chloride": totals.chloride, "nitrate": totals.nitrate}, strength
