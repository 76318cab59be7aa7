"""Events of a calendar from CSV and iCalendar files."""

from __future__ import annotations

import datetime as dt

import pytest

from brewwater.demand import Event, read_events
from brewwater.errors import InputError


def ics(*lines: str) -> bytes:
    head = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//test//EN", "BEGIN:VEVENT", "UID:1", "DTSTAMP:20260101T000000Z"]
    return "\r\n".join([*head, *lines, "END:VEVENT", "END:VCALENDAR", ""]).encode()


def days(event: Event) -> tuple[str, str]:
    return str(event.start), str(event.end)


def test_csv() -> None:
    text = "name,start,end,drinks_per_day,multiplier\nFair,2026-06-06,2026-06-07,450,\nMarket,2026-07-01,,,2.5\n"
    fair, market = read_events(text.encode()).events
    assert (fair.name, days(fair), fair.drinks_per_day) == ("Fair", ("2026-06-06", "2026-06-07"), 450)
    assert (days(market), market.multiplier) == (("2026-07-01", "2026-07-01"), 2.5)


def test_csv_of_another_country() -> None:
    text = "\ufeffTitle;Date;Times\nFête;2026-06-06;3\n"
    (event,) = read_events(text.encode()).events
    assert (event.name, event.multiplier) == ("Fête", 3)


def test_rows_that_cannot_be_used_are_named() -> None:
    text = "name,start,end,multiplier\nA,2026-06-06,2026-06-01,2\nB,06/07/2026,,2\nC,2026-08-01,,2\n"
    found = read_events(text.encode())
    assert [e.name for e in found.events] == ["C"]
    assert [p.split(":")[0] for p in found.problems] == ["row 2", "row 3"]


def test_ics_all_day_end_is_not_part_of_it() -> None:
    (event,) = read_events(
        ics("SUMMARY:Fair", "DTSTART;VALUE=DATE:20260606", "DTEND;VALUE=DATE:20260608"), multiplier=4
    ).events
    assert (event.name, days(event), event.multiplier) == ("Fair", ("2026-06-06", "2026-06-07"), 4)


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (["DTSTART;VALUE=DATE:20260606"], ("2026-06-06", "2026-06-06")),
        (["DTSTART:20260606T080000", "DTEND:20260606T180000"], ("2026-06-06", "2026-06-06")),
        (["DTSTART:20260606T180000", "DTEND:20260607T000000"], ("2026-06-06", "2026-06-06")),
        (["DTSTART:20260606T180000Z", "DURATION:PT20H"], ("2026-06-06", "2026-06-07")),
    ],
)
def test_ics_times(lines: list[str], expected: tuple[str, str]) -> None:
    (event,) = read_events(ics("SUMMARY:Fair", *lines), multiplier=2).events
    assert days(event) == expected


def test_ics_that_repeats_is_left_out() -> None:
    found = read_events(ics("SUMMARY:Market", "DTSTART;VALUE=DATE:20260606", "RRULE:FREQ=WEEKLY"), multiplier=2)
    assert found.events == ()
    assert "repeats" in found.problems[0]


def test_our_own_calendar_reads_back_as_dates() -> None:
    (event,) = read_events(
        ics("SUMMARY:Change Resin", "DTSTART;VALUE=DATE:20270917", "DTEND;VALUE=DATE:20270918"), multiplier=1
    ).events
    assert event.start == event.end == dt.date(2027, 9, 17)


def test_an_entry_without_dates_is_named() -> None:
    for line in ("DTSTART;VALUE=DATE:2026", "DESCRIPTION:no start"):
        found = read_events(ics("SUMMARY:Fair", line), multiplier=2)
        assert found.events == ()
        assert found.problems[0].startswith("Fair: ")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xfe\x00",
        b"name,when\nFair,2026-06-06\n",
        b"start\n2026-06-06\n",
        b"BEGIN:VCALENDAR\r\nnonsense",
        b"x" * 2_000_001,
        b"start\n" + b"2026-06-06\n" * 501,
    ],
)
def test_refused_in_one_line(content: bytes) -> None:
    with pytest.raises(InputError) as caught:
        read_events(content)
    assert str(caught.value).startswith("calendar file")
    assert "\n" not in str(caught.value)
