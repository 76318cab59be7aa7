"""Flow and pressure: pipe and fittings by the fluids library, filter, pump, regulator, accumulator.

Flows in US gal/min, pressures in psi (gauge), arrays whose last axis is the draw.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from fluids import Hooper2K, friction_factor
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from brewwater import reference
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.plumbing.parts import Branch, Known, Pipe, Pump, backflow_drop_psi, limit
from brewwater.treatment import Stage, medium_class
from brewwater.units import GAL_L, INCH_M, PSI_KPA, plain

FloatArray = NDArray[np.float64]

GPM_M3_S = GAL_L / 1000 / 60
FT_M = 12 * INCH_M
ATMOSPHERE_PSI = 101.325 / PSI_KPA
GRAVITY_M_S2 = 9.80665
MOST_GPM = 60.0
_GRID = np.concatenate([np.arange(0, 10, 0.05), np.arange(10, MOST_GPM + 0.25, 0.5)])
ELBOW, TEE, VALVE = (
    "Elbow, 90°, Standard (R/D = 1), Screwed",
    "Tee, Run, Screwed",
    "Valve, Ball, Reduced trim, Beta = 0.9",
)


def density_kg_m3(temperature_C: float) -> float:
    """Density of water, 0 to 90 °C (``reference/water_density.csv``)."""
    return _water(temperature_C, "density_kg_m3")


def viscosity_Pa_s(temperature_C: float) -> float:
    """Viscosity of water, 0 to 90 °C (from memory, not verified)."""
    return _water(temperature_C, "viscosity_mPa_s") / 1000


def _water(temperature_C: float, column: str) -> float:
    rows = reference.table("water_density")
    at = [float(r["temperature_C"]) for r in rows]
    if not at[0] <= temperature_C <= at[-1]:
        raise InputError(
            "temperature",
            f"{plain(temperature_C, 6)} °C",
            f"{plain(at[0], 6)} to {plain(at[-1], 6)} °C is tabled",
            "Give the water's temperature.",
        )
    return float(_curve(column)(temperature_C))


@lru_cache(maxsize=8)
def _curve(column: str) -> PchipInterpolator:
    rows = reference.table("water_density")
    return PchipInterpolator([float(r["temperature_C"]) for r in rows], [float(r[column]) for r in rows])


def inside_diameter_in(size: str) -> float:
    """Inside diameter of a PEX pipe (SDR-9), inches."""
    return float(reference.keyed("pex_pipe", "size")[size]["inside_diameter_in"])


def hazen_williams_psi_per_ft(flow_gpm: float, inside_in: float) -> float:
    """Friction by Hazen and Williams, psi per foot: 4.52 Q^1.85 / (C^1.85 d^4.87). The printed PEX tables use
    it with C = 150; kept as the second opinion on ``pipe_loss_psi``."""
    c = limit("hazen_williams_c")
    return float(4.52 * flow_gpm**1.85 / (c**1.85 * inside_in**4.87))


@lru_cache(maxsize=256)
def _losses(pipe: Pipe, temperature_C: float) -> FloatArray:
    """Darcy and Hooper (two-K) loss of a pipe at each flow of the grid, psi."""
    inch = inside_diameter_in(pipe.size)
    bore, rho, mu = inch * INCH_M, density_kg_m3(temperature_C), viscosity_Pa_s(temperature_C)
    found = np.zeros(len(_GRID))
    for i, gpm in enumerate(_GRID[1:], start=1):
        speed = gpm * GPM_M3_S / (math.pi * bore**2 / 4)
        re = rho * speed * bore / mu
        k = friction_factor(Re=re, eD=limit("pex_roughness") / bore) * pipe.length_ft * FT_M / bore
        for count, name in ((pipe.elbows, ELBOW), (pipe.tees, TEE), (pipe.valves, VALVE)):
            k += count * Hooper2K(Di=inch, Re=re, name=name) if count else 0
        found[i] = k * rho * speed**2 / 2 / 1000 / PSI_KPA
    return found


def pipe_loss_psi(pipe: Pipe, flow_gpm: FloatArray | float, temperature_C: float | None = None) -> FloatArray:
    """Pressure lost in a pipe with its fittings and its rise, psi (Darcy-Weisbach; fittings by Hooper).

    Parameters
    ----------
    flow_gpm : 0 US gal/min or more, any shape; past 60, which no pipe here carries, the loss grows on with the power
        of Hazen and Williams, 1.85, so that the pressure is seen not to reach
    temperature_C : 0 to 90 °C; that of a usual tap where left out

    Raises
    ------
    InputError : a flow below 0, or none
    """
    flow = np.asarray(flow_gpm, dtype=np.float64)
    if not np.all((flow >= 0) & np.isfinite(flow)):
        raise InputError("flow", "below 0", "0 gpm or more is worked", "Check the fixtures' flows.")
    temperature_C = limit("usual_water_C") if temperature_C is None else temperature_C
    lift = density_kg_m3(temperature_C) * GRAVITY_M_S2 * pipe.rise_ft * FT_M / 1000 / PSI_KPA
    beyond = np.maximum(flow / MOST_GPM, 1.0) ** 1.85
    return np.asarray(np.interp(flow, _GRID, _losses(pipe, temperature_C)) * beyond + lift, dtype=np.float64)


def velocity_ft_s(pipe: Pipe, flow_gpm: FloatArray | float) -> FloatArray:
    """Speed of the water, ft/s."""
    area = math.pi * (inside_diameter_in(pipe.size) * INCH_M) ** 2 / 4
    return np.asarray(flow_gpm, dtype=np.float64) * GPM_M3_S / area / FT_M


def pump_psi(pump: Pump, flow_gpm: FloatArray | float) -> FloatArray:
    """Lowest pressure at the pump while it gives a flow: the cut-in pressure, or less where the curve does not
    reach it; 0 where the pump cannot give the flow (``pump_flow`` says so)."""
    flow = np.asarray(flow_gpm, dtype=np.float64)
    if pump.curve:
        gpm, psi = zip(*pump.curve, strict=True)
        reached = np.interp(flow, gpm, psi, right=0.0)
    else:
        slope = (pump.cut_out_psi - pump.cut_in_psi) / pump.flow_gpm
        reached = np.maximum(pump.cut_out_psi - slope * flow, 0)
        reached = np.where(flow > pump.flow_gpm * limit("pump_runs_out"), 0.0, reached)
    return np.asarray(np.minimum(reached, pump.cut_in_psi), dtype=np.float64)


def pump_flow_at_cut_in(pump: Pump) -> float:
    """What the pump gives at its cut-in pressure, US gal/min."""
    if not pump.curve:
        return pump.flow_gpm
    gpm, psi = zip(*pump.curve, strict=True)
    return float(np.interp(pump.cut_in_psi, psi[::-1], gpm[::-1], left=gpm[-1], right=0.0))


def drawdown_gal(volume_gal: float, precharge_psi: float, cut_in_psi: float, cut_out_psi: float) -> float:
    """Water that an accumulator gives from cut-out to cut-in, US gal (Boyle's law, temperature held).

    Raises
    ------
    InputError : it is charged above the cut-in pressure and would be empty before the pump starts
    """
    if precharge_psi > cut_in_psi:
        raise InputError(
            "accumulator",
            f"{plain(precharge_psi, 6)} psi",
            f"at most the cut-in of {plain(cut_in_psi, 6)} psi",
            "Let air out, with the water side empty.",
        )
    air = volume_gal * (precharge_psi + ATMOSPHERE_PSI)
    return air / (cut_in_psi + ATMOSPHERE_PSI) - air / (cut_out_psi + ATMOSPHERE_PSI)


def flow_of(branch: Branch, draws: Draws | None = None) -> FloatArray:
    """A fixture's flow while it draws, US gal/min, shape (n,) or (1,)."""
    if draws is None:
        return np.array([branch.flow.middle])
    return draws.span(f"{branch.name}: flow", branch.flow)


End = Literal["low", "usual", "high"]
UNRATED = frozenset({"mineral_dose", "blend", "reverse_osmosis"})  # what has no service flow and no drop of a sheet


@dataclass(frozen=True, slots=True)
class Drop:
    """Pressure that a cartridge takes, psi, clean and at its end."""

    clean_psi: FloatArray
    end_psi: FloatArray


def drop_stated(stage: Stage) -> bool:
    """False where the sheet is silent on the pressure drop and the class's stands in."""
    sheet = stage.sheet
    at = sheet.drop_at_flow_gpm or sheet.service_flow_gpm
    return stage.medium in UNRATED or (at is not None and sheet.clean_pressure_drop_psi is not None)


def stage_drop(stage: Stage, flow_gpm: FloatArray, at: End = "usual") -> Drop:
    """Drop over a cartridge at a flow: the sheet's figures scaled with the flow (flow through a bed or a fine filter
    is laminar). Its end is the sheet's, or 10 psi over clean at the rated flow. Where the sheet is silent its class
    stands in, at the middle or at the low or high end of what it takes."""
    sheet, kind = stage.sheet, medium_class(stage.medium, stage.size)
    rated, clean = sheet.drop_at_flow_gpm or sheet.service_flow_gpm, sheet.clean_pressure_drop_psi
    if rated is None and kind.service_flow_gpm is not None:  # the more flow it is made for, the less it takes
        rated = getattr(kind.service_flow_gpm, {"low": "high", "usual": "middle", "high": "low"}[at])
    if clean is None:
        clean = getattr(kind.clean_pressure_drop_psi, "middle" if at == "usual" else at, 0.0)
    if not rated:
        return Drop(np.zeros(1), np.zeros(1))
    share = flow_gpm / rated
    # resins and carbons are spent long before they clog, but the particles that a filter missed clog them too
    end = sheet.end_pressure_drop_psi or clean + limit("clogged_rise")
    return Drop(clean * share, end * share)


def supply_psi(on: Known, flow_gpm: FloatArray, draws: Draws | None = None) -> FloatArray:
    """Pressure at the start of the trunk at a flow, psi: the pump's or the mains', behind the backflow
    preventer and the regulator (80 % of its setting while water flows)."""
    unit = on.unit
    if unit.has_tanks:
        assert unit.pump is not None  # every kind's template has one
        psi = pump_psi(unit.pump, flow_gpm)
    else:
        assert unit.mains_psi is not None
        mains = np.array([unit.mains_psi.middle]) if draws is None else draws.span("mains", unit.mains_psi)
        psi = mains - backflow_drop_psi(unit) + 0 * flow_gpm
    if unit.regulator_psi is not None:
        psi = np.minimum(psi, limit("regulator_flowing_share") * unit.regulator_psi)
    return psi
