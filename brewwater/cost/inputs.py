"""The money side of the plan document: prices, habits and purses."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from brewwater import reference
from brewwater.records import Name, NonNegative, Part, Positive, Span


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


# What a medium needs besides its cartridge, by key of the prices.
EQUIPMENT = {"reverse_osmosis": "membrane_unit", "mineral_dose": "dosing_set"}


def price_of(inputs: CostInput, key: str) -> tuple[Span, bool]:
    """A price of ``Prices``, and whether it is the placeholder of ``price_placeholders.csv``."""
    own: Span | None = getattr(inputs.prices, key)
    if own is not None:
        return own, False
    row = reference.keyed("price_placeholders")[key]
    return Span(low=float(row["low"]), typical=float(row["typical"]), high=float(row["high"])), True
