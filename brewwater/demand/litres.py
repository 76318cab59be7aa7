"""Demand: what is poured and washed on each branch, day by day, kept as a few curves and amounts.

The litres of a branch on a day are a sum of terms, each an amount per draw times a curve over the days:

    litres[branch, day, draw] = sum over r of amounts[r, branch, draw] x curves[r, day]

with the terms of ``TERMS``: drinks of an ordinary service day, their growth per year, drinks on event days
counted in drinks, and fixed uses. So nothing of size days x draws need be built to add up a season.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from brewwater import reference
from brewwater.demand.calendar import TERMS, Calendar, DayArray, curves, months_later
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.records import Fraction, Name, NonNegative, Part, Span
from brewwater.units import FL_OZ_L, GAL_L, plain

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class Drink(Part):
    """A drink. ``fl_oz``: water for one, US fluid ounces; None: the usual figure of ``drink_water.csv`` for
    a name listed there. ``branch`` None: the demand's main branch."""

    name: Name
    per_service_day: Span
    fl_oz: Span | None = None
    branch: Name | None = None


class UsePerDrink(Part):
    """Water used with a drink on another branch, such as a pitcher rinse: ``fl_oz`` each, ``per_drink``
    times. ``drinks`` names the drinks that cause it; empty: all."""

    name: Name
    branch: Name
    fl_oz: Span
    per_drink: NonNegative = 1.0
    drinks: tuple[Name, ...] = ()


class FixedUse(Part):
    """Water used on every service day, US gallons; None: the usual figure of ``fixed_uses.csv``."""

    name: Name
    branch: Name
    gal_per_service_day: Span | None = None


class DemandInput(Part):
    """What is served, and when.

    Either ``drinks``, or ``drinks_per_service_day`` with a ``mix`` (drink name to share, adding to 1; empty:
    the usual mix). With both, the list is scaled so that it adds to ``drinks_per_service_day``.
    """

    calendar: Calendar
    main_branch: Name = "machine"
    drinks: tuple[Drink, ...] = ()
    drinks_per_service_day: Span | None = None
    mix: dict[Name, Fraction] = Field(default_factory=dict)
    uses_per_drink: tuple[UsePerDrink, ...] = ()
    fixed: tuple[FixedUse, ...] = ()

    @model_validator(mode="after")
    def _something_served(self) -> DemandInput:
        if not self.drinks and self.drinks_per_service_day is None:
            raise ValueError("give the drinks, or drinks_per_service_day")
        if self.drinks and self.mix:
            raise ValueError("give the drinks or a mix, not both")
        if self.mix and abs(sum(self.mix.values()) - 1) > 1e-6:
            raise ValueError(f"the shares of the mix add to {plain(sum(self.mix.values()), 6)}, not to 1")
        return self


@dataclass(frozen=True, slots=True)
class Demand:
    """Litres by branch, day and draw as terms; see the module's first lines.

    days : ``datetime64[D]``, shape (day,)
    open : service days, shape (day,)
    curves : shape (term, day), terms of ``TERMS``; not negative
    amounts : litres, shape (term, branch, draw)
    drinks : shape (term, draw), the same terms in drinks (0 for the fixed uses)
    branches : names, in the order of the branch axis
    """

    days: DayArray
    open: BoolArray
    curves: FloatArray
    amounts: FloatArray
    drinks: FloatArray
    branches: tuple[str, ...]
    main_branch: str

    def branch_amounts(self, branch: str) -> FloatArray:
        """Litres per term of one branch, shape (term, draw)."""
        return self.amounts[:, self.branches.index(branch)]

    def litres_per_service_day(self, branch: str) -> FloatArray:
        """Mean litres on a service day over the whole plan, shape (draw,)."""
        days = max(int(self.open.sum()), 1)
        return np.asarray(self.curves.sum(axis=1) @ self.branch_amounts(branch) / days, dtype=np.float64)

    def ordinary_day_litres(self, branch: str) -> FloatArray:
        """Litres on an ordinary service day at the start, without season or event, shape (draw,)."""
        at = np.array([1.0, 0.0, 0.0, 1.0])
        return np.asarray(at @ self.branch_amounts(branch), dtype=np.float64)

    def litres(self, branch: str, first: int = 0, last: int | None = None) -> FloatArray:
        """Litres over the days ``first`` up to, not including, ``last``; shape (draw,)."""
        curve = self.curves[:, first:last].sum(axis=1)
        return np.asarray(curve @ self.branch_amounts(branch), dtype=np.float64)

    def peak_day_litres(self, *branches: str) -> FloatArray:
        """Litres of the busiest day on these branches together (all of them by default), shape (draw,)."""
        wanted = [self.branches.index(b) for b in branches or self.branches]
        amounts = self.amounts[:, wanted].sum(axis=1)
        return np.asarray((_busiest(self.curves).T @ amounts).max(axis=0), dtype=np.float64)

    def drinks_between(self, first: int = 0, last: int | None = None) -> FloatArray:
        """Drinks served over the days ``first`` up to, not including, ``last``; shape (draw,)."""
        return np.asarray(self.curves[:, first:last].sum(axis=1) @ self.drinks, dtype=np.float64)

    def year(self) -> int:
        """Index of the day twelve months after the start, the end of the first year."""
        start: dt.date = self.days[0].astype(dt.date)
        return (months_later(start, 12) - start).days


