"""What is known of one supply: measurements with unit, basis, method and where they were read."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from brewwater.records import Fraction, Name, Part, Span
from brewwater.units import to_plan_units

Method = Literal["report", "lab", "drop_kit", "meter", "strip", "typed", "unknown"]
Disinfectant = Literal["free_chlorine", "chloramine", "none", "unknown"]


class Measurement(Part):
    """One analyte of one supply, as printed: the numbers, the unit, and where they stand.

    ``value`` is in ``unit`` (a unit of the closed list, see ``units.py``) on ``basis`` (None: the usual
    basis of that unit for that analyte). ``below_detection`` marks "ND" or "<x": then the range starts at 0.
    """

    value: Span
    unit: Annotated[str, Field(max_length=40)]
    basis: str | None = None
    below_detection: bool = False
    method: Method = "unknown"
    date: str | None = None
    page: int | None = None
    text: str | None = None
    confidence: Fraction = 1.0

    @property
    def average(self) -> bool:
        """True where the typical value is the mean of what was found, as a report or a laboratory prints it; else it
        is what someone takes to be most likely."""
        return self.method in ("report", "lab")

    def in_plan_units(self, analyte: str) -> Span:
        """The value in the plan's unit for ``analyte`` (``units.PLAN_UNITS``)."""

        def turn(x: float) -> float:
            return to_plan_units(x, self.unit, analyte, self.basis)

        typical = self.value.typical
        return Span(
            low=turn(self.value.low), high=turn(self.value.high), typical=None if typical is None else turn(typical)
        )


class Supply(Part):
    """A town's water, a well, hauled water: what the user knows of it."""

    name: Name
    analysis: dict[str, Measurement] = Field(default_factory=dict)
    disinfectant: Disinfectant = "unknown"
    kind: Literal["public", "well", "hauled"] = "public"
    notice: Literal["none", "boil_water", "do_not_drink"] = "none"
    violation_reported: bool = False
    water_price_per_1000_gal: Span | None = None

    def known(self) -> frozenset[str]:
        """Ids of the analytes that were measured."""
        return frozenset(self.analysis)
