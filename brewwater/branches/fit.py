"""Does it fit the unit? Each check with its value, its limit, its source and its reason.

A value is the one that nine draws of ten reach or better; ``ok`` follows from it. ``ok`` is None where the
check rests on something that was not given: ``why`` then says what is missing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.branches.flow import (
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
from brewwater.branches.parts import Branch, Known, Unit, known, limit, limit_source
from brewwater.branches.problems import tree_problems
from brewwater.branches.tanks import (
    balance,
    drain_slope_in_per_ft,
    fall_in,
    hours_per_fill,
    lb_per_gal,
    thin,
    waste_rule,
)
from brewwater.branches.tree import PlumbingTree
from brewwater.ensemble import Draws, percentiles
from brewwater.targets import MachineProfile
from brewwater.treatment import Stage, medium_class
from brewwater.treatment.reverse_osmosis import temperature_factor
from brewwater.units import GAL_L, LB_KG

FloatArray = NDArray[np.float64]
Litres = Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True)
class Check:
    """One check. ``part`` names the branch, stage or tank where there are several; ``unit`` of a ratio: 1."""

    check: str
    value: float | None
    limit: float | None
    unit: str
    ok: bool | None
    source: str
    why: str
    part: str = ""


@dataclass(frozen=True, slots=True)
class Day:
    """What a service day takes from the fresh tank and sends to the waste tank, US gal, per draw."""

    fixtures_gal: FloatArray
    reject_gal: FloatArray
    waste_gal: FloatArray

    @property
    def fresh_gal(self) -> FloatArray:
        """Drawn from the fresh tank, reject counted."""
        return self.fixtures_gal + self.reject_gal


def day_of(branches: Sequence[Branch], litres: Litres, reject_L_per_L: Litres) -> Day:
    """Add up a day: ``litres`` served per branch, ``reject_L_per_L`` to waste for each litre served."""
    served = reject = waste = np.zeros(1)
    for branch in branches:
        gal = np.asarray(litres.get(branch.name, np.zeros(1))) / GAL_L
        spilled = gal * np.asarray(reject_L_per_L.get(branch.name, np.zeros(1)))
        served, reject = served + gal, reject + spilled
        waste = waste + gal * branch.waste_share + spilled
    return Day(served, reject, waste)


class _Judge:
    """Reads the unfavourable side of the draws."""

    def __init__(self, weights: FloatArray) -> None:
        self.weights = weights

    def low(self, values: FloatArray) -> float:
        return float(percentiles(values, self.weights, (0.1,))[0])

    def high(self, values: FloatArray) -> float:
        return float(percentiles(values, self.weights, (0.9,))[0])

    def middle(self, values: FloatArray) -> float:
        return float(percentiles(values, self.weights, (0.5,))[0])


def _at_least(value: float, least: float) -> bool:
    return value >= least * (1 - 1e-9) - 1e-12


def fit(
    unit: Unit,
    branches: Sequence[Branch],
    stages: Sequence[Stage] = (),
    *,
    litres: Litres,
    peak_litres: Litres | None = None,
    reject_L_per_L: Litres | None = None,
    machines: Sequence[MachineProfile] = (),
    draws: Draws | None = None,
    weights: FloatArray | None = None,
    residual_mg_L: FloatArray | None = None,
    tree: PlumbingTree | None = None,
) -> tuple[Check, ...]:
    """Hold a unit against what its branches and its train ask of it.

    Parameters
    ----------
    unit, branches, stages : the document's parts; the train from the source on
    litres : served per branch on an ordinary service day, shape (n,) or (1,)
    peak_litres : the same on the busiest day; None: not checked
    reject_L_per_L : litres to waste for each litre served, per branch; nothing where left out
    machines : their least inlet pressure is the limit
    draws, weights : the ensemble; typical flows where left out
    residual_mg_L : total chlorine in the tank at fill
    tree : a pipe tree to check; the unit's own where left out

    Returns
    -------
    the checks, those of the tanks only on board

    Raises
    ------
    InputError : a flow is past what is worked, or an accumulator is charged above the cut-in
    """
    on, judge = known(unit), _Judge(np.ones(draws.n if draws else 1) if weights is None else weights)
    lost = reject_L_per_L or {}
    found: list[Check] = []
    if on.unit.has_tanks:
        day = day_of(branches, litres, lost)
        found += _tanks(on, day, judge)
        if peak_litres is not None:
            found += _peak(on, day_of(branches, peak_litres, lost), judge)
        found += _weight(on.unit)
        found += _slope(on.unit)
        if residual_mg_L is not None:
            found.append(_residual(judge.low(residual_mg_L)))
    found += _pressure(on, branches, stages, machines, draws, judge)
    found += _supply(on, branches, stages, draws, judge)
    found += _cartridges(stages, branches, draws, judge)
    found += _membranes(on, branches, stages, litres, draws, judge)
    shown = tree or unit.tree
    if shown is not None:
        found.append(_plumbing(shown, branches, stages))
    return tuple(found)


def _tanks(on: Known, day: Day, judge: _Judge) -> list[Check]:
    unit = on.unit
    fresh, waste, hours = unit.fresh_tank_gal, unit.waste_tank_gal, unit.hours_per_service_day
    usable_share = unit.usable_fresh_share
    if fresh is None or waste is None or hours is None or usable_share is None:
        raise AssertionError("a template fills these")
    usable, need, typical = (
        fresh * usable_share,
        judge.high(day.fresh_gal),
        judge.middle(day.fresh_gal),
    )
    lasts = judge.low(hours_per_fill(usable, day.fresh_gal, hours))
    wanted = hours / unit.fills_per_day
    reject = judge.middle(day.reject_gal)
    spare = usable - need / unit.fills_per_day
    how = (
        f"A service day of {hours:g} h draws {typical:.3g} gal ({need:.3g} in one day of ten), "
        f"{reject:.3g} gal of it reject; {usable:.3g} gal of the {fresh:g} gal tank are usable"
    )
    if thin(spare, usable):
        how += f"; thin: {spare:.2g} gal to spare"
    if reject > 0 and (spare < 0 or thin(spare, usable)):
        how += (
            ". Made at base and carried, the same membrane water asks only "
            f"{judge.middle(day.fixtures_gal):.3g} gal of the tanks on board"
        )
    gone = on.missing(("fresh_tank_gal",))
    made = [
        Check(
            "fresh_tank_hours",
            lasts if np.isfinite(lasts) else None,
            wanted,
            "h",
            None if gone else _at_least(lasts, wanted),
            "tank, demand and reject of this plan",
            _because(how, gone),
            "fresh tank",
        )
    ]
    rule = waste_rule(unit.jurisdiction)
    ratio, least = waste / fresh, rule.required_gal(fresh) / fresh
    gone = on.missing(("fresh_tank_gal", "waste_tank_gal"))
    text = f"{rule.name}: at least {rule.required_gal(fresh):.4g} gal for {fresh:g} gal fresh; it holds {waste:g} gal"
    made.append(
        Check(
            "waste_tank_ratio",
            ratio,
            least,
            "1",
            None if gone else _at_least(ratio, least),
            rule.source,
            _because(text + (f" ({rule.note})" if rule.note else ""), gone),
            "waste tank",
        )
    )
    gone = on.missing(("waste_tank_gal",))
    into = judge.high(day.waste_gal) / unit.fills_per_day
    text = (
        f"{into:.3g} gal run into it between two emptyings (sinks, rinser, drip trays, reject); it holds {waste:g} gal"
    )
    if thin(waste - into, waste):
        text += f"; thin: {waste - into:.2g} gal to spare"
    made.append(
        Check(
            "waste_tank_fill",
            into,
            waste,
            "gal",
            None if gone else _at_least(waste, into),
            "demand and reject of this plan",
            _because(text, gone),
            "waste tank",
        )
    )
    days = judge.high(usable / np.maximum(day.fresh_gal, 1e-9))
    gone = on.missing(("fresh_tank_gal",))
    made.append(
        Check(
            "turnover",
            days,
            limit("turnover_days"),
            "days",
            None if gone else days <= limit("turnover_days"),
            limit_source("turnover_days"),
            _because("Service days that a tank of water stands; drain it when idle", gone),
            "fresh tank",
        )
    )
    return made


def _because(how: str, missing: Sequence[str]) -> str:
    if not missing:
        return how + "."
    return f"No verdict: not given: {', '.join(missing)}. With the usual figure of this kind of unit: {how}."


def _peak(on: Known, day: Day, judge: _Judge) -> list[Check]:
    unit = on.unit
    fresh, waste = _tank_sizes(unit)
    gone = on.missing(("fresh_tank_gal", "waste_tank_gal"))
    need, into = judge.high(day.fresh_gal), judge.high(day.waste_gal)
    fills = max(need / (fresh * (unit.usable_fresh_share or 1.0)), into / waste)
    how = (
        f"The busiest day draws {need:.3g} gal and sends {into:.3g} gal to waste: {np.ceil(fills):.0f} "
        f"fills and emptyings, and {unit.fills_per_day:g} are planned"
    )
    return [
        Check(
            "peak_day_fills",
            fills,
            float(unit.fills_per_day),
            "1",
            None if gone else _at_least(unit.fills_per_day, fills),
            "tanks and busiest day of this plan",
            _because(how, gone),
            "tanks",
        )
    ]


def _weight(unit: Unit) -> list[Check]:
    fresh, waste = _tank_sizes(unit)
    source = reference.cite("water_density_table")
    on_it = unit.weights
    if on_it is None:
        water = max(fresh, waste) * lb_per_gal(unit.water_C)  # one fills as the other empties
        return [
            Check(
                "weight",
                water,
                None,
                "lb",
                None,
                source,
                f"Water alone weighs up to {water:.0f} lb ({water * LB_KG:.0f} kg); the unit's empty weight "
                "and its limit are not given.",
                "unit",
            )
        ]
    states = balance(on_it, fresh, waste, unit.water_C)
    worst = max(states, key=lambda s: s.total_lb)
    most = on_it.gross_limit_lb
    made = [
        Check(
            "weight",
            worst.total_lb,
            most,
            "lb",
            None if most is None else worst.total_lb <= most,
            source,
            f"Heaviest with {worst.state}: {worst.total_lb * LB_KG:.0f} kg; half-full tanks slosh."
            + ("" if most else " The unit's weight limit is not given."),
            "unit",
        )
    ]
    low, high, side = limit("tongue_share_low"), limit("tongue_share_high"), limit("side_share")
    if on_it.hitch_in is not None:
        shares = [(s.tongue_share or 0.0, s.state) for s in states]
        off, state = max(shares, key=lambda s: max(low - s[0], s[0] - high))
        made.append(
            Check(
                "tongue",
                off,
                low if off < (low + high) / 2 else high,
                "1",
                low <= off <= high,
                limit_source("tongue_share_low"),
                f"Of the weight, {off:.1%} rests on the hitch with {state}; {low:.0%} to {high:.0%} "
                "is usual. Weigh it.",
                "unit",
            )
        )
    if on_it.track_in is not None:
        shares = [(max(s.left_share or 0.5, 1 - (s.left_share or 0.5)), s.state) for s in states]
        off, state = max(shares)
        made.append(
            Check(
                "side_balance",
                off,
                side,
                "1",
                off <= side,
                limit_source("side_share"),
                f"The heavier side carries {off:.1%} with {state}.",
                "unit",
            )
        )
    return made


def _tank_sizes(unit: Unit) -> tuple[float, float]:
    """Fresh and waste tank of a unit filled in by ``known``, US gal."""
    assert unit.fresh_tank_gal is not None
    assert unit.waste_tank_gal is not None
    return unit.fresh_tank_gal, unit.waste_tank_gal


def _slope(unit: Unit) -> list[Check]:
    least = limit("tank_slope")
    source = f"{limit_source('tank_slope')}; drain pipe: {reference.cite('chicago_18_29_704_1')}"
    length, fall = unit.waste_tank_length_in, unit.waste_tank_fall_in
    pipe = drain_slope_in_per_ft(1)
    if length is None:
        return [
            Check(
                "slope",
                None,
                least,
                "in/ft",
                None,
                source,
                f"The waste tank's length is not given. It falls to its drain by {least:g} in per ft; a small "
                f"drain pipe by {pipe:g} in per ft.",
                "waste tank",
            )
        ]
    wanted = fall_in(length, least)
    text = f"Over {length:g} in the drain end lies {wanted:.2f} in lower"
    if fall is None:
        return [
            Check("slope", None, least, "in/ft", None, source, text + "; how much it falls is not given.", "waste tank")
        ]
    given = fall / length * 12
    return [
        Check(
            "slope",
            given,
            least,
            "in/ft",
            _at_least(given, least),
            source,
            f"{text}; it lies {fall:g} in lower.",
            "waste tank",
        )
    ]


def _residual(now: float) -> Check:
    row = next(r for r in reference.table("tank_residual") if r["when"] == "each day")
    least = float(row["minimum_mg_L"])
    return Check(
        "residual",
        now,
        least,
        "mg/L",
        _at_least(now, least),
        reference.cite(row["source"]),
        "Chlorine left in the fresh tank's water keeps it safe until it is drawn: carbon goes after the "
        "tank, never before it.",
        "fresh tank",
    )


def _pressure(
    on: Known,
    branches: Sequence[Branch],
    stages: Sequence[Stage],
    machines: Sequence[MachineProfile],
    draws: Draws | None,
    judge: _Judge,
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
        ok = None if at.assumed or bound is None else _at_least(end, bound)
        missing = list(dict.fromkeys(at.assumed)) + ([] if bound is not None else ["the machine's least pressure"])
        made.append(Check("inlet_pressure", end, bound, "psi", ok, source, _because(how, missing), name))
    return made


def _supply(
    on: Known, branches: Sequence[Branch], stages: Sequence[Stage], draws: Draws | None, judge: _Judge
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
                None if gone else _at_least(gives, peak),
                "pump's sheet; fixtures that draw at once",
                _because(
                    f"The pump gives {gives:.3g} gpm at its cut-in pressure; {peak:.3g} gpm are drawn "
                    "when all fixtures of the peak draw",
                    gone,
                ),
                "pump",
            )
        )
        if unit.accumulator is not None:
            a, p = unit.accumulator, unit.pump
            gives, least = (
                drawdown_gal(a.volume_gal, a.precharge_psi, p.cut_in_psi, p.cut_out_psi),
                limit("rinse_draw"),
            )
            gone = on.missing(("pump", "accumulator"))
            made.append(
                Check(
                    "accumulator",
                    gives,
                    least,
                    "gal",
                    None if gone else _at_least(gives, least),
                    limit_source("rinse_draw"),
                    _because(f"It gives {gives:.2g} gal before the pump starts", gone),
                    "accumulator",
                )
            )
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
                _because(
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
                    _because("Nothing is left of the mains pressure", gone),
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
            _because("Faster water hammers when a quick valve closes: fit an arrestor there", on.missing(("pipe",))),
            "trunk",
        )
    )
    return made


def _cartridges(stages: Sequence[Stage], branches: Sequence[Branch], draws: Draws | None, judge: _Judge) -> list[Check]:
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
                None if rated is None else _at_least(rated, peak),
                "the cartridge's data sheet" if rated else reference.cite(usual.source),
                _because(how, gone),
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
            _because(f"{stage.name}: contact time is the bed's volume over the flow", gone),
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
        None if gone else _at_least(seconds, least),
        source,
        _because(how, gone),
        stage.name,
    )


def _membranes(
    on: Known, branches: Sequence[Branch], stages: Sequence[Stage], litres: Litres, draws: Draws | None, judge: _Judge
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
                None if gone else _at_least(at, rated or 0.0),
                "the membrane's data sheet",
                _because(
                    f"{stage.name}: {at:.3g} psi at its inlet with the "
                    "filters before it at their end; a booster pump raises it",
                    gone,
                ),
                stage.name,
            )
        )
        per_day, wanted = (
            stage.sheet.rated_output_gal_per_day,
            sum((np.asarray(litres.get(b.name, np.zeros(1))) for b in own), start=np.zeros(1)) / GAL_L,
        )
        need = judge.high(wanted * (1 - stage.bypass_percent / 100))
        factor = float(temperature_factor(np.array([unit.water_C]), stage.temperature_curve)[0])
        output = None if per_day is None else per_day * factor * min(max(at, 0) / (rated or 60.0), 1.5)
        stored = unit.product_tank_gal or 0.0
        hours = unit.hours_per_service_day or 24.0
        reach = None if output is None else output * hours / 24 + stored
        gone = ([] if per_day else [f"the rated output of {stage.name}"]) + (
            [] if unit.product_tank_gal else ["product tank"]
        )
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
                None if gone or reach is None else _at_least(reach, need),
                "the membrane's data sheet, temperature and pressure",
                _because(text, gone),
                stage.name,
            )
        )
    return made


def _plumbing(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Check:
    wrong = [p for p in tree_problems(tree, branches, stages) if not p.advice]
    why = " ".join(p.message for p in wrong) or "Every part is in an order that works."
    return Check("plumbing", float(len(wrong)), 0.0, "1", not wrong, reference.cite("common_practice"), why, "tree")