def demand(inputs: DemandInput, branch_names: Sequence[str], draws: Draws) -> Demand:
    """The demand on each branch.

    Parameters
    ----------
    inputs : drinks, uses and calendar
    branch_names : the branches there are; every use must stand on one of them
    draws : the ensemble

    Returns
    -------
    Demand : arrays whose last axis is the draw, of length ``draws.n``, or 1 where all is certain

    Raises
    ------
    InputError : a use names an unknown branch, a drink without ``fl_oz`` is not in ``drink_water.csv``, or the
        first twelve months have no service day
    """
    calendar = inputs.calendar
    served = list(_drinks(inputs))
    counts = [draws.span(f"drinks a day: {d.name}", d.per_service_day) for d in served]
    ounces = [draws.span(f"water in one: {d.name}", d.fl_oz or usual_drink(d.name)) for d in served]
    total = np.asarray(sum(counts), dtype=np.float64)
    if inputs.drinks and inputs.drinks_per_service_day is not None:
        if np.any(total <= 0):
            raise InputError(
                "drinks", "none", "at least one drink must be served to be scaled", "Give per_service_day above 0."
            )
        wanted = draws.span("drinks a day", inputs.drinks_per_service_day)
        counts = [count * wanted / total for count in counts]
        total = wanted
    elif inputs.drinks_per_service_day is not None:
        total = draws.span("drinks a day", inputs.drinks_per_service_day)
        counts = [count * total for count in counts]  # the mix counts in shares
    per_day: dict[str, FloatArray] = {}

    def add(where: str | None, litres: FloatArray, store: dict[str, FloatArray]) -> None:
        name = where or inputs.main_branch
        if name not in branch_names:
            raise InputError(
                "branch", name, f"the branches are {', '.join(branch_names)}", "Name one of them, or add the branch."
            )
        store[name] = store.get(name, np.zeros(1)) + litres

    for drink, count, fl_oz in zip(served, counts, ounces, strict=True):
        add(drink.branch, count * fl_oz * FL_OZ_L, per_day)
    for use in inputs.uses_per_drink:
        _known(use, [d.name for d in served])
        times = sum(c for d, c in zip(served, counts, strict=True) if not use.drinks or d.name in use.drinks)
        fl_oz = draws.span(f"water of {use.name}", use.fl_oz)
        add(use.branch, times * use.per_drink * fl_oz * FL_OZ_L, per_day)
    fixed: dict[str, FloatArray] = {}
    for number, item in enumerate(inputs.fixed):
        span = item.gal_per_service_day or usual_fixed(item.name)
        alike = sum(other.name == item.name for other in inputs.fixed[:number])
        gallons = draws.span(f"fixed use {alike}: {item.name}", span)
        add(item.branch, gallons * GAL_L, fixed)

    growth = draws.span("growth per year", calendar.growth_per_year)
    one_drink = {b: np.where(total > 0, v / np.where(total > 0, total, 1.0), 0.0) for b, v in per_day.items()}
    n = max(len(a) for a in (growth, total, *per_day.values(), *fixed.values()))
    amounts = np.zeros((len(TERMS), len(branch_names), n))
    for index, name in enumerate(branch_names):
        amounts[0, index] = per_day.get(name, 0.0)
        amounts[1, index] = per_day.get(name, 0.0) * growth
        amounts[2, index] = one_drink.get(name, 0.0)
        amounts[3, index] = fixed.get(name, 0.0)
    drinks = np.zeros((len(TERMS), n))
    drinks[0], drinks[1], drinks[2] = total, total * growth, 1.0
    is_open, by_day = curves(calendar)
    if not is_open[: (months_later(calendar.start, 12) - calendar.start).days].any():
        raise InputError(
            "calendar",
            str(calendar.start),
            "the first twelve months need at least one service day",
            "Shorten the closures or move the start.",
        )
    return Demand(calendar.days, is_open, by_day, amounts, drinks, tuple(branch_names), inputs.main_branch)


