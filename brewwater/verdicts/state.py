"""What is read of a water, solved once when first asked for: pH in line and cup, hot scale, conductivity."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from brewwater import chemistry
from brewwater.chemistry.activity import log_gamma_davies
from brewwater.chemistry.constants import EXTRAPOLATED_TO_C, VALID_TO_C, log_k, log_ks
from brewwater.chemistry.speciation import OUTDOOR_LOG_PCO2
from brewwater.chemistry.totals import Totals
from brewwater.errors import InputError
from brewwater.units import plain
from brewwater.water import CO2_G_PER_MOL, Water, speciate

FloatArray = NDArray[np.float64]

HOT_C = 93.0
READ = ("ph", "co2_mol_L", "calcite_saturation_index", "gypsum_saturation_index")


class _Batch:
    """Waters that are solved as one when anything of them is read: few draws cost half of one after the other.

    The last axis of every array is the water, one state's after the other's; NaN where unsolved.
    """

    def __init__(self, waters: Sequence[Water], machine_temperatures_C: Sequence[float]) -> None:
        self.shapes = [w.shape for w in waters]

        def joined(amounts: Sequence[FloatArray]) -> FloatArray:
            pairs = zip(amounts, self.shapes, strict=True)
            return np.concatenate([np.broadcast_to(a, shape).reshape(-1) for a, shape in pairs])

        self.totals = Totals(*(joined([getattr(w.totals, f.name) for w in waters]) for f in fields(Totals)))
        self.line_C = joined([w.temperature_C for w in waters])
        self.machine_C = joined([np.asarray(t) for t in machine_temperatures_C])
        if len(set(machine_temperatures_C)) == 1:
            self.machine_C = self.machine_C[:1]

    @cached_property
    def closed(self) -> Mapping[str, FloatArray]:
        """By field of ``Speciation``, nothing lost. The first axis: in the line, at 93 °C, and in the machine
        where that has another temperature."""
        hot = [] if (self.machine_C == HOT_C).all() else [self.machine_C]
        found = chemistry.speciate(self.totals, np.stack(np.broadcast_arrays(self.line_C, HOT_C, *hot)))
        return {name: getattr(found, name) for name in READ}

    @cached_property
    def air_ph(self) -> FloatArray:
        return chemistry.degassed_ph(self.totals, self.line_C)

    @cached_property
    def hot_ccpp_mg_L_as_CaCO3(self) -> FloatArray:
        return chemistry.ccpp(self.totals, HOT_C)

    @cached_property
    def machine_ccpp_mg_L_as_CaCO3(self) -> FloatArray:
        if (self.machine_C == HOT_C).all():
            return self.hot_ccpp_mg_L_as_CaCO3
        return chemistry.ccpp(self.totals, self.machine_C)

    @cached_property
    def conductivity_uS_cm(self) -> FloatArray:
        return chemistry.conductivity_uS_cm(self.totals)


class State:
    """Solved waters; every array has the water's shape, NaN where unsolved. Nothing is solved before it is read.

    ``line_ph``, ``line_co2_mg_L`` and ``cold_index`` are at the water's own temperature with all its CO2;
    ``air_ph`` is at the same temperature once CO2 has settled with the air. "Hot" is 93 °C, closed;
    ``machine_`` is the boiler's own temperature, closed. Indices are log10 saturation of calcite or gypsum.
    """

    def __init__(self, water: Water, machine_temperature_C: float) -> None:
        self.water = water
        self.machine_temperature_C = float(machine_temperature_C)
        self._own: tuple[_Batch, slice, tuple[int, ...]] | None = None

    def _of(self, values: Callable[[_Batch], FloatArray]) -> FloatArray:
        """This state's part of what its batch solves."""
        if self._own is None:
            solve_together([self])
        assert self._own is not None
        batch, rows, shape = self._own
        return values(batch)[rows].reshape(shape)

    @property
    def line_ph(self) -> FloatArray:
        return self._of(lambda b: b.closed["ph"][0])

    @property
    def air_ph(self) -> FloatArray:
        return self._of(lambda b: b.air_ph)

    @property
    def line_co2_mg_L(self) -> FloatArray:
        return self._of(lambda b: b.closed["co2_mol_L"][0]) * CO2_G_PER_MOL * 1000

    @property
    def cold_index(self) -> FloatArray:
        return self._of(lambda b: b.closed["calcite_saturation_index"][0])

    @property
    def hot_index(self) -> FloatArray:
        return self._of(lambda b: b.closed["calcite_saturation_index"][1])

    @property
    def hot_ccpp_mg_L_as_CaCO3(self) -> FloatArray:
        return self._of(lambda b: b.hot_ccpp_mg_L_as_CaCO3)

    @property
    def machine_index(self) -> FloatArray:
        return self._of(lambda b: b.closed["calcite_saturation_index"][-1])

    @property
    def machine_ccpp_mg_L_as_CaCO3(self) -> FloatArray:
        return self._of(lambda b: b.machine_ccpp_mg_L_as_CaCO3)

    @property
    def machine_gypsum_index(self) -> FloatArray:
        return self._of(lambda b: b.closed["gypsum_saturation_index"][-1])

    @property
    def conductivity_uS_cm(self) -> FloatArray:
        return self._of(lambda b: b.conductivity_uS_cm)

    @cached_property
    def tds_mg_L(self) -> FloatArray:
        return np.asarray(self.water.tds_mg_L, dtype=np.float64)

    @cached_property
    def larson_ratio(self) -> FloatArray:
        return chemistry.larson_skold_ratio(self.water.totals)

    @property
    def extrapolated(self) -> bool:
        """True where the boiler is hotter than the range of the constants (0 to 90 °C)."""
        return self.machine_temperature_C > VALID_TO_C


