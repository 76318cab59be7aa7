"""The error of an instrument: how far a reading may stand from the truth."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

from brewwater.reference import cite, table


class Instrument(NamedTuple):
    """Standard deviations of one reading: a share of the value, and an amount in the plan's unit."""

    relative_sd: float
    absolute_sd: float
    source: str


@cache
def instrument(quantity: str, method: str = "any") -> Instrument:
    """The error of a method for a quantity (an analyte id, or a kind of the log).

    A method that is not listed for the quantity takes the quantity's ``any``, then the method's own row for
    any quantity. Both errors hold together: take their root sum of squares.

    Raises
    ------
    KeyError : ``reference/instruments.csv`` has none of these rows
    """
    rows = {(row["quantity"], row["method"]): row for row in table("instruments")}
    for key in ((quantity, method), (quantity, "any"), ("any", method)):
        if key in rows:
            row = rows[key]
            return Instrument(float(row["relative_sd"]), float(row["absolute_sd"]), cite(row["source"]))
    raise KeyError(f"{quantity} by {method}: no row in reference/instruments.csv")
