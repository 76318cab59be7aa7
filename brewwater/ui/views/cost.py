"""Cost: the year by line and per drink, your own prices, and another treatment beside it."""

from __future__ import annotations

import streamlit as st

from brewwater.charts import cost_lines, two_costs
from brewwater.cost import avoided_damage, compare
from brewwater.plan import Plan
from brewwater.ui import facts, fields, planning, show
from brewwater.ui.show import Figure, How
from brewwater.ui.state import Document, desk
from brewwater.ui.words import Words

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
    cost = plan.outcome.cost
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
            Figure("A drink", words.money(each, currency, 2), "all lines together", drink),
            Figure(
                "First set, at installation",
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
    with st.expander("The same as a table that adds up", icon=":material/table:"):
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


def _beside(plan: Plan, words: Words) -> None:
    others = [a for a in plan.alternatives if a.outcome.stages != plan.outcome.stages]
    if not others:
        return
    st.subheader("Beside another treatment", anchor=False)

    def name(index: int) -> str:
        stages = others[index].outcome.stages
        return " → ".join(f"{a} {b}".strip() for a, b in facts.train_names(stages, words)) or "no treatment"

    if st.session_state.get("cost_other", 0) not in range(len(others)):
        st.session_state["cost_other"] = 0
    pick = st.selectbox("Compare with", range(len(others)), format_func=name, key="cost_other")
    other = others[pick].outcome
    parts = compare(plan.outcome.cost, other.cost)
    st.altair_chart(
        two_costs(
            "This plan",
            "The other",
            [(_line(p.name), float(p.first), float(p.second)) for p in parts],
            plan.outcome.cost.currency,
            planning.colours(),
        ),
        width="stretch",
        key="two_costs",
    )
    change = float(other.cost.expected) - float(plan.outcome.cost.expected)
    word = "more" if change > 0 else "less"
    show.say(
        f"The other costs {words.money(abs(change), plan.outcome.cost.currency)} {word} a year. {others[pick].why}"
    )


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
    with st.expander("More about money", icon=":material/tune:"):
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
