"""The round over a whole store: each unit is planned once, and what the round needs of it is kept until it changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from brewwater.errors import BrewwaterError
from brewwater.output.round import Next, UnitRound, as_row, from_row, unit_round
from brewwater.plan import make_plan
from brewwater.planning.document import load_document

if TYPE_CHECKING:
    from brewwater.store import Store


def unit_rounds(store: Store, told: Callable[[float], None] | None = None) -> tuple[list[UnitRound], list[str]]:
    """Every unit that the person may open, as the round needs it, and a line for each unit left out. A unit without a
    plan is not on the round.

    Parameters
    ----------
    told : called with the share of the units that is done, 0 to 1, where some are planned anew
    """
    found: list[UnitRound] = []
    left_out: list[str] = []
    kept = store.rounds()
    for number, one in enumerate(kept):
        try:
            row = one.row
            if row is None:
                row = _made(store, one.unit.ref)
                store.keep_round(one.unit.ref, one.stamp, row)
                if told is not None:
                    told((number + 1) / len(kept))
            if row:
                found.append(from_row(row))
        except BrewwaterError as error:
            left_out.append(f"{one.unit.ref} is not on the round: {error}")
    return found, left_out


def round_of(store: Store, told: Callable[[float], None] | None = None) -> tuple[list[Next], list[str]]:
    """The next change of every cartridge of ``unit_rounds``, and a line for each unit left out."""
    units, left_out = unit_rounds(store, told)
    return [change for unit in units for change in unit.nexts], left_out


def _made(store: Store, ref: str) -> dict[str, object]:
    document = store.document(ref)
    if document is None:
        return {}
    typed = load_document(document)
    # dates of a train that is given do not depend on what else could be bought
    return as_row(unit_round(ref, make_plan(typed, search=typed.train is None)))
