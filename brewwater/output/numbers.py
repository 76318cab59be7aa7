"""Numbers and words as a reader sees them: US or metric, the reader's own number marks, ranges."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from brewwater.cost import written
from brewwater.units import GAL_L, GRAIN_MG, LB_KG, PSI_KPA, percent

Kind = Literal[
    "volume",
    "flow",
    "pressure",
    "temperature",
    "mass",
    "drink",
    "length",
    "short",
    "speed",
    "slope",
    "hardness",
    "amount",
    "scale",
    "plain",
]
Marks = Literal["1,234.5", "1 234,5", "1.234,5"]
MARKS: tuple[Marks, ...] = ("1,234.5", "1 234,5", "1.234,5")

G_PER_OZ = LB_KG * 1000 / 16
# The document keeps gal, gpm, psi, fl oz, ft, in, °C and mg/L (hardness as CaCO3), scale is in g: what one unit of
# it is in the reader's unit, and that unit's name.
_US = {
    "volume": (1.0, "gal"),
    "flow": (1.0, "gal/min"),
    "pressure": (1.0, "psi"),
    "mass": (1.0, "lb"),
    "drink": (1.0, "fl oz"),
    "length": (1.0, "ft"),
    "short": (1.0, "in"),
    "speed": (1.0, "ft/s"),
    "slope": (1.0, "in/ft"),
    "hardness": (GAL_L / GRAIN_MG, "grains"),
    "amount": (1.0, "ppm"),
    "scale": (1 / G_PER_OZ, "oz"),
}
_METRIC = {
    "volume": (GAL_L, "L"),
    "flow": (GAL_L, "L/min"),
    "pressure": (PSI_KPA, "kPa"),
    "mass": (LB_KG, "kg"),
    "drink": (GAL_L * 1000 / 128, "mL"),
    "length": (0.3048, "m"),
    "short": (25.4, "mm"),
    "speed": (0.3048, "m/s"),
    "slope": (25.4 / 0.3048, "mm/m"),
    "hardness": (1.0, "mg/L"),
    "amount": (1.0, "mg/L"),
    "scale": (1.0, "g"),
}

# Which way the limit of a check of the unit lies.
_AT_LEAST = frozenset(
    {
        "pump_flow",
        "supply",
        "inlet_pressure",
        "contact_time",
        "membrane_pressure",
        "membrane_output",
        "fresh_tank_hours",
        "waste_tank_ratio",
        "slope",
        "residual",
        "accumulator",
    }
)
_AT_MOST = frozenset(
    {
        "cartridge_flow",
        "mains_pressure",
        "velocity",
        "waste_tank_fill",
        "turnover",
        "peak_day_fills",
        "weight",
        "side_balance",
        "plumbing",
    }
)


def bound(check: str, limit: str, *, fails_above: bool | None = None) -> str:
    """A limit with the way it lies: ``at least 30 psi``; ``fails_above`` tells it where a check has two limits."""
    if check in _AT_LEAST or fails_above is False:
        return f"at least {limit}"
    if check in _AT_MOST or fails_above is True:
        return f"at most {limit}"
    return f"near {limit}"


@dataclass(frozen=True, slots=True)
class Words:
    """How this reader wants numbers: ``metric``, and the marks for thousands and decimals."""

    metric: bool = False
    marks: Marks = "1,234.5"

    def number(self, value: float | None, digits: int = 3) -> str:
        """A number to so many significant digits; ``unknown`` where there is none."""
        if value is None or not math.isfinite(value):
            return "unknown"
        if value == 0:
            return "0"
        places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
        text = f"{value:,.{min(places, 6)}f}".replace("-", "−")
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        if self.marks == "1 234,5":
            return text.replace(",", "\u202f").replace(".", ",")
        if self.marks == "1.234,5":
            return text.translate(str.maketrans(",.", ".,"))
        return text

    def unit(self, kind: Kind) -> str:
        """The reader's unit for a kind of quantity."""
        if kind == "temperature":
            return "°C" if self.metric else "°F"
        return "" if kind == "plain" else (_METRIC if self.metric else _US)[kind][1]

    def measured_in(self, kind: Kind, basis: str = "") -> str:
        """The unit of a concentration as a label names it: ``grains``, ``ppm as CaCO3``, ``mg/L as CaCO3``."""
        unit = self.unit(kind)
        return f"{unit} as {basis}" if basis and unit in ("ppm", "mg/L") else unit

    def out(self, kind: Kind, value: float) -> float:
        """From the document's unit (gal, gpm, psi, lb, °C) to the reader's."""
        if kind == "temperature":
            return value if self.metric else value * 9 / 5 + 32
        return value if kind == "plain" else value * (_METRIC if self.metric else _US)[kind][0]

    def back(self, kind: Kind, value: float) -> float:
        """From the reader's unit to the document's."""
        if kind == "temperature":
            return value if self.metric else (value - 32) * 5 / 9
        return value if kind == "plain" else value / (_METRIC if self.metric else _US)[kind][0]

    def quantity(self, kind: Kind, value: float | None, digits: int = 3) -> str:
        """A quantity in the document's unit, shown in the reader's, unit included."""
        if value is None or not math.isfinite(value):
            return "unknown"
        return f"{self.number(self.out(kind, value), digits)} {self.unit(kind)}".strip()

    def money(self, amount: float | None, currency: str) -> str:
        """An amount of money, as it is written everywhere (``cost.written``)."""
        if amount is None or not math.isfinite(amount):
            return "unknown"
        return written(amount, currency, marks=self.marks)

    def exact_money(self, amount: float | None, currency: str) -> str:
        """An amount of money to the coin, so that lines can be added by hand."""
        return "unknown" if amount is None else written(amount, currency, exact=True, marks=self.marks)

    def span(self, points: Sequence[float | None], kind: Kind = "plain", unit: str = "", digits: int = 2) -> str:
        """A range as ``low – high unit``, one number where it has no width, ``unknown`` where it is not known."""
        low, high = points[0], points[-1]
        if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
            return "unknown"
        a, b = self.out(kind, low), self.out(kind, high)
        tail = unit or self.unit(kind)
        one, two = self.number(a, digits), self.number(b, digits)
        between = "to" if a < 0 else "–"
        text = self.number((a + b) / 2, digits + 1) if one == two else f"{one} {between} {two}"
        return f"{text} {tail}".strip()

    def share(self, value: float | None) -> str:
        """A share as a whole percentage that never claims certainty it has not."""
        if value is None:
            return "unknown"
        if 0 < value < 0.01:
            return "under 1 %"
        if 0.99 < value < 1:
            return "over 99 %"
        return percent(value)

    def day(self, day: dt.date | None, near: dt.date | None = None) -> str:
        """A date with its weekday: ``Sat, Jun 5`` or ``Sat 5 Jun``. The year stands where it is not that of ``near``
        or of the day after it within eleven months; None is past the plan."""
        if day is None:
            return "past the plan"
        year = "" if near is not None and abs((day - near).days) < 335 else f"{day.year}"
        if self.metric:
            return f"{day:%a} {day.day} {day:%b} {year}".rstrip()
        return f"{day:%a, %b} {day.day}{f', {year}' if year else ''}"

    def short_day(self, day: dt.date | None, near: dt.date | None = None) -> str:
        """The same without its weekday."""
        if day is None:
            return "past the plan"
        year = "" if near is not None and abs((day - near).days) < 335 else f"{day.year}"
        if self.metric:
            return f"{day.day} {day:%b} {year}".rstrip()
        return f"{day:%b} {day.day}{f', {year}' if year else ''}"

    def whole_money(self, amount: float | None, currency: str) -> str:
        """``money``, of which a page says "not known" where there is none."""
        return "not known" if amount is None or not math.isfinite(amount) else self.money(amount, currency)

    def small_money(self, amount: float, currency: str) -> str:
        """An amount under one unit of money: in cents where the currency has a sign for them."""
        if currency == "USD" and 0 < amount < 1:
            return f"{self.number(100 * amount, 2)}¢"
        return self.money(amount, currency)


def date(day: dt.date | None) -> str:
    """A date that is read the same everywhere."""
    return "after the plan" if day is None else f"{day.day} {day:%b %Y}"
