"""The branches and the unit: the parts of the plan document that this room reads.

A plan needs no more than the list of branches and the unit's kind. What the unit leaves out is filled in from
``reference/unit_templates.csv`` (common practice) and named as assumed, so that no verdict rests on it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from brewwater import reference
from brewwater.plumbing.tree import PlumbingTree
from brewwater.records import Finite, Fraction, Name, NonNegative, Part, Positive, Span
from brewwater.units import plain

FixtureKind = Literal["espresso_machine", "brewer", "hot_water", "ice", "rinser", "hand_sink", "sink", "fill", "other"]
UnitKind = Literal["cart", "truck", "kiosk", "shop"]
PipeSize = Literal["1/2", "3/4", "1"]
Text = Annotated[str, Field(max_length=60)]


@dataclass(frozen=True, slots=True)
class FixtureClass:
    """A usual fixture of ``reference/fixtures.csv``.

    ``flow_gpm`` US gal/min; ``to_waste_share`` of its water ends in the waste tank; ``hot_share`` is drawn hot.
    """

    name: str
    filtered: bool
    flow_gpm: Span
    at_once: bool
    to_waste_share: float
    hot_share: float
    quick_closing: bool
    connection: str
    source: str


@cache
def fixture_class(kind: str) -> FixtureClass:
    """The usual fixture of a kind."""
    row = reference.keyed("fixtures", "kind")[kind]
    flow = Span(low=float(row["low_gpm"]), typical=float(row["typical_gpm"]), high=float(row["high_gpm"]))
    return FixtureClass(
        row["name"],
        row["filtered"] == "yes",
        flow,
        row["at_once"] == "yes",
        float(row["to_waste_share"]),
        float(row["hot_share"]),
        row["quick_closing"] == "yes",
        row["connection"],
        row["source"],
    )


def _usually_filtered(data: Mapping[str, object]) -> bool:
    return fixture_class(str(data.get("kind", "other"))).filtered


class Pipe(Part):
    """A run of PEX pipe (SDR-9): length in feet, and the fittings on it. ``rise_ft``: its end above its start."""

    size: PipeSize = "1/2"
    length_ft: NonNegative = 0.0
    elbows: Annotated[int, Field(ge=0, le=200)] = 0
    tees: Annotated[int, Field(ge=0, le=200)] = 0
    valves: Annotated[int, Field(ge=0, le=200)] = 0
    rise_ft: Annotated[Finite, Field(ge=-100, le=100)] = 0.0


class Branch(Part):
    """One fixture on its pipe.

    ``filtered`` None or left out: by kind (rinse and sink lines are not). ``machine`` names a machine profile.
    ``flow_gpm`` while it draws, ``at_once`` whether it draws at the peak with the others, ``to_waste_share``
    of its water that ends in the waste tank, ``connection`` its thread, and ``pipe`` from the tee: each the
    usual one where not given.
    """

    name: Name
    kind: FixtureKind = "other"
    filtered: bool = Field(default_factory=_usually_filtered)
    machine: Name | None = None
    flow_gpm: Span | None = None
    at_once: bool | None = None
    to_waste_share: Fraction | None = None
    connection: Text | None = None
    pipe: Pipe | None = None

    @model_validator(mode="before")
    @classmethod
    def _none_is_usual(cls, value: object) -> object:
        if isinstance(value, dict) and value.get("filtered", False) is None:
            return {k: v for k, v in value.items() if k != "filtered"}
        return value

    @property
    def usual(self) -> FixtureClass:
        """The usual fixture of this kind."""
        return fixture_class(self.kind)

    @property
    def flow(self) -> Span:
        """Flow while it draws, US gal/min."""
        return self.flow_gpm or self.usual.flow_gpm

    @property
    def draws_at_once(self) -> bool:
        """True where it draws at the peak."""
        return self.usual.at_once if self.at_once is None else self.at_once

    @property
    def waste_share(self) -> float:
        """Share of its water that ends in the waste tank."""
        return self.usual.to_waste_share if self.to_waste_share is None else self.to_waste_share

    @property
    def thread(self) -> str:
        """The fixture's connection, of ``reference/thread_sizes.csv``."""
        return self.connection or self.usual.connection


