"""Money at the edge: decimals of a currency, and rounding that adds up to the last coin."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from brewwater import reference


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
