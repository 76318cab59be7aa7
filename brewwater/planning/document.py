"""The plan document: the parts that each room owns, put together, with a version.

A document is what a user opens, edits and saves. ``load_document`` turns JSON text or a mapping into one, and
turns every fault into one clear line: the field, the value, the limit, the remedy.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
from collections.abc import Iterable, Mapping
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, model_validator

from brewwater.changes import InService, Policy
from brewwater.cost import CostInput
from brewwater.demand import DemandInput
from brewwater.ensemble import DEFAULT_DRAWS
from brewwater.errors import InputError
from brewwater.files import plain_file
from brewwater.log.entry import Reading
from brewwater.log.own_units import OwnUnits
from brewwater.planning.worth import Worth
from brewwater.plumbing import Branch, Unit
from brewwater.records import Name, Part, Span
from brewwater.reference import keyed
from brewwater.reports.analysis import Measurement, Supply
from brewwater.supply.tank_days import FillCalendar
from brewwater.treatment import Stage
from brewwater.treatment.shelf import ShelfItem
from brewwater.units import plain
from brewwater.verdicts import MachineProfile, TargetChoice

SCHEMA_VERSION = 1
MAX_DOCUMENT_BYTES = 2_000_000
MAX_FILE_BYTES = 4 * MAX_DOCUMENT_BYTES  # a letter may take four bytes
MAX_READINGS = 20_000


class Settings(Part):
    """How the plan is computed: the number of draws and the seed."""

    draws: Annotated[int, Field(ge=1, le=65536)] = DEFAULT_DRAWS
    seed: Annotated[int, Field(ge=0)] = 20261125


class PlanDocument(Part):
    """Everything a plan is made from. ``train`` None: the recommended one is planned, with cartridges from ``shelf``
    where one fits. ``readings``: the log. ``own_units``: figures of a firm's own units that stand in for the plan's own
    doubt."""

    schema_version: Literal[1] = 1
    name: Name = "My unit"
    units: Literal["us", "metric"] = "us"
    unit: Unit
    supplies: Annotated[tuple[Supply, ...], Field(min_length=1)]
    fill: FillCalendar
    demand: DemandInput
    branches: Annotated[tuple[Branch, ...], Field(min_length=1)]
    machines: Annotated[tuple[MachineProfile, ...], Field(min_length=1)]
    targets: TargetChoice = TargetChoice()
    train: tuple[Stage, ...] | None = None
    shelf: Annotated[tuple[ShelfItem, ...], Field(max_length=2000)] = ()
    in_service: tuple[InService, ...] = ()
    readings: Annotated[tuple[Reading, ...], Field(max_length=MAX_READINGS)] = ()
    own_units: OwnUnits | None = None
    policy: Policy = Policy()
    money: CostInput = CostInput()
    worth: Worth = Worth()
    settings: Settings = Settings()
    note: Annotated[str, Field(max_length=4000)] = ""

    @model_validator(mode="after")
    def _hangs_together(self) -> PlanDocument:
        supplies = _unique("supplies", (s.name for s in self.supplies))
        branches = _unique("branches", (b.name for b in self.branches))
        machines = _unique("machines", (m.name for m in self.machines))
        _unique("train", (s.name for s in self.train or ()))
        for supply in self.supplies:
            _believable(supply)
        for fill in self.fill.fills:
            _one_of("fill.fills", "supply", fill.supply, supplies)
        _one_of("demand", "main_branch", self.demand.main_branch, branches)
        for branch in self.branches:
            if branch.machine is not None:
                _one_of("branches", "machine", branch.machine, machines)
        for stage in self.train or ():
            if stage.branch is not None:
                _one_of("train", "branch", stage.branch, branches)
        needs = self.demand
        named = [d.branch for d in needs.drinks] + [u.branch for u in needs.uses_per_drink]
        for name in (*named, *(f.branch for f in needs.fixed)):
            if name is not None:
                _one_of("demand", "branch", name, branches)
        return self

    def to_json(self) -> str:
        """The document as a user keeps it: readable JSON, defaults left out, the version always stated."""
        kept = self.model_dump(mode="json", exclude_defaults=True)
        return json.dumps({"schema_version": self.schema_version, **kept}, indent=2, ensure_ascii=False)

    def in_place(self, stage: str) -> InService | None:
        """The cartridge in place at the start, of the stage of that name; None where none is stated."""
        return next((p for p in self.in_service if p.stage == stage), None)

    def fingerprint(self) -> str:
        """Twelve hexadecimal digits that identify the document's content."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()[:12]


# Past the plausible range by this factor a figure is a slip, not a water.
_FAR_OUT = 10.0


def _believable(supply: Supply) -> None:
    ranges = keyed("plausible_ranges", "analyte")
    for analyte, entry in supply.analysis.items():
        highest = entry.in_plan_units(analyte).high
        if analyte in ranges and highest > _FAR_OUT * float(ranges[analyte]["high"]):
            row = ranges[analyte]
            raise InputError(
                f"{supply.name}: {analyte}",
                f"{plain(highest, 6)} {row['unit']}",
                f"no supply carries more than about {plain(float(row['high']), 6)}",
                "Check the unit and the decimal mark.",
            )


def _unique(field: str, names: Iterable[str]) -> set[str]:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise ValueError(f"{field}: the name {name!r} stands twice; give each its own")
        seen.add(name)
    return seen


