"""What several commands share: a number in a range, the user's store."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from brewwater.errors import InputError
from brewwater.units import number_and_unit

if TYPE_CHECKING:
    from brewwater.store import Store


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


def open_store() -> Store:
    """The user's store; ``BREWWATER_DATA`` names the folder."""
    from brewwater.planning.document import load_document
    from brewwater.store import Store

    return Store.open_default(validate=lambda document: load_document(document).model_dump(mode="json"))


def day_typed(field: str, text: str | None, otherwise: dt.date) -> dt.date:
    """A date as typed, or another where none is.

    Raises
    ------
    InputError : it is no date
    """
    if text is None:
        return otherwise
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(field, text, "a date such as 2027-05-31 is needed", "Write year, month, day.") from None


def small_file(path: Path | None, field: str, most: int) -> bytes | None:
    """The bytes of a small file; None where none is named.

    Raises
    ------
    InputError : it cannot be read, or is larger than ``most`` bytes
    """
    if path is None:
        return None
    try:
        size = path.stat().st_size
        if path.is_file() and size <= most:
            return path.read_bytes()
    except (OSError, ValueError) as error:
        why = f"it cannot be read ({getattr(error, 'strerror', None) or error})"
        raise InputError(field, str(path), why, "Check the path.") from None
    limit = f"a plain file of at most {most} bytes is needed"
    raise InputError(field, str(path), limit, "Give another file.")
