"""What the year costs: whole cartridges and everything else that keeping the water right takes.

Amounts are worked out per draw as floats; at the edge they become ``Decimal``, rounded so that the lines add
up to the total to the last coin.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from brewwater import reference
from brewwater.document import Name, NonNegative, Part, Positive, Span
from brewwater.ensemble import Draws, mean, percentiles
from brewwater.forecast import Changes

FloatArray = NDArray[np.float64]
DAYS_PER_YEAR = 365.25


class Prices(Part):
    """Prices in the plan's currency. None: the placeholder of ``price_placeholders.csv``, with a warning.

    ``mineral_kg`` and ``softener_salt_kg`` a kilogram, ``water_gal`` and ``hauled_gal`` a US gallon,
    ``margin_day`` what a service day would have earned, ``membrane_unit`` and ``dosing_set`` what stands
    around a membrane and a dose of minerals, ``base_tank`` and ``carried_tank`` what holds water made at base,
    there and on board, all of them paid for over ``head_life_years``.
    """

    head: Span | None = None
    membrane_unit: Span | None = None
    dosing_set: Span | None = None
    base_tank: Span | None = None
    carried_tank: Span | None = None
    test_kit: Span | None = None
    labour_visit: Span | None = None
    mineral_kg: Span | None = None
    softener_salt_kg: Span | None = None
    water_gal: Span | None = None
    hauled_gal: Span | None = None
    descale: Span | None = None
    margin_day: Span | None = None


class Damage(Part):
    """Damage that bad water may do: what a repair costs, and how often it comes, per year. A guess by nature:
    it is shown as a range and never counted."""

    name: Name
    cost: Span
    times_per_year: Span


class CostInput(Part):
    """Money side of the plan.

    ``price_rise_per_year``: share. ``test_kits_per_year``: pieces. ``head_life_years``: heads are paid for
    over it. ``visits_paid``: each visit costs ``labour_visit``. ``scale_g_per_descale``: scale laid down at
    which the machine is descaled. ``downtime_days_per_year``: besides the suspensions in the calendar.
    ``plumbing_budget`` and ``filtration_budget``: what may be spent on each at installation, checked apart;
    ``plumbing_cost``: what the plumbing costs.
    """

    currency: Annotated[str, Field(pattern="^[A-Z]{3}$")] = "USD"
    prices: Prices = Prices()
    price_rise_per_year: Span = Span(low=0, typical=0, high=0)
    test_kits_per_year: NonNegative = 2.0
    head_life_years: Positive = 5.0
    visits_paid: bool = False
    hauled: bool = False
    scale_g_per_descale: Span = Span(low=30, typical=60, high=120)
    downtime_days_per_year: Span = Span(low=0, typical=0, high=0)
    plumbing_cost: Span | None = None
    plumbing_budget: NonNegative | None = None
    filtration_budget: NonNegative | None = None
    damages: tuple[Damage, ...] = ()


@dataclass(frozen=True, slots=True)
class Bought:
    """One cartridge's place: its changes and its price. ``price_assumed``: the price is a placeholder.
    ``flush_gal``: run to waste through each new one, US gallons; ``at_base``: on the mains of a base."""

    name: str
    changes: Changes
    price: Span
    price_assumed: bool = False
    needs_head: bool = True
    flush_gal: Span | None = None
    at_base: bool = False


@dataclass(frozen=True, slots=True)
class Usage:
    """What a plan's year uses besides cartridges, each shape (draw,) or (1,).

    source_gal : US gallons taken in, reject included; reject_gal : of them to waste
    base_gal, base_reject_gal : the same at a base, always from its mains
    mineral_kg, softener_salt_kg : by mass; scale_g : laid down in the machines
    drinks : served in the year; suspension_days : service days lost to notices
    """

    drinks: FloatArray
    source_gal: FloatArray = field(default_factory=lambda: np.zeros(1))
    reject_gal: FloatArray = field(default_factory=lambda: np.zeros(1))
    base_gal: FloatArray = field(default_factory=lambda: np.zeros(1))
    base_reject_gal: FloatArray = field(default_factory=lambda: np.zeros(1))
    mineral_kg: FloatArray = field(default_factory=lambda: np.zeros(1))
    softener_salt_kg: FloatArray = field(default_factory=lambda: np.zeros(1))
    scale_g: FloatArray = field(default_factory=lambda: np.zeros(1))
    suspension_days: float = 0.0


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the year: ``amount`` is the rounded mean over the draws."""

    name: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Cost:
    """The cost of twelve months.

    ``lines`` add up to ``expected`` exactly. ``total``: shape (draw,); ``total_percentiles``: 10th, 50th, 90th.
    ``first_set``: the first cartridges and heads, paid at installation, in no line; ``first_set_draws`` the same
    by draw, shape (draw,) or (1,). ``used_up``: cartridges by the share used up instead of whole ones: a second
    figure, never added. ``thrown_away``: value of what is left in cartridges that are changed in the year, part
    of the lines already. ``flush_gal``: US gallons run to waste through the year's new cartridges, shape (draw,)
    or (1,).
    """

    currency: str
    lines: tuple[Line, ...]
    expected: Decimal
    total: FloatArray
    first_set_draws: FloatArray
    total_percentiles: tuple[float, float, float]
    per_drink: Decimal | None
    first_set: Decimal
    used_up: Decimal
    thrown_away: Decimal
    flush_gal: FloatArray
    warnings: tuple[tuple[str, str], ...]


