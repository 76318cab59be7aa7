"""A plan's figures as a page shows them, each with how it came about."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from brewwater.demand import WEEKDAYS
from brewwater.ensemble import percentiles
from brewwater.output.charts.base import FloatArray
from brewwater.output.vocabulary import GOVERNS, bypass, stage_name
from brewwater.plan import Plan
from brewwater.planning.cartridges import Cartridge
from brewwater.reference import sources
from brewwater.treatment import Stage
from brewwater.units import GAL_L, percent
from brewwater.verdicts import State, TargetChoice, ph_in_cup
from brewwater.water import Water
from brewwater.web.state import desk
from brewwater.web.widgets.show import Figure, How
from brewwater.web.widgets.words import Kind, Words, date

PERCENTILES = "Ten of a hundred possible cases lie below the low end, ten above the high end."
KINDS: dict[str, tuple[Kind, str]] = {
    "hardness": ("hardness", "CaCO3"),
    "alkalinity": ("amount", "CaCO3"),
    "tds": ("amount", ""),
    "chloride": ("amount", ""),
    "sodium": ("amount", ""),
    "ccpp": ("amount", "CaCO3"),
}
MEASURES: dict[str, tuple[str, str, str, str]] = {
    # key: label, unit of the formula, formula, source key
    "hardness": ("Hardness", "mg/L as CaCO3", "2.497 × calcium + 4.118 × magnesium, ions in mg/L", "definition"),
    "alkalinity": (
        "Alkalinity",
        "mg/L as CaCO3",
        "what acid it takes to bring the water to pH 4.5; treatment takes or adds bicarbonate, charge for charge",
        "definition",
    ),
    "tds": (
        "Dissolved solids",
        "mg/L",
        "sum of ions with bicarbonate × 0.4917, and silica, as left by evaporation",
        "hem_tds_ec",
    ),
    "chloride": ("Chloride", "mg/L", "carried through every medium that does not exchange or reject it", "definition"),
    "sodium": ("Sodium", "mg/L", "source, plus 23 mg for every milliequivalent a softener exchanges", "definition"),
    "line_ph": (
        "pH in the line",
        "",
        "solved from charge balance with all CO2 still in the water",
        "plummer_busenberg_1982",
    ),
    "air_ph": (
        "pH once CO2 has settled with the air",
        "",
        "solved in balance with the CO2 of outdoor air",
        "plummer_busenberg_1982",
    ),
    "cup_ph": (
        "pH in the cup",
        "",
        "on the way from the line to the air, the pH nearest to the goal",
        "plummer_busenberg_1982",
    ),
    "ccpp": (
        "Scale that can fall out (below 0: none)",
        "mg/L as CaCO3",
        "calcite that drops until saturation, solved with pH at the boiler's temperature; below 0 none falls",
        "plummer_busenberg_1982",
    ),
    "conductivity": (
        "Conductivity",
        "µS/cm at 25 °C",
        "sum over ions of concentration × mobility, corrected for ionic strength",
        "appelo_conductivity",
    ),
}


def measure(key: str, water: Water, state: State, targets: TargetChoice) -> FloatArray:
    """The values of a measure of ``MEASURES``, shape (phase, draw) or broadcastable to it."""
    values: dict[str, Callable[[], FloatArray]] = {
        "hardness": lambda: water.hardness_mg_L_as_CaCO3,
        "alkalinity": lambda: water.alkalinity_mg_L_as_CaCO3,
        "tds": lambda: state.tds_mg_L,
        "chloride": lambda: water.chloride_mg_L,
        "sodium": lambda: water.sodium_mg_L,
        "line_ph": lambda: state.line_ph,
        "air_ph": lambda: state.air_ph,
        "cup_ph": lambda: ph_in_cup(state, targets),
        "ccpp": lambda: state.machine_ccpp_mg_L_as_CaCO3,
        "conductivity": lambda: state.conductivity_uS_cm,
    }
    return values[key]()


def source_text(key: str) -> str:
    """A citation, or the key where the table does not hold it."""
    found = sources().get(key)
    return found.text if found else key


def titled(key: str, words: Words) -> str:
    """The label of a measure of ``MEASURES`` with the reader's unit."""
    label, unit, *_ = MEASURES[key]
    unit = words.measured_in(*KINDS[key]) if key in KINDS else unit
    return f"{label}, {unit}" if unit else label


