"""Waters solved at a temperature: pH, saturation, CCPP, pCO2. Any broadcastable shape; both cores when many.

Heating or cooling in a closed vessel keeps every total; so ``speciate(totals, 93)`` is the water heated
without losing CO2, and ``speciate(degas(totals, 93), 93)`` the other end, an open kettle. Constants hold from
0 to 90 °C, to 130 °C they are extrapolated (``Speciation.extrapolated``), and to an ionic strength of
0.1 mol/L (``Speciation.too_saline``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.activity import condition, ln_gamma
from brewwater.chemistry.balance import balance
from brewwater.chemistry.chunks import MG_CACO3_PER_MOL, checked_temperature, over_chunks
from brewwater.chemistry.constants import LN10, VALID_TO_C, VALID_TO_IONIC_STRENGTH_MOL_L, log_k
from brewwater.chemistry.equilibrium import solve
from brewwater.chemistry.rows import SPECIES, Amounts, Constants, Solved, Workspace
from brewwater.chemistry.totals import Totals
from brewwater.errors import InputError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

OUTDOOR_LOG_PCO2 = -3.4  # about 400 ppm of CO2


@dataclass(frozen=True)
class Speciation:
    """Waters at chemical equilibrium at ``temperature_C``; every array has the broadcast shape, NaN where
    ``converged`` is False.

    ``ph``; ``ionic_strength_mol_L``; ``calcite_saturation_index`` (log10 of IAP/Ksp);
    ``gypsum_saturation_index``; ``log_pco2`` (log10 atm, the pressure the water would be in balance with);
    ``co2_mol_L``; ``bicarbonate_mol_L`` and ``carbonate_mol_L`` free. ``ccpp_mg_L_as_CaCO3`` and
    ``buffer_capacity_eq_L`` are computed when first asked for.
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
    converged: BoolArray

    @cached_property
    def ccpp_mg_L_as_CaCO3(self) -> FloatArray:
        """Calcium carbonate precipitation potential: the calcite that must drop out (positive) or dissolve
        (negative) to reach saturation at this temperature in a closed vessel, mg/L as CaCO3."""
        return ccpp(self.totals, self.temperature_C)

    @cached_property
    def buffer_capacity_eq_L(self) -> FloatArray:
        """dAlk/dpH at constant DIC and sulfate, eq/L for a pH unit."""

        def work(t: Totals, temperature: FloatArray, _: Sequence[FloatArray], w: Workspace) -> list[FloatArray]:
            k, amounts = Constants.at(temperature), Amounts.of(t, w.n)
            state = solve(amounts, k, w)
            good = state.solved & (t.dic >= 0)
            return [np.where(good, _buffer_capacity(amounts, k, state, w), np.nan)]

        return over_chunks(1, work, self.totals, self.temperature_C)[0]

    @property
    def extrapolated(self) -> BoolArray:
        """True where the temperature is above 90 °C, the range of the constants."""
        return np.broadcast_to(self.temperature_C > VALID_TO_C, self.ph.shape)

    @property
    def too_saline(self) -> BoolArray:
        """True where the ionic strength is above 0.1 mol/L, the range of the activity model."""
        return np.asarray(self.ionic_strength_mol_L > VALID_TO_IONIC_STRENGTH_MOL_L)


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
    at = checked_temperature(temperature_C)

    def work(t: Totals, temperature: FloatArray, _: Sequence[FloatArray], w: Workspace) -> list[FloatArray]:
        k = Constants.at(temperature)
        state = solve(Amounts.of(t, w.n), k, w)
        good = state.solved & (t.dic >= 0)
        return [*(np.where(good, v, np.nan) for v in _results(k, temperature, state)), good * 1.0]

    ph, strength, calcite, gypsum, pco2, co2, hco3, co3, good = over_chunks(9, work, totals, at)
    return Speciation(totals, at, ph, strength, calcite, gypsum, pco2, co2, hco3, co3, converged=good > 0)


def _results(k: Constants, temperature: FloatArray, x: Solved) -> tuple[FloatArray, ...]:
    gamma1 = np.exp(ln_gamma("carbonate", 1, x.strength, k))
    carbonate = gamma1**4 * x.c
    ln_co2 = k.species[SPECIES.index("co2")] + np.log(x.h * x.h * carbonate / x.water_activity)
    gypsum = (
        ln_gamma("calcium", 2, x.strength, k)
        + ln_gamma("sulfate", 2, x.strength, k)
        + np.log(x.calcium * x.s * x.water_activity**2)
    )
    return (
        -np.log10(x.h),
        x.strength,
        np.log10(x.calcium * x.c / x.ksp),
        gypsum / LN10 - log_k("gypsum", temperature),
        ln_co2 / LN10 - log_k("co2_gas", temperature),
        np.exp(ln_co2 - 0.1 * LN10 * x.strength),
        np.exp(k.species[SPECIES.index("hco3")]) * x.h * carbonate / gamma1,
        x.c,
    )


