"""What wears a cartridge out: the load that a plan's water and days lay on it, in each of its currencies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from brewwater.demand import DayArray, Demand
from brewwater.supply.tank_days import TankDays
from brewwater.units import GAL_L

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

Governs = Literal["volume", "exchange", "chlorine", "time", "pressure", "lay-up", "freeze", "reading", "notice"]
Currency = Literal["volume_L", "exchange_eq", "chlorine_g", "consumed_g"]
CURRENCIES: tuple[Currency, ...] = ("volume_L", "exchange_eq", "chlorine_g", "consumed_g")


class WearLimits(Protocol):
    """What one cartridge can bear, each shape ``(n,)`` or ``(1,)``, infinite where it sets no limit, without
    any safety margin; ``days`` is its time limit. ``treatment.capacity`` gives such an object."""

    @property
    def volume_L(self) -> FloatArray: ...
    @property
    def exchange_eq(self) -> FloatArray: ...
    @property
    def chlorine_g(self) -> FloatArray: ...
    @property
    def consumed_g(self) -> FloatArray: ...
    @property
    def days(self) -> FloatArray: ...


class LitreUse(Protocol):
    """What one litre served uses, each of a shape that broadcasts to (phase, draw)."""

    @property
    def volume_L(self) -> FloatArray: ...
    @property
    def exchange_eq(self) -> FloatArray: ...
    @property
    def chlorine_g(self) -> FloatArray: ...
    @property
    def consumed_g(self) -> FloatArray: ...


@dataclass(frozen=True, slots=True)
class Ledger:
    """Sums of the demand's curves before each day, for each term and water; every cartridge shares it.

    days, open : as in ``Demand``
    sums : shape (day + 1, k), columns by ``term`` and ``phase``; columns of zeros are left out
    year : index of the day twelve months after the start
    """

    days: DayArray
    open: NDArray[np.bool_]
    sums: FloatArray
    term: IntArray
    phase: IntArray
    year: int


def ledger(demand: Demand, tank: TankDays) -> Ledger:
    """The ledger of a demand and a fill calendar."""
    is_phase = tank.phase_of_day == np.arange(tank.phases)[:, None]
    by_pair = demand.curves[:, None, :] * is_phase
    used = by_pair.any(axis=-1) & (demand.amounts != 0).any(axis=(1, 2))[:, None]
    if not used.any():
        used[0, 0] = True
    term, phase = np.nonzero(used)
    sums = np.zeros((len(demand.days) + 1, len(term)))
    np.cumsum(by_pair[term, phase].T, axis=0, out=sums[1:])
    return Ledger(demand.days, demand.open, sums, term, phase, demand.year())


@dataclass(frozen=True, slots=True)
class Wear:
    """The load on one cartridge as far as any day: ``sums`` of the ledger times a rate per draw.

    rates : by currency, shape (draw, k): what one unit of each ledger column uses
    served_L : shape (draw, k): litres that the branches behind it serve
    """

    ledger: Ledger
    rates: Mapping[Currency, FloatArray]
    served_L: FloatArray

    @property
    def n(self) -> int:
        """Number of draws; 1 where all is certain."""
        return len(self.served_L)

    def sums_before(self, day: IntArray) -> FloatArray:
        """The ledger's sums before each draw's ``day``, shape (draw, k); differences of them feed ``use``."""
        return self.ledger.sums.take(day, axis=0)

    def use(self, currency: Currency, sums: FloatArray) -> FloatArray:
        """Use of a currency for the given sums, shape (draw,)."""
        return product(sums, self.rates[currency])

    def served(self, sums: FloatArray) -> FloatArray:
        """Litres served for the given sums, shape (draw,)."""
        return product(sums, self.served_L)


def product(sums: FloatArray, rates: FloatArray) -> FloatArray:
    """Row by row scalar product, shape (draw,)."""
    return np.asarray(np.einsum("nk,nk->n", sums, rates), dtype=np.float64)


def wear(book: Ledger, demand: Demand, loads: Mapping[str, LitreUse]) -> Wear:
    """The load on one cartridge.

    Parameters
    ----------
    book : from ``ledger`` of the same demand
    demand : litres by branch
    loads : for each branch that the cartridge serves, what one litre served there uses of it in each water
        (phase) of the ledger; a cartridge on the trunk lists every branch behind it
    """
    amounts = {b: demand.branch_amounts(b)[book.term] for b in loads}  # (k, draw)
    count = len(book.term)

    def rate(per_litre: Mapping[str, FloatArray]) -> FloatArray:
        total = np.zeros((count, 1))
        for branch, use in per_litre.items():
            by_phase = np.atleast_2d(np.asarray(use, dtype=np.float64))
            of_pair = by_phase[book.phase] if len(by_phase) > 1 else by_phase
            total = total + amounts[branch] * of_pair
        return total.T

    served = rate({b: np.ones(1) for b in loads})
    rates = {c: rate({b: getattr(load, c) for b, load in loads.items()}) for c in CURRENCIES}
    n = max(len(served), *(len(r) for r in rates.values()))
    full = {c: np.ascontiguousarray(np.broadcast_to(r, (n, count))) for c, r in rates.items() if r.any()}
    return Wear(book, full, np.ascontiguousarray(np.broadcast_to(served, (n, count))))


def usable_gal(on: Wear, capacity: WearLimits, margin: float = 1.0) -> FloatArray:
    """US gallons served on this water until a currency of the cartridge is used up, time left aside.

    Mean water and demand over the whole plan; infinite where nothing wears it. Shape (draw,). Where the time
    limit comes first, this is more than will ever pass: print ``Changes.first_served_gal`` instead.
    """
    whole = np.broadcast_to(on.ledger.sums[-1], on.served_L.shape)
    served = on.served(whole)
    best = np.full(on.n, np.inf)
    for currency in on.rates:
        use = on.use(currency, whole)
        with np.errstate(divide="ignore", invalid="ignore"):
            gallons = np.where(use > 0, getattr(capacity, currency) * margin * served / use / GAL_L, np.inf)
        best = np.minimum(best, gallons)
    return best


def through_per_served(on: Wear) -> FloatArray:
    """Litres through the medium for each litre that the branches behind it serve, over the whole plan: above 1 ahead of
    a membrane (its reject), below 1 where some goes round. A membrane's own is its product. Shape (draw,)."""
    whole = np.broadcast_to(on.ledger.sums[-1], on.served_L.shape)
    served = on.served(whole)
    through = on.use("volume_L", whole) if "volume_L" in on.rates else np.zeros(on.n)
    return np.asarray(np.divide(through, served, out=np.ones(on.n), where=served > 0))
