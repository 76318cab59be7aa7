"""Goals for brewing water by edition of a published sheet, with the reader's own changes on top."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from brewwater.errors import InputError
from brewwater.records import Finite, Part
from brewwater.reference import Row, cite, keyed, table

_FAR = 1e9  # past any bound all of a goal is lost
FloatArray = NDArray[np.float64]
Severity = NDArray[np.int8]

TRADE = "trade"
Measured = Literal[
    "total_hardness",
    "calcium_hardness",
    "alkalinity",
    "total_dissolved_solids",
    "chloride",
    "sodium",
    "ph",
    "total_chlorine",
    "iron",
    "manganese",
]


# no measure of water comes near: beyond it is a slip of the pen
Bound = Annotated[Finite, Field(ge=-1e6, le=1e6)]


class Goal(Part):
    """A goal for one measure, in the measure's unit.

    Between ``low`` and ``high`` it is in goal; beyond ``red_below`` or ``red_above`` red; between, amber.
    What is None does not bind. ``bound_is_outside``: the upper bounds themselves are out ("under 30").
    ``target`` is the figure printed as the aim; ``source`` cites who says so.
    """

    low: Bound | None = None
    high: Bound | None = None
    red_below: Bound | None = None
    red_above: Bound | None = None
    bound_is_outside: bool = False
    target: Bound | None = None
    source: str = "your own goal"

    @model_validator(mode="after")
    def _ordered(self) -> Goal:
        line = [x for x in (self.red_below, self.low, self.target, self.high, self.red_above) if x is not None]
        if line != sorted(line):
            raise ValueError("red_below <= low <= target <= high <= red_above does not hold")
        return self

    def severity(self, values: FloatArray) -> Severity:
        """0 in goal, 1 amber, 2 red, for values of any shape; NaN counts as amber."""

        def under(bound: float | None) -> NDArray[np.bool_]:
            return np.zeros(values.shape, np.bool_) if bound is None else values < bound

        def over(bound: float | None) -> NDArray[np.bool_]:
            if bound is None:
                return np.zeros(values.shape, np.bool_)
            return values >= bound if self.bound_is_outside else values > bound

        red = under(self.red_below) | over(self.red_above)
        out = red | under(self.low) | over(self.high) | np.isnan(values)
        return out.astype(np.int8) + red.astype(np.int8)

    def depth(self, values: FloatArray) -> FloatArray:
        """How far out of goal, 0 to 1, for values of any shape.

        0 in goal, growing without a step from the goal's edge and on past the red line, so that worse stays worse
        (``reference/weighing.csv``). What cannot be solved counts as a part.
        """
        w = weighing()
        kept: FloatArray = np.ones(values.shape)
        for bound, red, sign, left, power in (
            (self.low, self.red_below, -1.0, w["left_at_red_below"], w["power_below"]),
            (self.high, self.red_above, 1.0, w["left_at_red"], w["power_above"]),
        ):
            edge = red if bound is None else bound
            if edge is None:
                continue
            width = abs((0.0 if red is None else red) - edge) or w["width_of_a_limit"] * abs(edge) or 1.0
            past = np.clip(np.nan_to_num(sign * (values - edge)), 0.0, _FAR) / width
            if past.any():
                kept = kept * (w["left_without_red"] if red is None else left) ** past**power
        unsolved = np.isnan(values)
        return 1 - (np.where(unsolved, w["left_unsolved"], kept) if unsolved.any() else kept)

    @property
    def unbound(self) -> bool:
        """True where nothing binds: the measure is only shown."""
        return all(b is None for b in (self.low, self.high, self.red_below, self.red_above))

    def upper_only(self) -> Goal:
        """The same goal without its lower side."""
        return self.model_copy(update={"low": None, "red_below": None})


@cache
def weighing() -> Mapping[str, float]:
    """The figures of ``reference/weighing.csv`` by key."""
    return {key: float(row["value"]) for key, row in keyed("weighing").items()}


class TargetChoice(Part):
    """Which goals a plan is judged against.

    ``edition`` is one of ``editions()``. Where a sheet is silent, the trade's usual goals stand in (common
    practice). ``overrides`` replace a measure's goal whole. ``law`` is whose legal limits decide on safety;
    the others are still shown.
    """

    edition: str = TRADE
    overrides: Mapping[Measured, Goal] = Field(default_factory=dict)
    law: Literal["us_federal", "eu", "who"] = "us_federal"

    @model_validator(mode="after")
    def _known(self) -> TargetChoice:
        if self.edition not in editions():
            raise ValueError(f"{self.edition!r} is not one of {', '.join(editions())}")
        return self


@cache
def editions() -> tuple[str, ...]:
    """The editions of ``reference/targets.csv``, the trade's goals first."""
    return tuple(dict.fromkeys(row["edition"] for row in table("targets")))


@cache
def _edition(name: str) -> Mapping[str, Goal]:
    return {row["measure"]: goal_of(row) for row in table("targets") if row["edition"] == name}


def goal_of(row: Row) -> Goal:
    """A goal from a row of a table that has its columns."""

    def number(column: str) -> float | None:
        return float(row[column]) if row.get(column) else None

    return Goal(
        low=number("goal_low"),
        high=number("goal_high"),
        red_below=number("red_below"),
        red_above=number("red_above"),
        bound_is_outside=row.get("bound_is_outside") == "yes",
        target=number("target"),
        source=cite(row["source"]),
    )


def goals(choice: TargetChoice) -> Mapping[str, Goal]:
    """Every measure's goal: the override, else the edition's, else the trade's.

    An edition that prints a range but no red line takes the trade's red line, moved out to the edition's own
    range where that is wider; one that prints an aim but no range takes the trade's range.

    Raises
    ------
    InputError : the edition is not in ``reference/targets.csv``
    """
    trade, chosen = _edition(TRADE), _edition(choice.edition)
    if not chosen:
        raise InputError("edition", choice.edition, f"one of {', '.join(editions())} is needed", "Choose one.")
    merged = {**trade, **{m: _completed(g, trade.get(m)) for m, g in chosen.items()}}
    if "calcium_hardness" in chosen and "total_hardness" not in chosen:
        # the sheet sets its range on calcium hardness: of the trade's total hardness only the red line stands
        red = trade["total_hardness"]
        merged["total_hardness"] = Goal(high=red.red_above, red_above=red.red_above, source=red.source)
    return {**merged, **{str(measure): goal for measure, goal in choice.overrides.items()}}


def _completed(goal: Goal, trade: Goal | None) -> Goal:
    if trade is None:
        return goal
    if goal.low is None and goal.high is None:
        source = f"{goal.source}; range: {trade.source}"
        low = trade.low if trade.low is None or goal.target is None else min(trade.low, goal.target)
        return trade.model_copy(update={"target": goal.target, "low": low, "source": source})
    red_below, red_above = goal.red_below, goal.red_above
    if red_below is None and goal.low is not None and trade.red_below is not None:
        red_below = min(trade.red_below, goal.low)
    if red_above is None and goal.high is not None and trade.red_above is not None:
        red_above = max(trade.red_above, goal.high)
    return goal.model_copy(update={"red_below": red_below, "red_above": red_above})