def usual_drink(name: str) -> Span:
    """Water in a usual drink, US fl oz, by its key in ``drink_water.csv``.

    Raises
    ------
    InputError : the drink is not listed
    """
    return _usual("drink_water", name, "fl_oz")


def usual_fixed(name: str) -> Span:
    """A usual fixed use, US gal per service day, by its key in ``fixed_uses.csv``.

    Raises
    ------
    InputError : the use is not listed
    """
    return _usual("fixed_uses", name, "gal_per_service_day")


def usual_mixes() -> dict[str, dict[str, float]]:
    """The usual mixes of ``drink_mixes.csv`` by key: drink to share, adding to 1 (common practice, no source)."""
    found: dict[str, dict[str, float]] = {}
    for row in reference.table("drink_mixes"):
        found.setdefault(row["mix"], {})[row["drink"]] = float(row["share"])
    return found


def usual_mix(name: str = "mobile") -> dict[str, float]:
    """One usual mix.

    Raises
    ------
    InputError : there is no mix of that name
    """
    mixes = usual_mixes()
    if name not in mixes:
        raise InputError("mix", name, f"the usual mixes are {', '.join(mixes)}", "Name one of them, or give shares.")
    return mixes[name]


def _usual(table: str, name: str, unit: str) -> Span:
    rows = reference.keyed(table)
    if name not in rows:
        raise InputError(
            name,
            "no amount",
            f"the usual amounts are for {', '.join(rows)}",
            f"Give {unit} for it, or use one of these names.",
        )
    row = rows[name]
    low, typical, high = (float(row[f"{end}_{unit}"]) for end in ("low", "typical", "high"))
    return Span(low=low, typical=typical, high=high)


def _drinks(inputs: DemandInput) -> Sequence[Drink]:
    if inputs.drinks:
        return inputs.drinks
    mix = inputs.mix or usual_mix()
    return [Drink(name=k, per_service_day=Span(low=v, typical=v, high=v)) for k, v in mix.items()]


def _known(use: UsePerDrink, names: Sequence[str]) -> None:
    for drink in use.drinks:
        if drink not in names:
            raise InputError(
                f"{use.name}: drinks",
                drink,
                f"the drinks are {', '.join(names)}",
                "Name one of them, or leave the list empty for all.",
            )


def _busiest(curves: FloatArray) -> FloatArray:
    """The columns no other column exceeds in every term; the busiest day is one of them, as amounts are not
    negative."""
    return _unbeaten(np.ascontiguousarray(curves).tobytes(), len(curves))


@lru_cache(maxsize=32)
def _unbeaten(curves: bytes, terms: int) -> FloatArray:
    # remembered: every branch of every candidate asks it of the same calendar
    columns = np.unique(np.frombuffer(curves).reshape(terms, -1), axis=1)
    beaten = np.asarray((columns[:, :, None] <= columns[:, None, :]).all(axis=0))
    np.fill_diagonal(beaten, False)
    found: FloatArray = columns[:, ~beaten.any(axis=1)]
    found.flags.writeable = False
    return found
