"""The shelf: cartridges that the user can really buy, each entered once from its own data sheet.

Nothing of anyone's product is in here: names are the user's own. A line keeps the sheet's figures in the plan's units
with the sheet's own words beside them, how its head prints the bypass, what it costs, and how many are in stock.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from brewwater.records import Finite, Name, Part, Positive, Span
from brewwater.treatment.stage import DataSheet, Medium, Size, Stage

Arrangement = Literal["single", "parallel", "series"]
ARRANGEMENTS: tuple[Arrangement, ...] = ("single", "parallel", "series")
_SHORT = Annotated[str, Field(max_length=120)]


class BypassStep(Part):
    """One setting of a head's bypass: as the head prints it, the share that goes round, and the gallons that the
    sheet rates at that setting (with the bypassed share, at the sheet's reference water), where it has such a table."""

    setting: Annotated[str, Field(min_length=1, max_length=20)]
    percent: Annotated[Finite, Field(ge=0, lt=100)]
    rated_gal: Positive | None = None


class ShelfItem(Part):
    """One kind of cartridge on the shelf.

    ``as_printed``: the rating in the sheet's own words and measure, such as ``1,200 gal at 10 gpg``.
    ``bypass_steps``: in the order of the head; empty where the head turns freely or has none.
    ``shelf_months``: how long a sealed one keeps; ``in_stock``: how many are there.
    """

    name: Name
    medium: Medium
    size: Size = "medium"
    sheet: DataSheet = DataSheet()
    as_printed: _SHORT = ""
    bypass_steps: tuple[BypassStep, ...] = ()
    certificate: _SHORT = ""
    supplier: _SHORT = ""
    shelf_months: Positive | None = None
    in_stock: Annotated[int, Field(ge=0, le=100_000)] = 0
    note: Annotated[str, Field(max_length=400)] = ""

    @model_validator(mode="after")
    def _steps_differ(self) -> ShelfItem:
        settings = [step.setting for step in self.bypass_steps]
        if len(set(settings)) != len(settings):
            raise ValueError("a bypass setting stands twice")
        return self

    def step_for(self, bypass_percent: float) -> BypassStep | None:
        """The head's setting nearest to a bypass; None where it has no settings."""
        return min(self.bypass_steps, key=lambda s: abs(s.percent - bypass_percent), default=None)

    def sheet_at(self, step: BypassStep | None) -> DataSheet:
        """The sheet at a setting: with the gallons of the head's table, where there is one."""
        if step is None or step.rated_gal is None:
            return self.sheet
        return self.sheet.model_copy(
            update={"rated_gal": step.rated_gal, "reference_bypass_percent": step.percent, "capacity_grains": None}
        )

    def stage_for(self, stage: Stage, arrangement: Arrangement = "single") -> Stage:
        """The stage with this cartridge in it, at the head's setting nearest to the stage's bypass."""
        step = self.step_for(stage.bypass_percent)
        return stage.model_copy(
            update={
                "size": self.size,
                "sheet": arranged(self.sheet_at(step), arrangement),
                "bypass_percent": stage.bypass_percent if step is None else step.percent,
            }
        )


class Shelf(Part):
    """All lines of a shelf; each name stands once."""

    items: Annotated[tuple[ShelfItem, ...], Field(max_length=2000)] = ()

    @model_validator(mode="after")
    def _names_differ(self) -> Shelf:
        seen: set[str] = set()
        for item in self.items:
            if item.name.casefold() in seen:
                raise ValueError(f"{item.name!r} stands twice on the shelf")
            seen.add(item.name.casefold())
        return self

    def merged(self, other: Shelf) -> Shelf:
        """This shelf with the lines of another; a line of the same name is replaced, its place kept."""
        new = {item.name.casefold(): item for item in other.items}
        kept = [new.pop(item.name.casefold(), item) for item in self.items]
        return Shelf(items=(*kept, *new.values()))


def _twice(value: float | None) -> float | None:
    return None if value is None else 2 * value


def arranged(sheet: DataSheet, arrangement: Arrangement) -> DataSheet:
    """The sheet of two alike cartridges that are changed together, in parallel (each takes half of the flow) or one
    behind the other; the sheet itself for a single one."""
    if arrangement == "single":
        return sheet
    price = sheet.price and Span(
        low=2 * sheet.price.low, typical=_twice(sheet.price.typical), high=2 * sheet.price.high
    )
    flush = sheet.flush_gal and Span(
        low=2 * sheet.flush_gal.low, typical=_twice(sheet.flush_gal.typical), high=2 * sheet.flush_gal.high
    )
    both = {
        "rated_gal": _twice(sheet.rated_gal),
        "capacity_grains": _twice(sheet.capacity_grains),
        "bed_volume_L": _twice(sheet.bed_volume_L),
        "price": price,
        "flush_gal": flush,
    }
    if arrangement == "parallel":  # the drop of one at half of the flow
        flows = {name: _twice(getattr(sheet, name)) for name in ("service_flow_gpm", "drop_at_flow_gpm")}
        return sheet.model_copy(
            update={**both, **flows, "rated_output_gal_per_day": _twice(sheet.rated_output_gal_per_day)}
        )
    drops = {name: _twice(getattr(sheet, name)) for name in ("clean_pressure_drop_psi", "end_pressure_drop_psi")}
    return sheet.model_copy(update={**both, **drops})
