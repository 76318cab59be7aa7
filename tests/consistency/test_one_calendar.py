"""One calendar: JSON, sheet, calendar file, tables and money have the same changes, whatever the policy says.

Every reader of the plan is read back from what it prints and held against the others; what each date should be is
worked by hand in ``unit/test_forecast.py``. More random documents: ``BREWWATER_RANDOM_DOCUMENTS=300``.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import os
from decimal import Decimal
from typing import Any

import icalendar
import pytest
from random_documents import random_document

from brewwater.changes import Due
from brewwater.errors import InputError
from brewwater.output.calendar_file import calendar_file
from brewwater.output.result import plan_result
from brewwater.output.sheet.pages import calendar_page, pages
from brewwater.output.tables import csv_text, tables
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document, load_document

MANY = int(os.environ.get("BREWWATER_RANDOM_DOCUMENTS", "4"))
NOW = dt.datetime(2026, 12, 1, tzinfo=dt.UTC)
LABOUR = 70
PRICE = {"Net": 20, "Block": 45, "Bed": 120}
TRAIN = [
    {"name": "Net", "medium": "sediment", "sheet": {"price": 20, "life_months": 4}},
    {"name": "Block", "medium": "carbon", "sheet": {"price": 45}},
    {"name": "Bed", "medium": "weak_acid", "bypass_percent": 25, "sheet": {"price": 120}},
]
STORED = [{"name": "Winter", "start": "2027-12-01", "end": "2028-02-10", "kind": "stored"}]
NOTICE = [{"name": "Notice", "start": "2027-08-03", "end": "2027-08-06"}]
IN_PLACE = [{"stage": "Bed", "installed": "2027-02-01", "used": [0.3, 0.4, 0.5]}]


def reading(kind: str, value: float | None, day: str, where: str, **more: Any) -> dict[str, Any]:
    return {"kind": kind, "value": value, "date": day, "where": where, "unit": "mg/L", **more}


WEAK = [reading("hardness", 235, day, "served", method="drop_kit") for day in ("2027-04-20", "2027-05-04")]
CHANGED = [reading("changed_cartridge", None, "2027-05-10", "Bed"), reading("hardness", 112, "2027-05-20", "served")]
CASES: dict[str, dict[str, Any]] = {
    "alone": {},
    "grouped 7": {"policy": {"group_days": 7}},
    "grouped 60": {"policy": {"group_days": 60}},
    "visits on Mondays": {"policy": {"visit_weekday": "mon", "visit_every_weeks": 2}},
    "risk 0.1": {"policy": {"risk": 0.1}},
    "risk and grouped": {"policy": {"risk": 0.1, "group_days": 30}},
    "lay-up": {"closures": STORED},
    "lay-up, grouped": {"closures": STORED, "policy": {"group_days": 60}},
    "notice": {"suspensions": NOTICE},
    "in service": {"in_service": IN_PLACE},
    "in service, grouped": {"in_service": IN_PLACE, "policy": {"group_days": 30}},
    "a change by the log": {"readings": CHANGED},
    "a weak bed": {"readings": WEAK},
    "a weak bed, grouped": {"readings": WEAK, "policy": {"group_days": 30}},
}


def document(closures: Any = (), suspensions: Any = (), **parts: Any) -> dict[str, Any]:
    """The demo with a certain price on everything that a date costs."""
    made = json.loads(demo_document().to_json())
    calendar = made["demand"]["calendar"]
    calendar |= {"start": "2027-03-02", "closures": list(closures), "suspensions": list(suspensions), "events": []}
    made |= {"train": TRAIN, "settings": {"draws": 256}, **parts}
    made["money"] = {"visits_paid": True, "prices": {"labour_visit": LABOUR}}
    return made


def planned(**parts: Any) -> Plan:
    return make_plan(load_document(document(**parts)), search=False)


Dates = dict[str, list[str]]


def of_json(plan: Plan) -> Dates:
    found = json.loads(plan_result(plan).model_dump_json())["cartridges"]
    return {c["name"]: [x["expected"] for x in c["changes"] if x["expected"]] for c in found}


def of_sheet(plan: Plan) -> Dates:
    names: Dates = {c.stage.name: [] for c in plan.candidate.cartridges}
    page = calendar_page(plan, plan.calendar.dues)
    table = next(s.table for s in page.sections if s.heading == "Changes")
    if table is not None:
        out, name = (table.header.index(h) for h in ("Take out", "Cartridge"))
        for row in table.rows:
            names[row[name]].append(row[out])
    return names


def of_ics(plan: Plan) -> Dates:
    names: Dates = {c.stage.name: [] for c in plan.candidate.cartridges}
    for event in icalendar.Calendar.from_ical(calendar_file(plan, NOW)).walk("VEVENT"):
        for verb in ("Change ", "Throw away "):
            title = str(event["SUMMARY"])
            if title.startswith(verb):
                names[title.removeprefix(verb)].append(event["DTSTART"].dt.isoformat())
    return {name: sorted(dates) for name, dates in names.items()}


def of_table(plan: Plan) -> Dates:
    names: Dates = {c.stage.name: [] for c in plan.candidate.cartridges}
    for row in csv.DictReader(io.StringIO(csv_text(tables(plan)["changes"]))):
        names[row["cartridge"].removeprefix("'")].append(row["expected"])
    return names


def of_frame(plan: Plan) -> Dates:
    names: Dates = {c.stage.name: [] for c in plan.candidate.cartridges}
    for row in plan.calendar.frame().itertuples():
        names[row.cartridge].append(str(row.expected.date()))
    return names


def agree(plan: Plan) -> None:
    """Dates read back from everywhere; whole cartridges and visits counted on the calendar's own rows."""
    expected = of_json(plan)
    for read in (of_sheet, of_ics, of_table, of_frame):
        assert read(plan) == expected, read.__name__
    start = plan.document.demand.calendar.start
    year_end = start.replace(year=start.year + 1) if (start.month, start.day) != (2, 29) else start.replace(day=28)
    result = plan_result(plan)
    days: set[dt.date] = set()
    for one in result.cartridges:
        fitted = [d.fitted for d in plan.calendar.of(one.name) if d.fitted is not None and d.fitted < year_end]
        fitted += [d for d in plan.calendar.made.get(one.name, ()) if d < year_end]
        assert one.changes_in_year == len(fitted)
        days |= set(fitted)
        for change in one.changes:
            assert change.expected is None or change.early is None or change.early <= change.expected
            assert change.expected is None or change.late is None or change.expected <= change.late
    assert set(plan.calendar.visits) == days
    assert sum((line.amount for line in plan.candidate.cost.lines), Decimal(0)) == plan.candidate.cost.expected