def ranged(key: str, points: Sequence[float] | FloatArray, words: Words) -> str:
    """The range of a measure, from the document's unit in the reader's, which stands in the label."""
    kind = KINDS.get(key, ("plain", ""))[0]
    return words.span([words.out(kind, float(x)) for x in points], digits=2 if key.endswith("ph") else 3)


def measures(plan: Plan, words: Words, keys: tuple[str, ...] = tuple(MEASURES)) -> list[list[str]]:
    """Rows of label with unit, range before, range after, for a table."""
    main, targets = plan.candidate.main, plan.document.targets
    state = main.state or plan.source_state
    rows = []
    for key in keys:
        before = plan.scenario.pooled(measure(key, plan.scenario.waters, plan.source_state, targets))
        after = plan.scenario.pooled(measure(key, main.water, state, targets))
        rows.append([titled(key, words), ranged(key, before, words), ranged(key, after, words)])
    return rows


def known_by(plan: Plan, analyte: str) -> str:
    """How an analyte came to be known, for the first supply that has it."""
    for supply in plan.scenario.supplies:
        found = supply.analysis.get(analyte)
        if found is not None:
            where = f", page {found.page}" if found.page else ""
            return f"{supply.name}: {found.method.replace('_', ' ')}{where}"
    return "not measured: every value that fits the rest is carried along"


def train_names(stages: tuple[Stage, ...], words: Words) -> list[tuple[str, str]]:
    """Each stage with what is set on it."""
    out = []
    for stage in stages:
        notes = []
        if stage.bypass_percent:
            notes.append(bypass(stage.bypass_percent))
        if stage.recovery is not None:
            notes.append(f"{words.number(100 * stage.recovery, 2)} % recovery")
        if stage.branch:
            notes.append(f"on {stage.branch}")
        out.append((stage_name(stage), f"({', '.join(notes)})" if notes else ""))
    return out


@dataclass(frozen=True, slots=True)
class NextChange:
    """The first change due: of which stage, when, and why then."""

    stage: str
    early: dt.date | None
    expected: dt.date | None
    late: dt.date | None
    governs: str


def next_change(plan: Plan) -> NextChange | None:
    """The first change to come, on the date of the schedule; None where none falls in the plan."""
    first = next(iter(plan.calendar.dues), None)
    if first is None:
        return None
    return NextChange(first.cartridge, first.early, first.date, first.late, first.governs)


def counted_on(plan: Plan) -> str:
    """In a sentence, what is called used up: how much of a capacity the dates count on."""
    policy = plan.document.policy
    if policy.risk is not None:
        return f"The full capacity is counted on, with {percent(policy.risk)} risk that it runs out before."
    if policy.margin == 1:
        return "The full capacity is counted on, nothing in hand."
    counted, kept = (percent(x) for x in (policy.margin, 1 - policy.margin))
    return f"Used up means {counted} of the capacity: {kept} stays in hand."


def change_figure(plan: Plan) -> Figure:
    """The next change as a figure."""
    first = next_change(plan)
    if first is None:
        return Figure("Next cartridge change", "none in the plan", "No cartridge comes due in these months.")
    how = How(
        "earliest of capacity used up (with the margin taken off once), time limit, lay-up and notices, day by day",
        (
            ("Cartridge", first.stage),
            ("Governs", GOVERNS.label(first.governs)),
            ("Margin", f"{percent(plan.document.policy.margin)} of the capacity is planned with"),
        ),
        "data sheet where one is entered, else the usual figures of its class (common practice)",
        f"early {date(first.early)}, late {date(first.late)}. {PERCENTILES}",
    )
    return Figure(
        "Next cartridge change",
        date(first.expected),
        f"{first.stage}: {GOVERNS.label(first.governs)}. {counted_on(plan)} Estimate, verify by test.",
        how,
    )


