"""What several commands share: a typed number with its unit, the text of a file, the user's store."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

from brewwater.errors import InputError

if TYPE_CHECKING:
    from brewwater.reports.analysis import Measurement
    from brewwater.store import Store

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


def number_and_unit(text: str) -> tuple[float, str] | None:
    """The number that ``text`` opens with and the words behind it; None where it opens with none."""
    match = _NUMBER.match(text)
    return None if match is None else (float(match.group(1)), match.group(2))


def number_between(field: str, text: str, low: float, high: float, needed: str, remedy: str) -> float:
    """A plain number from ``low`` to ``high``, without a unit.

    Raises
    ------
    InputError : not a number, a unit behind it, or outside the range; ``needed`` and ``remedy`` say what is wanted
    """
    found = number_and_unit(text)
    if found is None or found[1] or not low <= found[0] <= high:
        raise InputError(field, text, needed, remedy)
    return found[0]


def parse_quantity(field: str, text: str, analyte: str) -> Measurement:
    """A number with an optional unit of the closed list, such as ``290`` or ``17 gpg``.

    Raises
    ------
    InputError : not a number, not finite, negative, or a unit outside the list
    """
    from brewwater.reports.analysis import Measurement

    found = number_and_unit(text)
    if found is None or not math.isfinite(found[0]):
        raise InputError(
            field,
            text,
            "a number of 0 or more is needed, in mg/L or with its unit",
            "Give a number such as 290, or 17 gpg.",
        )
    value, unit = found
    if value < 0:
        raise InputError(field, text, "it cannot be less than 0", "Check the sign.")
    entry = Measurement.model_validate({"value": value, "unit": unit or "mg/L", "method": "typed"})
    entry.in_plan_units(analyte)  # refuses a unit outside the closed list
    return entry


def read_text(path: Path, field: str) -> str:
    """The text of a file, or one clear line."""
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(field, str(path), "the file is not there", "Check the path.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            field, str(path), f"the file cannot be read ({type(error).__name__})", "Give a readable text file."
        ) from None


def open_store() -> Store:
    """The user's store; ``BREWWATER_DATA`` names the folder."""
    from brewwater.planning.document import load_document
    from brewwater.store import Store

    return Store.open_default(validate=lambda document: load_document(document).model_dump(mode="json"))
