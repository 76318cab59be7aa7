"""The plan as flat records, and as a few lines of words: what ``--json`` and the terminal print."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from brewwater.changes import ChangeCalendar
from brewwater.changes.wear import through_per_served
from brewwater.cost import written
from brewwater.ensemble import mean, percentiles
from brewwater.output.result_schema import (
    AlternativeResult,
    AtBaseResult,
    BranchResult,
    CartridgeResult,
    ChangeResult,
    CheckResult,
    CostLineResult,
    CostResult,
    NextTestResult,
    Percentiles,
    PlanResult,
    ServedResult,
    ShelfResult,
    StageResult,
    VerdictResult,
    WarningResult,
    WaterResult,
    WayResult,
)
from brewwater.output.sheet.branches import branch_decisions
from brewwater.output.vocabulary import CHECKS, STATUS, SUBJECT, WATER, bypass, governed, small
from brewwater.plan import Plan
from brewwater.planning.base_membrane import TITLE, AtBase
from brewwater.planning.cartridges import Cartridge
from brewwater.planning.scenario import Scenario
from brewwater.planning.search import cost_over_years, over_years
from brewwater.planning.shelf_rating import Rated
from brewwater.plumbing import Check
from brewwater.treatment import Stage
from brewwater.units import GAL_L, percent, plain
from brewwater.verdicts import Verdict

FloatArray = NDArray[np.float64]


def plan_result(plan: Plan) -> PlanResult:
    """The plan as one flat record (the contract of ``plan --json``)."""
    scenario, candidate = plan.scenario, plan.candidate
    (_, source), *others = plan.waters.each
    served = [
        ServedResult(branch=s.branch.name, machine=s.machine.name if s.machine else None, water=_water(measures))
        for s, (_, measures) in zip(candidate.served, others, strict=True)
    ]
    low, middle, high = candidate.cost.total_percentiles
    ranked = {d.branch: d for d in branch_decisions(plan)}
    return PlanResult(
        schema_version=1,
        stamp=plan.stamp,
        source_water=_water(source),
        served_water=served[0].water,
        served=served,
        verdicts=[_verdict(v) for v in (*plan.source_verdicts, *candidate.verdicts, *plan.heaters)],
        stages=_stages(candidate.stages),
        alternatives=[
            AlternativeResult(
                stages=_stages(a.candidate.stages),
                yearly_cost=float(a.candidate.cost.expected),
                yearly_cost_over_years=cost_over_years(scenario, a),
                fits=a.fits,
                why=a.why,
            )
            for a in plan.alternatives
        ],
        branches=[
            BranchResult(
                name=b.name,
                filtered=b.filtered,
                gallons_per_service_day=_gallons_a_day(scenario, b.name),
                mean_gallons_per_service_day=float(
                    mean(scenario.demand.litres_per_service_day(b.name) / GAL_L, scenario.weights)
                ),
                filter_life_share=_spread(ranked[b.name].life_share, scenario.weights),
                filtering_cost=_spread(ranked[b.name].yearly_cost, scenario.weights),
                if_not_filtered=ranked[b.name].if_not_filtered,
                advice=ranked[b.name].advice,
            )
            for b in candidate.branches
        ],
        cartridges=[_cartridge(c, plan) for c in candidate.cartridges],
        fit=[_check(c) for c in candidate.checks],
        yearly_cost=CostResult(
            currency=candidate.cost.currency,
            expected=float(candidate.cost.expected),
            total=Percentiles(p10=_number(low), p50=_number(middle), p90=_number(high)),
            per_drink=None if candidate.cost.per_drink is None else float(candidate.cost.per_drink),
            lines=[CostLineResult(name=line.name, amount=float(line.amount)) for line in candidate.cost.lines],
            first_set=float(candidate.cost.first_set),
            used_up=float(candidate.cost.used_up),
            flush_gal=_number(float(mean(candidate.cost.flush_gal, scenario.weights))),
        ),
        made_at_base=None if plan.at_base is None else _at_base(plan.at_base, scenario),
        shelf=[_shelf(r) for r in plan.shelf],
        next_tests=[NextTestResult(test=t.test, because=t.because, value=_number(t.value)) for t in plan.next_tests],
        warnings=[WarningResult(code=w.code, message=w.message) for w in plan.warnings],
    )


def _shelf(r: Rated) -> ShelfResult:
    here = r.gallons_here
    return ShelfResult(
        name=r.item.name,
        place=r.place,
        arrangement=r.arrangement,
        bypass_setting=None if r.step is None else r.step.setting,
        bypass_percent=r.stage.bypass_percent,
        gallons_here=None
        if here is None
        else Percentiles(p10=_number(here[0]), p50=_number(here[1]), p90=_number(here[2])),
        plan_on_gal=_number(r.plan_on_gal),
        price_per_1000_gal=_number(r.price_per_1000_gal),
        fits=r.fits,
        line=r.line,
    )


def _check(c: Check) -> CheckResult:
    return CheckResult(
        check=c.check,
        value=_number(c.value),
        limit=_number(c.limit),
        unit=c.unit,
        ok=c.ok,
        source=c.source,
        why=c.why,
        assumed=c.assumed,
    )


def _at_base(at: AtBase, scenario: Scenario) -> AtBaseResult:
    def over(values: FloatArray) -> Percentiles:
        return _spread(values, scenario.weights)

    return AtBaseResult(
        title=TITLE,
        membranes=list(at.membranes),
        stages=_stages(at.stages),
        own=at.own,
        note=at.note,
        ways=[
            WayResult(
                way=w.key,
                name=w.name,
                expected=float(w.cost.expected),
                total=over(w.cost.total),
                more_than_on_board=over(w.dearer),
                fresh_gal=over(w.fresh_gal),
                waste_gal=over(w.waste_gal),
                reject_gal=over(w.reject_gal),
                made_gal=over(w.made_gal),
                membrane_hours=None if w.run_hours is None else over(w.run_hours),
                carried_tank_gal=w.carried_gal,
                base_tank_gal=w.base_tank_gal,
                passes=w.passes,
                checks=[_check(c) for c in w.checks],
                asks=list(w.asks),
                lines=[CostLineResult(name=line.name, amount=float(line.amount)) for line in w.cost.lines],
            )
            for w in at.ways
        ],
    )


def _gallons_a_day(scenario: Scenario, branch: str) -> Percentiles:
    return _spread(scenario.demand.litres_per_service_day(branch) / GAL_L, scenario.weights)


def _number(value: float | None) -> float | None:
    """A finite number of six figures, or None."""
    if value is None or not math.isfinite(value):
        return None
    return 0.0 if abs(value) < 1e-9 else float(f"{value:.6g}")


def _triple(values: Iterable[float]) -> Percentiles:
    p10, p50, p90 = (_number(float(v)) for v in values)
    return Percentiles(p10=p10, p50=p50, p90=p90)


def _spread(values: FloatArray, weights: FloatArray) -> Percentiles:
    """Percentiles of an array whose last axis is the draw; infinite values count as not known."""
    return _triple(percentiles(np.where(np.isfinite(values), values, np.nan), weights))


def _water(measures: Mapping[str, FloatArray]) -> WaterResult:
    return WaterResult(**{name: _triple(values) for name, values in measures.items()})


def _verdict(v: Verdict) -> VerdictResult:
    return VerdictResult(
        water=v.water,
        subject=v.subject,
        status=v.status,
        share=_number(v.share),
        why=v.why,
        source=v.source,
        branch=v.branch,
        flip=v.flip,
        assumed=v.assumed,
    )


def _stages(stages: Iterable[Stage]) -> list[StageResult]:
    return [StageResult(name=s.name, medium=s.medium, branch=s.branch, bypass_percent=s.bypass_percent) for s in stages]


def capacity_gal(
    one: Cartridge, calendar: ChangeCalendar, weights: FloatArray, *, through: bool = False
) -> Percentiles:
    """Gallons served before one cartridge is changed, whatever governs: never more than its time limit lets through,
    and null where its capacity is not known.

    ``through``: the gallons that pass the cartridge for them, which a meter in its own pipe would count: more than is
    served ahead of a membrane, whose reject passes too, and fewer where some goes round.
    """
    life = calendar.lives[one.stage.name]
    if not one.capacity.known and life.governs not in ("time", "lay-up", "freeze", "notice"):
        return Percentiles(p10=None, p50=None, p90=None)
    usable = np.broadcast_to(one.usable_gal, life.gal.shape)
    served = np.where(np.isfinite(life.gal), life.gal, usable)
    served = np.where(np.isfinite(served), served, np.nan)  # endless: not known, and none of it to be multiplied
    return _spread(served * through_per_served(one.wear) if through else served, weights)


def _cartridge(one: Cartridge, plan: Plan) -> CartridgeResult:
    def day(date: dt.date | None) -> str | None:
        return None if date is None else date.isoformat()

    name, calendar = one.stage.name, plan.calendar
    life = calendar.lives[name]
    changes = [ChangeResult(early=day(d.early), expected=day(d.date), late=day(d.late)) for d in calendar.of(name)]
    if life.earliest is not None:
        changes.append(ChangeResult(early=day(life.earliest), expected=None, late=None))
    return CartridgeResult(
        name=name,
        medium=one.stage.medium,
        branch=one.stage.branch,
        capacity_gal=capacity_gal(one, calendar, plan.scenario.weights),
        capacity_through_gal=capacity_gal(one, calendar, plan.scenario.weights, through=True),
        governed_by=life.governs,
        changes=changes,
        changes_in_year=len(calendar.bought(name)),
        assumed=one.capacity.basis != "sheet",
    )


def _base_lines(result: PlanResult) -> list[str]:
    """The membrane at base, one line a way and what the ways at base ask."""
    at = result.made_at_base
    if at is None:
        return []

    def money(amount: float) -> str:
        return written(amount, result.yearly_cost.currency)

    out = ["", f"{at.title} ({' > '.join(s.name for s in at.stages)}):"]
    for way in at.ways:
        fits = {True: "fits", False: "DOES NOT FIT", None: "not known"}[way.passes]
        low, high = way.total.p10 or 0.0, way.total.p90 or 0.0
        out.append(
            f"  {way.name}: {fits}; {money(way.expected)} a year ({money(low)} to {money(high)}); "
            f"{plain(way.fresh_gal.p50)} gal a service day from the fresh tank, {plain(way.waste_gal.p50)} gal to "
            f"waste, {plain(way.reject_gal.p50)} gal of reject"
        )
        out += [f"    {ask}" for ask in way.asks]
    return out


def gallons_of(one: CartridgeResult) -> str:
    """What a cartridge serves before it is changed, in words; what passes it beside it where that is another figure."""
    served, through = one.capacity_gal.p50, one.capacity_through_gal.p50
    if served is None or through is None:
        return "capacity not known: its dates count on the usual range of its kind"
    if abs(through - served) <= 0.02 * served:
        return f"serves about {plain(served, 2)} gal"
    return f"serves about {plain(served, 2)} gal, for which {plain(through, 2)} gal pass it"


def _mark(check: CheckResult) -> str:
    """The verdict ahead of the reason, where the reason does not begin with it."""
    if check.assumed or check.ok is None:
        return "" if check.why.startswith(("Holds", "Fails", "Not known")) else "not known. "
    return "fits. " if check.ok else "DOES NOT FIT. "


def summary(plan: Plan) -> str:
    """Everything of the plan in plain text: reasons, alternatives, every cartridge, check and cost."""
    result = plan_result(plan)
    start = plan.document.demand.calendar.start
    out = [f"{plan.document.name}: plan {plan.stamp}, from {start} on", ""]
    ph = "pH" if "ph" in plan.scenario.known else "pH (not measured: what is left open)"

    def line(label: str, water: WaterResult) -> str:
        def say(p: Percentiles, digits: int = 0) -> str:
            if p.p50 is None or p.p10 is None or p.p90 is None:
                return "not known"
            spread = f" ({p.p10:.{digits}f} to {p.p90:.{digits}f})" if p.p90 - p.p10 > 0.5 * 10**-digits else ""
            return f"{p.p50:.{digits}f}{spread}"

        return (
            f"{label}: hardness {say(water.hardness_mg_L_as_CaCO3)}, alkalinity {say(water.alkalinity_mg_L_as_CaCO3)} "
            f"mg/L as CaCO3; solids {say(water.tds_mg_L)} mg/L; {ph} {say(water.ph, 1)} in the cup, "
            f"between {say(water.ph_in_line, 1)} in the line and {say(water.ph_in_air, 1)} once CO2 has settled with "
            "the air"
        )

    out += [line("Before, untreated", result.source_water), line("After, treated", result.served_water), ""]
    for v in result.verdicts:
        where = f"{WATER.inside(v.water)}"
        where += "" if v.branch is None else f", {v.branch}"
        out.append(f"{SUBJECT.label(v.subject)} ({where}): {STATUS.inside(v.status)}. {v.why}")
    out.append("")
    word = "Recommended treatment" if plan.recommended else "Treatment"
    shown = [f"{s.name}" + (f" ({bypass(s.bypass_percent)})" if s.bypass_percent else "") for s in result.stages]
    out.append(f"{word}: " + (" > ".join(shown) or "none: buy nothing"))
    for one in result.alternatives:
        names = " > ".join(s.name for s in one.stages) or "nothing"
        out.append(f"  {names}: {one.why}")
    out.append("")
    for c in result.cartridges:
        first = c.changes[0] if c.changes else None
        when = (
            "past the plan"
            if first is None
            else (f"{first.expected or 'past the plan'} (early {first.early}, late {first.late or 'past the plan'})")
        )
        sets = small(governed(c.governed_by, c.capacity_gal.p50 is not None))
        out.append(f"{c.name}: {gallons_of(c)}; {sets}; first change {when}")
    policy = plan.document.policy
    if result.cartridges and policy.risk is None and policy.margin < 1:
        out.append(f"Gallons and dates count on {percent(policy.margin)} of each capacity; the rest stays in hand.")
    cost = result.yearly_cost
    out.append("")
    out.append(
        f"First twelve months, whole cartridges as they are bought: {written(cost.expected, cost.currency, exact=True)}"
        + (f", {written(cost.per_drink, cost.currency)} a drink" if cost.per_drink is not None else "")
        + f"; the first set, apart: {written(cost.first_set or 0, cost.currency, exact=True)}; "
        f"{plain(cost.flush_gal or 0)} gal run to waste through new cartridges. (The figures beside the treatments "
        f"above are {over_years(plan.scenario)}, every part by the share of it that is used up.)"
    )
    out += [f"  {item.name}: {written(item.amount, cost.currency, exact=True)}" for item in cost.lines]
    for check in result.fit:
        out.append(f"{CHECKS.label(check.check)}: {_mark(check)}{check.why}")
    out += _base_lines(result)
    if result.next_tests:
        first_test = plan.next_tests[0]
        out += ["", f"Next test: {first_test.label}. {first_test.because}"]
    for warning in result.warnings:
        out.append(f"Note: {warning.message}")
    out += [
        "",
        "Dates and gallons are estimates: verify by test. Not a potability tool; the machine's manual, "
        "the data sheet and local code override everything here.",
    ]
    return "\n".join(out)
