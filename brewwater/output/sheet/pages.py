"""The pages of the printed sheet, from a plan: the plan itself, its calendar, and the shopping list."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from brewwater import reference
from brewwater.changes import Due
from brewwater.cost import written
from brewwater.output.result import plan_result
from brewwater.output.result_schema import CartridgeResult, PlanResult, VerdictResult, WaterResult
from brewwater.output.sheet.base import base_page
from brewwater.output.sheet.building import adapters_section, sizes_section
from brewwater.output.sheet.cards import (
    diagram_page,
    fill_card,
    inspector_sheet,
    log_sheet,
    swap_sheet,
    winter_sheet,
)
from brewwater.output.sheet.content import (
    Section,
    SheetPage,
    Table,
    between,
    day_word,
    number,
    spread,
    steps,
    unknown_capacities,
    volume,
)
from brewwater.output.sheet.what_if import what_if_page
from brewwater.output.vocabulary import CHECKS, MEDIA, STATUS, SUBJECT, WATER, bypass, governed
from brewwater.plan import Plan
from brewwater.plumbing import PlumbingTree, build_tree
from brewwater.treatment import Stage, medium_class
from brewwater.units import percent

ESTIMATE = "Estimate: verify by test."
MEASURES = (
    ("Hardness, mg/L as CaCO3", "hardness_mg_L_as_CaCO3"),
    ("Alkalinity, mg/L as CaCO3", "alkalinity_mg_L_as_CaCO3"),
    ("Dissolved solids, mg/L", "tds_mg_L"),
    ("Chloride, mg/L", "chloride_mg_L"),
    ("Sodium, mg/L", "sodium_mg_L"),
    ("Total chlorine, mg/L", "total_chlorine_mg_L_as_Cl2"),
    ("pH in the cup", "ph"),
    ("pH in the line", "ph_in_line"),
    ("pH once CO2 has settled with the air", "ph_in_air"),
    ("Scale at 93 °C, closed, mg/L as CaCO3", "ccpp_hot_mg_L_as_CaCO3"),
)


def pages(plan: Plan, result: PlanResult | None = None) -> tuple[SheetPage, ...]:
    """Every sheet but the plan on one page, in the order of printing. ``result``: the plan's, where it is at hand."""
    result, due = result or plan_result(plan), plan.calendar.dues
    tree = tree_of(plan)
    return (
        figures_page(plan, result, due),
        calendar_page(plan, due),
        shopping_page(plan, tree),
        fill_card(plan),
        log_sheet(plan),
        inspector_sheet(plan, result),
        diagram_page(plan, tree),
        swap_sheet(plan, tree),
        winter_sheet(plan, tree),
        what_if_page(plan),
        *base_page(plan, result),
    )


def tree_of(plan: Plan) -> PlumbingTree:
    """The unit's own pipe tree where it holds the plan's stages, else the usual one."""
    own, stages = plan.document.unit.tree, plan.candidate.stages
    if own is not None and {s.name for s in stages} <= {n.name for n in own.nodes}:
        return own
    return build_tree(plan.document.unit, plan.candidate.branches, stages)


def figures_page(plan: Plan, result: PlanResult, due: Sequence[Due]) -> SheetPage:
    """The figures behind the plan: water, verdicts, stack, settings, dates, money, assumptions."""
    start = plan.document.demand.calendar.start
    return SheetPage(
        "figures",
        f"{plan.document.name}: the figures",
        f"Water plan {plan.stamp}, from {start.isoformat()}. {ESTIMATE}",
        (
            Section("Water: typical (range)", table=_water_table(result)),
            Section("Verdicts", tuple(_why(result)), _verdict_table(result)),
            Section("Filters, in order of flow", table=_stack(plan)),
            Section("Branches", (_branches(plan, result),)),
            *([Section("Next changes", table=_next_changes(plan, result, due))] if result.cartridges else []),
            Section("Does not fit", tuple(_unfit(result))),
            Section("The year", (_money(plan, result),)),
            Section("Next test", tuple(t.because for t in result.next_tests[:1])),
            Section("Assumed", tuple(_assumed(result))),
            *steps("plan"),
        ),
    )


def _water_table(result: PlanResult) -> Table:
    def cell(water: WaterResult, field: str) -> str:
        p = getattr(water, field)
        return spread(p.p10, p.p50, p.p90, 2 if field.startswith("ph") else 3)

    return Table(
        ("", WATER.label("source"), WATER.label("served")),
        tuple((label, cell(result.source_water, f), cell(result.served_water, f)) for label, f in MEASURES),
        (4, 3, 3),
    )


def _verdicts_of(result: PlanResult) -> dict[tuple[str, str], VerdictResult]:
    main = result.served[0].branch if result.served else None
    return {(v.water, v.subject): v for v in result.verdicts if v.branch in (None, main)}


def _verdict_table(result: PlanResult) -> Table:
    found = _verdicts_of(result)

    def say(water: str, subject: str) -> str:
        v = found.get((water, subject))
        if v is None:
            return "not known"
        return STATUS.label(v.status) + (f", {percent(v.share)} in range" if v.share is not None else "")

    return Table(
        ("", WATER.label("source"), WATER.label("served")),
        tuple((SUBJECT.label(s), say("source", s), say("served", s)) for s in SUBJECT),
        (2, 4, 4),
    )


