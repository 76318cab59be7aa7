"""What the year costs: whole cartridges and everything else that keeping the water right takes.

Amounts are worked out per draw as floats; at the edge they become ``Decimal``, rounded so that the lines add
up to the total to the last coin.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.cost.coins import decimals, rounded
from brewwater.cost.inputs import CostInput, price_of
from brewwater.ensemble import Draws, mean, percentiles
from brewwater.records import Span

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
DAYS_PER_YEAR = 365.25
FILTER_HEADS = "Filter heads"


@dataclass(frozen=True, slots=True)
class Bought:
    """One cartridge's place: what is bought for it in the first twelve months, and its price.

    days : days after the start on which each new one goes in; ``left`` the share of each forerunner thrown away
    used_up : cartridges used up by then, the last one in part, shape (draw,) or (1,)
    price_assumed : the price is a placeholder
    salt_kg : salt that regenerates one, kg: then nothing is bought or thrown away at a change; None: bought anew
    flush_gal : run to waste through each new one, US gallons; ``at_base``: on the mains of a base
    """

    name: str
    days: tuple[int, ...]
    price: Span
    left: tuple[float, ...] = ()
    used_up: FloatArray = field(default_factory=lambda: np.zeros(1))
    price_assumed: bool = False
    needs_head: bool = True
    salt_kg: Span | None = None
    flush_gal: Span | None = None
    at_base: bool = False


@dataclass(frozen=True, slots=True)
class Usage:
    """What a plan's year uses besides cartridges, each shape (draw,) or (1,).

    source_gal : US gallons taken in, reject included; reject_gal : of them to waste
    base_gal, base_reject_gal : the same at a base, always from its mains
    mineral_kg : by mass; scale_g : laid down in the machines
    drinks : served in the year; suspension_days : service days lost to notices
    """

    drinks: FloatArray
    source_gal: FloatArray = field(default_factory=lambda: np.zeros(1))
    reject_gal: FloatArray = field(default_factory=lambda: np.zeros(1))
    base_gal: FloatArray = field(default_factory=lambda: np.zeros(1))
    base_reject_gal: FloatArray = field(default_factory=lambda: np.zeros(1))
    mineral_kg: FloatArray = field(default_factory=lambda: np.zeros(1))
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
    ``first_set``: the first cartridges, heads and equipment, paid at installation, in no line; ``first_set_lines``
    add up to it exactly; ``first_set_draws`` the same by draw, shape (draw,) or (1,). ``used_up``: cartridges by the
    share used up instead of whole ones: a second figure, never added. ``thrown_away``: value of what is left in
    cartridges that are changed in the year, part of the lines already. ``flush_gal``: US gallons run to waste through
    the year's new cartridges, shape (draw,) or (1,).
    """

    currency: str
    lines: tuple[Line, ...]
    expected: Decimal
    total: FloatArray
    first_set_draws: FloatArray
    total_percentiles: tuple[float, float, float]
    per_drink: Decimal | None
    first_set: Decimal
    first_set_lines: tuple[Line, ...]
    used_up: Decimal
    thrown_away: Decimal
    flush_gal: FloatArray
    warnings: tuple[tuple[str, str], ...]

    def frame(self) -> pd.DataFrame:
        """A row a line of the first twelve months, in the plan's currency, which the column names; they add up to the
        last row, ``expected``."""
        import pandas as pd

        rows = [(line.name, float(line.amount)) for line in self.lines]
        rows.append(("expected", float(self.expected)))
        return pd.DataFrame(rows, columns=["line", f"first_year_{self.currency}"])


