"""The round: what is to be changed next in every unit, by the plans' own calendars.

Only the next change of each cartridge is on it: what comes after follows from the day on which that is really made.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

from brewwater.output.alarms import WaterAlarm, alarms
from brewwater.output.vocabulary import MEDIA
from brewwater.plan import Plan
from brewwater.treatment import Stage

RoundState = Literal["overdue", "due", "soon"]
DUE_WITHIN = dt.timedelta(days=7)
SOON_WITHIN = dt.timedelta(days=28)


@dataclass(frozen=True, slots=True)
class Next:
    """The next change of one cartridge, whenever it is: what a store can keep of a plan for the round.

    unit, name : the unit's id and its display name
    cartridge, number : the stage, and its number on drawing, sheet and housing
    place : the branch it stands on, or the trunk
    due, early, order_by : dates of the plan's calendar
    governs : what sets the date
    parts : what to load for it
    """

    unit: str
    name: str
    cartridge: str
    number: int
    place: str
    due: dt.date
    early: dt.date | None
    order_by: dt.date | None
    governs: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class UnitRound:
    """What the round needs of a unit: what a store keeps of its plan.

    unit, name : its id and display name
    town : the names of its waters, as the place where it is
    metric : its owner reads litres and kPa
    cartridges : number and name of every stage, changed soon or not
    nexts : the next change of each; alarms : readings that fail their limit
    """

    unit: str
    name: str
    town: str
    metric: bool
    cartridges: tuple[tuple[int, str], ...]
    nexts: tuple[Next, ...]
    alarms: tuple[WaterAlarm, ...]


@dataclass(frozen=True, slots=True)
class Stop(Next):
    """A change on the round: overdue before its first day, due within seven days of it, soon within the round."""

    state: RoundState = "soon"


def part_for(plan: Plan, stage: Stage) -> str:
    """What to load for a stage: the cartridge of the shelf that stands there, else the part by its word and size."""
    for item in plan.document.shelf:
        if item.medium == stage.medium and item.sheet_at(item.step_for(stage.bypass_percent)) == stage.sheet:
            return item.name
    return f"{MEDIA[stage.medium].inside}, {stage.size}"


def nexts(unit: str, plan: Plan) -> list[Next]:
    """The next change of every cartridge of a unit that falls inside its plan."""
    found = []
    for number, stage in enumerate(plan.candidate.stages, start=1):
        due = next(iter(plan.calendar.of(stage.name)), None)
        if due is not None:
            place, parts = stage.branch or "trunk", (part_for(plan, stage),)
            found.append(
                Next(
                    unit, plan.document.name, stage.name, number, place,
                    due.date, due.early, due.order_by, due.governs, parts,
                )
            )  # fmt: skip
    return found


def unit_round(unit: str, plan: Plan) -> UnitRound:
    """What the round needs of a unit, from its plan."""
    return UnitRound(
        unit,
        plan.document.name,
        " / ".join(supply.name for supply in plan.document.supplies),
        plan.document.units == "metric",
        tuple((number, stage.name) for number, stage in enumerate(plan.candidate.stages, start=1)),
        tuple(nexts(unit, plan)),
        alarms(plan),
    )


def as_row(one: UnitRound) -> dict[str, Any]:
    """The same as JSON holds it; ``from_row`` gives the same again."""
    return {
        "unit": one.unit,
        "name": one.name,
        "town": one.town,
        "metric": one.metric,
        "cartridges": [list(pair) for pair in one.cartridges],
        "nexts": as_rows(one.nexts),
        "alarms": [{"branch": a.branch, "since": a.since.isoformat(), "text": a.text} for a in one.alarms],
    }


def from_row(row: Mapping[str, Any]) -> UnitRound:
    """What ``as_row`` wrote."""
    return UnitRound(
        row["unit"],
        row["name"],
        row["town"],
        row["metric"],
        tuple((number, name) for number, name in row["cartridges"]),
        tuple(from_rows(row["nexts"])),
        tuple(WaterAlarm(a["branch"], dt.date.fromisoformat(a["since"]), a["text"]) for a in row["alarms"]),
    )


def as_rows(found: Iterable[Next]) -> list[dict[str, object]]:
    """Plain rows, as JSON holds them; ``from_rows`` gives the same again."""
    return [
        {k: v.isoformat() if isinstance(v, dt.date) else list(v) if k == "parts" else v for k, v in asdict(one).items()}
        for one in found
    ]


def from_rows(rows: Iterable[Mapping[str, Any]]) -> list[Next]:
    """What ``as_rows`` wrote."""
    dates = ("due", "early", "order_by")
    return [
        Next(**{
            **row,
            **{k: dt.date.fromisoformat(row[k]) if row[k] else None for k in dates},
            "parts": tuple(row["parts"]),
        })
        for row in rows
    ]  # fmt: skip


def stops(found: Iterable[Next], first: dt.date, last: dt.date | None = None) -> list[Stop]:
    """The stops from ``first`` to ``last`` (four weeks on by default), and what is overdue, in order."""
    until = first + SOON_WITHIN if last is None else last

    def state(due: dt.date) -> RoundState:
        return "overdue" if due < first else "due" if due <= first + DUE_WITHIN else "soon"

    fields = [field.name for field in dataclasses.fields(Next)]
    return in_order(
        Stop(**{name: getattr(one, name) for name in fields}, state=state(one.due)) for one in found if one.due <= until
    )


def in_order(found: Iterable[Stop]) -> list[Stop]:
    """By the day due, then by unit and number."""
    return sorted(found, key=lambda s: (s.due, s.unit, s.number))


def in_route(refs: Iterable[str], order: Iterable[str]) -> list[str]:
    """The units in the order in which a person goes; those that stand nowhere in it come after, as they were."""
    at = {ref: place for place, ref in enumerate(order)}
    return sorted(refs, key=lambda ref: at.get(ref, len(at)))


def round_table(found: Iterable[Stop]) -> list[dict[str, object]]:
    """The stops as rows, as the command prints them and a CSV holds them; dates in ISO 8601."""
    return [
        {
            "unit": s.unit,
            "cartridge": s.cartridge,
            "due": s.due.isoformat(),
            "state": s.state,
            "parts": list(s.parts),
            "name": s.name,
            "number": s.number,
            "place": s.place,
            "order_by": s.order_by.isoformat() if s.order_by else None,
            "governed_by": s.governs,
        }
        for s in found
    ]


@dataclass(frozen=True, slots=True)
class Visit:
    """What one visit to a unit does: everything of it that is due within the days that are taken together."""

    unit: str
    name: str
    day: dt.date
    stops: tuple[Stop, ...]


def visits(found: Iterable[Stop], together_days: int = 7) -> list[Visit]:
    """The stops of each unit gathered into visits: whatever falls due within ``together_days`` of the first."""
    by_unit: dict[str, list[Stop]] = {}
    for stop in in_order(found):
        by_unit.setdefault(stop.unit, []).append(stop)
    gathered: list[Visit] = []
    for unit, of_unit in by_unit.items():
        while of_unit:
            limit = of_unit[0].due + dt.timedelta(days=together_days)
            now = [s for s in of_unit if s.due <= limit]
            of_unit = of_unit[len(now) :]
            gathered.append(Visit(unit, now[0].name, now[0].due, tuple(now)))
    return sorted(gathered, key=lambda v: (v.day, v.unit))


def parts_list(found: Iterable[Stop]) -> dict[str, int]:
    """How many of each part to load."""
    count: dict[str, int] = {}
    for stop in found:
        for part in stop.parts:
            count[part] = count.get(part, 0) + 1
    return dict(sorted(count.items()))


@dataclass(frozen=True, slots=True)
class Shortage:
    """A part that the stock does not reach for: the first unit and day it is missing, and when to order it."""

    part: str
    in_stock: int
    needed: int
    first_missing: dt.date
    unit: str
    order_by: dt.date | None


def shortages(found: Iterable[Stop], in_stock: dict[str, int]) -> list[Shortage]:
    """Where the stock ends before the round does, part by part in the order of the days due."""
    left = dict(in_stock)
    missing: dict[str, Shortage] = {}
    needed: dict[str, int] = {}
    for stop in in_order(found):
        for part in stop.parts:
            if part not in in_stock:
                continue
            needed[part] = needed.get(part, 0) + 1
            left[part] -= 1
            if left[part] == -1:
                missing[part] = Shortage(part, in_stock[part], 0, stop.due, stop.unit, stop.order_by)
    return [
        Shortage(s.part, s.in_stock, needed[s.part], s.first_missing, s.unit, s.order_by)
        for s in sorted(missing.values(), key=lambda s: s.first_missing)
    ]
