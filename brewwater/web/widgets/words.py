"""Numbers and words as a reader sees them: US or metric, the reader's own number marks, ranges."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from brewwater.errors import InputError
from brewwater.units import GAL_L, LB_KG, PSI_KPA, percent

Kind = Literal[
    "volume", "flow", "pressure", "temperature", "mass", "drink", "length", "short", "speed", "slope", "plain"
]
Marks = Literal["1,234.5", "1 234,5", "1.234,5"]
MARKS: tuple[Marks, ...] = ("1,234.5", "1 234,5", "1.234,5")

# The document keeps gal, gpm, psi, fl oz, ft, in and °C: what one unit of it is in the reader's unit, and that
# unit's name.
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
}
_SIGNS = {"USD": "$", "EUR": "€", "GBP": "£", "JPY": "¥"}

# What a verdict means for the one who serves, before any figure.
MEANS = {
    ("cup", "ok"): "This water suits the coffee.",
    ("cup", "watch"): "This water may make the coffee taste off.",
    ("cup", "act"): "This water is likely to make the coffee taste off.",
    ("cup", "unknown"): "Whether the coffee tastes right cannot be told yet.",
    ("scale", "ok"): "Little or no scale is to be expected.",
    ("scale", "watch"): "Scale may build up in the machine.",
    ("scale", "act"): "Scale is likely to build up in the machine.",
    ("scale", "unknown"): "Whether scale builds up cannot be told yet.",
    ("corrosion", "ok"): "This water is not expected to attack metal.",
    ("corrosion", "watch"): "This water may attack metal.",
    ("corrosion", "act"): "This water is likely to attack metal: boiler, fittings, pipe.",
    ("corrosion", "unknown"): "Whether this water attacks metal cannot be told yet.",
    ("safety", "ok"): "No limit compared is passed; that does not prove the water safe.",
    ("safety", "watch"): "Ask the utility or a laboratory about this water.",
    ("safety", "stop"): "Do not serve this water.",
    ("safety", "unknown"): "Whether this water is safe to drink cannot be told here.",
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

    def money(self, amount: float | None, currency: str, digits: int = 3) -> str:
        """An amount of money, rounded to the doubt there is about it."""
        if amount is None or not math.isfinite(amount):
            return "unknown"
        sign = "−" if amount < 0 else ""
        text = self.number(abs(amount), max(digits, len(str(int(abs(amount)))) if digits > 3 else digits))
        return f"{sign}{_SIGNS[currency]}{text}" if currency in _SIGNS else f"{sign}{text} {currency}"

    def exact_money(self, amount: float | None, currency: str) -> str:
        """An amount of money to the coin, so that lines can be added by hand."""
        if amount is None:
            return "unknown"
        text = f"{abs(amount):,.2f}"
        if self.marks == "1 234,5":
            text = text.replace(",", "\u202f").replace(".", ",")
        elif self.marks == "1.234,5":
            text = text.translate(str.maketrans(",.", ".,"))
        sign = "−" if amount < 0 else ""
        return f"{sign}{_SIGNS[currency]}{text}" if currency in _SIGNS else f"{sign}{text} {currency}"

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


def date(day: dt.date | None) -> str:
    """A date that is read the same everywhere."""
    return "after the plan" if day is None else f"{day.day} {day:%b %Y}"


_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_RANGE = re.compile(
    rf"^\s*({_NUMBER})(?:\s*(?:-|–|to|/|;|\s)\s*({_NUMBER}))?(?:\s*(?:-|–|to|/|;|\s)\s*({_NUMBER}))?\s*$"
)


def read_range(field: str, text: str) -> list[float] | None:
    """One number, ``low – high`` or ``low – typical – high`` from what was typed; None for nothing.

    Raises
    ------
    InputError : it is not numbers, one is below 0, or they do not rise
    """
    if not text.strip():
        return None
    match = _RANGE.match(text.replace(",", "."))
    if match is None:
        raise InputError(field, text, "one number or a range is needed", "Write 12, or 10 – 14, or 10 – 12 – 14.")
    values = [float(g) for g in match.groups() if g is not None]
    if min(values) < 0:
        raise InputError(field, text, "it cannot be below 0", "Correct the number.")
    if values != sorted(values) or not all(map(math.isfinite, values)):
        raise InputError(field, text, "a range goes from low to high", "Swap the numbers.")
    return values


def write_range(words: Words, span: object, kind: Kind = "plain") -> str:
    """A range of the document as a person would type it."""
    if span is None:
        return ""
    if isinstance(span, int | float):
        points: list[float] = [span]
    elif isinstance(span, dict):
        points = [span["low"], *([] if span.get("typical") is None else [span["typical"]]), span["high"]]
    else:
        points = list(span)  # type: ignore[call-overload]
    shown = [f"{words.out(kind, p):.4g}" for p in points]
    return shown[0] if len(set(shown)) == 1 else " – ".join(shown)
