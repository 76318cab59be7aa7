"""Cost: the year by line and per drink, your own prices, and another treatment beside it."""

from __future__ import annotations

from decimal import Decimal
from functools import partial

import numpy as np
import streamlit as st

from brewwater.cost import Budget, Cost, avoided_damage, budgets, compare, payback
from brewwater.output.charts import cost_lines, two_costs
from brewwater.output.charts.base import FloatArray
from brewwater.plan import Plan
from brewwater.planning.candidate import Candidate, evaluate
from brewwater.planning.search import over_years
from brewwater.web import planning
from brewwater.web.state import Document, desk, hand
from brewwater.web.widgets import facts, fields, show
from brewwater.web.widgets.show import Checked, Figure, How
from brewwater.web.widgets.words import Words

PRICES = (
    ("head", "A filter head", ""),
    ("test_kit", "A test kit", ""),
    ("labour_visit", "A service visit", ""),
    ("mineral_kg", "Minerals", "kg"),
    ("softener_salt_kg", "Softener salt", "kg"),
    ("water_gal", "Tap water", "gal"),
    ("hauled_gal", "Hauled water", "gal"),
    ("descale", "One descaling", ""),
    ("margin_day", "What a service day earns", ""),
)
CURRENCIES = ("USD", "EUR", "GBP", "CAD", "AUD", "JPY", "CHF", "SEK", "NOK", "DKK", "NZD", "MXN", "ZAR", "INR")


def page() -> None:
    """The year's money."""
    on = desk()
    plan = planning.current()
    if plan is not None:
        _result(plan, on.words)
    _prices()
    if plan is not None:
        planning.search(plan)


def _result(plan: Plan, words: Words) -> None:
    cost = plan.candidate.cost
    currency = cost.currency
    each = None if cost.per_drink is None else float(cost.per_drink)
    drink = How(
        "expected year ÷ drinks served in the year",
        (("Year", words.exact_money(float(cost.expected), currency)),),
        "computed",
    )
    first = How("each cartridge once, and a head for each, at the prices below", (), "paid at installation, in no line")
    show.figures(
        [
            facts.cost_figure(plan, words),
            Figure("A drink", words.money(each, currency), "all lines together", drink),
            Figure(
                "To start",
                words.money(float(cost.first_set), currency),
                "not part of the year",
                first,
            ),
            Figure(
                "Used up in the year",
                words.money(float(cost.used_up), currency),
                "by share of each cartridge; a second view, never added",
                How("cartridges by the share used up instead of whole ones", (), "computed"),
            ),
        ]
    )
    st.subheader("By line", anchor=False)
    rows = [(_line(line.name), float(line.amount)) for line in cost.lines]
    st.altair_chart(
        cost_lines(rows, currency, planning.colours(), [words.money(a, currency) for _, a in rows]),
        width="stretch",
        key="cost_lines",
    )
    with st.expander("The same as a table that adds up", icon=":material/table:", key="box_lines"):
        show.table(
            ["Line", "Expected in a year"],
            [
                *([n, words.exact_money(a, currency)] for n, a in rows),
                ["All lines", words.exact_money(float(cost.expected), currency)],
            ],
            numeric=(1,),
            label="Cost",
        )
    _beside(plan, words)
    if plan.at_base is not None:
        show.say(plan.at_base.note)
    _budgets(plan, words)
    damages = plan.document.money.damages
    if damages:
        low, high = avoided_damage(damages)
        show.say(
            f"Damage that bad water may do, as you listed it: {words.money(low, currency)} to "
            f"{words.money(high, currency)} a year. A range to think with, not a saving."
        )


def _line(name: str) -> str:
    """A cost line as it is written."""
    return f"{name.removeprefix('Cartridges: ')} cartridges" if name.startswith("Cartridges: ") else name


NO_TREATMENT = "No treatment"