def decimals(currency: str) -> int:
    """Digits after the point in a currency, 2 for most."""
    row = reference.keyed("currency_minor_units", "currency").get(currency)
    return 2 if row is None else int(row["decimals"])


def rounded(amounts: Sequence[float], places: int) -> list[Decimal]:
    """Amounts rounded so that they add up to their own rounded sum, by largest remainders.

    Parameters
    ----------
    amounts : finite
    places : digits after the point
    """
    coin = Decimal(1).scaleb(-places)
    exact = [Decimal(float(a)) for a in amounts]
    total = sum(exact, Decimal(0)).quantize(coin, ROUND_HALF_EVEN)
    floors = [a.quantize(coin, ROUND_FLOOR) for a in exact]
    missing = int((total - sum(floors, Decimal(0))) / coin)
    by_remainder = sorted(range(len(exact)), key=lambda i: (floors[i] - exact[i], i))
    for index in by_remainder[:missing]:
        floors[index] += coin
    return floors


# What a medium needs besides its cartridge, by key of the prices.
EQUIPMENT = {"reverse_osmosis": "membrane_unit", "mineral_dose": "dosing_set"}


def price_of(inputs: CostInput, key: str) -> tuple[Span, bool]:
    """A price of ``Prices``, and whether it is the placeholder of ``price_placeholders.csv``."""
    given: Span | None = getattr(inputs.prices, key)
    if given is not None:
        return given, False
    row = reference.keyed("price_placeholders")[key]
    return Span(low=float(row["low"]), typical=float(row["typical"]), high=float(row["high"])), True


