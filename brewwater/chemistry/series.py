"""Many analysed waters judged in one go: at their own temperature, then heated in a closed vessel.

The same results as ``dic_from_ph``, ``speciate`` and ``ccpp`` one after the other, but each solve starts from
the one before and the pH that was measured is not solved for again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.chunks import MG_CACO3_PER_MOL, checked_temperature, over_chunks
from brewwater.chemistry.equilibrium import solve
from brewwater.chemistry.rows import Amounts, Constants, Solved, Workspace
from brewwater.chemistry.totals import Totals

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class AtTemperature:
    """Waters at one temperature, arrays of the broadcast shape, NaN where unsolved."""

    ph: FloatArray
    calcite_saturation_index: FloatArray
    ccpp_mg_L_as_CaCO3: FloatArray


@dataclass(frozen=True)
class JudgedSeries:
    """``dic_mol_L`` (negative where pH and alkalinity imply none) and ``ionic_strength_mol_L`` of the waters
    as analysed; ``own`` at their temperature; ``heated`` in the order asked for."""

    dic_mol_L: FloatArray
    ionic_strength_mol_L: FloatArray
    own: AtTemperature
    heated: tuple[AtTemperature, ...]


def judge(totals: Totals, ph: ArrayLike, temperature_C: ArrayLike, heated_to_C: Sequence[float] = ()) -> JudgedSeries:
    """Judge analysed waters at their own temperature and heated without losing CO2.

    Parameters
    ----------
    totals : mol/L and eq/L, any broadcastable shape; ``dic`` is not read
    ph : measured at ``temperature_C``
    temperature_C : °C, 0 to 130
    heated_to_C : °C, each 0 to 130
    """
    own = checked_temperature(temperature_C)
    heat = [checked_temperature(t).reshape(1) for t in heated_to_C]

    def work(t: Totals, at: FloatArray, held: Sequence[FloatArray], w: Workspace) -> list[FloatArray]:
        k, amounts = Constants.at(at), Amounts.of(t, w.n)
        state = solve(amounts, k, w, "ph", ph=held[0])
        dic = np.where(state.solved | (state.dic <= 0), state.dic, np.nan)
        sound = state.solved & (dic >= 0)
        amounts = amounts.with_dic(np.where(sound, dic, np.nan))
        results = [dic, np.where(sound, state.strength, np.nan)]
        for series, constants in enumerate([k, *(Constants.at(h) for h in heat)]):
            if series:
                state = solve(amounts, constants, w, before=state)
            with_calcite = solve(amounts, constants, w, calcite=True, before=state)
            results += _judged(t.calcium, state, with_calcite, sound)
        return results

    dic, strength, *rest = over_chunks(5 + 3 * len(heat), work, replace(totals, dic=np.zeros(())), own, ph)
    series = [AtTemperature(*rest[i : i + 3]) for i in range(0, len(rest), 3)]
    return JudgedSeries(dic, strength, series[0], tuple(series[1:]))


def _judged(calcium: FloatArray, state: Solved, with_calcite: Solved, sound: NDArray[np.bool_]) -> list[FloatArray]:
    good = state.solved & sound
    ccpp = (calcium - with_calcite.calcium_total) * MG_CACO3_PER_MOL
    return [
        np.where(good, -np.log10(state.h), np.nan),
        np.where(good, np.log10(state.calcium * state.c / state.ksp), np.nan),
        np.where(with_calcite.solved & good, ccpp, np.nan),
    ]
