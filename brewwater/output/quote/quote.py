"""What a quote holds, from a plan: every figure is the plan's own."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal

from brewwater.cost import price_of, written
from brewwater.cost.coins import decimals
from brewwater.cost.quote import QuoteLine, QuoteSum, quote_sum
from brewwater.cost.year import FILTER_HEADS
from brewwater.ensemble import mean
from brewwater.errors import InputError
from brewwater.output.owner import Owner
from brewwater.output.sheet.pages import specification
from brewwater.output.vocabulary import MEDIA, STATUS, stage_name
from brewwater.plan import Plan
from brewwater.planning.candidate import Candidate
from brewwater.planning.other_water import other_waters
from brewwater.planning.search import Alternative, cost_over_years, over_years
from brewwater.treatment import Stage, price_of_one
from brewwater.verdicts import RANK

VALID_DAYS = 30  # how long a quote stands (common practice, no source)
MOST_VALID_DAYS = 730
NUMBER_LETTERS = 40
CLIENT_LETTERS = 80
PLANNED, NEARER, CHEAPER, OTHER = "As quoted", "Nearer the goal", "Costs less", "Other water"
JUDGED = ("cup", "scale", "corrosion")


@dataclass(frozen=True, slots=True)
class QuotedWay:
    """One of the ways side by side, as words of the reader: ``first`` is paid once, ``year`` in twelve months, ``mean``
    a year over the years of the plan; ``left`` what each verdict says of the water then."""

    name: str
    treatment: str
    first: str
    year: str
    mean: str
    left: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class QuoteTerms:
    """What the giver of a quote decides.

    number : empty for one of the day and the plan
    valid_days : 1 to 730, from ``made`` on
    tax_percent : None where no tax is told
    labour : for fitting, before tax; None where none is charged
    """

    made: dt.date
    client: str = ""
    number: str = ""
    valid_days: int = VALID_DAYS
    tax_percent: float | None = None
    labour: float | None = None
    owner: Owner = field(default_factory=Owner)


@dataclass(frozen=True, slots=True)
class Quote:
    """A quote. ``running`` are the lines of the plan's first twelve months, which add up to ``year``."""

    plan: Plan
    terms: QuoteTerms
    number: str
    valid_until: dt.date
    lines: tuple[QuoteLine, ...]
    sum: QuoteSum
    running: tuple[tuple[str, Decimal], ...]
    year: Decimal
    ways: tuple[QuotedWay, ...]
    over_years: str
    assumptions: tuple[str, ...]

    @property
    def currency(self) -> str:
        """Three letters."""
        return self.plan.document.money.currency


def make_quote(plan: Plan, terms: QuoteTerms, *, fields: str = "{}") -> Quote:
    """The quote of a plan.

    Parameters
    ----------
    plan : with its alternatives, where they are to stand side by side
    terms : number, validity, tax, labour, for whom and by whom
    fields : what a message calls a field (``--{}`` on the command line)

    Raises
    ------
    InputError : a term that cannot be used
    """
    for name, text, most in (("number", terms.number, NUMBER_LETTERS), ("client", terms.client, CLIENT_LETTERS)):
        if len(text) > most or not text.isprintable():
            raise InputError(
                fields.format(name), ascii(text), f"at most {most} plain letters are printed", "Shorten it."
            )
    if not 1 <= terms.valid_days <= MOST_VALID_DAYS:
        limit = f"1 to {MOST_VALID_DAYS} days can be given"
        raise InputError(fields.format("days"), terms.valid_days, limit, "Give another number.")
    lines = tuple(_lines(plan, terms, fields))
    cost = plan.cost
    return Quote(
        plan,
        terms,
        terms.number or f"{terms.made:%Y%m%d}-{plan.stamp[:6]}",
        terms.made + dt.timedelta(days=terms.valid_days),
        lines,
        quote_sum(lines, terms.tax_percent, cost.currency, fields.format("tax")),
        tuple((line.name, line.amount) for line in cost.lines),
        cost.expected,
        tuple(_ways(plan)),
        over_years(plan.scenario),
        tuple(_assumptions(plan, lines)),
    )


