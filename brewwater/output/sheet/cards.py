"""Cards for the wall and the clipboard: fill day, log, inspector, changing a cartridge, lay-up, notice."""

from __future__ import annotations

from collections.abc import Iterator

from brewwater.cost import written
from brewwater.output.result_schema import PlanResult
from brewwater.output.sheet.branches import weight_section
from brewwater.output.sheet.building import sanitise_section
from brewwater.output.sheet.content import Section, SheetPage, Table, lines_of, number, steps, volume
from brewwater.output.sheet.diagram import drawing
from brewwater.output.sheet.fill_day import fill_advice
from brewwater.output.vocabulary import CHECKS, fit_word
from brewwater.plan import Plan
from brewwater.planning.candidate import SERVES_NOTHING
from brewwater.plumbing import PlumbingTree, adapters, cautions, change, commissioning, winter
from brewwater.reference import cite
from brewwater.treatment import price_of_one

LOG_ROWS = 16
DRY = ("mineral_dose", "blend")  # no cartridge that water ruins
SANITISING = ("Date", "Sanitiser, strength", "Contact time", "Cartridges out", "Residual after", "Initials")


def fill_card(plan: Plan) -> SheetPage:
    """For each supply: fill, change the bypass, or do not fill; and what to do at the tap."""
    rows = tuple((a.supply, a.decision.upper(), a.bypass, a.why) for a in fill_advice(plan))
    return SheetPage(
        "fill",
        "Fill-day card",
        f"{plan.document.name}, plan {plan.stamp}",
        (
            Section("Which water", table=Table(("Supply", "Do", "Bypass", "Why"), rows, (3, 2.5, 3, 8))),
            *steps("fill"),
        ),
    )


def log_sheet(plan: Plan) -> SheetPage:
    """A form: one line a reading."""
    metric = plan.document.units == "metric"
    header = (
        "Date",
        "Tap",
        "EC µS/cm",
        "Hardness",
        "Alkalinity",
        "Total Cl2",
        f"Meter {'L' if metric else 'gal'}",
        f"In {'kPa' if metric else 'psi'}",
        "Out",
        "Action, initials",
    )
    widths = (2, 2.4, 1.6, 1.7, 1.7, 1.6, 1.7, 1.2, 1.2, 4)
    return SheetPage(
        "log",
        "Log",
        f"{plan.document.name}, plan {plan.stamp}. Hardness and alkalinity in mg/L as CaCO3",
        (
            Section("", table=Table(header, (("",) * len(header),) * LOG_ROWS, widths, form=True)),
            *steps("log"),
        ),
        landscape=True,
    )


def inspector_sheet(plan: Plan, result: PlanResult) -> SheetPage:
    """What an inspector asks for: tanks, materials, backflow, where the filters are, sanitising."""
    metric = plan.document.units == "metric"
    fit = tuple(
        (
            CHECKS.label(c.check),
            _amount(c.value, c.unit),
            "–" if c.limit is None else _amount(c.limit, c.unit),
            fit_word(c.ok, c.assumed),
            c.source,
        )
        for c in result.fit
    )
    idle = {s.name for s in plan.candidate.idle}
    filters = tuple(
        (s.name, "serves no filtered branch" if s.name in idle else s.branch or "before all filtered branches", "")
        for s in result.stages
    )
    branches = tuple(
        (b.name, "filtered" if b.filtered else "not filtered", volume(b.gallons_per_service_day.p90, metric))
        for b in result.branches
    )
    unit = plan.document.unit
    tanks = (
        (
            (
                "Fresh tank: volume, material, listing",
                volume(unit.fresh_tank_gal, metric) if unit.fresh_tank_gal else "",
            ),
            ("Waste tank: volume, material", volume(unit.waste_tank_gal, metric) if unit.waste_tank_gal else ""),
        )
        if unit.has_tanks
        else ()
    )
    built = (
        *tanks,
        *(
            (what, "")
            for what in (
                "Inlet: size, cap, connection",
                "Backflow protection: type, listing, last test",
                "Hose: potable, stored capped",
                "Tubing and fittings: lead-free, listing",
                "Water heater and hand-wash temperature",
            )
        ),
    )
    return SheetPage(
        "inspector",
        "Inspector's sheet",
        f"{plan.document.name}, plan {plan.stamp}. Local code decides.",
        (
            Section("To fill in", table=Table(("Item", "As built"), built, (4, 6), form=True)),
            Section("Filters", table=Table(("Stage", "Where", "Model and listing"), filters, (3, 4, 4))),
            Section("Branches", table=Table(("Branch", "Water", "Busy service day"), branches, (4, 3, 3))),
            *(
                [Section("Checks", table=Table(("Check", "Value", "Limit", "Met", "Source"), fit, (3, 2, 2, 1.5, 5)))]
                if fit
                else []
            ),
            *weight_section(plan),
            Section("What the codes this sheet knows ask for", tuple(_codelines_of())),
            Section("Sanitising log", table=Table(SANITISING, (("",) * 6,) * 4, (2, 3, 2, 2, 3, 2), form=True)),
        ),
    )


