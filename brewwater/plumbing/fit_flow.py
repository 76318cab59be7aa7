"""Checks of flow and pressure: inlets, pump or mains, cartridges, membranes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.plumbing.check import Check, Judge, at_least, settled
from brewwater.plumbing.fit_tanks import Litres
from brewwater.plumbing.flow import UNRATED, drawdown_gal, pump_flow_at_cut_in, supply_psi, velocity_ft_s
from brewwater.plumbing.network import Network, behind, usual_output
from brewwater.plumbing.parts import Accumulator, Known, Pump, limit, limit_source
from brewwater.treatment import Stage, medium_class
from brewwater.treatment.media.catalytic_carbon import empty_bed_contact_s
from brewwater.treatment.media.reverse_osmosis import rating_psi
from brewwater.treatment.medium import treatment_limit
from brewwater.units import GAL_L, plain
from brewwater.verdicts import MachineProfile

FloatArray = NDArray[np.float64]


def _reached(psi: float) -> str:
    """A pressure in words; below nothing the water does not come at all."""
    return f"{plain(psi)} psi" if psi > 0 else "no pressure (the water does not reach it)"


def pressure_checks(network: Network, machines: Sequence[MachineProfile], judge: Judge) -> list[Check]:
    by_name = {m.name: m for m in machines}
    made = []
    for branch in network.branches:
        machine = by_name.get(branch.machine or "")
        if machine is None:
            continue
        name, at = branch.name, network.inlet(branch)
        least = machine.limit("minimum_inlet_psi")
        bound, source = (least.value, least.source) if least else (None, "the machine's manual")
        if at.missing:
            made.append(Check("inlet_pressure", None, bound, "psi", None, source, f"{name}: {at.missing}.", name))
            continue
        end, clean = judge.low(at.end_psi), judge.low(at.clean_psi)
        how = (
            f"{name}: {_reached(end)} while all fixtures of the peak draw and the cartridge that clogs most is at "
            f"its end; {_reached(clean)} with all clean"
        )
        holds = (
            []
            if bound is None
            else [at_least(judge.low(psi), bound) for psi in (at.end_psi, at.worst_psi, at.best_psi)]
        )
        gone = [*at.assumed, *([] if bound is not None else ["the machine's least pressure"])]
        made.append(settled("inlet_pressure", max(end, 0.0), bound, "psi", holds, source, how, name, gone=gone))
    return made


def supply_checks(network: Network, judge: Judge) -> list[Check]:
    on, total = network.on, network.trunk_gpm
    unit, peak, made = on.unit, judge.high(total), []
    if unit.has_tanks:
        assert unit.pump is not None
        gives = pump_flow_at_cut_in(unit.pump)
        how = (
            f"The pump gives {plain(gives)} gpm at its cut-in pressure; {plain(peak)} gpm are drawn when all "
            "fixtures of the peak draw"
        )
        source = "pump's sheet; fixtures that draw at once"
        gone = on.missing(("pump",))
        made.append(settled("pump_flow", gives, peak, "gpm", [at_least(gives, peak)], source, how, "pump", gone=gone))
        if unit.accumulator is not None:
            made.append(_accumulator(on, unit.accumulator, unit.pump))
    else:
        assert unit.mains_psi is not None
        gone = on.missing(("mains_psi",))
        high, most = unit.mains_psi.high, limit("mains_without_regulator")
        how = ("Above it a pressure regulator with a strainer is needed, with expansion control behind it") + (
            f"; one is set to {plain(unit.regulator_psi)} psi" if unit.regulator_psi else ""
        )
        holds, source = [high <= most or unit.regulator_psi is not None], limit_source("mains_without_regulator")
        made.append(settled("mains_pressure", high, most, "psi", holds, source, how, "mains", gone=gone))
        if judge.low(supply_psi(on, total, network.draws)) <= 0:
            how, source = "Nothing is left of the mains pressure", "mains of this plan"
            made.append(settled("supply", 0.0, 0.0, "psi", [False], source, how, "mains", gone=gone))
    assert unit.pipe is not None
    speed, most, gone = judge.high(velocity_ft_s(unit.pipe, total)), limit("velocity"), on.missing(("pipe",))
    how = "Faster water hammers when a quick valve closes: fit an arrestor there"
    source = limit_source("velocity")
    made.append(settled("velocity", speed, most, "ft/s", [speed <= most], source, how, "trunk", gone=gone))
    return made


def _accumulator(on: Known, part: Accumulator, pump: Pump) -> Check:
    gone, least = on.missing(("pump", "accumulator")), limit("rinse_draw")
    if part.precharge_psi > pump.cut_in_psi:
        gives, how = 0.0, "It is charged above the cut-in pressure and is empty before the pump starts: let air out"
    else:
        gives = drawdown_gal(part.volume_gal, part.precharge_psi, pump.cut_in_psi, pump.cut_out_psi)
        how = f"It gives {plain(gives, 2)} gal before the pump starts"
    holds, source = [at_least(gives, least)], limit_source("rinse_draw")
    return settled("accumulator", gives, least, "gal", holds, source, how, "accumulator", gone=gone)


def cartridge_checks(network: Network, judge: Judge) -> list[Check]:
    made = []
    for stage in network.stages:
        if stage.medium in UNRATED or not behind(stage, network.branches):
            continue
        peak, rated = judge.high(network.flow_gpm(stage)), stage.sheet.service_flow_gpm
        usual = medium_class(stage.medium, stage.size)
        gone = [] if rated else [f"the service flow of {stage.name}"]
        how = f"{stage.name}: {plain(peak)} gpm pass when all the fixtures behind it draw"
        span = usual.service_flow_gpm
        ends = [rated] if rated else [] if span is None else [span.middle, span.low, span.high]
        made.append(
            settled(
                "cartridge_flow",
                peak,
                ends[0] if ends else None,
                "gpm",
                [at_least(most, peak) for most in ends],
                "the cartridge's data sheet" if rated else reference.cite(usual.source),
                how,
                stage.name,
                gone=gone,
            )
        )
        if stage.medium in {"carbon", "catalytic_carbon"} and peak > 0:
            made.append(_contact(network, stage, judge))
    return made


def _contact(network: Network, stage: Stage, judge: Judge) -> Check:
    """Empty-bed contact time at the peak. A certified flow goes before a rule of thumb: then the limit is the contact
    time at that flow, whatever the bed."""
    sheet, usual = stage.sheet, medium_class(stage.medium, stage.size)
    of_chloramine = stage.medium == "catalytic_carbon" or sheet.rated_for == "chloramine"
    key = "contact_chloramine" if of_chloramine else "contact_free_chlorine"
    gone = [] if sheet.bed_volume_L else [f"the bed volume of {stage.name}"]
    span = usual.bed_volume_L
    beds = [sheet.bed_volume_L] if sheet.bed_volume_L else [] if span is None else [span.middle, span.low, span.high]
    certified = sheet.service_flow_gpm if sheet.rated_for != "unknown" else None
    source = limit_source(key) if certified is None else "the contact time at the data sheet's own flow"
    if not beds:
        how = f"{stage.name}: contact time is the bed's volume over the flow"
        return settled("contact_time", None, limit(key), "s", [], source, how, stage.name, gone=gone)
    peak = judge.high(network.flow_gpm(stage))
    seconds = [judge.low(network.contact_s(stage, bed)) for bed in beds]
    least = [limit(key) if certified is None else float(empty_bed_contact_s(bed, certified)) for bed in beds]
    how = f"{stage.name}: {plain(beds[0] / GAL_L, 2)} gal of bed at {plain(peak)} gpm"
    holds = [at_least(*pair) for pair in zip(seconds, least, strict=True)]
    return settled("contact_time", seconds[0], least[0], "s", holds, source, how, stage.name, gone=gone)


def membrane_checks(
    network: Network, litres: Litres, judge: Judge, feed_tds_mg_L: Mapping[str, FloatArray] | None = None
) -> list[Check]:
    """Feed pressure and a day's product of each membrane, at the water's temperature and dissolved solids."""
    made = []
    for stage in network.membranes:
        inlet, source = network.membrane_inlet(stage), "the membrane's data sheet"
        rated = stage.sheet.rated_pressure_psi
        if inlet.missing:
            why = f"{stage.name}: {inlet.missing}."
            made.append(Check("membrane_pressure", None, rated, "psi", None, source, why, stage.name))
            continue
        at, bound = judge.low(inlet.end_psi), rating_psi(stage)
        gone = [*inlet.assumed, *([] if rated else [f"the rated pressure of {stage.name}"])]
        how = (
            f"{stage.name}: {_reached(at)} at its inlet with the filters before it at their end; a booster pump "
            "raises it"
        )
        holds = [at_least(judge.low(psi), bound) for psi in (inlet.end_psi, inlet.worst_psi, inlet.best_psi)]
        made.append(settled("membrane_pressure", max(at, 0.0), bound, "psi", holds, source, how, stage.name, gone=gone))
        made.append(_output(network, stage, litres, judge, gone, (feed_tds_mg_L or {}).get(stage.name)))
    return made


def _output(
    network: Network, stage: Stage, litres: Litres, judge: Judge, missing: Sequence[str], tds_mg_L: FloatArray | None
) -> Check:
    """What a membrane's tank can give on a service day: what it makes in the hours of service, its blend with it, and
    what was stored full before."""
    unit = network.on.unit
    inlet, usual = network.membrane_inlet(stage), usual_output(stage)
    given = stage.sheet.rated_output_gal_per_day
    ends = [(inlet.end_psi, given or usual.middle)]
    ends += [(inlet.worst_psi, given or usual.low), (inlet.best_psi, given or usual.high)]
    feed = np.atleast_2d(
        treatment_limit("membrane_rating_tds") if tds_mg_L is None else tds_mg_L
    )  # the worst of the waters counts
    stored, hours = unit.product_tank_gal or 0.0, unit.hours_per_service_day or 24.0
    need = judge.high(network.tank_litres(stage, litres) / GAL_L)
    made = []
    for psi, rated in ends:
        per_day = np.min(network.product_gal_per_day(stage, psi, feed, rated_gal_per_day=rated), axis=0)
        made.append((judge.low(per_day), judge.low(per_day / network.product_share(stage)) * hours / 24 + stored))
    output, reach = made[0]
    gone = [
        *missing,
        *([] if given else [f"the rated output of {stage.name}"]),
        *([] if unit.product_tank_gal else ["product tank"]),
    ]
    how = (
        f"{stage.name}: a service day asks {plain(need)} gal of its tank; the membrane makes {plain(output)} "
        f"gal a day "
        f"at {plain(unit.water_C)} °C, {_reached(judge.low(inlet.end_psi))} and "
        f"{plain(judge.middle(feed.max(axis=0)))} mg/L of dissolved solids, and {plain(stored)} gal are stored full"
    )
    source = "the membrane's data sheet, temperature, pressure and dissolved solids"
    holds = [at_least(value, need) for _, value in made]
    return settled("membrane_output", reach, need, "gal", holds, source, how, stage.name, gone=gone)