def yearly_cost(inputs: CostInput, bought: Sequence[Bought], usage: Usage, draws: Draws,
                weights: FloatArray, *, year: int = 1, equipment: Sequence[str] = ()) -> Cost:
    """The cost of the plan's ``year``-th twelve months.

    Parameters
    ----------
    inputs : prices and habits
    bought : the cartridge places with their changes
    usage : what one year uses
    draws, weights : the ensemble
    year : 1 for the first; prices rise from the start on
    equipment : keys of the prices of what is paid for over the life of a head (values of ``EQUIPMENT``)

    Returns
    -------
    Cost : whole cartridges that go in during the year, each at its price on that day
    """
    names = {row["key"]: row["name"] for row in reference.table("price_placeholders")}
    assumed: list[str] = []

    def price(key: str) -> FloatArray:
        given, is_assumed = price_of(inputs, key)
        if is_assumed:
            assumed.append(names[key])
        return draws.span(f"price: {key}", given)

    def add(line: str, amount: FloatArray) -> None:
        spent[line] = spent.get(line, np.zeros(1)) + amount

    rise = 1 + draws.span("price rise", inputs.price_rise_per_year)
    level = rise ** (year - 0.5)
    spent: dict[str, FloatArray] = {}
    first_set = used_up = thrown_away = np.zeros(1)
    flushed = {"water_gal": np.zeros(1), "hauled_gal": np.zeros(1)}
    kind = "hauled_gal" if inputs.hauled else "water_gal"
    for place in bought:
        each = draws.span(f"price: {place.name}", place.price)
        if place.price_assumed:
            assumed.append(place.name)
        at, inside = _when(place.changes, year)
        spent[f"Cartridges: {place.name}"] = (inside * each * rise ** (at / DAYS_PER_YEAR)).sum(axis=0)
        first_set = first_set + each
        if year == 1:
            used_up = used_up + place.changes.used_up * each
        thrown_away = thrown_away + (inside * place.changes.left).sum(axis=0) * each
        if place.flush_gal is not None and place.flush_gal.high > 0:
            gallons = inside.sum(axis=0) * draws.span(f"flush: {place.name}", place.flush_gal)
            at_base = "water_gal" if place.at_base else kind
            flushed[at_base] = flushed[at_base] + gallons
    heads = sum(place.needs_head for place in bought)
    if heads:
        head = price("head") * heads
        spent["Filter heads over their life"] = head / inputs.head_life_years
        first_set = first_set + head
    for key in equipment:
        add(f"{names[key]} over its life", price(key) / inputs.head_life_years)
        first_set = first_set + price(key)
    if inputs.test_kits_per_year:
        spent["Test kits"] = inputs.test_kits_per_year * price("test_kit") * level
    for key, amount in (("mineral_kg", usage.mineral_kg), ("softener_salt_kg", usage.softener_salt_kg)):
        if np.any(amount > 0):
            spent[names[key]] = amount * price(key) * level
    if inputs.visits_paid and bought:
        spent["Labour by visit"] = visits([b.changes for b in bought], year) * price("labour_visit") * level
    for taken, rejected, tariff in (
        (usage.source_gal, usage.reject_gal, kind), (usage.base_gal, usage.base_reject_gal, "water_gal"),
    ):  # fmt: skip
        if np.any(taken > 0):
            each = price(tariff) * level
            add(names[tariff], np.maximum(taken - rejected, 0) * each)
            if np.any(rejected > 0):
                add("Water rejected", rejected * each)
    for tariff, gallons in flushed.items():
        if np.any(gallons > 0):
            add("Flush of new cartridges", gallons * price(tariff) * level)
    if np.any(usage.scale_g > 0):
        times = usage.scale_g / draws.span("scale per descale", inputs.scale_g_per_descale)
        spent["Descaling"] = times * price("descale") * level
    lost = draws.span("downtime days", inputs.downtime_days_per_year) + usage.suspension_days
    if np.any(lost > 0):
        spent["Downtime"] = lost * price("margin_day") * level
    aside = first_set, used_up, thrown_away
    return _cost(inputs.currency, spent, usage.drinks, weights, aside, sum(flushed.values(), np.zeros(1)), assumed)


def _cost(currency: str, spent: Mapping[str, FloatArray], drinks: FloatArray, weights: FloatArray,
          aside: tuple[FloatArray, FloatArray, FloatArray], flush_gal: FloatArray,
          assumed: Sequence[str]) -> Cost:
    places = decimals(currency)
    total = np.asarray(sum(spent.values(), start=np.zeros(1)), dtype=np.float64)
    amounts = rounded([float(mean(a, weights)) for a in spent.values()], places)
    expected = sum(amounts, Decimal(0)).quantize(Decimal(1).scaleb(-places))
    served = float(mean(drinks, weights))
    low, middle, high = percentiles(total, weights)
    first_set, used_up, thrown_away = (rounded([float(mean(a, weights))], places)[0] for a in aside)
    warnings = [("price_assumed", f"The price of {name} is a placeholder without source: enter yours.")
                for name in dict.fromkeys(assumed)]
    return Cost(
        currency=currency,
        lines=tuple(Line(name, amount) for name, amount in zip(spent, amounts, strict=True)),
        expected=expected,
        total=total,
        first_set_draws=aside[0],
        total_percentiles=(float(low), float(middle), float(high)),
        per_drink=None if served <= 0 else round(expected / Decimal(served), places + 2),
        first_set=first_set,
        used_up=used_up,
        thrown_away=thrown_away,
        flush_gal=flush_gal,
        warnings=tuple(warnings),
    )


def visits(changes: Sequence[Changes], year: int = 1) -> FloatArray:
    """Days in the year on which at least one cartridge is changed, shape (draw,)."""
    found = [_when(c, year) for c in changes]
    n = max(inside.shape[1] for _, inside in found)
    days = np.concatenate([np.broadcast_to(np.where(inside, at, -1), (len(at), n)) for at, inside in found])
    days = np.sort(days, axis=0)
    new = np.diff(days, axis=0, prepend=-1) != 0
    return np.asarray(((days >= 0) & new).sum(axis=0), dtype=np.float64)