def _beside(plan: Plan, words: Words) -> None:
    """Another plan line by line, and when what it costs more at first is saved again."""
    others: dict[str, tuple[Candidate, str]] = {}
    for other in plan.alternatives:
        if other.candidate.stages != plan.candidate.stages:
            stages = facts.train_names(other.candidate.stages, words)
            name = " → ".join(f"{a} {b}".strip() for a, b in stages) or NO_TREATMENT
            others.setdefault(name, (other.candidate, other.why))
    if plan.candidate.stages and NO_TREATMENT not in others:
        others[NO_TREATMENT] = (_bare(plan.stamp, len(plan.scenario.weights), plan), "The water is served untreated.")
    if not others:
        return
    st.subheader("Beside another treatment", anchor=False)
    kept = st.session_state.get("cost_other")
    hand("cost_other", kept if kept in others else next(iter(others)))
    other_outcome, why = others[fields.pick("Compare with", list(others), key="cost_other")]
    ours, theirs = plan.candidate.cost, other_outcome.cost
    parts = compare(ours, theirs)
    st.altair_chart(
        two_costs(
            "This plan",
            "The other",
            [(_line(p.name), float(p.first), float(p.second)) for p in parts],
            ours.currency,
            planning.colours(),
        ),
        width="stretch",
        key="two_costs",
    )
    with st.expander("The same two as a table that adds up", icon=":material/table:", key="box_two"):
        show.table(
            ["Line", "This plan", "The other", "The other costs more by"],
            [
                *([_line(p.name), *_coins(words, ours.currency, p.first, p.second, p.change)] for p in parts),
                [
                    "All lines",
                    *_coins(words, ours.currency, ours.expected, theirs.expected, theirs.expected - ours.expected),
                ],
            ],
            numeric=(1, 2, 3),
            label="Two plans by line",
        )
    change = float(theirs.expected) - float(ours.expected)
    word = "more" if change > 0 else "less"
    show.say(f"The other costs {words.money(abs(change), ours.currency)} {word} in the twelve months.")
    show.say(paid_back(ours, theirs, plan.scenario.weights, words))
    show.say(f"About the other: {why}")
    st.caption(
        f"Treatments are ranked by what they cost {over_years(plan.scenario)}, every part by the share of it that is "
        "used up; the lines above count whole cartridges bought in the first twelve months, so the two amounts differ."
    )


def _coins(words: Words, currency: str, *amounts: Decimal) -> list[str]:
    return [words.exact_money(float(a), currency) for a in amounts]


@st.cache_resource(max_entries=8, show_spinner=False)
def _bare(stamp: str, draws: int, _plan: Plan) -> Candidate:
    """The same unit without any treatment."""
    return evaluate(_plan.scenario, ())


def paid_back(
    ours: Cost, theirs: Cost, weights: FloatArray, words: Words, names: tuple[str, str] = ("This plan", "The other")
) -> str:
    """In a sentence, when the plan that costs more at installation has saved that again."""
    dear, cheap, name = (ours, theirs, names[0]) if ours.first_set >= theirs.first_set else (theirs, ours, names[1])
    more = float(dear.first_set - cheap.first_set)
    if more <= 0:
        return "Both cost the same at installation."
    # in a draw where it is the cheaper one after all, nothing has to be paid back
    outlay = np.maximum(dear.first_set_draws - cheap.first_set_draws, 0.0)
    found = payback(outlay, cheap.total, dear.total, weights)
    lead = f"{name} costs {words.money(more, ours.currency)} more at installation"
    low, middle, high = found.months
    if middle is None:
        never = words.share(found.never)
        return (
            f"{lead}, and in {never} of the cases that is never saved again in these lines: judge it by the verdicts."
        )
    end = "never in some cases" if high is None else f"{words.number(high, 2)}"
    span = f"{words.number(low, 2)} to {end}" if high is not None else f"from {words.number(low, 2)}, {end}"
    return f"{lead}; its lower year pays that back in about {words.number(middle, 2)} months ({span})."


def _budgets(plan: Plan, words: Words) -> None:
    """What is spent at installation against each purse, where the plan has any."""
    money, cost = plan.document.money, plan.candidate.cost
    purses = [
        p
        for p in budgets(money, cost.first_set_draws, plan.scenario.draws, plan.scenario.weights)
        if p.limit is not None or (p.name == "Plumbing" and p.spent is not None)
    ]
    if not purses:
        return
    st.subheader("Budgets at installation", anchor=False)
    show.checks([_purse(p, cost.currency, words) for p in purses])


def _purse(purse: Budget, currency: str, words: Words) -> Checked:
    what = "first set of cartridges and heads" if purse.name == "Filtration" else "plumbing, as you entered it"
    if purse.spent is None:
        return Checked(
            purse.name,
            "unknown",
            "cost not entered",
            _amount(purse.limit, currency, words),
            "Enter what the plumbing costs below.",
            "your entry",
        )
    found = words.money(float(purse.spent), currency)
    if purse.limit is None or purse.over is None:
        return Checked(
            purse.name, "unknown", found, "", f"No budget is set; this is what the {what} costs.", "your entry"
        )
    over = round(purse.over, 6)  # weights add up to one but for the last bit
    status = "ok" if over < 0.2 else "watch" if over < 0.5 else "act"
    return Checked(
        purse.name,
        status,
        found,
        _amount(purse.limit, currency, words),
        f"{what.capitalize()}: over the budget in {words.share(over)} of the cases.",
        "your budget; prices below",
    )


