"""What a printed page holds, before it becomes HTML or PDF: both show the same words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from importlib import resources

from brewwater import units
from brewwater.changes import Descale, Due
from brewwater.output.owner import Owner
from brewwater.output.sheet.diagram import Drawing
from brewwater.plan import Plan
from brewwater.plumbing import Step
from brewwater.units import GAL_L


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text under a header. ``widths``: relative widths of the columns; ``form``: rows to write in."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...] = ()
    form: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """A heading, lines of text, at most one table and at most one picture, drawn as SVG in the colours of paper, under
    them. ``caution``: shown so that it is not overlooked; ``boxes``: the lines are ticked off."""

    heading: str
    lines: tuple[str, ...] = ()
    table: Table | None = None
    caution: bool = False
    boxes: bool = False
    picture: str = ""


@dataclass(frozen=True, slots=True)
class SheetPage:
    """One printed page. ``key`` is its short name.

    drawing : the pipes, on at most ``drawing_share`` of the page's height
    whole : a page drawn as one SVG of the paper's size, which then holds all there is
    owner : who gives it out, with a logo, at the head of the page
    """

    key: str
    title: str
    subtitle: str
    sections: tuple[Section, ...]
    landscape: bool = False
    drawing: Drawing | None = None
    drawing_share: float = 1.0
    whole: str = ""
    owner: Owner | None = None


def number(value: float | None, digits: int = 3) -> str:
    """A number for reading, to so many significant digits; "not known" where there is none."""
    if value is None:
        return "not known"
    return units.plain(value, digits)


def spread(low: float | None, middle: float | None, high: float | None, digits: int = 3) -> str:
    """The middle and the range in brackets; the middle alone where they are the same."""
    if middle is None or low is None or high is None:
        return "not known"
    ends = number(low, digits), number(high, digits)
    return number(middle, digits) if ends[0] == ends[1] else f"{number(middle, digits)} ({ends[0]} to {ends[1]})"


def unknown_capacities(plan: Plan) -> frozenset[str]:
    """Cartridges whose capacity is not known: their dates count on the usual range of their kind."""
    return frozenset(c.stage.name for c in plan.candidate.cartridges if not c.capacity.known)


def volume(gallons: float | None, metric: bool, digits: int = 3) -> str:
    """US gallons in the reader's unit, with its name."""
    if gallons is None:
        return "not known"
    return f"{number(gallons * GAL_L, digits)} L" if metric else f"{number(gallons, digits)} gal"


def lines_of(found: Iterable[Step]) -> tuple[str, ...]:
    """Steps as lines; a caution stands where it comes first."""
    lines, said = [], set()
    for step in found:
        new = step.caution and step.caution not in said
        said.add(step.caution)
        lines.append(f"{step.text} {step.caution}" if new else step.text)
    return tuple(lines)


def steps(page: str) -> tuple[Section, ...]:
    """The sections of ``steps.md`` under ``# page``; a heading with "!" is a caution, the others are ticked off.

    The file holds the usual cautions and steps (common practice, no source).
    """
    text = (resources.files("brewwater.output.sheet") / "steps.md").read_text(encoding="utf-8")
    part = next(p for p in text.split("\n# ") if p.removeprefix("# ").startswith(page + "\n"))
    found = []
    for block in part.split("\n## ")[1:]:
        heading, *lines = [line for line in block.splitlines() if line]
        caution = heading.startswith("! ")
        found.append(
            Section(
                heading.removeprefix("! "),
                tuple(line.removeprefix("- ") for line in lines),
                caution=caution,
                boxes=not caution,
            )
        )
    return tuple(found)


def between(due: Due | Descale) -> str:
    """The range of a change, for reading."""
    return day_word(due.early) if due.early == due.late else f"{day_word(due.early)} to {day_word(due.late)}"


def day_word(day: dt.date | None) -> str:
    """A date for reading."""
    return "past the plan" if day is None else day.isoformat()
