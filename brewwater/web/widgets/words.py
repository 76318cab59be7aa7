"""What is typed as a number or a range, read and written as a person would."""

from __future__ import annotations

import math
import re

from brewwater.errors import InputError
from brewwater.output.numbers import MARKS, Kind, Marks, Words, bound, date
from brewwater.units import plain

__all__ = ["MARKS", "MEANS", "Kind", "Marks", "Words", "bound", "date", "read_range", "write_range"]

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
    shown = [plain(words.out(kind, p), 4).replace(",", "") for p in points]
    return shown[0] if len(set(shown)) == 1 else " – ".join(shown)
