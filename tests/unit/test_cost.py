"""Money: three plans worked by hand, lines that add up to the coin, comparison and payback."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.cost import (
    Bought,
    Cost,
    CostInput,
    Damage,
    Usage,
    avoided_damage,
    budgets,
    compare,
    decimals,
    payback,
    rounded,
    written,
    yearly_cost,
)
from brewwater.ensemble import Draws
from brewwater.records import Span

ONE = np.ones(1)


def span(low: float, high: float | None = None) -> Span:
    return Span(low=low, high=low if high is None else high)


def year(inputs: dict[str, Any], bought: list[Bought], n: int = 1, visits: int = 0, **usage: Any) -> Cost:
    given = {k: np.array([float(v)]) if k != "suspension_days" else v for k, v in {"drinks": 1000, **usage}.items()}
    return yearly_cost(CostInput.model_validate(inputs), bought, Usage(**given), Draws(n), np.ones(n), visits=visits)


def lines(cost: Cost) -> dict[str, str]:
    return {line.name: str(line.amount) for line in cost.lines}


NO_KITS = {"test_kits_per_year": 0}


def test_cart_by_hand() -> None:
    # two carbon cartridges at 40, head 45 over 5 years, two kits at 25
    prices = {"head": 45, "test_kit": 25}
    cost = year({"prices": prices}, [Bought("carbon", (183, 364), span(40), (0.2, 0.2), np.array([2.0]))])
    assert lines(cost) == {
        "Cartridges: carbon": "80.00",
        "Filter heads over their life": "9.00",
        "Test kits": "50.00",
    }
    assert cost.expected == Decimal("139.00")
    assert cost.first_set == Decimal("85.00")
    assert cost.used_up == Decimal("80.00")
    assert cost.thrown_away == Decimal("16.00")
    assert cost.per_drink == Decimal("0.1390")
    assert cost.warnings == ()


def test_shop_by_hand() -> None:
    # 4 sediment at 20; 3 resin at 180; labour on 5 days (two changes share two days) at 60; 9,000 gal of
    # water, 1,000 of them rejected, at 0.02; 150 g of scale at 60 g a descale of 80; two days down and one
    # of notice at 200
    inputs = {
        **NO_KITS,
        "visits_paid": True,
        "scale_g_per_descale": 60,
        "downtime_days_per_year": 2,
        "prices": {"head": 0, "labour_visit": 60, "water_gal": 0.02, "descale": 80, "margin_day": 200},
    }
    bought = [
        Bought("sediment", (90, 180, 270, 360), span(20)),
        Bought("resin", (100, 180, 270), span(180)),
    ]
    cost = year(inputs, bought, visits=5, source_gal=9000, reject_gal=1000, scale_g=150, suspension_days=1)
    assert lines(cost) == {
        "Cartridges: sediment": "80.00",
        "Cartridges: resin": "540.00",
        "Filter heads over their life": "0.00",
        "Labour by visit": "300.00",
        "Water from the tap": "160.00",
        "Water rejected": "20.00",
        "Descaling": "200.00",
        "Downtime": "600.00",
    }
    assert cost.expected == Decimal("1900.00")


def test_hauled_water_and_minerals_by_hand() -> None:
    # 1,100 gal hauled at 0.35; 3 kg of mineral at 18; four regenerations of 5 kg of salt at 1
    inputs = {
        **NO_KITS,
        "hauled": True,
        "prices": {"hauled_gal": 0.35, "mineral_kg": 18, "softener_salt_kg": 1},
    }
    softener = Bought("softener", (90, 180, 270, 300), span(150), needs_head=False, salt_kg=span(5))
    cost = year(inputs, [softener], source_gal=1100, mineral_kg=3)
    assert (cost.first_set, cost.thrown_away) == (Decimal("150.00"), Decimal("0.00"))
    assert lines(cost) == {
        "Cartridges: softener": "0.00",
        "Mineral salt": "54.00",
        "Softener salt": "20.00",
        "Water bought or hauled": "385.00",
    }
    assert cost.expected == Decimal("459.00")


def test_flush_water_by_hand() -> None:
    # two changes of 5 gal each through carbon, one of 8 through resin made at base; hauled at 0.5, tap at 0.02
    inputs = {**NO_KITS, "hauled": True, "prices": {"head": 0, "hauled_gal": 0.5, "water_gal": 0.02}}
    bought = [
        Bought("carbon", (100, 200), span(0), flush_gal=span(5)),
        Bought("resin", (150,), span(0), flush_gal=span(8), at_base=True),
        Bought("blend", (150,), span(0), flush_gal=span(0)),
    ]
    cost = year(inputs, bought)
    assert lines(cost)["Flush of new cartridges"] == "5.16"  # 10 x 0.5 + 8 x 0.02
    assert float(cost.flush_gal[0]) == 18
    assert "Flush of new cartridges" not in lines(year(inputs, bought[2:]))


def test_water_made_at_a_base_is_always_from_its_mains() -> None:
    inputs = {**NO_KITS, "hauled": True, "prices": {"hauled_gal": 0.5, "water_gal": 0.02}}
    cost = year(inputs, [], source_gal=1000, reject_gal=0, base_gal=900, base_reject_gal=600)
    assert lines(cost) == {
        "Water bought or hauled": "500.00",
        "Water from the tap": "6.00",
        "Water rejected": "12.00",
    }


def test_prices_rise_from_the_start() -> None:
    # bought on day 300: 300 of 365.25 days of one year's rise; the kits at the middle of the year
    inputs = {"price_rise_per_year": 0.1, "test_kits_per_year": 1, "prices": {"test_kit": 10}}
    cost = year(inputs, [Bought("carbon", (300,), span(100), needs_head=False)])
    assert float(cost.expected) == pytest.approx(100 * 1.1 ** (300 / 365.25) + 10 * 1.1**0.5, abs=0.01)


def test_placeholders_are_marked() -> None:
    cost = year({}, [Bought("carbon", (10,), span(10, 20), price_assumed=True)])
    assert {code for code, _ in cost.warnings} == {"price_assumed"}
    assert any("carbon" in message for _, message in cost.warnings)
    assert any("Test kit" in message for _, message in cost.warnings)


def test_no_drinks_no_price_per_drink() -> None:
    assert year(NO_KITS, [], drinks=0).per_drink is None


@given(st.lists(st.floats(0, 1e6), max_size=12), st.sampled_from([0, 2, 3]))
@settings(max_examples=200, deadline=None)
def test_rounded_amounts_add_up(amounts: list[float], places: int) -> None:
    coins = rounded(amounts, places)
    exact = sum((Decimal(a) for a in amounts), Decimal(0))
    coin = Decimal(1).scaleb(-places)
    assert abs(sum(coins, Decimal(0)) - exact) <= coin / 2
    assert all(abs(c - Decimal(a)) < coin for c, a in zip(coins, amounts, strict=True))
    assert all(c == c.quantize(coin) for c in coins)


@pytest.mark.parametrize("currency", ["USD", "EUR", "JPY", "KWD"])
@pytest.mark.parametrize("seed", range(5))
def test_lines_add_to_the_total_in_every_currency(currency: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    bought = [
        Bought(f"stage {i}", tuple(sorted(rng.integers(1, 360, 4).tolist())), span(*sorted(rng.uniform(1, 99, 2))))
        for i in range(6)
    ]
    cost = year(
        {"currency": currency, "visits_paid": True, "price_rise_per_year": [0, 0.1]},
        bought,
        n=64,
        visits=7,
        source_gal=rng.uniform(0, 9999),
        reject_gal=rng.uniform(0, 999),
        scale_g=rng.uniform(0, 99),
    )
    assert sum((line.amount for line in cost.lines), Decimal(0)) == cost.expected
    assert -cost.expected.as_tuple().exponent == decimals(currency)
    assert float(cost.expected) == pytest.approx(cost.total.mean(), abs=0.51 * 10.0 ** -decimals(currency))
    low, middle, high = cost.total_percentiles
    assert low <= middle <= high


def test_two_plans_line_by_line() -> None:
    first = year(NO_KITS, [Bought("carbon", (10, 20), span(33.335))])
    second = year({}, [Bought("resin", (10,), span(99.99))])
    table = compare(first, second)
    assert {row.name for row in table} == {
        "Cartridges: carbon",
        "Cartridges: resin",
        "Filter heads over their life",
        "Test kits",
    }
    assert sum((row.change for row in table), Decimal(0)) == second.expected - first.expected
    with pytest.raises(ValueError, match="EUR"):
        compare(first, year({"currency": "EUR"}, []))


def test_payback() -> None:
    # 600 paid, 50 a month saved
    assert payback(np.array([600.0]), np.array([1000.0]), np.array([400.0]), ONE).months == (12, 12, 12)
    never = payback(np.array([600.0]), np.array([400.0]), np.array([1000.0]), ONE)
    assert never.months == (None, None, None)
    assert never.never == 1
    free = payback(np.array([0.0]), np.array([400.0]), np.array([400.0]), ONE)
    assert free.months == (0, 0, 0)
    some = payback(np.full(4, 600.0), np.array([100.0, 700, 700, 700]), np.full(4, 100.0), np.ones(4))
    assert some.never == 0.25
    assert some.months == (12, 12, None)


def test_damage_is_a_range() -> None:
    damage = Damage(name="boiler", cost=span(300, 900), times_per_year=span(0, 0.5))
    assert avoided_damage([damage, damage]) == (0, 900)
    assert avoided_damage([]) == (0, 0)


def test_budgets_are_kept_apart() -> None:
    inputs = CostInput.model_validate(
        {
            **NO_KITS,
            "prices": {"head": 20},
            "plumbing_cost": [100, 300],
            "plumbing_budget": 200,
            "filtration_budget": 70,
        }
    )
    draws, weights = Draws(512), np.ones(512)
    cost = yearly_cost(inputs, [Bought("carbon", (), span(40))], Usage(np.ones(1)), draws, weights)
    plumbing, filtration = budgets(inputs, cost.first_set_draws, draws, weights)
    assert (filtration.spent, filtration.limit, filtration.over) == (Decimal("60.00"), Decimal("70.00"), 0)
    assert plumbing.over == pytest.approx(0.5, abs=0.01)
    none = budgets(CostInput(), cost.first_set_draws, draws, weights)
    assert (none[0].spent, none[0].over, none[1].limit) == (None, None, None)


@pytest.mark.parametrize(
    ("amount", "currency", "text"),
    [
        (1892.37, "USD", "$1,892"),
        (99.996, "USD", "$100"),
        (99.99, "USD", "$99.99"),
        (41, "USD", "$41"),
        (45.5, "EUR", "€45.50"),
        (0.1394, "USD", "$0.139"),
        (0.0532, "USD", "$0.0532"),
        (0, "USD", "$0"),
        (-41.2, "USD", "−$41.20"),
        (-0.0001, "USD", "−$0.0001"),
        (1892.37, "CHF", "1,892 CHF"),
        (1234.5, "JPY", "¥1,234"),
        (0.02, "USD", "$0.02"),
        (1.2345, "KWD", "1.234 KWD"),
    ],
)
def test_money_is_written_in_one_way(amount: float, currency: str, text: str) -> None:
    assert written(amount, currency) == text


def test_money_to_the_coin_and_in_the_reader_s_marks() -> None:
    assert written(1892.375, "USD", exact=True) == "$1,892.38"
    assert written(Decimal("1892.37"), "EUR", exact=True, marks="1.234,5") == "€1.892,37"
    assert written(1892.4, "EUR", marks="1 234,5") == "€1\u202f892"
    assert written(-0.001, "USD", exact=True) == "$0.00"