def solve_together(states: Sequence[State]) -> None:
    """Let states share one batch: whatever is read of one is then solved for all. To be called before any is read."""
    fresh = [s for s in states if s._own is None]
    if not fresh:
        return
    batch, first = _Batch([s.water for s in fresh], [s.machine_temperature_C for s in fresh]), 0
    for state, shape in zip(fresh, batch.shapes, strict=True):
        after = first + math.prod(shape)
        state._own, first = (batch, slice(first, after), shape), after


def describe(water: Water, machine_temperature_C: float = HOT_C) -> State:
    """The state of a water for the verdicts.

    Parameters
    ----------
    water : waters of any broadcastable shape
    machine_temperature_C : °C, 0 to 130; at 93 nothing is solved twice

    Raises
    ------
    InputError : a temperature outside 0 to 130 °C
    """
    _check(machine_temperature_C)
    return State(water, machine_temperature_C)


class Bounded(State):
    """A state for weighing: exact wherever that can change a severity, elsewhere a bound on the same side.

    A search reads only on which side of a bound a draw lies, and the calcite that does fall.

    - the line's pH by the first dissociation, corrected once for carbonate, pairs and acid; solved where that comes
      within ``LINE_DOUBT`` of the goal's bounds or too little of the carbon is CO2 to tell
    - ``ph_goal``: where the line's pH is inside it, air cannot take the water out (``cup.nearest_ph``). Elsewhere
      the pH in the air is solved, but where a plain estimate, by more than ``PH_DOUBT``, leads the way to the air
      through the goal.
    - what falls in the machine is 0 where even all alkalinity as bicarbonate leaves calcite undersaturated
    - ``gypsum_above``: calcium times sulfate, without ion pairs or activity coefficients, is never under the
      index.
    - ``conductivity_below``: ``LEAST_PER_EQ`` for each equivalent of ions is never over the conductivity.
    """

    PH_DOUBT = 0.35
    LINE_DOUBT = 0.06
    LEAST_ALKALINITY = 5e-5  # eq/L, under which acid itself counts
    LEAST_PER_EQ = 24_000.0  # µS/cm for eq/L; the slowest ion, magnesium, has 53,000 in dilute water

    def __init__(
        self,
        water: Water,
        machine_temperature_C: float,
        ph_goal: tuple[float, float],
        gypsum_above: float,
        conductivity_below: float,
    ) -> None:
        super().__init__(water, machine_temperature_C)
        self._ph_goal = ph_goal
        self._gypsum_above, self._conductivity_below = gypsum_above, conductivity_below

    @cached_property
    def _log_gamma(self) -> FloatArray:
        """log10 of a single charge's activity coefficient at 25 °C, ion pairs left out (Davies)."""
        t = self.water.totals
        strength = 0.5 * (t.cation_charge + t.anion_charge) + t.calcium + t.magnesium + t.sulfate
        return log_gamma_davies(1, np.maximum(strength, 0.0), 0.509)

    @cached_property
    def _line_estimate(self) -> tuple[FloatArray, NDArray[np.bool_]]:
        """pH of the line, and where that is told to within ``LINE_DOUBT``."""
        t = self.water.totals
        k1, k2, kw, ca_pair, mg_pair, ca_pair2, mg_pair2 = log_ks(
            ("k1", "k2", "kw", "cahco3", "mghco3", "caco3", "mgco3"), self.water.temperature_C
        )
        g = 10**self._log_gamma
        with np.errstate(all="ignore"):
            first = t.dic - t.alkalinity
            told = (t.alkalinity > self.LEAST_ALKALINITY) & (first > 0.05 * t.alkalinity)
            h = 10**k1 * first / (t.alkalinity * g)  # activity; concentrations below
            paired = 1 + (10**ca_pair * t.calcium + 10 ** (mg_pair + k2) * t.magnesium) * g**4
            paired2 = 1 + (10**ca_pair2 * t.calcium + 10**mg_pair2 * t.magnesium) * g**8
            carbonate = 10**k2 * t.alkalinity / paired / (h * g**3) * paired2
            base = 10**kw / (h * g) - h / g
            bicarbonate = (t.alkalinity - 2 * carbonate - base) / paired
            co2 = first + carbonate + base
            ph = np.log10(bicarbonate * g / co2) - k1
        return np.broadcast_arrays(ph, told & np.isfinite(ph))  # type: ignore[return-value]

    @cached_property
    def line_ph(self) -> FloatArray:
        """Exact within ``LINE_DOUBT`` of the goal and outside it short of red, elsewhere an estimate."""
        ph, told = self._line_estimate
        clear = told.copy()
        for bound in self._ph_goal:
            clear &= np.abs(ph - bound) > self.LINE_DOUBT
        return _solve_where(~clear, ph, self.water, lambda water: speciate(water).ph)

    @cached_property
    def air_ph(self) -> FloatArray:
        line, (low, high) = self.line_ph, self._ph_goal
        inside = (line >= low) & (line <= high)
        near, doubt = self._plain_airy_ph(), self.PH_DOUBT
        clear = (line < low) & (near > low + doubt)  # the way to the air leads through the goal
        return _solve_where(~(inside | clear), np.where(inside, line, near), self.water, _airy_ph)

    def _plain_airy_ph(self) -> FloatArray:
        """pH in balance with outdoor air, all alkalinity taken for bicarbonate at activity 1."""
        at = self.water.temperature_C
        first, gas = log_ks(("k1", "co2_gas"), at)
        with np.errstate(divide="ignore", invalid="ignore"):
            found = -first - gas - OUTDOOR_LOG_PCO2 + np.log10(self.water.totals.alkalinity)
        # so little alkalinity is not all bicarbonate: solve it
        return np.where(self.water.totals.alkalinity > 2e-5, found, self._ph_goal[0])

    @cached_property
    def machine_ccpp_mg_L_as_CaCO3(self) -> FloatArray:
        t = self.water.totals
        first, second, calcite = log_ks(("k1", "k2", "calcite"), np.asarray(self.machine_temperature_C))
        co2 = t.dic - t.alkalinity
        with np.errstate(divide="ignore", invalid="ignore"):
            by_co2 = np.log10(t.calcium * t.alkalinity**2 / co2) + (second - first - calcite)
            by_carbonate = np.log10(t.calcium * t.alkalinity / 2) - calcite
        told = (t.alkalinity > self.LEAST_ALKALINITY) & (co2 > np.maximum(self.LEAST_ALKALINITY, 0.05 * t.alkalinity))
        # calcium's square of charge, and bicarbonate twice: six times a single charge's; five are sure
        under = told & (by_co2 + 5 * self._log_gamma < -0.1) | (by_carbonate < 0)
        return _solve_where(
            ~np.broadcast_to(under, t.shape),
            np.zeros(t.shape),
            self.water,
            lambda water: chemistry.ccpp(water.totals, self.machine_temperature_C),
        )

    @cached_property
    def machine_gypsum_index(self) -> FloatArray:
        totals = self.water.totals
        with np.errstate(divide="ignore"):
            most = np.log10(totals.calcium * totals.sulfate)
        most = most - log_k("gypsum", np.asarray(self.machine_temperature_C))
        bound = np.broadcast_to(np.asarray(most, dtype=np.float64), totals.shape)

        def solved(water: Water) -> FloatArray:
            return speciate(water, self.machine_temperature_C).gypsum_saturation_index

        return _solve_where(bound > self._gypsum_above, bound, self.water, solved)

    @cached_property
    def conductivity_uS_cm(self) -> FloatArray:
        totals = self.water.totals
        bound = np.broadcast_to((totals.cation_charge + totals.anion_charge) * self.LEAST_PER_EQ, totals.shape)
        return _solve_where(
            ~(bound > self._conductivity_below), bound, self.water, lambda w: chemistry.conductivity_uS_cm(w.totals)
        )


def _solve_where(
    wanted: NDArray[np.bool_], otherwise: FloatArray, water: Water, solve: Callable[[Water], FloatArray]
) -> FloatArray:
    """``solve`` of the waters that are wanted, ``otherwise`` for the rest; both may have axes before the waters'."""
    if not wanted.any():
        return otherwise
    if wanted.all() and wanted.shape == water.shape:
        return solve(water)
    found = np.array(np.broadcast_to(otherwise, (*otherwise.shape[: otherwise.ndim - wanted.ndim], *wanted.shape)))

    def pick(amount: FloatArray) -> FloatArray:
        return np.asarray(np.broadcast_to(amount, wanted.shape)[wanted])

    found[..., wanted] = solve(Water.of(water.totals.map(pick), pick(water.temperature_C)))
    return found


def _airy_ph(water: Water) -> FloatArray:
    return chemistry.degassed_ph(water.totals, water.temperature_C)


def _check(temperature_C: float) -> None:
    if not 0 <= temperature_C <= EXTRAPOLATED_TO_C:
        raise InputError(
            "machine temperature",
            f"{plain(temperature_C, 6)} °C",
            f"0 to {plain(EXTRAPOLATED_TO_C, 6)} °C is needed",
            "Correct the boiler's temperature.",
        )