def _amount(value: float | None, unit: str) -> str:
    return number(value) if value is None or unit == "1" else f"{number(value)} {unit}"


def _codelines_of() -> Iterator[str]:
    for key in ("food_code_5_401_11", "food_code_5_304_11", "food_code_5_205_13", "food_code_5_201_11"):
        yield cite(key)
    yield "States and cities differ: ask the local authority before building."


def diagram_page(plan: Plan, tree: PlumbingTree) -> SheetPage:
    """The branch diagram: what stands before what, from the source to each fixture."""
    note = "Thick: filtered. Thin, dashed: not filtered. Box: filter. Ring: fixture or drain. Water flows down."
    return SheetPage(
        "branches",
        "Branch diagram",
        f"{plan.document.name}, plan {plan.stamp}. {note}",
        (Section("", adapters_needed(tree)),),
        drawing=drawing(tree),
    )


def adapters_needed(tree: PlumbingTree) -> tuple[str, ...]:
    """The adapters to buy, each as a line."""
    return tuple(f"{a.text}. {a.note}".strip() for a in adapters(tree))


def swap_sheet(plan: Plan, tree: PlumbingTree) -> SheetPage:
    """Changing each cartridge, with the valves by name; what to do under a notice; what never to do."""
    idle = {s.name for s in plan.candidate.idle}
    changing = [
        Section(f"Change: {s.name}", (SERVES_NOTHING,))
        if s.name in idle
        else Section(f"Change: {s.name}", lines_of(change(tree, s.name, plan.candidate.stages)), boxes=True)
        for s in plan.candidate.stages
        if s.medium not in DRY
    ]
    return SheetPage(
        "swap",
        "Changing a cartridge, and stopping",
        f"{plan.document.name}, plan {plan.stamp}",
        (*changing, *steps("swap"), _notice_cost(plan), Section("With this set-up", cautions(tree), caution=True)),
    )


def _notice_cost(plan: Plan) -> Section:
    """What has to be replaced after a notice, and what that comes to."""
    low = high = 0.0
    names, assumed = [], False
    for stage in plan.candidate.stages:
        if stage.medium in DRY or stage in plan.candidate.idle:
            continue
        price, guessed = price_of_one(stage)
        names.append(stage.name)
        assumed |= guessed
        if price is not None:
            low, high = low + price.low, high + price.high
    if not names:
        none = "There is no cartridge to replace. Each service day lost is a day's margin."
        return Section("What a notice costs", (none,))
    note = " (placeholder prices: enter yours)" if assumed else ""
    currency = plan.candidate.cost.currency
    return Section(
        "What a notice costs",
        (
            f"New cartridges for {', '.join(names)}: {written(low, currency)} to {written(high, currency)}{note}, "
            "sanitiser and flush water, and the margin of each service day lost.",
        ),
    )


def winter_sheet(plan: Plan, tree: PlumbingTree) -> SheetPage:
    """Lay-up and opening again, part by part."""
    return SheetPage(
        "winter",
        "Drain down and open again",
        f"{plan.document.name}, plan {plan.stamp}",
        (
            Section("Drain down", lines_of(winter(tree)), boxes=True),
            *sanitise_section(plan, tree),
            Section("Open again", lines_of(commissioning(tree, plan.candidate.stages)), boxes=True),
        ),
    )