def yearly_cost(
    inputs: CostInput,
    bought: Sequence[Bought],
    usage: Usage,
    draws: Draws,
    weights: FloatArray,
    *,
    visits: int = 0,
    equipment: Sequence[str] = (),
) -> Cost:
    """The cost of the plan's first twelve months.

    Parameters
    ----------
    inputs : prices and habits
    bought : the cartridge places with what the calendar buys for each
    usage : what the year uses
    draws, weights : the ensemble
    visits : days on which the calendar has something fitted
    equipment : keys of the prices of what is paid for over the life of a head (values of ``EQUIPMENT``)

    Returns
    -------
    Cost : whole cartridges that go in during the year, each at its price on that day; prices rise from the start on
    """
    names = {row["key"]: row["name"] for row in reference.table("price_placeholders")}
    assumed: list[str] = []

    def price(key: str) -> FloatArray:
        scenario, is_assumed = price_of(inputs, key)
        if is_assumed:
            assumed.append(names[key])
        return draws.span(f"price: {key}", scenario)

    def add(line: str, amount: FloatArray) -> None:
        spent[line] = spent.get(line, np.zeros(1)) + amount

    rise = 1 + draws.span("price rise", inputs.price_rise_per_year)
    level = rise**0.5  # the middle of the year
    spent: dict[str, FloatArray] = {}
    first: dict[str, FloatArray] = {}
    used_up = thrown_away = salt = np.zeros(1)
    flushed = {"water_gal": np.zeros(1), "hauled_gal": np.zeros(1)}
    kind = "hauled_gal" if inputs.hauled else "water_gal"
    for place in bought:
        each = draws.span(f"price: {place.name}", place.price)
        if place.price_assumed:
            assumed.append(place.name)
        if place.salt_kg is not None:
            salt = salt + len(place.days) * draws.span(f"salt: {place.name}", place.salt_kg)
        then = [] if place.salt_kg is not None else [rise ** (day / DAYS_PER_YEAR) for day in place.days]
        spent[f"Cartridges: {place.name}"] = each * sum(then, start=np.zeros(1))
        first[place.name] = each
        if place.salt_kg is None:
            used_up = used_up + place.used_up * each
            thrown_away = thrown_away + sum(place.left) * each
        if place.flush_gal is not None and place.flush_gal.high > 0:
            gallons = len(place.days) * draws.span(f"flush: {place.name}", place.flush_gal)
            at_base = "water_gal" if place.at_base else kind
            flushed[at_base] = flushed[at_base] + gallons
    heads = sum(place.needs_head for place in bought)
    if heads:
        head = price("head") * heads
        spent["Filter heads over their life"] = head / inputs.head_life_years
        first[FILTER_HEADS] = head
    for key in equipment:
        add(f"{names[key]} over its life", price(key) / inputs.head_life_years)
        first[names[key]] = first.get(names[key], np.zeros(1)) + price(key)
    if inputs.test_kits_per_year:
        spent["Test kits"] = inputs.test_kits_per_year * price("test_kit") * level
    for key, amount in (("mineral_kg", usage.mineral_kg), ("softener_salt_kg", salt)):
        if np.any(amount > 0):
            spent[names[key]] = amount * price(key) * level
    if inputs.visits_paid and bought:
        spent["Labour by visit"] = visits * price("labour_visit") * level
    for taken, rejected, tariff in (
        (usage.source_gal, usage.reject_gal, kind),
        (usage.base_gal, usage.base_reject_gal, "water_gal"),
    ):
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
    flush_gal = sum(flushed.values(), np.zeros(1))
    return _cost(inputs.currency, spent, usage.drinks, weights, first, (used_up, thrown_away), flush_gal, assumed)


def _cost(
    currency: str,
    spent: Mapping[str, FloatArray],
    drinks: FloatArray,
    weights: FloatArray,
    first: Mapping[str, FloatArray],
    aside: tuple[FloatArray, FloatArray],
    flush_gal: FloatArray,
    assumed: Sequence[str],
) -> Cost:
    places = decimals(currency)
    total = np.asarray(sum(spent.values(), start=np.zeros(1)), dtype=np.float64)
    amounts = rounded([float(mean(a, weights)) for a in spent.values()], places)
    expected = sum(amounts, Decimal(0)).quantize(Decimal(1).scaleb(-places))
    served = float(mean(drinks, weights))
    low, middle, high = percentiles(total, weights)
    paid_first = rounded([float(mean(a, weights)) for a in first.values()], places)
    used_up, thrown_away = (rounded([float(mean(a, weights))], places)[0] for a in aside)
    warnings = [
        ("price_assumed", f"The price of {name} is a placeholder without source: enter yours.")
        for name in dict.fromkeys(assumed)
    ]
    return Cost(
        currency=currency,
        lines=tuple(Line(name, amount) for name, amount in zip(spent, amounts, strict=True)),
        expected=expected,
        total=total,
        first_set_draws=np.asarray(sum(first.values(), start=np.zeros(1)), dtype=np.float64),
        total_percentiles=(float(low), float(middle), float(high)),
        per_drink=None if served < 1 else round(expected / Decimal(served), places + 2),
        first_set=sum(paid_first, Decimal(0)).quantize(Decimal(1).scaleb(-places)),
        first_set_lines=tuple(Line(name, amount) for name, amount in zip(first, paid_first, strict=True)),
        used_up=used_up,
        thrown_away=thrown_away,
        flush_gal=flush_gal,
        warnings=tuple(warnings),
    )
