"""What both packs show of a unit: tanks, backflow, listings, tests, changes, sanitising. Each a section of paper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from brewwater import reference
from brewwater.log.entry import ANALYTE_OF, Reading, standing_readings
from brewwater.log.warranty import Evidence, LimitTest, StatedLimit, warranty_evidence
from brewwater.output.answer import Answer, answer
from brewwater.output.drawing import PRINT
from brewwater.output.drawing.history import HistoryField, HistoryPoint, tests_over_time
from brewwater.output.numbers import Words
from brewwater.output.owner import Owner
from brewwater.output.result import plan_result
from brewwater.output.result_schema import PlanResult
from brewwater.output.sheet.content import Section, Table, number, volume
from brewwater.output.sheet.pages import medium_word, specification, tree_of
from brewwater.output.vocabulary import CHECKS, EVIDENCE, LOG, METHODS, PARTS, fit_word, stage_name
from brewwater.plan import Plan
from brewwater.plumbing import PlumbingTree, known
from brewwater.store.access import LOCAL
from brewwater.units import PLAN_UNITS
from brewwater.verdicts import MachineProfile

# What no meter, gauge or count is: a test of the water.
TESTS = tuple(ANALYTE_OF)
LOG_CARE = "Before a change: power off, cool, close the valve, let the pressure out. After: flush, then test."
CLEAN_CARE = (
    "Before sanitizing: take the cartridges out. Never mix bleach with descaler. Flush, then test for chlorine "
    "before the first drink."
)


@dataclass(frozen=True)
class Pack:
    """What a pack is made from.

    readings : the whole log, corrections included
    made : the day it is made on
    """

    plan: Plan
    readings: tuple[Reading, ...]
    owner: Owner
    made: dt.date

    @cached_property
    def result(self) -> PlanResult:
        """The plan's result, once."""
        return plan_result(self.plan)

    @cached_property
    def told(self) -> Answer:
        """The plan's answer as of the day it is made on."""
        return answer(self.plan, Words(self.metric), self.made)

    @cached_property
    def tree(self) -> PlumbingTree:
        """The unit's pipes."""
        return tree_of(self.plan)

    @property
    def metric(self) -> bool:
        """The reader's measures."""
        return self.plan.document.units == "metric"

    @cached_property
    def standing(self) -> tuple[Reading, ...]:
        """The lines that still count, the oldest first."""
        return tuple(sorted(standing_readings(self.readings), key=lambda r: (r.date, r.recorded_at)))

    @property
    def under(self) -> str:
        """The line under every title."""
        by = f" by {self.owner.name}" if self.owner.name else ""
        return f"{self.plan.document.name}, plan {self.plan.stamp}. Made on {self.made.isoformat()}{by}."

    def of_kinds(self, *kinds: str) -> list[Reading]:
        """The lines of these kinds that still count, the newest first."""
        return [line for line in reversed(self.standing) if line.kind in kinds]

    def machines(self) -> tuple[tuple[MachineProfile, tuple[Evidence, ...]], ...]:
        """Each machine that stands on a branch, with the evidence on its stated limits."""
        document = self.plan.document
        found = []
        for branch in document.branches:
            machine = next((m for m in document.machines if m.name == branch.machine), None)
            if machine is not None:
                main = ("served",) if branch.name == document.demand.main_branch else ()
                found.append((machine, warranty_evidence(machine, (branch.name, *main), self.readings)))
        return tuple(found)


def who(line: Reading) -> str:
    """Who wrote a line; where nobody signs in there is no name."""
    return "not signed in" if line.recorded_by in ("", LOCAL) else line.recorded_by


def written_on(line: Reading) -> str:
    """The day on which a line was written."""
    return line.recorded_at[:10] or "not known"


def shown(line: Reading) -> str:
    """A line's value as it was typed."""
    return "" if line.value is None else f"{number(line.value, 6)} {line.unit}".strip()


def cut(lines: Sequence[Reading], most: int) -> tuple[Sequence[Reading], tuple[str, ...]]:
    """The newest lines, and how many older ones there are."""
    more = len(lines) - most
    said = f"{more} older lines are not printed here: the record of the unit has them all."
    return lines[:most], (said,) if more > 0 else ()