def _when(changes: Changes, year: int) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Day on which each successor goes in, and whether that is in the year, both shape (change, draw)."""
    first, last = changes.year_days(year)
    at = changes.back
    return at.astype(np.float64), (at >= first) & (at < last)


@dataclass(frozen=True, slots=True)
class Budget:
    """One purse at installation: ``spent`` is the mean, ``over`` the share of the draws above the limit; None
    where there is no limit or nothing is known to be spent."""

    name: str
    limit: Decimal | None
    spent: Decimal | None
    over: float | None


def budgets(inputs: CostInput, first_set: FloatArray, draws: Draws, weights: FloatArray) -> tuple[Budget, Budget]:
    """The two purses of an installation, held apart: plumbing, and filtration (first set and heads).

    Parameters
    ----------
    first_set : from ``Cost.first_set_draws``, shape (draw,) or (1,)
    """
    plumbing = None if inputs.plumbing_cost is None else draws.span("plumbing cost", inputs.plumbing_cost)
    return (
        _budget("Plumbing", inputs.plumbing_budget, plumbing, inputs.currency, weights),
        _budget("Filtration", inputs.filtration_budget, first_set, inputs.currency, weights),
    )


def _budget(name: str, limit: float | None, spent: FloatArray | None, currency: str, weights: FloatArray) -> Budget:
    places = decimals(currency)
    purse = None if limit is None else rounded([limit], places)[0]
    if spent is None:
        return Budget(name, purse, None, None)
    over = None if limit is None else float(mean((spent > limit).astype(np.float64), weights))
    return Budget(name, purse, rounded([float(mean(spent, weights))], places)[0], over)


@dataclass(frozen=True, slots=True)
class Difference:
    """One line of two plans side by side; ``change`` is the second less the first."""

    name: str
    first: Decimal
    second: Decimal

    @property
    def change(self) -> Decimal:
        """Positive where the second plan costs more."""
        return self.second - self.first


def compare(first: Cost, second: Cost) -> tuple[Difference, ...]:
    """Two plans line by line; the changes add up to the difference of the totals.

    Raises
    ------
    ValueError : the currencies differ
    """
    if first.currency != second.currency:
        raise ValueError(f"{first.currency} cannot be compared with {second.currency}")
    a, b = ({line.name: line.amount for line in cost.lines} for cost in (first, second))
    zero = Decimal(0)
    return tuple(Difference(n, a.get(n, zero), b.get(n, zero)) for n in dict.fromkeys([*a, *b]))


@dataclass(frozen=True, slots=True)
class Payback:
    """Months until the saving has paid for the outlay: 10th, 50th and 90th percentile, None for never;
    ``never``: share of the draws in which it never does."""

    months: tuple[float | None, float | None, float | None]
    never: float


def payback(outlay: FloatArray, yearly_before: FloatArray, yearly_after: FloatArray,
            weights: FloatArray) -> Payback:
    """How long a plan takes to pay for itself.

    Parameters
    ----------
    outlay : paid at the start, shape (draw,) or (1,)
    yearly_before, yearly_after : cost of a year without it and with it
    """
    saving = np.asarray(yearly_before - yearly_after, dtype=np.float64)
    never = (saving <= 0) & (outlay > 0)
    months = np.atleast_1d(np.where(never, np.inf, 12 * outlay / np.where(saving > 0, saving, np.inf)))
    low, middle, high = _quantiles(months, weights)
    return Payback((low, middle, high), float(mean(never.astype(float), weights)))


def _quantiles(values: FloatArray, weights: FloatArray) -> Iterator[float | None]:
    wide = np.broadcast_to(values, weights.shape) if len(values) == 1 else values
    order = np.argsort(wide)
    mass = np.cumsum(weights[order])
    for at in (0.1, 0.5, 0.9):
        value = float(wide[order][min(int(np.searchsorted(mass, at * mass[-1])), len(wide) - 1)])
        yield value if np.isfinite(value) else None


def avoided_damage(damages: Sequence[Damage]) -> tuple[float, float]:
    """Low and high end of what the listed damages may cost a year: a range to think with, not a saving."""
    low = sum(d.cost.low * d.times_per_year.low for d in damages)
    return low, sum(d.cost.high * d.times_per_year.high for d in damages)
