"""Checks of flow and pressure: inlets, pump or mains, cartridges, membranes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.ensemble import Draws
from brewwater.plumbing.check import Check, Judge, at_least, because
from brewwater.plumbing.fit_tanks import Litres
from brewwater.plumbing.flow import (
    behind,
    drawdown_gal,
    drawn_from_trunk_gpm,
    inlet_pressures,
    membrane_feed_gpm,
    pump_flow_at_cut_in,
    stage_drop,
    stage_flow_gpm,
    supply_psi,
    velocity_ft_s,
)
from brewwater.plumbing.parts import Accumulator, Branch, Known, Pump, limit, limit_source
from brewwater.treatment import Stage, medium_class
from brewwater.treatment.media.reverse_osmosis import temperature_factor
from brewwater.units import GAL_L
from brewwater.verdicts import MachineProfile

FloatArray = NDArray[np.float64]


def pressure_checks(
    on: Known,
    branches: Sequence[Branch],
    stages: Sequence[Stage],
    machines: Sequence[MachineProfile],
    draws: Draws | None,
    judge: Judge,
) -> list[Check]:
    by_name = {m.name: m for m in machines}
    made = []
    for name, at in inlet_pressures(on, branches, stages, draws).items():
        branch = next(b for b in branches if b.name == name)
        machine = by_name.get(branch.machine or "")
        if machine is None:
            continue
        least = machine.limit("minimum_inlet_psi")
        bound, source = (least.value, least.source) if least else (None, "the machine's manual")
        if at.missing:
            made.append(Check("inlet_pressure", None, bound, "psi", None, source, f"{name}: {at.missing}.", name))
            continue
        end, clean = judge.low(at.end_psi), judge.low(at.clean_psi)
        how = (
            f"{name}: {end:.3g} psi while all fixtures of the peak draw and the cartridge that clogs most is at "
            f"its end; {clean:.3g} psi with all clean"
        )
        ok = None if at.assumed or bound is None else at_least(end, bound)
        missing = list(dict.fromkeys(at.assumed)) + ([] if bound is not None else ["the machine's least pressure"])
        made.append(Check("inlet_pressure", end, bound, "psi", ok, source, because(how, missing), name))
    return made


def supply_checks(
    on: Known, branches: Sequence[Branch], stages: Sequence[Stage], draws: Draws | None, judge: Judge
) -> list[Check]:
    unit, total = on.unit, drawn_from_trunk_gpm(stages, branches, draws)
    peak, made = judge.high(total), []
    if unit.has_tanks:
        assert unit.pump is not None
        gives, gone = pump_flow_at_cut_in(unit.pump), on.missing(("pump",))
        made.append(
            Check(
                "pump_flow",
                gives,
                peak,
                "gpm",
                None if gone else at_least(gives, peak),
                "pump's sheet; fixtures that draw at once",
                because(
                    f"The pump gives {gives:.3g} gpm at its cut-in pressure; {peak:.3g} gpm are drawn "
                    "when all fixtures of the peak draw",
                    gone,
                ),
                "pump",
            )
        )
        if unit.accumulator is not None:
            made.append(_accumulator(on, unit.accumulator, unit.pump))
    else:
        assert unit.mains_psi is not None
        gone = on.missing(("mains_psi",))
        high, most = unit.mains_psi.high, limit("mains_without_regulator")
        ok = None if gone else (high <= most or unit.regulator_psi is not None)
        made.append(
            Check(
                "mains_pressure",
                high,
                most,
                "psi",
                ok,
                limit_source("mains_without_regulator"),
                because(
                    "Above it a pressure regulator with a strainer is needed, with expansion control behind "
                    "it" + (f"; one is set to {unit.regulator_psi:g} psi" if unit.regulator_psi else ""),
                    gone,
                ),
                "mains",
            )
        )
        left = judge.low(supply_psi(on, total, draws))
        if left <= 0:
            made.append(
                Check(
                    "supply",
                    left,
                    0.0,
                    "psi",
                    None if gone else False,
                    "mains of this plan",
                    because("Nothing is left of the mains pressure", gone),
                    "mains",
                )
            )
    assert unit.pipe is not None
    speed, most = judge.high(velocity_ft_s(unit.pipe, total)), limit("velocity")
    made.append(
        Check(
            "velocity",
            speed,
            most,
            "ft/s",
            None if on.missing(("pipe",)) else speed <= most,
            limit_source("velocity"),
            because("Faster water hammers when a quick valve closes: fit an arrestor there", on.missing(("pipe",))),
            "trunk",
        )
    )
    return made


def _accumulator(on: Known, part: Accumulator, pump: Pump) -> Check:
    gone, least = on.missing(("pump", "accumulator")), limit("rinse_draw")
    if part.precharge_psi > pump.cut_in_psi:
        gives, how = 0.0, "It is charged above the cut-in pressure and is empty before the pump starts: let air out"
    else:
        gives = drawdown_gal(part.volume_gal, part.precharge_psi, pump.cut_in_psi, pump.cut_out_psi)
        how = f"It gives {gives:.2g} gal before the pump starts"
    ok = None if gone else at_least(gives, least)
    return Check("accumulator", gives, least, "gal", ok, limit_source("rinse_draw"), because(how, gone), "accumulator")


def cartridge_checks(
    stages: Sequence[Stage], branches: Sequence[Branch], draws: Draws | None, judge: Judge
) -> list[Check]:
    made = []
    for stage in stages:
        if stage.medium in {"mineral_dose", "blend", "reverse_osmosis"} or not behind(stage, branches):
            continue
        flow = stage_flow_gpm(stage, stages, branches, draws)
        peak, rated = judge.high(flow), stage.sheet.service_flow_gpm
        usual = medium_class(stage.medium, stage.size)
        shown = rated or (usual.service_flow_gpm.middle if usual.service_flow_gpm else None)
        gone = [] if rated else [f"the service flow of {stage.name}"]
        how = f"{stage.name}: {peak:.3g} gpm pass when all the fixtures behind it draw"
        made.append(
            Check(
                "cartridge_flow",
                peak,
                shown,
                "gpm",
                None if rated is None else at_least(rated, peak),
                "the cartridge's data sheet" if rated else reference.cite(usual.source),
                because(how, gone),
                stage.name,
            )
        )
        if stage.medium in {"carbon", "catalytic_carbon"} and peak > 0:
            made.append(_contact(stage, peak))
    return made


def _contact(stage: Stage, peak_gpm: float) -> Check:
    """Empty-bed contact time at the peak, s: 60 x bed gallons / gpm. A certified flow goes before a rule of
    thumb: then the limit is the contact time at that flow."""
    usual = medium_class(stage.medium, stage.size)
    bed = stage.sheet.bed_volume_L
    gone = [] if bed else [f"the bed volume of {stage.name}"]
    litres = bed or (usual.bed_volume_L.middle if usual.bed_volume_L else None)
    key = (
        "contact_chloramine"
        if stage.medium == "catalytic_carbon" or stage.sheet.rated_for == "chloramine"
        else "contact_free_chlorine"
    )
    if litres is None:
        return Check(
            "contact_time",
            None,
            limit(key),
            "s",
            None,
            limit_source(key),
            because(f"{stage.name}: contact time is the bed's volume over the flow", gone),
            stage.name,
        )
    seconds = 60 * litres / GAL_L / peak_gpm
    rated = stage.sheet.service_flow_gpm
    certified = rated is not None and (stage.sheet.rated_for != "unknown")
    least, source = limit(key), limit_source(key)
    if certified:
        assert rated is not None
        least, source = 60 * litres / GAL_L / rated, "the contact time at the data sheet's own flow"
    how = f"{stage.name}: {litres / GAL_L:.2g} gal of bed at {peak_gpm:.3g} gpm"
    return Check(
        "contact_time",
        seconds,
        least,
        "s",
        None if gone else at_least(seconds, least),
        source,
        because(how, gone),
        stage.name,
    )


def membrane_checks(
    on: Known, branches: Sequence[Branch], stages: Sequence[Stage], litres: Litres, draws: Draws | None, judge: Judge
) -> list[Check]:
    """Feed pressure and a day's product of each membrane, at the water's temperature."""
    made, unit = [], on.unit
    for i, stage in enumerate(stages):
        own = behind(stage, branches)
        if stage.medium != "reverse_osmosis" or not own:
            continue
        feed = membrane_feed_gpm(stage)
        psi = supply_psi(on, np.array([feed or 0.0]), draws)
        for before in stages[:i]:
            if before.branch in (None, stage.branch):
                psi = psi - stage_drop(before, stage_flow_gpm(before, stages, branches, draws)).end_psi
        at, rated = judge.low(psi), stage.sheet.rated_pressure_psi
        gone = on.missing(("pump",) if unit.has_tanks else ("mains_psi",))
        gone += [] if rated else [f"the rated pressure of {stage.name}"]
        made.append(
            Check(
                "membrane_pressure",
                at,
                rated,
                "psi",
                None if gone else at_least(at, rated or 0.0),
                "the membrane's data sheet",
                because(
                    f"{stage.name}: {at:.3g} psi at its inlet with the "
                    "filters before it at their end; a booster pump raises it",
                    gone,
                ),
                stage.name,
            )
        )
        per_day = stage.sheet.rated_output_gal_per_day
        wanted = sum((np.asarray(litres.get(b.name, np.zeros(1))) for b in own), start=np.zeros(1)) / GAL_L
        need = judge.high(wanted * (1 - stage.bypass_percent / 100))
        factor = float(temperature_factor(np.array([unit.water_C]), stage.temperature_curve)[0])
        output = None if per_day is None else per_day * factor * max(at, 0) / (rated or 60.0)
        stored = unit.product_tank_gal or 0.0
        hours = unit.hours_per_service_day or 24.0
        reach = None if output is None else output * hours / 24 + stored
        gone += [] if per_day else [f"the rated output of {stage.name}"]
        gone += [] if unit.product_tank_gal else ["product tank"]
        text = (
            f"{stage.name}: a service day asks {need:.3g} gal of product"
            + (f"; {output:.3g} gal a day at {unit.water_C:g} °C and {at:.3g} psi" if output is not None else "")
            + f", and {stored:g} gal stored full"
        )
        made.append(
            Check(
                "membrane_output",
                reach,
                need,
                "gal",
                None if gone or reach is None else at_least(reach, need),
                "the membrane's data sheet, temperature and pressure",
                because(text, gone),
                stage.name,
            )
        )
    return made
