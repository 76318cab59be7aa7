"""One line of the log: what was read or done, when, where and how. A line is never changed or removed.

A mistake is put right by a new line whose ``corrects`` names the wrong one; ``withdrawn`` takes a line back
without a replacement. ``standing_readings`` gives the lines that still count.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import uuid
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import AllowInfNan, Field, ValidationError, field_validator, model_validator

from brewwater.errors import InputError
from brewwater.records import Part
from brewwater.units import GAL_L, PSI_KPA, to_plan_units

Kind = Literal[
    "meter_gal",
    "drinks_sold",
    "pressure_in_psi",
    "pressure_out_psi",
    "hardness",
    "alkalinity",
    "conductivity",
    "tds",
    "total_chlorine",
    "free_chlorine",
    "chloride",
    "ph",
    "changed_cartridge",
    "sanitised",
    "descaled",
    "lay_up",
    "reopened",
    "taste_note",
    "visited",
    "withdrawn",
]
Method = Literal["report", "lab", "drop_kit", "meter", "strip", "typed", "unknown"]

KINDS: tuple[str, ...] = get_args(Kind)
# Kinds that say that something happened; they need no number.
EVENTS = frozenset(
    {"changed_cartridge", "sanitised", "descaled", "lay_up", "reopened", "taste_note", "visited", "withdrawn"}
)
# Kinds that are measurements of the water, with the analyte id that units.py knows.
ANALYTE_OF: Mapping[str, str] = {
    "hardness": "total_hardness",
    "alkalinity": "alkalinity",
    "conductivity": "conductivity",
    "tds": "total_dissolved_solids",
    "total_chlorine": "total_chlorine",
    "free_chlorine": "free_chlorine",
    "chloride": "chloride",
    "ph": "ph",
}
# Other names that people type for a kind.
_ALIASES: Mapping[str, str] = {
    "meter": "meter_gal",
    "filter_meter": "meter_gal",
    "drinks": "drinks_sold",
    "pressure_in": "pressure_in_psi",
    "pressure_out": "pressure_out_psi",
    "total_hardness": "hardness",
    "ec": "conductivity",
    "total_dissolved_solids": "tds",
    "cartridge": "changed_cartridge",
    "taste": "taste_note",
}
# What a unit other than the kind's own is multiplied by; a cubic foot is 28.316846592 L by definition.
_L = 1 / GAL_L
_KPA = 1 / PSI_KPA
_GALLONS = {
    "gal": 1.0,
    "gallon": 1.0,
    "gallons": 1.0,
    "us gal": 1.0,
    "l": _L,
    "liter": _L,
    "liters": _L,
    "litre": _L,
    "litres": _L,
    "m3": 1000 * _L,
    "m³": 1000 * _L,
    "ft3": 28.316846592 * _L,
    "ft³": 28.316846592 * _L,
}
_PSI = {"psi": 1.0, "psig": 1.0, "kpa": _KPA, "bar": 100 * _KPA}
_UNITS: Mapping[str, Mapping[str, float]] = {
    "meter_gal": _GALLONS,
    "pressure_in_psi": _PSI,
    "pressure_out_psi": _PSI,
    "drinks_sold": {"drinks": 1.0, "drink": 1.0, "cups": 1.0, "1": 1.0, "": 1.0},
}

ReadingId = Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]
_UNSHOWABLE = re.compile("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff]")


def printable(text: str, keep: str = "") -> bool:
    """Whether every character can be shown: no control, surrogate or direction-changing character."""
    return text.isprintable() or all(found in keep for found in _UNSHOWABLE.findall(text))


class Reading(Part):
    """One line of the log.

    ``value`` is in ``unit`` as typed; ``own_value`` gives it in the unit of its kind. ``where`` is
    ``source``, ``served``, or the name of a branch or a cartridge; a ``meter_gal`` there counts what the branches
    behind it draw, not the reject that passes a cartridge ahead of a membrane. ``corrects`` is the id of the line that
    this one replaces. ``recorded_at`` is UTC, ISO 8601; it says when the line was typed. Clocks are set back, so
    nothing depends on it but which of several corrections of one line counts.
    """

    id: ReadingId = Field(default_factory=lambda: uuid.uuid4().hex)
    date: dt.date
    kind: Kind
    value: Annotated[float, AllowInfNan(False), Field(ge=0, le=1e9)] | None = None
    unit: Annotated[str, Field(max_length=40)] = ""
    where: Annotated[str, Field(max_length=120)] = ""
    method: Method = "unknown"
    note: Annotated[str, Field(max_length=2000)] = ""
    corrects: ReadingId | None = None
    recorded_at: Annotated[str, Field(pattern=r"^$|^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z$")] = ""
    recorded_by: Annotated[str, Field(max_length=254)] = ""

    @field_validator("date")
    @classmethod
    def _sane_date(cls, value: dt.date) -> dt.date:
        if not 2000 <= value.year <= 2099:
            raise ValueError("a date from 2000 to 2099 is needed")
        return value

    @field_validator("unit", "where", "recorded_by", "note")
    @classmethod
    def _clean(cls, value: str) -> str:
        value = value.replace("\r\n", "\n")
        if not printable(value, keep="\n\t"):
            raise ValueError("it holds a character that cannot be shown")
        return value

    @model_validator(mode="after")
    def _whole(self) -> Reading:
        if self.value is None and self.kind not in EVENTS:
            raise ValueError(f"a reading of kind {self.kind} needs a value")
        if self.kind == "withdrawn" and self.corrects is None:
            raise ValueError("a withdrawn line needs the id of the line it takes back")
        if self.corrects == self.id:
            raise ValueError("a line cannot correct itself")
        if self.value is not None and self.kind not in EVENTS:
            self.own_value()  # refuses a unit outside the closed list
        return self

    def own_value(self) -> float | None:
        """The value in the unit of its kind: gal, drinks, psi, or the plan's unit of the analyte.

        Raises
        ------
        InputError : the unit is not in the closed list
        """
        if self.value is None or self.kind in EVENTS:
            return None
        if self.kind in ANALYTE_OF:
            return to_plan_units(self.value, self.unit, ANALYTE_OF[self.kind])
        factors = _UNITS[self.kind]
        try:
            return self.value * factors[self.unit.strip().lower()]
        except KeyError:
            limit = f"a {self.kind} reading is in one of " + ", ".join(filter(None, factors))
            raise InputError("unit", self.unit, limit, "Write one of these units.") from None


def make_reading(fields: Mapping[str, Any], field: str = "reading") -> Reading:
    """A reading from typed fields, every fault as one clear line.

    Raises
    ------
    InputError : a field is missing, unknown or cannot be used
    """
    try:
        return Reading.model_validate(dict(fields))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(p) for p in first["loc"]) or field
        shown = "" if place == field else first.get("input")
        raise InputError(
            place, shown, first["msg"].removeprefix("Value error, ").rstrip("."), f"Correct {place} and try again."
        ) from None


def reading_from_text(date: str, kind: str, value: str, unit: str, note: str = "", **more: Any) -> Reading:
    """A reading from what a person typed; for an event, text that is no number joins the note.

    Raises
    ------
    InputError : a field cannot be used
    """
    name = kind.strip().lower().replace("-", "_").replace(" ", "_")
    name = _ALIASES.get(name, name)
    if name not in KINDS:
        raise InputError("kind", kind, "it is one of " + ", ".join(KINDS), "Choose one of these.")
    number: float | None = None
    text = value.strip()
    try:
        number = float(text) if text else None
    except ValueError:
        if name not in EVENTS:
            raise InputError("value", value, "a number of 0 or more is needed", "Give a number such as 384.") from None
        note = "; ".join(filter(None, (text, note)))
    if number is not None and not math.isfinite(number):
        raise InputError("value", value, "a finite number is needed", "Give a number such as 384.")
    try:
        day = dt.date.fromisoformat(date.strip())
    except ValueError:
        raise InputError("date", date, "a date as YYYY-MM-DD is needed", "Write it as 2026-03-31.") from None
    return make_reading({"date": day, "kind": name, "value": number, "unit": unit, "note": note, **more})


def standing_readings(readings: Iterable[Reading]) -> list[Reading]:
    """The lines that still count, in the order given: not corrected, not withdrawn, no withdrawal itself.

    Of several corrections of one line, the one recorded last counts; those of which nobody knows when they were
    recorded all stand, since none of them was taken back. In what order the lines are given decides nothing.
    """
    lines = list(readings)
    latest: dict[str, str] = {}
    for line in lines:
        if line.corrects:
            latest[line.corrects] = max(latest.get(line.corrects, ""), line.recorded_at)
    stale = {line.id for line in lines if line.corrects and line.recorded_at < latest[line.corrects]}
    gone = stale | latest.keys()
    return [line for line in lines if line.id not in gone and line.kind != "withdrawn"]