def _unfit(result: PlanResult) -> Iterator[str]:
    for check in result.fit:
        if check.ok is False:
            yield f"{CHECKS.label(check.check)}: {check.why}"
    at = result.made_at_base
    if at is not None and at.ways[0].passes is False:
        yield f"{at.title}: {at.note}"


def _why(result: PlanResult) -> Iterator[str]:
    for (water, _), verdict in _verdicts_of(result).items():
        if water == "served" and verdict.status in ("watch", "act", "stop"):
            yield verdict.why


def _stack(plan: Plan) -> Table:
    rows = []
    for order, stage in enumerate(plan.candidate.stages, start=1):
        settings = bypass(stage.bypass_percent) if stage.bypass_percent else "no bypass"
        if stage.doses:
            settings = ", ".join(f"{d.salt} {number(d.mg_L)} mg/L" for d in stage.doses)
        where = "no filtered branch" if stage in plan.candidate.idle else stage.branch or "all filtered"
        rows.append((str(order), stage.name, medium_word(stage), where, settings))
    if not rows:
        rows.append(("", "No filter in this plan", "", "", ""))
    return Table(("", "Stage", "Medium", "Branch", "Setting"), tuple(rows), (0.5, 4, 3, 3, 3))


def medium_word(stage: Stage) -> str:
    """A medium as the trade calls it."""
    return MEDIA.inside(stage.medium)


def _branches(plan: Plan, result: PlanResult) -> str:
    metric = plan.document.units == "metric"
    return (
        "; ".join(
            f"{b.name}: {'filtered' if b.filtered else 'NOT filtered'}, "
            f"{volume(b.mean_gallons_per_service_day, metric)} a service day"
            for b in result.branches
        )
        + "."
    )


def _next_changes(plan: Plan, result: PlanResult, due: Sequence[Due]) -> Table:
    metric = plan.document.units == "metric"
    rows = []
    for one in result.cartridges:
        first = next((d for d in due if d.cartridge == one.name), None)
        gallons = one.capacity_gal
        rows.append(
            (
                one.name,
                "past the plan" if first is None else day_word(first.date),
                "" if first is None else between(first),
                governed(one.governed_by, gallons.p50 is not None),
                _served_and_through(one, metric),
                "" if first is None or first.order_by is None else first.order_by.isoformat(),
            )
        )
    header = ("Cartridge", "Change", "Early to late", "Governed by", "Serves about", "Order by")
    return Table(header, tuple(rows), (4, 2.5, 4.5, 3.5, 3, 2.5))


def _served_and_through(one: CartridgeResult, metric: bool) -> str:
    """What a cartridge serves, and what passes it for that where it is another figure."""
    served, through = one.capacity_gal.p50, one.capacity_through_gal.p50
    text = volume(served, metric, 2)
    if served is None or through is None or abs(through - served) <= 0.02 * served:
        return text
    return f"{text} ({volume(through, metric, 2)} pass it)"


def _money(plan: Plan, result: PlanResult) -> str:
    cost, unused = result.yearly_cost, plan.candidate.cost.thrown_away

    def exact(amount: float | Decimal) -> str:
        return written(amount, cost.currency, exact=True)

    parts = [f"{line.name} {exact(line.amount)}" for line in cost.lines if line.amount]
    drink = "" if cost.per_drink is None else f", {written(cost.per_drink, cost.currency)} a drink"
    first = "" if cost.first_set is None else f" First set, at installation: {exact(cost.first_set)}."
    ends = f"{written(cost.total.p10 or 0, cost.currency)} to {written(cost.total.p90 or 0, cost.currency)}"
    return (
        f"{exact(cost.expected)} expected ({ends}){drink}: "
        + "; ".join(parts)
        + "."
        + first
        + (f" Capacity left in what is changed is worth {exact(unused)} of it." if unused else "")
    )


def _assumed(result: PlanResult) -> Iterator[str]:
    prices = [w for w in result.warnings if w.code == "price_assumed"]
    other = [w.message for w in result.warnings if w.code != "price_assumed"]
    yield from other[:6]
    if len(other) > 6:
        yield f"and {len(other) - 6} more in the plan."
    if prices:
        yield f"{len(prices)} prices are placeholders without source: enter yours."


