"""Before anything is bought: the smallest usual tanks, pumps, accumulator and heater that pass the peak day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.plumbing.check import Check, Judge
from brewwater.plumbing.fit import fit
from brewwater.plumbing.fit_flow import membrane_checks
from brewwater.plumbing.fit_tanks import Litres, day_of
from brewwater.plumbing.flow import density_kg_m3, drawdown_gal
from brewwater.plumbing.network import Network, membrane_of
from brewwater.plumbing.parts import Accumulator, Branch, Heater, Pump, Unit, known, limit, limit_source, unit_template
from brewwater.plumbing.tanks import next_size, usual_sizes, waste_rule
from brewwater.treatment import Stage
from brewwater.units import GAL_L, percent, plain
from brewwater.verdicts import MachineProfile

FloatArray = NDArray[np.float64]
Piped = Callable[[Unit], Network]


@dataclass(frozen=True, slots=True)
class Sizing:
    """``unit`` with the sizes filled in, ``reasons`` for each, and the ``checks`` that it then passes or not on
    the peak day."""

    unit: Unit
    reasons: tuple[tuple[str, str], ...]
    checks: tuple[Check, ...]


def size(
    unit: Unit,
    branches: Sequence[Branch],
    stages: Sequence[Stage] = (),
    *,
    peak_litres: Litres,
    reject_L_per_L: Litres | None = None,
    machines: Sequence[MachineProfile] = (),
    draws: Draws | None = None,
    weights: FloatArray | None = None,
    feed_tds_mg_L: Litres | None = None,
) -> Sizing:
    """Size a unit for its busiest day, nine draws of ten.

    Parameters
    ----------
    unit : its kind, jurisdiction, fills a day, pipe and pump pressures are kept; sizes are chosen anew
    others : as ``fit``

    Raises
    ------
    InputError : no usual size is large enough; it names the part
    """
    judge = Judge(np.ones(draws.n if draws else 1) if weights is None else weights)
    on = known(unit).unit
    why: list[tuple[str, str]] = []
    change: dict[str, object] = {}
    lost = reject_L_per_L or {}

    def piped(trial: Unit) -> Network:
        return Network(known(trial), branches, stages, draws=draws, busiest_L=peak_litres)

    if on.has_tanks:
        day = day_of(branches, peak_litres, lost)
        need = judge.high(day.fresh_gal) / on.fills_per_day
        usable = on.usable_fresh_share or limit("usable_fresh_share")
        fresh = next_size("tank", need / usable)
        rule = waste_rule(on.jurisdiction)
        into = judge.high(day.waste_gal) / on.fills_per_day
        waste = next_size("tank", max(rule.required_gal(fresh), into))
        change |= {"fresh_tank_gal": fresh, "waste_tank_gal": waste}
        why += [
            (
                "fresh tank",
                f"{plain(need)} gal between two fills, {percent(usable)} of a tank usable: {plain(fresh, 6)} gal",
            ),
            (
                "waste tank",
                f"{rule.name} asks {plain(rule.required_gal(fresh))} gal, the day sends {plain(into)}: "
                f"{plain(waste, 6)} gal",
            ),
        ]
        change |= _pump(on, piped, machines, judge, why)
    change |= _membrane(on.model_copy(update=change), piped, peak_litres, feed_tds_mg_L, machines, judge, why)
    heater = _heater(on, branches, peak_litres, judge, why)
    if heater is not None:
        change["heater"] = heater
    sized = unit.model_copy(update=change)
    checks = fit(
        sized,
        branches,
        stages,
        litres=peak_litres,
        peak_litres=peak_litres,
        reject_L_per_L=lost,
        machines=machines,
        draws=draws,
        weights=weights,
        feed_tds_mg_L=feed_tds_mg_L,
    )
    return Sizing(sized, tuple(why), checks)


def _pump(
    on: Unit, piped: Piped, machines: Sequence[MachineProfile], judge: Judge, why: list[tuple[str, str]]
) -> dict[str, object]:
    """The smallest pump by flow, at a cut-in pressure raised as far as the machines ask, and its accumulator."""
    assert on.pump is not None  # every template on board has one
    flow = judge.high(piped(on).trunk_gpm)
    gpm = next_size("pump", flow)
    pump = Pump(cut_in_psi=on.pump.cut_in_psi, cut_out_psi=on.pump.cut_out_psi, flow_gpm=gpm)
    trial = piped(on.model_copy(update={"pump": pump}))
    direct = [b for b in trial.branches if membrane_of(trial.stages, b) is None]
    pump = _raised(pump, _short_psi(trial, direct, machines, judge))
    why.append(("pump", f"{plain(flow)} gpm drawn at the peak: {plain(gpm, 6)} gpm at {plain(pump.cut_in_psi, 6)} psi"))
    charge, wanted = pump.cut_in_psi - limit("precharge_below_cut_in"), limit("rinse_draw")
    for volume in sorted(usual_sizes("accumulator")):
        gives = drawdown_gal(volume, charge, pump.cut_in_psi, pump.cut_out_psi)
        if gives >= wanted:
            asked = f"{plain(wanted, 6)} asked ({limit_source('rinse_draw')})"
            reason = f"{plain(gives, 2)} gal before the pump starts, {asked}: {plain(volume, 6)} gal"
            why.append(("accumulator", reason))
            return {"pump": pump, "accumulator": Accumulator(volume_gal=volume, precharge_psi=charge)}
    raise InputError("accumulator", f"{plain(wanted, 6)} gal", "no usual size gives as much", "Use two side by side.")


def _short_psi(network: Network, branches: Sequence[Branch], machines: Sequence[MachineProfile], judge: Judge) -> float:
    """How far the worst of these inlets falls short of what its machine asks, psi; 0 where none does."""
    least = {m.name: m.limit("minimum_inlet_psi") for m in machines}
    short = 0.0
    for branch in branches:
        bound = least.get(branch.machine or "")
        if bound is not None:
            short = max(short, bound.value - judge.low(network.inlet(branch).end_psi))
    return short


def _of_a_truck() -> Unit:
    """The unit whose pump and heater stand in where a kind has none of its own."""
    return unit_template("truck")


def _raised(pump: Pump, short_psi: float) -> Pump:
    """The pump with its pressures raised in steps by what is short."""
    if short_psi <= 0:
        return pump
    step = limit("pump_pressure_step")
    cut_in = float(np.ceil((pump.cut_in_psi + short_psi) / step) * step)
    band = pump.cut_out_psi - pump.cut_in_psi
    return pump.model_copy(update={"cut_in_psi": cut_in, "cut_out_psi": cut_in + band})


def _membrane(
    on: Unit,
    piped: Piped,
    peak_litres: Litres,
    feed_tds_mg_L: Litres | None,
    machines: Sequence[MachineProfile],
    judge: Judge,
    why: list[tuple[str, str]],
) -> dict[str, object]:
    """A membrane's storage tank, and the pump behind it. None is sized without the membrane's rated output."""
    network = piped(on)
    served = [b for b in network.branches if membrane_of(network.stages, b) is not None]
    if not served:
        return {}
    flow = max(judge.high(network.tank_draw_gpm(m)) for m in network.membranes)
    like = on.pump or _of_a_truck().pump
    assert like is not None  # a truck has one, and a heater; held by a test of the templates
    pump = like.model_copy(update={"flow_gpm": next_size("pump", flow), "curve": ()})
    bare = piped(on.model_copy(update={"product_tank_gal": None, "repump": pump}))
    pump = _raised(pump, _short_psi(bare, served, machines, judge))
    gives = f"{plain(pump.flow_gpm, 6)} gpm at {plain(pump.cut_in_psi, 6)} psi"
    why.append(("pump after the membrane", f"{plain(flow)} gpm drawn at the peak behind its tank: {gives}"))
    found: dict[str, object] = {"repump": pump}
    if any(m.sheet.rated_output_gal_per_day is None for m in network.membranes):
        why.append(("membrane's storage tank", "not sized: the membrane's rated output is not given"))
        return found
    made = [c for c in membrane_checks(bare, peak_litres, judge, feed_tds_mg_L) if c.check == "membrane_output"]
    short = sum(max((c.limit or 0.0) - (c.value or 0.0), 0.0) for c in made)
    tank = next_size("tank", short)
    found["product_tank_gal"] = tank
    why.append(
        (
            "membrane's storage tank",
            f"{plain(short)} gal more are asked on the busiest day than the membrane makes in its hours of service: "
            f"{plain(tank, 6)} gal",
        )
    )
    return found


def recovery_gal_per_hour(power_W: float, cold_C: float, hot_C: float) -> float:
    """Water that a heater brings from cold to hot in an hour, US gal.

    Raises
    ------
    InputError : the hot water is not above the cold
    """
    if hot_C <= cold_C:
        raise InputError(
            "heater", f"{plain(hot_C, 6)} °C", f"it is above the cold water's {plain(cold_C, 6)} °C", "Set it higher."
        )
    kg = power_W * 3600 / (limit("water_heat") * (hot_C - cold_C))
    return kg / density_kg_m3((hot_C + cold_C) / 2) * 1000 / GAL_L


def hot_share(warm_C: float, cold_C: float, hot_C: float) -> float:
    """Share of hot water in a mix of ``warm_C``, 0 to 1.

    Raises
    ------
    InputError : ``warm_C`` is outside ``cold_C`` to ``hot_C``: no mix has it
    """
    if not cold_C <= warm_C <= hot_C:
        raise InputError(
            "water at the tap",
            f"{plain(warm_C, 6)} °C",
            f"between {plain(cold_C, 6)} and {plain(hot_C, 6)} °C can be mixed",
            "Set the heater higher.",
        )
    return (warm_C - cold_C) / (hot_C - cold_C)


def hot_gal_in_peak_hour(unit: Unit, branches: Sequence[Branch], litres: Litres, judge: Judge, set_C: float) -> float:
    """Hot water drawn in the busiest hour, US gal: a multiple of the day's mean hour (common practice). A hand sink
    gives at least the code's handwash temperature."""
    hours = unit.hours_per_service_day or 24.0
    least = hot_share(limit("handwash"), min(unit.water_C, limit("handwash")), set_C)
    total = np.zeros(1)
    for branch in branches:
        share = branch.usual.hot_share
        if share > 0 and not branch.filtered:
            share = max(share, least) if branch.kind == "hand_sink" else share
            total = total + np.asarray(litres.get(branch.name, np.zeros(1))) / GAL_L * share
    return judge.high(total) * min(limit("peak_hour") / hours, 1.0)


def _heater(
    on: Unit, branches: Sequence[Branch], litres: Litres, judge: Judge, why: list[tuple[str, str]]
) -> Heater | None:
    if not any(b.usual.hot_share > 0 and not b.filtered for b in branches):
        return None
    usual = known(on).unit.heater or _of_a_truck().heater
    assert usual is not None
    need = hot_gal_in_peak_hour(on, branches, litres, judge, usual.set_C)
    again = recovery_gal_per_hour(usual.power_W, on.water_C, usual.set_C)
    volume = next_size("heater", max(need - again, 0) / limit("heater_usable_share"))
    why.append(
        (
            "heater",
            f"{plain(need)} gal hot in the busiest hour, {plain(again)} heated again by "
            f"{plain(usual.power_W, 6)} W: "
            f"{plain(volume, 6)} gal at {plain(usual.set_C, 6)} °C, {limit('handwash'):g} °C or more at the "
            f"hand sink",
        )
    )
    return usual.model_copy(update={"volume_gal": volume})