def tanks(pack: Pack) -> Section:
    """Tanks as they were entered, and what is asked of them."""
    unit, metric = pack.plan.document.unit, pack.metric
    if not unit.has_tanks:
        return Section("Tanks", ("Plumbed to the supply: no tanks.",))
    usual = known(unit)

    def given(field: str, gallons: float | None) -> tuple[str, str]:
        if getattr(unit, field) is not None:
            return volume(gallons, metric), "as entered"
        return volume(gallons, metric), "usual figure of its kind: measure it"

    rows = [
        ("Fresh tank", *given("fresh_tank_gal", usual.unit.fresh_tank_gal)),
        ("Waste tank", *given("waste_tank_gal", usual.unit.waste_tank_gal)),
    ]
    wanted = {"waste_tank_ratio", "slope", "fresh_tank_hours"}
    for check in pack.result.fit:
        if check.check in wanted:
            counted = "" if check.unit == "1" else f" {check.unit}"
            value = number(check.value) + ("" if check.value is None else counted)
            limit = "" if check.limit is None else f", asked: {number(check.limit)}{counted}"
            rows.append((CHECKS.label(check.check), f"{value}{limit}", f"met: {fit_word(check.ok, check.assumed)}"))
    return Section("Tanks", table=Table(("What", "Size", "Where from"), tuple(rows), (4, 4, 5)))


def backflow(pack: Pack) -> Section:
    """Every part that keeps water from flowing back, with blanks for what only a look tells."""
    kinds = ("backflow_preventer", "air_gap", "check_valve")
    rows = tuple(
        (node.name, PARTS.label(node.kind), f"after {node.parent}" if node.parent else "at the source", "", "")
        for node in pack.tree.in_order()
        if node.kind in kinds
    )
    if not rows:
        return Section("Backflow", ("No such part is on the pipe drawing: enter where it stands.",))
    header = ("Part", "Kind", "Where", "Type and listing", "Last test, by")
    return Section("Backflow", table=Table(header, rows, (4, 3, 4, 4, 3)))


def drawn_from(pack: Pack) -> str:
    """Whether the drawing is the unit's own, in a sentence."""
    if pack.tree is pack.plan.document.unit.tree:
        return "Drawn from the pipe table that was entered for this unit."
    return "The usual layout of its kind with this treatment: hold it against the unit before you rely on it."


def listings(pack: Pack) -> Section:
    """Each stage with what to look for, what listing it needs, and the certificate that its own data sheet states."""
    listed = reference.keyed("listings", "medium")
    shelf = pack.plan.document.shelf
    rows = []
    for stage in pack.plan.candidate.stages:
        own = next((i for i in shelf if i.medium == stage.medium and i.sheet == stage.sheet and i.certificate), None)
        rows.append(
            (
                stage_name(stage),
                specification(stage),
                listed[stage.medium]["listing"],
                own.certificate if own else "",
            )
        )
    if not rows:
        return Section("Filters and listings", ("No filter in this plan.",))
    note = "What a listing covers is on the certifier's register, not on the box: look it up."
    header = ("Stage", "What it is", "Listing to look for", "Certificate on its data sheet")
    return Section("Filters and listings", (note,), Table(header, tuple(rows), (3, 5, 5, 3)))


def tests_drawn(pack: Pack) -> str:
    """The tests of the log over time, the limits of the main machine's manual with them; empty without tests."""
    limits = {str(e.limit.kind): e.limit for _, found in pack.machines()[:1] for e in found}
    fields = []
    for kind in (*TESTS, "pressure_out_psi"):
        lines = [line for line in pack.standing if line.kind == kind]
        points = tuple(
            HistoryPoint(line.date, value, line.where not in ("source", *_supplies(pack)))
            for line in lines
            if (value := line.own_value()) is not None
        )
        limit = limits.get(kind)
        low, high = (None, None) if limit is None or limit.in_boiler else (limit.low, limit.high)
        fields.append(HistoryField(f"{LOG.label(kind)}, {unit_of(kind)}".removesuffix(", "), points, low, high))
    most = sorted(fields, key=lambda f: -len(f.points))[:6]
    return tests_over_time([f for f in fields if f in most], PRINT)


def unit_of(kind: str) -> str:
    """The unit in which a kind of reading is compared."""
    if kind == "pressure_out_psi":
        return "psi"
    unit = PLAN_UNITS[ANALYTE_OF[kind]]
    return "" if unit == "1" else unit


def _supplies(pack: Pack) -> tuple[str, ...]:
    return tuple(s.name for s in pack.plan.document.supplies)


def tests(pack: Pack, most: int) -> Section:
    """The newest tests of the water."""
    lines, more = cut(pack.of_kinds(*TESTS), most)
    if not lines:
        return Section("Tests", ("No test of the water is in the log yet.",))
    rows = tuple(
        (
            line.date.isoformat(),
            LOG.label(line.kind),
            shown(line),
            line.where or "not written",
            METHODS.label(line.method),
            who(line),
        )
        for line in lines
    )
    header = ("Date", "Test", "Value", "Where", "How", "By")
    return Section("Tests, newest first", more, Table(header, rows, (2.2, 3, 3.2, 3, 2.4, 3)))


