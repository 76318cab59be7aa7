"""Money at the edge: decimals of a currency, and rounding that adds up to the last coin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from brewwater import reference


def decimals(currency: str) -> int:
    """Digits after the point in a currency, 2 for most."""
    row = reference.keyed("currency_minor_units", "currency").get(currency)
    return 2 if row is None else int(row["decimals"])


_SIGNS = {"USD": "$", "EUR": "€", "GBP": "£", "JPY": "¥"}
# From here on nobody counts coins: an amount is written in whole units.
_WHOLE = 100


def written(amount: float | Decimal, currency: str, *, exact: bool = False, marks: str = "1,234.5") -> str:
    """An amount of money as it is written everywhere: ``$1,892``, ``$45.50``, ``$0.139``, ``−$41``, ``1,892 CHF``.

    Parameters
    ----------
    amount : whole units from 100 on, below to the coin where it has any, and to three figures where it is less than one
    currency : three letters; its sign stands before the amount where it has a usual one, else the letters behind
    exact : to the coin whatever its size, so that lines can be added by hand
    marks : how the reader writes 1234.5: ``1,234.5``, ``1.234,5`` or ``1 234,5``
    """
    size, coin = abs(float(amount)), decimals(currency)
    whole = size >= _WHOLE - 0.5 * 10.0**-coin or (round(size) >= 1 and abs(size - round(size)) < 0.5 * 10.0**-coin)
    places = 0 if whole and not exact else coin
    if size == 0 and not exact:
        places = 0
    if not exact and not whole and 0 < size < 1:
        places = max(coin, 2 - math.floor(math.log10(size)))
    text = f"{size:,.{places}f}"
    if places > coin:
        text = text.rstrip("0")
    # what is not a negative number once it is rounded is not written as one
    sign = "−" if amount < 0 and any(c in "123456789" for c in text) else ""
    if marks == "1 234,5":
        text = text.replace(",", "\u202f").replace(".", ",")
    elif marks == "1.234,5":
        text = text.translate(str.maketrans(",.", ".,"))
    return f"{sign}{_SIGNS[currency]}{text}" if currency in _SIGNS else f"{sign}{text} {currency}"


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
