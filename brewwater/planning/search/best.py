"""The best setting of a kind of train, and the best of several kinds found on every core."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater import cores
from brewwater.planning.cartridges import NOT_BOUGHT
from brewwater.planning.search.kinds import Kind, Setting, in_size
from brewwater.treatment import Stage
from brewwater.treatment.classes import SIZES

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Best:
    """The best setting of a kind: ``value`` is its expected weight, a refusal on top; ``faults`` how many
    measures are out of goal in the mean."""

    kind: Kind
    setting: Setting
    recovery: float | None
    train: tuple[Stage, ...]
    value: float
    faults: float = 0.0


Look = Callable[[], Best]


def all_best(
    looks: Sequence[tuple[Kind, Look]], each: Callable[[float], bool], count: Callable[[], int]
) -> tuple[list[Best | None], int]:
    """What each look finds, on every core; None for those that were not come to.

    Parameters
    ----------
    looks : the kind that is looked at, and the look
    each : told the share that is done; False ends the search
    count : how many trains this process has weighed so far

    Returns
    -------
    in the order of ``looks``; and how many trains other processes weighed
    """
    longest = max((len(kind.bounds) + len(kind.stages) for kind, _ in looks), default=0)
    notes = cores.shared(len(looks), 5 + longest)

    def look(number: int) -> None:
        before = count()
        _note(notes[number], looks[number][1](), count() - before)

    begun = count()
    cores.spread(look, range(len(looks)), each)
    weighed = int(notes[:, 4].sum()) - (count() - begun)
    return [_read(kind, row) if row[0] else None for (kind, _), row in zip(looks, notes, strict=True)], weighed


def _note(row: FloatArray, best: Best, weighed: int) -> None:
    """Write what is found as numbers: all that a forked child can hand to its parent."""
    recovery = np.nan if best.recovery is None else best.recovery
    numbers = [
        best.value,
        best.faults,
        recovery,
        weighed,
        *best.setting,
        *(SIZES.index(item.size) for item in best.train),
    ]
    row[1 : 1 + len(numbers)] = numbers
    row[0] = 1


def _read(kind: Kind, row: FloatArray) -> Best:
    value, faults, recovery, _, *rest = (float(x) for x in row[1:])
    setting = tuple(rest[: len(kind.bounds)])
    held = None if np.isnan(recovery) else recovery
    train = tuple(
        item if item.medium in NOT_BOUGHT else in_size(item, SIZES[int(size)])
        for item, size in zip(kind.train(setting, held), rest[len(kind.bounds) :], strict=False)
    )
    return Best(kind, setting, held, train, value, faults)