def cost_figure(plan: Plan, words: Words) -> Figure:
    """The year's cost as a figure."""
    cost = plan.candidate.cost
    low, _, high = cost.total_percentiles
    assumed = sum(code == "price_assumed" for code, _ in cost.warnings)
    how = How(
        "whole cartridges bought in 12 months × their price, plus every other line of the Cost page",
        (
            ("Expected", words.exact_money(float(cost.expected), cost.currency)),
            ("First set, apart", words.exact_money(float(cost.first_set), cost.currency)),
        ),
        f"{assumed} prices are placeholders without source: enter yours on the Cost page" if assumed else "your prices",
        f"{words.money(low, cost.currency)} to {words.money(high, cost.currency)}. {PERCENTILES}",
    )
    each = "" if cost.per_drink is None else f"{words.money(float(cost.per_drink), cost.currency)} a drink. "
    note = f"{each}{'Prices assumed.' if assumed else ''}"
    return Figure("A year costs", words.money(float(cost.expected), cost.currency), note, how)


def filtered_figure(plan: Plan, words: Words) -> Figure:
    """Filtered water of a service day as a figure."""
    names = [b.name for b in plan.candidate.branches if b.filtered]
    litres = sum((plan.scenario.demand.litres_per_service_day(n) for n in names), start=np.zeros(1))
    low, middle, high = percentiles(litres / GAL_L, plan.scenario.weights)
    drinks = plan.document.demand.drinks_per_service_day
    how = How(
        "sum over branches behind the filters of drinks × the water in each, plus rinses and flushes",
        (
            ("Branches", ", ".join(names) or "none"),
            ("Drinks a day", "from the drinks list" if drinks is None else words.number(drinks.middle)),
        ),
        source_text("common_practice"),
        f"{words.span([low, high], 'volume')}. {PERCENTILES}",
    )
    return Figure(
        "Filtered on a service day",
        words.quantity("volume", float(middle)),
        f"{len(names)} of {len(plan.candidate.branches)} branches filtered",
        how,
    )


def capacity_span(one: Cartridge, plan: Plan, words: Words) -> str:
    """What is served before one cartridge is changed, never more than its time limit lets through; and what passes the
    cartridge for that, where it is another figure."""
    from brewwater.output.result import capacity_gal

    found = capacity_gal(one, plan.calendar, plan.scenario.weights)
    text = words.span([found.p10, found.p50, found.p90], "volume")
    passes = capacity_gal(one, plan.calendar, plan.scenario.weights, through=True).p50
    if found.p50 is None or passes is None or abs(passes - found.p50) <= 0.02 * found.p50:
        return text
    return f"{text}; {words.quantity('volume', passes)} pass it"


def service_days(plan: Plan) -> str:
    """The weekdays of service in short."""
    short = {w: w.capitalize() for w in WEEKDAYS}
    return ", ".join(short[w] for w in plan.document.demand.calendar.weekdays)


def not_the_last_word() -> str:
    """One line where what a page shows is not the searched plan; empty where it is, or the treatment is one's own."""
    on = desk()
    if on.typed.train is not None or "key" not in on.extra or on.extra["key"] in on.extra.get("found", {}):
        return ""
    stopped = on.extra.get("stopped") == on.extra["key"]
    if not on.train:
        until = "the search was stopped" if stopped else "a search is under way"
        return f"No treatment yet ({until}): every figure here is for the untreated water."
    if stopped:
        return "The search was stopped: every figure here follows the treatment recommended before the last change."
    return "A search is under way: until it ends, every figure here follows the last treatment that was recommended."