def _lines(plan: Plan, terms: QuoteTerms, fields: str) -> Iterator[QuoteLine]:
    stages = {s.name: s for s in plan.candidate.stages}
    money = plan.document.money
    guessed = {message for _, message in plan.cost.warnings}
    heads = sum(name in stages for name in (line.name for line in plan.cost.first_set_lines))
    for line in plan.cost.first_set_lines:
        stage = stages.get(line.name)
        if stage is not None:
            yield QuoteLine(stage_name(stage), _described(plan, stage), 1, line.amount, price_of_one(stage)[1])
        elif line.name == FILTER_HEADS:
            even = heads > 0 and (line.amount / heads).quantize(line.amount) * heads == line.amount
            count = heads if even else 1
            what = "one for each filter" if even else f"{heads} pieces"
            yield QuoteLine(line.name, what, count, line.amount / count, price_of(money, "head")[1])
        else:
            yield QuoteLine(line.name, "–", 1, line.amount, any(line.name in message for message in guessed))
    if terms.labour is not None:
        if not 0 <= terms.labour <= 1e7:
            raise InputError(fields.format("labour"), terms.labour, "0 to 10,000,000 is needed", "Correct the amount.")
        coin = Decimal(1).scaleb(-decimals(money.currency))
        yield QuoteLine("Fitting", "labour, by a licensed person where local code asks for one", 1,
                        Decimal(str(terms.labour)).quantize(coin))  # fmt: skip


def _described(plan: Plan, stage: Stage) -> str:
    item = next((i for i in plan.document.shelf if i.medium == stage.medium and i.sheet == stage.sheet), None)
    told = specification(stage)
    return told if item is None or not item.certificate else f"{told}; certificate: {item.certificate}"


def _ways(plan: Plan) -> Iterator[QuotedWay]:
    scenario, alternatives = plan.scenario, plan.alternatives
    mine = next((a for a in alternatives if a.candidate.stages == plan.candidate.stages), None)
    yield _way(plan, PLANNED, plan.candidate, mine)
    if mine is not None:
        others = [a for a in alternatives if a.fits and a is not mine]
        loss = {id(a): sum(float(mean(x, scenario.weights)) for x in a.weight.loss.values()) for a in (mine, *others)}
        cost = {id(a): cost_over_years(scenario, a) for a in (mine, *others)}
        nearer = [a for a in others if loss[id(a)] < loss[id(mine)]]
        best = min(nearer, key=lambda a: loss[id(a)], default=None)
        cheaper = [a for a in others if cost[id(a)] < cost[id(mine)] and a is not best]
        for name, one in ((NEARER, best), (CHEAPER, next(iter(cheaper), None))):  # ranked: the best that costs less
            if one is not None:
                yield _way(plan, name, one.candidate, one)
    other = next(iter(other_waters(scenario, alternatives)), None)
    if other is not None:
        year = f"{written(other.yearly_cost, plan.cost.currency)} for the water"
        water = (
            f"{other.supply} alone, treated as quoted" if other.supply else "hauled or bought within goal, untreated"
        )
        yield QuotedWay(OTHER, water, "–", year, year, ("–",) * len(JUDGED), other.why)


def _way(plan: Plan, name: str, one: Candidate, found: Alternative | None) -> QuotedWay:
    currency = one.cost.currency
    worst = {
        subject: max((v.status for v in one.verdicts if v.subject == subject), key=RANK.__getitem__, default="unknown")
        for subject in JUDGED
    }
    return QuotedWay(
        name,
        ", ".join(MEDIA.inside(s.medium) for s in one.stages) or "none",
        written(one.cost.first_set, currency),
        written(one.cost.expected, currency),
        "–" if found is None else written(cost_over_years(plan.scenario, found), currency),
        tuple(STATUS.label(worst[subject]) for subject in JUDGED),
        "" if found is None else found.why,
    )


def _assumptions(plan: Plan, lines: tuple[QuoteLine, ...]) -> Iterator[str]:
    document = plan.document
    demand = document.demand
    sold = demand.drinks_per_service_day
    drinks = sold.middle if sold else sum(d.per_service_day.middle for d in demand.drinks)
    yield f"{drinks:,.0f} drinks on an ordinary service day; water: {', '.join(s.name for s in document.supplies)}."
    if any(line.assumed for line in lines):
        yield "Prices marked * are usual figures and no offer: put your own in before this is sent."
    yield "The year's cost is an estimate from the plan's water and use; verify every date of a change by test."
    yield "Without plumbing work, fittings and a permit, unless a line names them; local code and the manuals go first."
    if not {"total_hardness", "alkalinity"} <= plan.scenario.known:
        yield "Hardness or alkalinity of this water is not measured: the treatment may change with a test."
