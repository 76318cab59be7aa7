"""What a firm's own units tell of its next one: figures that a plan takes in place of its own doubt, kept in the plan.

They stand in the document that uses them, so that the plan is the same again elsewhere and says where they are from.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from brewwater.demand import Demand, DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.records import Finite, Part, Positive
from brewwater.treatment.stage import Medium, Stage

FloatArray = NDArray[np.float64]


class OwnFactor(Part):
    """A factor on a plan's own figure, as the next unit may have it: lognormal about ``middle``.

    log_sd : standard deviation of its natural logarithm, the spread between units and the doubt about the middle
    units, seen : units that told of it, and meters or cartridges in them
    """

    middle: Positive
    log_sd: Annotated[Finite, Field(ge=0, le=3)]
    units: Annotated[int, Field(ge=1)]
    seen: Annotated[int, Field(ge=1)]

    def draws(self, name: str, draws: Draws) -> FloatArray:
        """The factor, shape (n,); its middle with one draw."""
        return np.asarray(self.middle * np.exp(self.log_sd * draws.normal(name)))


class OwnLife(OwnFactor):
    """What cartridges of a medium bear, over their sheet's rating (``rated``) or the usual figure of their class."""

    medium: Medium
    rated: bool


class OwnUnits(Part):
    """Figures from a firm's own units.

    as_of : the day they were worked out
    units : how many units were looked at
    use : water that passes the filters, over what the plan has for the stated drinks
    lives : by medium
    """

    as_of: dt.date
    units: Annotated[int, Field(ge=1)]
    use: OwnFactor | None = None
    lives: Annotated[tuple[OwnLife, ...], Field(max_length=40)] = ()

    @property
    def source(self) -> str:
        """Where the figures are from, in words."""
        return f"your own {self.units} units, {self.as_of}"

    def life_of(self, stage: Stage, rated: bool) -> OwnLife | None:
        """The figure for a stage, or None."""
        return next((x for x in self.lives if x.medium == stage.medium and x.rated == rated), None)

    def holds(self, stage: Stage, rated: bool, draws: Draws) -> FloatArray | None:
        """What a stage's cartridges bear over rating or class, shape (n,); None where no unit tells."""
        found = self.life_of(stage, rated)
        # the column that the plan's own doubt would have had: what is learned of one is learned of the other
        return None if found is None else found.draws(f"{stage.name}: rating holds", draws)


def used_like_own(needs: Demand, inputs: DemandInput, own: OwnUnits, filtered: Sequence[str], draws: Draws) -> Demand:
    """The demand with what passes the filters as the firm's own units have it; how branches share it stays.

    Parameters
    ----------
    needs, inputs : the demand as stated, and what it was made from
    filtered : names of the branches behind the filters; the others are left as stated
    """
    mine = np.isin(needs.branches, list(filtered))
    if own.use is None or not mine.any():
        return needs
    middle = filtered_litres(demand(inputs, needs.branches, Draws(1)), filtered)
    stated = filtered_litres(needs, filtered)
    if not np.all(stated > 0):
        return needs
    factor = own.use.draws("own units: use", draws) * middle / stated
    return replace(needs, amounts=np.where(mine[None, :, None], needs.amounts * factor, needs.amounts))


def filtered_litres(needs: Demand, filtered: Sequence[str]) -> FloatArray:
    """Litres that pass the filters over the whole plan, shape (draw,)."""
    mine = np.isin(needs.branches, list(filtered))
    return np.asarray(needs.curves.sum(axis=1) @ needs.amounts[:, mine].sum(axis=1), dtype=np.float64)