def calendar_page(plan: Plan, due: Sequence[Due]) -> SheetPage:
    """Every change with its range, what governs, and when to order; then the days without service."""
    unknown = unknown_capacities(plan)
    rows = tuple(
        (
            "–" if d.order_by is None else d.order_by.isoformat(),
            day_word(d.date),
            "same day" if d.fitted == d.date else day_word(d.fitted),
            between(d),
            d.cartridge,
            governed(d.governs, d.cartridge not in unknown),
            percent(d.left[1]),
        )
        for d in due
    )
    header = ("Order by", "Take out", "Fit new", "Early to late", "Cartridge", "Governed by", "Unused")
    calendar = plan.document.demand.calendar
    stops = [
        f"{c.start} to {c.end}: {c.name}, {'in store' if c.kind == 'stored' else 'closed'}" for c in calendar.stops
    ]
    stops += [f"{s.start} to {s.end}: {s.name}" for s in calendar.suspensions]
    busy = [f"{e.start} to {e.end}: {e.name}" for e in calendar.busy]
    policy, scaled = plan.document.policy, plan.calendar.descales
    return SheetPage(
        "calendar",
        "Change calendar",
        f"{plan.document.name}, plan {plan.stamp}. {ESTIMATE}",
        (
            Section(
                "Changes",
                (
                    f"Capacity is counted on to {percent(policy.margin)}. Orders allow {policy.lead_days} days to "
                    f"arrive and {policy.buffer_days} days to spare.",
                    _early_or_late(plan),
                )
                if rows
                else ("No cartridge falls due in this plan.",),
                Table(header, rows, (2.3, 2.3, 2.3, 4.6, 3.5, 3.4, 1.6)) if rows else None,
            ),
            *(
                [
                    Section(
                        "Descale, by the scale laid down",
                        tuple(f"{one.date}: {one.machine} ({between(one)})" for one in scaled[:12])
                        + ((f"and {len(scaled) - 12} more",) if len(scaled) > 12 else ()),
                    )
                ]
                if scaled
                else []
            ),
            *([Section("No service", tuple(stops))] if stops else []),
            *([Section("Busy days", tuple(busy))] if busy else []),
        ),
    )


def _early_or_late(plan: Plan) -> str:
    worth, cost = plan.document.worth, plan.candidate.cost

    def money(amount: float | Decimal) -> str:
        return written(amount, cost.currency)

    stated = [f"{money(getattr(worth, s))} for {said}" for s, said in _YEARLY.items() if getattr(worth, s) is not None]
    by_drink = (
        f"a drink wholly out of goal counts as {money(worth.of('cup_per_drink'))}, a gram of scale as "
        f"{money(worth.of('scale_per_g'))} besides descaling, and attacked metal as {money(worth.metal_per_drink)} a "
        "drink"
    )
    year = f"; of a whole year {', '.join(stated)} instead" if stated else ""
    return (
        f"Too early throws capacity away: {money(cost.thrown_away)} of it in the first year. Too late "
        f"lets scale, chlorine or taste through: {by_drink} in this plan{year}."
    )


_YEARLY = {"cup": "the cup", "scale": "scale", "corrosion": "metal"}


def shopping_page(plan: Plan, tree: PlumbingTree) -> SheetPage:
    """What to buy for twelve months, in generic terms, with blanks for the price; then what building takes."""
    listings = reference.keyed("listings", "medium")
    rows = []
    for stage in (s for s in plan.candidate.stages if s not in plan.candidate.idle):
        count = len(plan.calendar.bought(stage.name))
        spare = 1 if stage.medium in ("sediment", "carbon", "catalytic_carbon") else 0
        rows.append(
            (
                stage.name,
                specification(stage),
                listings[stage.medium]["listing"],
                "1",
                str(count),
                str(spare),
                "",
            )
        )
    months, kits = plan.document.policy.shelf_months, number(plan.document.money.test_kits_per_year)
    return SheetPage(
        "shopping",
        "Shopping list",
        f"{plan.document.name}, plan {plan.stamp}: twelve months from the start",
        (
            Section(
                "Cartridges and media",
                (f"Test kits: {kits} a year. A sealed cartridge older than {months} months is not fitted.",),
                Table(
                    ("Stage", "Look for", "Listing", "First set", "Changes", "Spare", "Price"),
                    tuple(rows),
                    (3, 5, 5, 1.3, 1.5, 1.2, 2),
                ),
            ),
            adapters_section(tree),
            sizes_section(plan),
            *steps("shopping"),
        ),
        landscape=True,
    )


def specification(stage: Stage) -> str:
    """A cartridge in generic terms: size, micron, thread, flow, capacity."""
    sheet, usual = stage.sheet, medium_class(stage.medium, stage.size)
    parts = [f"{medium_word(stage)}, {stage.size}"]
    if sheet.micron is not None:
        parts.append(f"{number(sheet.micron)} µm")
    elif stage.medium == "sediment":
        parts.append("5 µm")
    if sheet.connection:
        parts.append(sheet.connection)
    flow = sheet.service_flow_gpm or (usual.service_flow_gpm.middle if usual.service_flow_gpm else None)
    if flow is not None:
        parts.append(f"{number(flow)} gal/min or more")
    if sheet.capacity_grains is not None:
        parts.append(f"{number(sheet.capacity_grains)} grains as CaCO3")
    if sheet.rated_gal is not None:
        at = sheet.reference_hardness_mg_L_as_CaCO3 or sheet.reference_alkalinity_mg_L_as_CaCO3
        parts.append(f"{number(sheet.rated_gal)} gal" + (f" at {number(at)} mg/L as CaCO3" if at else ""))
    if sheet.rated_output_gal_per_day is not None:
        parts.append(f"{number(sheet.rated_output_gal_per_day)} gal a day at 25 °C")
    return "; ".join(parts)
