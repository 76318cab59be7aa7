"""The round over a whole store: each unit is planned once, and what the round needs of it is kept until it changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from brewwater.errors import BrewwaterError
from brewwater.output.round import Next, as_rows, from_rows, nexts
from brewwater.plan import make_plan
from brewwater.planning.document import load_document

if TYPE_CHECKING:
    from brewwater.store import Store


def round_of(store: Store, told: Callable[[float], None] | None = None) -> tuple[list[Next], list[str]]:
    """The next change of every cartridge in every unit that the person may open, and a line for each unit left out.

    Parameters
    ----------
    told : called with the share of the units that is done, 0 to 1
    """
    found: list[Next] = []
    left_out: list[str] = []
    units = store.units()
    for number, unit in enumerate(units):
        try:
            stamp = store.round_stamp(unit.ref)
            rows = store.kept_round(unit.ref, stamp)
            if rows is None:
                document = store.document(unit.ref)
                rows = [] if document is None else as_rows(nexts(unit.ref, make_plan(load_document(document))))
                store.keep_round(unit.ref, stamp, rows)
            found += from_rows(rows)
        except BrewwaterError as error:
            left_out.append(f"{unit.ref} is not on the round: {error}")
        if told is not None:
            told((number + 1) / len(units))
    return found, left_out