def lines(plan: Plan) -> dict[str, Decimal]:
    return {line.name: line.amount for line in plan.candidate.cost.lines}


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    return {name: planned(**parts) for name, parts in CASES.items()}


@pytest.mark.parametrize("case", CASES)
def test_every_reader_has_the_same_changes(plans: dict[str, Plan], case: str) -> None:
    plan = plans[case]
    assert len(plan.calendar.dues) > 4
    agree(plan)
    shopping = next(p for p in pages(plan) if p.key == "shopping").sections[0].table
    assert shopping is not None
    listed = {row[0]: int(row[shopping.header.index("Changes")]) for row in shopping.rows}
    assert listed == {c.name: c.changes_in_year for c in plan_result(plan).cartridges}


@pytest.mark.parametrize("case", CASES)
def test_money_is_cartridges_and_visits_times_their_price(plans: dict[str, Plan], case: str) -> None:
    plan = plans[case]
    spent = lines(plan)
    for one in plan_result(plan).cartridges:
        assert one.changes_in_year is not None
        assert spent[f"Cartridges: {one.name}"] == PRICE[one.name] * Decimal(int(one.changes_in_year))
    dates = {d.fitted for d in plan.calendar.dues if d.fitted and d.fitted < plan.calendar.year_end}
    dates |= {d for days in plan.calendar.made.values() for d in days if d < plan.calendar.year_end}
    assert spent["Labour by visit"] == LABOUR * len(dates)


@pytest.mark.parametrize("group", [1, 7, 20, 60, 90])
@pytest.mark.parametrize("more", [{}, {"closures": STORED}, {"in_service": IN_PLACE}, {"readings": WEAK}])
def test_grouping_never_raises_the_paid_visits(more: dict[str, Any], group: int) -> None:
    apart, together = planned(**more), planned(**more, policy={"group_days": group})
    assert lines(together)["Labour by visit"] <= lines(apart)["Labour by visit"]
    dearer = together.candidate.cost.expected - apart.candidate.cost.expected
    said = [w.message for w in together.warnings if w.code == "grouping_costs_more"]
    assert bool(said) == (dearer > 0)
    if said:
        assert f"${dearer:,.0f}" in said[0] or f"${dearer:,.2f}" in said[0]


def test_grouping_that_costs_more_than_it_saves_says_so() -> None:
    cheap = {"visits_paid": True, "prices": {"labour_visit": 1}}
    plan = make_plan(load_document(document(policy={"group_days": 60}) | {"money": cheap}), search=False)
    (said,) = [w.message for w in plan.warnings if w.code == "grouping_costs_more"]
    assert "more than each change on its own day" in said
    assert "visit" in said


def test_a_weaker_bed_moves_grouped_dates_as_it_moves_single_ones(plans: dict[str, Plan]) -> None:
    def first(case: str) -> Due:
        return plans[case].calendar.of("Bed")[0]

    weak, grouped = first("a weak bed"), first("a weak bed, grouped")
    assert weak.date < first("alone").date
    # nothing else falls due as early, so grouping leaves the first one alone
    assert grouped.date == weak.date


def test_the_samples_that_had_two_calendars(samples: Any) -> None:
    for name in ("grouped_visits", "weak_bed"):
        raw = json.loads((samples / "plans" / f"{name}.json").read_text())
        for days in (0, 1, 60):
            raw["policy"] = raw.get("policy", {}) | {"group_days": days}
            plan = make_plan(load_document(raw), search=False)
            agree(plan)
            if name == "weak_bed":
                assert plan.calendar.of("bed")[0].date == dt.date(2027, 4, 1)  # since the reading past its limit


@pytest.mark.parametrize("seed", range(MANY))
def test_any_document_has_one_calendar(seed: int) -> None:
    raw = random_document(seed)
    raw.setdefault("settings", {})["draws"] = 64
    try:
        plan = make_plan(load_document(raw), search=False, train=load_document(document()).train)
    except InputError:
        pytest.skip("refused in one clear line")
    agree(plan)
    grouped = load_document(raw | {"policy": raw.get("policy", {}) | {"group_days": 45}})
    alone = load_document(raw | {"policy": raw.get("policy", {}) | {"group_days": 0}})
    together, apart = (make_plan(d, search=False, train=plan.candidate.stages) for d in (grouped, alone))
    assert len(together.calendar.visits) <= len(apart.calendar.visits)
    agree(together)
