"""What every part of the plan document is made of: a frozen record, and a number with doubt.

Each room owns the part of the document that it reads (``demand.py`` the drinks, ``treatment/`` the
stages, and so on); ``inputs.py`` only puts the parts together. So nothing is converted between floors.
"""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import AllowInfNan, BaseModel, ConfigDict, Field, model_validator

Finite = Annotated[float, AllowInfNan(False)]
NonNegative = Annotated[float, AllowInfNan(False), Field(ge=0)]
Positive = Annotated[float, AllowInfNan(False), Field(gt=0)]
Fraction = Annotated[float, AllowInfNan(False), Field(ge=0, le=1)]
Name = Annotated[str, Field(min_length=1, max_length=120)]


class Part(BaseModel):
    """A frozen part of the plan document. Unknown fields are refused, never dropped."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


class Span(Part):
    """A non-negative number with doubt: ``low <= typical <= high`` in the unit the field's name states.

    In a document it may be written as a bare number (certain), as ``[low, high]``, as
    ``[low, typical, high]`` or in full. ``typical`` may be left out: then nothing is known inside the range
    and all of it is equally likely.
    """

    low: NonNegative
    high: NonNegative
    typical: NonNegative | None = None

    @model_validator(mode="before")
    @classmethod
    def _short_forms(cls, value: Any) -> Any:
        if isinstance(value, bool):
            raise ValueError("a number or a range is needed")
        if isinstance(value, int | float):
            if not math.isfinite(value):
                raise ValueError("a finite number is needed")
            return {"low": value, "typical": value, "high": value}
        if isinstance(value, list | tuple):
            if len(value) == 2:
                return {"low": value[0], "high": value[1]}
            if len(value) == 3:
                return {"low": value[0], "typical": value[1], "high": value[2]}
            raise ValueError("a range is [low, high] or [low, typical, high]")
        return value

    @model_validator(mode="after")
    def _ordered(self) -> Span:
        middle = self.low if self.typical is None else self.typical
        if not self.low <= middle <= self.high:
            raise ValueError(f"low {self.low:g} <= typical <= high {self.high:g} does not hold")
        return self

    @property
    def certain(self) -> bool:
        """True where the range has no width."""
        return self.low == self.high

    @property
    def middle(self) -> float:
        """The typical value, or the midpoint of the range where none is given."""
        return (self.low + self.high) / 2 if self.typical is None else self.typical