def _buffer_capacity(t: Amounts, k: Constants, x: Solved, w: Workspace) -> FloatArray:
    """dAlk/dpH at constant DIC and sulfate, eq/L: what h alone would do, less what c and s give back."""
    condition(k, x.strength, np.log(x.water_activity), w)
    hh, hc, hs, cc, cs, ss = balance(t, x.free, None, w)[3:]
    return np.asarray(LN10 * (hh - hs * hs / ss - (hc - hs * cs / ss) ** 2 / (cc - cs * cs / ss)), dtype=np.float64)


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
    at = checked_temperature(temperature_C)

    def work(t: Totals, temperature: FloatArray, _: Sequence[FloatArray], w: Workspace) -> list[FloatArray]:
        state = solve(Amounts.of(t, w.n), Constants.at(temperature), w, calcite=True)
        good = state.solved & (t.dic >= 0)
        return [np.where(good, (t.calcium - state.calcium_total) * MG_CACO3_PER_MOL, np.nan)]

    return over_chunks(1, work, totals, at)[0]


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
    at = checked_temperature(temperature_C)

    def work(t: Totals, own: FloatArray, held: Sequence[FloatArray], w: Workspace) -> list[FloatArray]:
        state = solve(Amounts.of(t, w.n), Constants.at(own), w, "ph", ph=held[0])
        return [np.where(state.solved | (state.dic <= 0), state.dic, np.nan)]

    return over_chunks(1, work, replace(totals, dic=np.zeros(())), at, ph)[0]


def degas(totals: Totals, temperature_C: ArrayLike, log_pco2: ArrayLike = OUTDOOR_LOG_PCO2) -> Totals:
    """The water in balance with air: alkalinity and every ion kept, inorganic carbon as CO2 settles it.

    Parameters
    ----------
    totals : mol/L and eq/L; ``dic`` is not read
    temperature_C : °C, 0 to 130
    log_pco2 : log10 of the CO2 pressure in atm; -3.4 is outdoor air
    """
    return replace(totals, dic=_open(totals, temperature_C, log_pco2)[0])


def degassed_ph(totals: Totals, temperature_C: ArrayLike, log_pco2: ArrayLike = OUTDOOR_LOG_PCO2) -> FloatArray:
    """pH of waters in balance with air, that of ``degas`` without solving it again; NaN where unsolved.
    Arguments as ``degas``."""
    return _open(totals, temperature_C, log_pco2)[1]


def _open(totals: Totals, temperature_C: ArrayLike, log_pco2: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Inorganic carbon, mol/L, and pH at a held pressure of CO2."""
    at = checked_temperature(temperature_C)

    def work(t: Totals, own: FloatArray, held: Sequence[FloatArray], w: Workspace) -> list[FloatArray]:
        ln_co2 = LN10 * (log_k("co2_gas", own) + held[0])
        state = solve(Amounts.of(t, w.n), Constants.at(own), w, "open", ln_co2=ln_co2)
        return [np.where(state.solved, value, np.nan) for value in (state.dic, -np.log10(state.h))]

    dic, ph = over_chunks(2, work, replace(totals, dic=np.zeros(())), at, log_pco2)
    return dic, ph


def mix(waters: Sequence[Totals], shares: ArrayLike) -> Totals:
    """Mix waters by volume; every total is conserved.

    Parameters
    ----------
    waters : ``k`` waters of shapes that broadcast
    shares : shape ``(k, ...)``, adding to 1 along the first axis
    """
    parts = np.asarray(shares, dtype=np.float64)
    if not np.allclose(parts.sum(axis=0), 1):
        raise InputError("shares", parts.sum(axis=0), "volume shares add to 1", "Correct the shares.")
    return Totals(
        *(
            np.asarray(sum(p * getattr(w, f.name) for p, w in zip(parts, waters, strict=True)), dtype=np.float64)
            for f in fields(Totals)
        )
    )


def species_at(totals: Totals, temperature_C: ArrayLike) -> tuple[dict[str, FloatArray], FloatArray]:
    """Every dissolved species in mol/L by name, and ionic strength, closed vessel; NaN where unsolved."""
    at = checked_temperature(temperature_C)

    def work(t: Totals, temperature: FloatArray, _: Sequence[FloatArray], w: Workspace) -> list[FloatArray]:
        k, amounts = Constants.at(temperature), Amounts.of(t, w.n)
        x = solve(amounts, k, w)
        condition(k, x.strength, np.log(x.water_activity), w)
        balance(amounts, x.free, None, w)
        good = x.solved & (t.dic >= 0)
        potassium = t.potassium - w.m[SPECIES.index("kso4")]
        return [np.where(good, v, np.nan) for v in (*w.m, *w.metal, potassium, x.c, x.s, x.strength)]

    *values, strength = over_chunks(len(SPECIES) + 7, work, totals, at)
    names = (*SPECIES, "calcium", "magnesium", "sodium", "potassium", "carbonate", "sulfate")
    found = dict(zip(names, values, strict=True))
    return found | {"chloride": totals.chloride, "nitrate": totals.nitrate}, strength
