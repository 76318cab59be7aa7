"""The money of a quote: what is paid once, its tax, and the total, to the coin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from brewwater.cost.coins import decimals
from brewwater.errors import InputError

MOST_TAX = 100.0


@dataclass(frozen=True, slots=True)
class QuoteLine:
    """One line: ``each`` and ``amount`` in the quote's currency, ``count`` pieces or visits. ``assumed``: the price is
    a placeholder, none of the person's own."""

    item: str
    what: str
    count: int
    each: Decimal
    assumed: bool = False

    @property
    def amount(self) -> Decimal:
        """What the line comes to."""
        return self.count * self.each


@dataclass(frozen=True, slots=True)
class QuoteSum:
    """``tax`` is None where no rate was given: then it is not in ``total``."""

    net: Decimal
    tax: Decimal | None
    total: Decimal


def quote_sum(lines: Sequence[QuoteLine], tax_percent: float | None, currency: str, field: str = "tax") -> QuoteSum:
    """Net, tax and total of the lines; tax is rounded once, half a coin upwards.

    Raises
    ------
    InputError : the rate is not 0 to 100 %
    """
    coin = Decimal(1).scaleb(-decimals(currency))
    net = sum((line.amount for line in lines), Decimal(0)).quantize(coin)
    if tax_percent is None:
        return QuoteSum(net, None, net)
    if not math.isfinite(tax_percent) or not 0 <= tax_percent <= MOST_TAX:
        raise InputError(field, tax_percent, "0 to 100 % is needed", "Give the rate of your place, or leave it out.")
    tax = (net * Decimal(str(tax_percent)) / 100).quantize(coin, ROUND_HALF_UP)
    return QuoteSum(net, tax, net + tax)
