"""What several commands share: a number in a range, the user's store."""

from __future__ import annotations

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