class Pump(Part):
    """A pump with a pressure switch: it starts at ``cut_in_psi`` and stops at ``cut_out_psi``.

    ``flow_gpm`` is what it gives at the cut-in pressure. ``curve`` (points of gpm and psi, pressure falling)
    goes before the straight line through those two.
    """

    cut_in_psi: Positive
    cut_out_psi: Positive
    flow_gpm: Positive
    curve: tuple[tuple[NonNegative, NonNegative], ...] = ()

    @field_validator("curve")
    @classmethod
    def _falls(cls, curve: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        pairs = list(pairwise(curve))
        if len(curve) == 1 or any(b[0] <= a[0] or b[1] > a[1] for a, b in pairs):
            raise ValueError("two points or more are needed, flow rising and pressure falling")
        return curve

    @model_validator(mode="after")
    def _ordered(self) -> Pump:
        if self.cut_out_psi <= self.cut_in_psi:
            raise ValueError(
                f"cut-out {plain(self.cut_out_psi, 6)} psi is not above cut-in {plain(self.cut_in_psi, 6)} psi"
            )
        return self


class Accumulator(Part):
    """An accumulator: total volume, US gal, and the air pressure it is charged to while empty, psi."""

    volume_gal: Positive
    precharge_psi: Positive


class Heater(Part):
    """A storage heater for the sinks: US gal, heating power, set temperature °C."""

    volume_gal: Positive
    power_W: Positive
    set_C: Annotated[Finite, Field(gt=30, le=90)] = Field(default_factory=lambda: limit("usual_heater_C"))


class Place(Part):
    """Where a weight sits, inches: ``ahead`` of the axle (behind is negative), ``left`` of the middle line."""

    ahead_in: Annotated[Finite, Field(ge=-600, le=600)] = 0.0
    left_in: Annotated[Finite, Field(ge=-120, le=120)] = 0.0


class Weights(Part):
    """What the unit weighs without water, lb, and where; ``product_at``: a membrane's storage tank. ``hitch_in``:
    from the axle ahead to the hitch (a trailer's; None: no tongue is checked); ``track_in``: between the wheels."""

    empty_lb: Positive
    empty_at: Place = Place()
    gross_limit_lb: Positive | None = None
    fresh_at: Place = Place()
    waste_at: Place = Place()
    product_at: Place = Place()
    hitch_in: Positive | None = None
    track_in: Positive | None = None


class Unit(Part):
    """The unit that carries the water, on board with tanks or plumbed to the mains.

    What is None is not known: the usual figure of the kind stands in, and checks that rest on it give no
    verdict. ``jurisdiction``: key of ``reference/waste_tank_rules.csv``. ``fills_per_day``: how often the
    fresh tank can be filled, and the waste tank emptied, on one day. ``repump``: the pump after a membrane's
    storage tank of ``product_tank_gal``. ``waste_tank_length_in`` and ``waste_tank_fall_in``: length of its
    floor and how much lower the drain end lies. ``tree``: a pipe tree of one's own; None: generated.
    """

    kind: UnitKind = "truck"
    on_board: bool | None = None
    fresh_tank_gal: Positive | None = None
    waste_tank_gal: Positive | None = None
    usable_fresh_share: Annotated[Finite, Field(gt=0, le=1)] | None = None
    fills_per_day: Annotated[int, Field(ge=1, le=24)] = 1
    jurisdiction: Name = "food_code"
    hours_per_service_day: Annotated[Finite, Field(gt=0, le=24)] | None = None
    pump: Pump | None = None
    accumulator: Accumulator | None = None
    regulator_psi: Positive | None = None
    mains_psi: Span | None = None
    pipe: Pipe | None = None
    heater: Heater | None = None
    repump: Pump | None = None
    product_tank_gal: Positive | None = None
    weights: Weights | None = None
    waste_tank_length_in: Positive | None = None
    waste_tank_fall_in: NonNegative | None = None
    water_C: Annotated[Finite, Field(ge=0, le=40)] = Field(default_factory=lambda: limit("usual_water_C"))
    tree: PlumbingTree | None = None

    @field_validator("jurisdiction")
    @classmethod
    def _listed(cls, key: str) -> str:
        known = reference.keyed("waste_tank_rules")
        if key not in known:
            raise ValueError(f"the listed jurisdictions are {', '.join(known)}")
        return key

    @property
    def has_tanks(self) -> bool:
        """True where water is carried on board."""
        return _template(self.kind)["on_board"] == "yes" if self.on_board is None else self.on_board


def _template(kind: str) -> reference.Row:
    return reference.keyed("unit_templates", "kind")[kind]


def limit(key: str) -> float:
    """A figure of ``reference/unit_limits.csv``."""
    return float(reference.keyed("unit_limits")[key]["value"])


def limit_source(key: str) -> str:
    """The citation of a figure of ``reference/unit_limits.csv``."""
    row = reference.keyed("unit_limits")[key]
    return reference.cite(row["source"]) + (f": {row['note']}" if row["note"] else "")


@cache
def unit_template(kind: UnitKind) -> Unit:
    """The usual unit of a kind, every figure filled in (common practice, no source)."""
    row = _template(kind)

    def number(column: str) -> float | None:
        return float(row[column]) if row[column] else None

    def has(column: str) -> bool:
        return bool(row[column])

    return Unit(
        kind=kind,
        on_board=row["on_board"] == "yes",
        fresh_tank_gal=number("fresh_tank_gal"),
        waste_tank_gal=number("waste_tank_gal"),
        usable_fresh_share=limit("usable_fresh_share"),
        hours_per_service_day=number("hours_per_service_day"),
        pump=Pump.model_validate(
            {
                "cut_in_psi": row["cut_in_psi"],
                "cut_out_psi": row["cut_out_psi"],
                "flow_gpm": row["pump_gpm"],
            }
        )
        if has("pump_gpm")
        else None,
        accumulator=Accumulator.model_validate(
            {
                "volume_gal": row["accumulator_gal"],
                "precharge_psi": row["accumulator_psi"],
            }
        )
        if has("accumulator_gal")
        else None,
        regulator_psi=number("regulator_psi"),
        mains_psi=Span.model_validate(number("mains_psi")) if has("mains_psi") else None,
        pipe=Pipe.model_validate(
            {
                "size": row["pipe_size"],
                "length_ft": row["trunk_ft"],
                "elbows": int(row["elbows"]),
                "valves": int(row["valves"]),
                "tees": int(row["tees"]),
            }
        ),
        heater=Heater.model_validate({"volume_gal": row["heater_gal"], "power_W": row["heater_W"]})
        if has("heater_gal")
        else None,
    )


def backflow_drop_psi(unit: Unit) -> float:
    """Pressure that the backflow preventer of a plumbed unit takes, psi."""
    return (
        0.0 if unit.has_tanks else (float(_template(unit.kind)["backflow_drop_psi"]) or limit("plumbed_backflow_drop"))
    )


def branch_pipe(unit: Unit, branch: Branch) -> Pipe:
    """The branch's own pipe, or the usual one of the unit's kind."""
    if branch.pipe is not None:
        return branch.pipe
    row = _template(unit.kind)
    return Pipe(size="1/2", length_ft=float(row["branch_ft"]), elbows=2, valves=1, tees=1)


FILLED = (
    "fresh_tank_gal",
    "waste_tank_gal",
    "usable_fresh_share",
    "hours_per_service_day",
    "pump",
    "pipe",
    "accumulator",
    "mains_psi",
    "heater",
)


@dataclass(frozen=True, slots=True)
class Known:
    """A unit with the usual figures filled in, and the names of the fields that were."""

    unit: Unit
    assumed: frozenset[str]

    def missing(self, names: Iterable[str]) -> list[str]:
        """Those of the names that are assumed, as words."""
        return [
            name.replace("_gal", "").replace("_psi", "").replace("_", " ") for name in names if name in self.assumed
        ]


@lru_cache(maxsize=512)
def known(unit: Unit) -> Known:
    """Fill in what a unit leaves out from the template of its kind: a truck's for a plumbed unit put on board,
    a shop's for one with tanks that is plumbed."""
    usual = unit_template(unit.kind)
    if unit.has_tanks != usual.has_tanks:
        other = unit_template("truck" if unit.has_tanks else "kiosk")
        usual = other.model_copy(update={"hours_per_service_day": usual.hours_per_service_day})
    filled = {
        name: getattr(usual, name)
        for name in FILLED
        if getattr(unit, name) is None and getattr(usual, name) is not None
    }
    if unit.pump is not None:
        filled.pop("accumulator", None)  # the usual one is charged for the usual pump
    if "mains_psi" in filled and unit.regulator_psi is None:
        filled["regulator_psi"] = usual.regulator_psi
    filled["on_board"] = unit.has_tanks
    return Known(unit.model_copy(update=filled), frozenset(filled) - {"on_board", "usable_fresh_share"})