def _amount(limit: Decimal | None, currency: str, words: Words) -> str:
    return "" if limit is None else f"at most {words.money(float(limit), currency)}"


def _set_currency(document: Document, value: str) -> None:
    document["money"]["currency"] = value


def _prices() -> None:
    on = desk()
    st.subheader("Your prices", anchor=False)
    st.caption("Empty: a wide placeholder range without source stands in.")
    currency = on.typed.money.currency
    fields.choice(
        "Currency", "currency", tuple(dict.fromkeys([currency, *CURRENCIES])), value=currency, write=_set_currency
    )
    columns = st.columns(3)
    for i, (key, label, per) in enumerate(PRICES):
        with columns[i % 3]:
            fields.span(
                label,
                f"price_{key}",
                ("money", "prices", key),
                unit=f"{currency} a {per}" if per else currency,
                placeholder="assumed",
            )
    train = on.document["train"]
    if train:
        st.markdown("**Cartridges**")
        columns = st.columns(3)
        for i, stage in enumerate(train):
            with columns[i % 3]:
                fields.span(
                    stage["name"],
                    f"price_stage_{i}",
                    ("train", i, "sheet", "price"),
                    unit=currency,
                    placeholder="assumed",
                )
    else:
        st.caption("Cartridge prices are entered on the Treatment page, once the treatment is taken as your own.")
    with st.expander("More about money", icon=":material/tune:", key="box_money"):
        two = st.columns(2)
        with two[0]:
            fields.number(
                "Test kits a year", "test_kits", ("money", "test_kits_per_year"), optional=False, unit="pieces"
            )
            fields.number(
                "Heads last", "head_life", ("money", "head_life_years"), optional=False, low=0.1, unit="years"
            )
            fields.span(
                "Price rise a year",
                "price_rise",
                ("money", "price_rise_per_year"),
                unit="share",
                optional=False,
                help="0.03 is three per cent.",
            )
            fields.span(
                "Days lost to water trouble",
                "downtime",
                ("money", "downtime_days_per_year"),
                optional=False,
                unit="days a year",
            )
        with two[1]:
            fields.switch("Someone is paid for each visit", "visits_paid", ("money", "visits_paid"))
            fields.switch("The water is hauled", "hauled", ("money", "hauled"))
            fields.span("Descale at", "descale_at", ("money", "scale_g_per_descale"), unit="g of scale", optional=False)
            fields.number(
                "Budget for filters", "filter_budget", ("money", "filtration_budget"), unit=currency, placeholder="none"
            )
            fields.number(
                "Budget for plumbing", "plumb_budget", ("money", "plumbing_budget"), unit=currency, placeholder="none"
            )
            fields.span(
                "Plumbing costs", "plumb_cost", ("money", "plumbing_cost"), unit=currency, placeholder="not known"
            )
    _damages(currency)


def _damages(currency: str) -> None:
    """Damage that bad water may do, as the owner guesses it: shown as a range, never counted."""
    damages = desk().typed.money.damages
    with st.expander(f"Damage that bad water may do ({len(damages)})", icon=":material/build:", key="box_damages"):
        for i in range(len(damages)):
            path = ("money", "damages", i)
            with st.container(border=True):
                fields.text("What may break", f"damage_name_{i}", (*path, "name"))
                columns = st.columns(2)
                with columns[0]:
                    fields.span("One repair", f"damage_cost_{i}", (*path, "cost"), unit=currency, optional=False)
                with columns[1]:
                    fields.span(
                        "How often", f"damage_times_{i}", (*path, "times_per_year"), unit="a year", optional=False
                    )
                fields.act("Take out", f"damage_out_{i}", partial(_drop_damage, i), icon=":material/delete:")
        fields.act("Add", "damage_add", _add_damage, icon=":material/add:")
        st.caption("A range to think with; it stands in no line of the year.")


def _add_damage(document: Document) -> None:
    fresh = {"name": "Boiler repair", "cost": [200.0, 800.0], "times_per_year": [0.1, 0.5]}
    document["money"]["damages"] = [*document["money"]["damages"], fresh]


def _drop_damage(i: int, document: Document) -> None:
    document["money"]["damages"].pop(i)
