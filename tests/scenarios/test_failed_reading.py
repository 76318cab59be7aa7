"""A reading past its limit reaches the verdict and the calendar, until a later reading or a change clears it."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from brewwater.output.result import plan_result
from brewwater.output.sheet.pages import figures_page
from brewwater.plan import Plan, make_plan
from brewwater.planning.candidate import evaluate
from brewwater.planning.document import demo_document, load_document
from brewwater.treatment import Stage
from brewwater.verdicts import Goal
from brewwater.verdicts.readings import ServedReading, with_readings
from brewwater.verdicts.verdict import Judged, conclude

TRAIN = [{"name": "Block", "medium": "carbon"}, {"name": "Bed", "medium": "weak_acid", "bypass_percent": 25}]
HARD = {"total_hardness": 268, "alkalinity": 212, "chloride": 22, "ph": 7.5, "total_dissolved_solids": 402}
LIMIT = 200  # mg/L as CaCO3, the trade's red line (reference/targets.csv)
ERRORS = 2.0  # standard errors of a reading (reference/verdict_rule.csv)
KIT = 4.94  # one drop of 17.1 mg/L over the root of twelve (reference/instruments.csv)


def hardness(value: float, day: str, method: str = "drop_kit") -> dict[str, Any]:
    return {"kind": "hardness", "value": value, "date": day, "where": "served", "unit": "mg/L", "method": method}


def planned(*readings: dict[str, Any], draws: int = 256, **parts: Any) -> Plan:
    document = json.loads(demo_document().to_json())
    calendar = {"start": "2027-03-02", "months": 24}
    document["demand"]["calendar"] = calendar
    units = {
        "total_hardness": "mg/L",
        "alkalinity": "mg/L",
        "chloride": "mg/L",
        "ph": "",
        "total_dissolved_solids": "mg/L",
    }
    analysis = {
        a: {"value": v, "unit": units[a], **({"basis": "CaCO3"} if a in ("total_hardness", "alkalinity") else {})}
        for a, v in HARD.items()
    }
    document["supplies"] = [{"name": "Town", "disinfectant": "free_chlorine", "analysis": analysis}]
    document["fill"] = {"fills": [{"supply": "Town"}]}
    document |= {"train": TRAIN, "settings": {"draws": draws}, "readings": list(readings), **parts}
    return make_plan(load_document(document), search=False)


def status(plan: Plan, subject: str) -> str:
    return next(v.status for v in plan.candidate.verdicts if v.subject == subject)


def asked(plan: Plan) -> list[dt.date]:
    """Changes that a reading asks for."""
    return [d.date for d in plan.calendar.dues if d.governs == "reading"]


FAILS = (hardness(240, "2027-03-22"), hardness(245, "2027-03-23"))


@pytest.fixture(scope="module")
def before() -> Plan:
    return planned()


@pytest.fixture(scope="module")
def failed() -> Plan:
    return planned(*FAILS)


def test_two_readings_past_the_limit_turn_verdict_and_calendar(before: Plan, failed: Plan) -> None:
    assert (status(before, "scale"), asked(before)) == ("watch", [])
    assert (status(failed, "scale"), status(failed, "cup")) == ("act", "act")
    assert asked(failed) == [dt.date(2027, 3, 22)]  # since the first of them
    first = failed.calendar.of("Bed")[0]
    assert (first.number, first.governs) == (1, "reading")
    assert "test again, then change" in first.because
    # one cartridge that fails says little of the next ones: one more, and one for a water that may be harder
    assert len(failed.calendar.of("Bed")) <= len(before.calendar.of("Bed")) + 2
    # hardness says nothing of what the carbon holds
    assert set(failed.scenario.bed) == {"Bed"}


def test_page_sheet_and_json_say_it_alike(failed: Plan) -> None:
    result = plan_result(failed)
    verdict = next(v for v in result.verdicts if (v.water, v.subject) == ("served", "scale"))
    assert verdict.status == "act"
    assert verdict.share is None
    for text in (
        "245",
        "2027-03-23",
        "past the limit of 200",
        "test again",
        "change Bed",
        "due since 2027-03-22",
        "bypass",
    ):
        assert text in verdict.why
    bed = next(c for c in result.cartridges if c.name == "Bed")
    assert (bed.governed_by, bed.changes[0].expected) == ("reading", "2027-03-22")
    page = figures_page(failed, result, failed.calendar.dues)
    assert any(verdict.why in line for s in page.sections for line in s.lines)
    cells = [row for s in page.sections if s.table for row in s.table.rows]
    assert any(row[0] == "Bed" and row[1] == "2027-03-22" for row in cells)


def test_within_its_own_error_it_is_watched(before: Plan) -> None:
    plan = planned(hardness(LIMIT + 0.9 * ERRORS * KIT, "2027-03-22"))
    assert (status(plan, "scale"), asked(plan)) == ("watch", [])
    assert "within its own error" in next(v.why for v in plan.candidate.verdicts if v.subject == "scale")
    beyond = planned(hardness(LIMIT + 1.1 * ERRORS * KIT, "2027-03-22"))
    assert (status(beyond, "scale"), asked(beyond)) == ("act", [dt.date(2027, 3, 22)])
    # the same figure off a strip says less
    strip = planned(hardness(LIMIT + 1.1 * ERRORS * KIT, "2027-03-22", "strip"))
    assert (status(strip, "scale"), asked(strip)) == ("watch", [])


def test_a_later_reading_in_goal_clears_it(before: Plan) -> None:
    plan = planned(*FAILS, hardness(112, "2027-03-25"))
    assert status(plan, "scale") in ("ok", "watch")
    assert asked(plan) == []


def test_a_change_clears_it_and_the_next_failure_stands(failed: Plan) -> None:
    change = {"kind": "changed_cartridge", "date": "2027-03-24", "where": "Bed", "unit": ""}
    plan = planned(*FAILS, change)
    assert status(plan, "scale") != "act"
    assert asked(plan) == []
    assert plan.calendar.made == {"Bed": (dt.date(2027, 3, 24),)}
    other = planned(*FAILS, {**change, "where": "Block"})
    assert (status(other, "scale"), asked(other)) == ("act", [dt.date(2027, 3, 22)])
    again = planned(*FAILS, change, hardness(250, "2027-04-02"))
    assert (status(again, "scale"), asked(again)) == ("act", [dt.date(2027, 4, 2)])


def test_a_plain_calculation_reads_it_too() -> None:
    plan = planned(*FAILS, draws=1)
    assert (status(plan, "scale"), asked(plan)) == ("act", [dt.date(2027, 3, 22)])


def test_it_is_grouped_like_any_other_change() -> None:
    plan = planned(*FAILS, policy={"group_days": 90})
    assert asked(plan) == [dt.date(2027, 3, 22)]


def test_a_reading_speaks_of_the_train_that_stood_there(failed: Plan) -> None:
    other = evaluate(failed.scenario, (Stage(name="Soft", medium="softening"),))
    assert not [f for v in other.verdicts for f in v.failed]
    assert not [d for d in other.calendar.dues if d.governs == "reading"]


def test_the_sample_that_failed_unseen(samples: Any) -> None:
    document = load_document((samples / "plans" / "failed_reading.json").read_text())
    plan = make_plan(document, search=False)
    assert status(plan, "scale") == "act"
    assert asked(plan) == [dt.date(2027, 3, 22)]
    alone = make_plan(document.model_copy(update={"readings": ()}), search=False)
    assert len(plan.calendar.of("bed")) <= len(alone.calendar.of("bed")) + 1


@pytest.mark.parametrize(
    ("value", "expected"),
    [(12, "act"), (18, "watch"), (30, "watch"), (36, "ok"), (55, "ok"), (170, "act"), (145, "watch")],
)
def test_alkalinity_on_either_side_of_its_limits(value: float, expected: str) -> None:
    # goal 40 to 70, red under 20 and over 150; the error of the reading is 6
    goal = Goal(low=40, high=70, red_below=20, red_above=150, source="a sheet")
    measure = Judged("alkalinity", "alkalinity", "mg/L as CaCO3", np.full((1, 1), 55.0), goal)
    verdict = conclude("cup", [measure], [], np.ones(1), role="served", branch="bar")
    read = ServedReading("bar", "alkalinity", value, 6 / ERRORS, dt.date(2027, 3, 1))
    found = with_readings(verdict, [measure], [read])
    assert found.status == expected
    elsewhere = with_readings(verdict, [measure], [replace(read, branch="kitchen")])
    assert elsewhere == verdict