def changes(pack: Pack, most: int) -> Section:
    """The change record: what was changed, when, who wrote it and when."""
    lines, more = cut(pack.of_kinds("changed_cartridge", "descaled", "lay_up", "reopened"), most)
    if not lines:
        return Section("Change record", ("No change is in the log yet.", LOG_CARE))
    rows = tuple(
        (
            line.date.isoformat(),
            LOG.label(line.kind),
            line.where or "not written",
            line.note,
            who(line),
            written_on(line),
        )
        for line in lines
    )
    header = ("Done on", "What", "Where", "Note", "Written by", "Written on")
    return Section("Change record, newest first", (LOG_CARE, *more), Table(header, rows, (2.2, 3, 3, 4, 3, 2.2)))


def sanitising(pack: Pack, most: int, blank: int = 0) -> Section:
    """The sanitising log, with blank rows to write in."""
    lines, more = cut(pack.of_kinds("sanitised"), most)
    rows = [(line.date.isoformat(), line.note, shown(line), who(line), written_on(line)) for line in lines]
    rows += [("",) * 5] * blank
    none = () if lines else ("No sanitizing is in the log yet.",)
    header = ("Done on", "Sanitizer, strength, time", "Residual after", "Written by", "Written on")
    table = Table(header, tuple(rows), (2.2, 5, 2.6, 3, 2.2), form=bool(blank)) if rows else None
    return Section("Sanitizing log, newest first", (CLEAN_CARE, *none, *more), table)


def limit_words(limit: StatedLimit) -> str:
    """A limit as it is read: ``35 to 90 mg/L as CaCO3``."""
    if limit.low is not None and limit.high is not None:
        return f"{number(limit.low)} to {number(limit.high)} {limit.unit}"
    if limit.high is not None:
        return f"at most {number(limit.high)} {limit.unit}"
    return f"at least {number(limit.low)} {limit.unit}"


def warranty(pack: Pack, most: int) -> Iterable[Section]:
    """Each machine's stated limits with what the tests say, then the tests one by one."""
    for machine, found in pack.machines():
        if not found:
            none = "No limit of this machine's manual is entered, so nothing can be held against it."
            yield Section(machine.name, (none,))
            continue
        yield Section(machine.name, table=Table(
            ("The manual states", "Limit", "Tests", "Result", "Newest test"),
            tuple(_evidence_row(e) for e in found), (3, 4, 2, 3, 4),
        ))  # fmt: skip
        each = sorted(
            ((t, e.limit) for e in found for t in e.tests), key=lambda pair: (pair[0].line.date, pair[0].line.kind)
        )
        if each:
            yield _each_test(machine.name, each, most)


def _each_test(name: str, each: Sequence[tuple[LimitTest, StatedLimit]], most: int) -> Section:
    """The newest tests, and of the older ones those past a limit, before any other is left out."""
    late = [pair for pair in each if not pair[0].within][-most:]
    kept = late + [pair for pair in reversed(each) if pair[0].within][: max(most - len(late), 0)]
    chosen = [pair for pair in reversed(each) if pair in kept]
    more = len(each) - len(chosen)
    rows = tuple(
        (
            t.line.date.isoformat(),
            LOG.label(t.line.kind),
            shown(t.line),
            limit_words(limit),
            EVIDENCE.label("within" if t.within else "past"),
            who(t.line),
        )
        for t, limit in chosen
    )
    note = (f"{more} more tests, all as counted above, are not printed here.",) if more > 0 else ()
    header = ("Date", "Test", "Value", "Limit", "Result", "By")
    return Section(f"{name}: each test", note, Table(header, rows, (2.2, 3, 3, 4, 2.4, 3)))


def _evidence_row(one: Evidence) -> tuple[str, ...]:
    limit = one.limit
    if limit.in_boiler:
        where = "of the boiler's own water: no test of the line shows it"
        return LOG.label(limit.kind), limit_words(limit), "0", EVIDENCE.label("not_tested"), where
    last = f"{shown(one.tests[-1].line)} on {one.tests[-1].line.date}" if one.tests else ""
    said = EVIDENCE.label(one.held) + (f" in {len(one.past)}" if one.past else "")
    return LOG.label(limit.kind), limit_words(limit), str(len(one.tests)), said, last


def media_line(pack: Pack) -> str:
    """The treatment in one line."""
    return ", ".join(f"{n} {medium_word(s)}" for n, s in enumerate(pack.plan.candidate.stages, start=1)) or "no filter"
