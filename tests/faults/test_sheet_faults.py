"""What can go wrong while a sheet is written, and documents that bring the calendar to its edges."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from brewwater.errors import InputError
from brewwater.output.sheet.files import files, write_all
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document, mobile_template

NOW = dt.datetime(2026, 11, 25, tzinfo=dt.UTC)


def plan(calendar: dict[str, Any], **changes: Any) -> Plan:
    document = mobile_template().model_dump(mode="json")
    document["settings"]["draws"] = 16
    document["demand"]["calendar"] |= calendar
    document["train"] = [{"name": "Sediment", "medium": "sediment"}]
    return make_plan(load_document(document | changes), search=False)


@pytest.fixture(scope="module")
def plain() -> Plan:
    return plan({})


def test_a_file_stands_where_the_folder_should(plain: Plan, tmp_path: Path) -> None:
    blocked = tmp_path / "out"
    blocked.write_text("not a folder")
    with pytest.raises(InputError, match="cannot be written") as caught:
        write_all(plain, blocked)
    assert "\n" not in str(caught.value)
    with pytest.raises(InputError):
        write_all(plain, blocked / "deeper")


def test_a_folder_stands_where_a_file_should(plain: Plan, tmp_path: Path) -> None:
    (tmp_path / "plan.html").mkdir()
    with pytest.raises(InputError, match="cannot be written"):
        write_all(plain, tmp_path)


def test_writing_again_replaces(plain: Plan, tmp_path: Path) -> None:
    write_all(plain, tmp_path)
    (tmp_path / "cost.csv").write_text("old")
    write_all(plain, tmp_path)
    assert (tmp_path / "cost.csv").read_text(encoding="utf-8-sig").startswith("line,")


@pytest.mark.parametrize(
    "calendar",
    [
        {"start": "2028-02-29"},
        {"start": "2027-01-02", "weekdays": ["mon"]},  # a Saturday
        {"closures": [{"start": "2020-01-01", "end": "2027-03-01", "kind": "stored"}]},  # begins in store
        {"closures": [{"start": "2028-10-01", "end": "2035-01-01", "kind": "stored"}]},  # ends in store
        {
            "closures": [
                {"start": "2027-05-01", "end": "2027-06-01", "kind": "stored"},
                {"start": "2027-05-15", "end": "2027-07-01", "frozen": True},
            ]
        },
        {"suspensions": [{"start": "2027-01-04", "end": "2027-01-06"}]},  # a notice on the first day
        {"events": [{"name": "fair", "start": "2027-01-04", "end": "2027-01-20", "drinks_per_day": 900}]},
    ],
    ids=["leap day", "closed day", "in store first", "in store last", "two at once", "notice", "event"],
)
def test_calendars_at_their_edges(calendar: dict[str, Any]) -> None:
    made = plan(calendar)
    start, end = made.document.demand.calendar.start, made.document.demand.calendar.end
    for due in made.calendar.dues:
        assert start <= due.date < end
        assert due.fitted is None or due.date <= due.fitted < end
        assert due.early is not None
        assert due.early <= due.date
        assert due.late is None or due.date <= due.late
    assert files(made, NOW)["changes.ics"].startswith(b"BEGIN:VCALENDAR")


def test_a_plan_without_a_service_day_says_so() -> None:
    with pytest.raises(InputError, match="service day"):
        plan({"closures": [{"start": "2026-01-01", "end": "2031-01-01"}]})