def _one_of(field: str, what: str, name: str, known: set[str]) -> None:
    if name not in known:
        raise ValueError(f"{field}: {what} {name!r} is not among {', '.join(sorted(known))}")


def load_document(source: str | Mapping[str, Any]) -> PlanDocument:
    """A plan document from JSON text or a mapping.

    Raises
    ------
    InputError : not JSON, an unknown field, a value outside its limit: the first fault, in one line
    """
    if isinstance(source, str):
        if len(source) > MAX_DOCUMENT_BYTES:
            raise InputError(
                "plan document",
                f"{len(source)} characters",
                f"at most {MAX_DOCUMENT_BYTES} are read",
                "Give a smaller document.",
            )
        try:
            source = json.loads(source)
        except (ValueError, RecursionError):
            raise InputError(
                "plan document", str(source)[:40], "it is not JSON", "Give a plan document that brewwater saved."
            ) from None
    if not isinstance(source, Mapping):
        raise InputError(
            "plan document",
            type(source).__name__,
            "a JSON object is needed",
            "Give a plan document that brewwater saved.",
        )
    version = source.get("schema_version", SCHEMA_VERSION)
    if version != SCHEMA_VERSION:
        raise InputError(
            "schema_version",
            version,
            f"this program reads version {SCHEMA_VERSION}",
            "Install the brewwater that wrote it.",
        )
    try:
        return PlanDocument.model_validate(dict(source))
    except ValidationError as error:
        raise first_fault(error) from None


def document_of(source: PlanDocument | Mapping[str, Any] | str | os.PathLike[str]) -> PlanDocument:
    """A plan document in any form: itself, a mapping, JSON text, or the path of a file that holds it.

    A text that opens with a brace is JSON; any other names a file.

    Raises
    ------
    InputError : the file cannot be read, or ``load_document`` refuses what it holds
    """
    if isinstance(source, PlanDocument):
        return source
    if isinstance(source, os.PathLike) or (isinstance(source, str) and not source.lstrip().startswith("{")):
        return load_document(_text_of(os.fspath(source)))
    return load_document(source)


def _text_of(path: str) -> str:
    remedy = "Give the path of a plan document, or the document itself."
    plain_file(path, "plan document", MAX_FILE_BYTES)
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except (OSError, ValueError) as error:  # UnicodeDecodeError is a ValueError, as is a NUL in a path
        why = f"the file cannot be read ({type(error).__name__})"
        raise InputError("plan document", ascii(path[:200]), why, remedy) from None


def first_fault(error: ValidationError) -> InputError:
    """The first fault of a pydantic error as one clear line."""
    fault = error.errors(include_url=False)[0]
    field = ".".join(str(part) for part in fault["loc"]) or "plan document"
    message = fault["msg"].removeprefix("Value error, ")
    value = fault.get("input")
    if isinstance(value, Mapping | list | tuple):
        value = f"a {type(value).__name__} of {len(value)}"
    return InputError(field, value, message[:1].lower() + message[1:], "Correct this field.")


def _packaged(name: str) -> PlanDocument:
    text = (resources.files("brewwater") / "documents" / name).read_text(encoding="utf-8")
    return load_document(text)


def demo_document() -> PlanDocument:
    """The demo plan: an invented trailer between two invented towns."""
    return _packaged("demo.json")


def mobile_template() -> PlanDocument:
    """A plain mobile unit: one water of which nothing is known, five service days a week, no events, 0.8
    capacity margin, the train recommended. Its start is a fixed day (``new_unit`` starts today)."""
    return _packaged("mobile.json")


def new_unit(day: dt.date | None = None) -> PlanDocument:
    """The plain mobile unit of a plan that is made now: it starts on that day, today by default, which is written into
    the document once."""
    template = mobile_template()
    calendar = template.demand.calendar.model_copy(update={"start": day or dt.date.today()})
    return template.model_copy(update={"demand": template.demand.model_copy(update={"calendar": calendar})})


def with_overrides(
    document: PlanDocument,
    *,
    supply: Supply | None = None,
    analysis: Mapping[str, Measurement] | None = None,
    drinks_per_service_day: float | None = None,
) -> PlanDocument:
    """The document with a supply, measurements or the drinks count replaced.

    ``supply`` replaces the first supply, under its own name; ``analysis`` replaces single analytes of the
    first supply. A number that is not given stays as it was.

    Raises
    ------
    InputError : the document with it cannot be used: a drinks count below 0, or a supply with another's name
    """
    changes: dict[str, Any] = {}
    first = document.supplies[0]
    now = supply or first
    if analysis:
        now = now.model_copy(update={"analysis": {**now.analysis, **analysis}})
    if now is not first:
        fills = tuple(
            f.model_copy(update={"supply": now.name}) if f.supply == first.name else f for f in document.fill.fills
        )
        changes["supplies"] = (now, *document.supplies[1:])
        changes["fill"] = document.fill.model_copy(update={"fills": fills})
    if drinks_per_service_day is not None:
        only = drinks_per_service_day
        count = Span.model_construct(low=only, typical=only, high=only)  # held against its limits below, with its place
        changes["demand"] = document.demand.model_copy(update={"drinks_per_service_day": count})
    if not changes:
        return document
    try:
        return PlanDocument.model_validate(document.model_copy(update=changes).model_dump())
    except ValidationError as error:
        raise first_fault(error) from None
