"""The usual cartridges of each medium, by size: what stands in where a data sheet is silent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

from brewwater import reference
from brewwater.errors import InputError
from brewwater.records import Span
from brewwater.treatment.stage import DataSheet, Size, Stage

SIZES: tuple[Size, ...] = ("small", "medium", "large", "two large")
# What two cartridges side by side have twice; life and pressure drop stay those of one.
_TWICE = (
    "volume_gal",
    "exchange_eq",
    "chlorine_g",
    "consumed_g",
    "bed_volume_L",
    "service_flow_gpm",
    "output_gal_per_day",
    "flush_gal",
    "price",
)


@dataclass(frozen=True, slots=True)
class MediumClass:
    """One size of one medium as usually sold, from ``reference/media.csv``; None: does not apply.

    Capacities are for the usual reference water of the class; ``price`` is a placeholder without source, in
    the plan's currency; ``life_months`` is a time limit, of which the typical value is applied.
    """

    medium: str
    size: Size
    volume_gal: Span | None
    exchange_eq: Span | None
    chlorine_g: Span | None
    consumed_g: Span | None
    life_months: Span | None
    bed_volume_L: Span | None
    service_flow_gpm: Span | None
    clean_pressure_drop_psi: Span | None
    output_gal_per_day: Span | None
    flush_gal: Span | None
    price: Span | None
    source: str
    price_source: str


def _span(cell: str) -> Span | None:
    parts = cell.split()
    if not parts:
        return None
    low, typical, high = (float(p) for p in parts)
    return Span(low=low, typical=typical, high=high)


@cache
def classes() -> Mapping[tuple[str, str], MediumClass]:
    """Every class by medium and size."""
    found = {}
    for row in reference.table("media"):
        spans = {
            key: _span(cell) for key, cell in row.items() if key not in {"medium", "size", "source", "price_source"}
        }
        size = next(s for s in SIZES if s == row["size"])
        found[row["medium"], row["size"]] = MediumClass(
            medium=row["medium"], size=size, source=row["source"], price_source=row["price_source"], **spans
        )
    pairs = {(medium, "two large"): _pair(one) for (medium, size), one in found.items() if size == "large"}
    return {**found, **pairs}


def _pair(one: MediumClass) -> MediumClass:
    """Two of a class side by side."""
    spans = {name: getattr(one, name) for name in _TWICE}
    twice = {
        name: None if s is None else Span(low=2 * s.low, typical=2 * s.middle, high=2 * s.high)
        for name, s in spans.items()
    }
    return replace(one, size="two large", **twice)  # type: ignore[arg-type]  # the spans of _TWICE only


def medium_class(medium: str, size: str) -> MediumClass:
    """The class of that medium and size.

    Raises
    ------
    InputError : the medium is not sold in that size
    """
    try:
        return classes()[medium, size]
    except KeyError:
        raise InputError("size", size, f"{medium} is listed as {', '.join(SIZES)}", "Choose a size.") from None


def price_of_one(stage: Stage) -> tuple[Span | None, bool]:
    """What one cartridge of the stage costs, and whether that is its class's placeholder and not the person's own; None
    where neither is known."""
    own = stage.sheet.price
    return (medium_class(stage.medium, stage.size).price, True) if own is None else (own, False)


def usual_sheet(medium: str, size: str) -> DataSheet:
    """The sheet of a usual cartridge: what the fit checks need, no capacity claimed and no price.

    Both are left out on purpose: they stay the class's wide ranges with their warnings, and a price that stands in a
    sheet is somebody's own. A carbon is to be
    bought with the claim of its class: free chlorine, or chloramine for catalytic carbon.
    """
    usual = medium_class(medium, size)

    def middle(span: Span | None) -> float | None:
        return None if span is None else span.middle or None

    claims: dict[str, Literal["free_chlorine", "chloramine"]] = {
        "carbon": "free_chlorine",
        "catalytic_carbon": "chloramine",
    }
    return DataSheet(
        rated_for=claims.get(medium, "unknown"),
        service_flow_gpm=middle(usual.service_flow_gpm),
        clean_pressure_drop_psi=middle(usual.clean_pressure_drop_psi),
        drop_at_flow_gpm=middle(usual.service_flow_gpm),
        bed_volume_L=middle(usual.bed_volume_L),
        rated_output_gal_per_day=middle(usual.output_gal_per_day),
        life_months=middle(usual.life_months),
        flush_gal=usual.flush_gal,
    )
