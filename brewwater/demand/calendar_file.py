"""Events of a calendar from a file: CSV with a header, or iCalendar."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from brewwater.demand.calendar import Event
from brewwater.errors import InputError

MOST_BYTES = 2_000_000
MOST_EVENTS = 500
FIELD = "calendar file"
# What people call the columns.
_COLUMNS = {
    "name": "name",
    "event": "name",
    "title": "name",
    "summary": "name",
    "start": "start",
    "start date": "start",
    "date": "start",
    "from": "start",
    "end": "end",
    "end date": "end",
    "to": "end",
    "until": "end",
    "multiplier": "multiplier",
    "times": "multiplier",
    "drinks_per_day": "drinks_per_day",
    "drinks per day": "drinks_per_day",
    "drinks": "drinks_per_day",
}
_WANTED = {
    "name": "1 to 120 letters are needed",
    "start": "a date such as 2027-06-04 is needed",
    "end": "a date such as 2027-06-04 is needed",
    "multiplier": "a number of 0 or more is needed",
    "drinks_per_day": "a number of 0 or more is needed",
}


@dataclass(frozen=True, slots=True)
class EventsRead:
    """The events of a file, and a line for each that was left out, with the reason."""

    events: tuple[Event, ...]
    problems: tuple[str, ...]


def read_events(content: bytes, *, multiplier: float | None = None) -> EventsRead:
    """Events from a file's content: iCalendar where it begins so, else CSV.

    A CSV needs a ``start`` column (YYYY-MM-DD) and may have ``end``, ``name``, ``multiplier`` and
    ``drinks_per_day``. An iCalendar entry says nothing of drinks: ``multiplier`` is applied, as it is to CSV
    rows without either. An entry that repeats is left out with a problem: write its days singly.

    Raises
    ------
    InputError : too large, not text, no such columns, not an iCalendar, or nothing to size events with
    """
    if len(content) > MOST_BYTES:
        raise InputError(FIELD, f"{len(content)} bytes", f"at most {MOST_BYTES} are read", "Give a smaller file.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(FIELD, "its encoding", "it is not UTF-8 text", "Save it as CSV UTF-8 or as .ics.") from None
    rows, problems = _from_ics(text) if text.lstrip().upper().startswith("BEGIN:VCALENDAR") else _from_csv(text)
    if len(rows) > MOST_EVENTS:
        raise InputError(FIELD, f"{len(rows)} events", f"at most {MOST_EVENTS} are read", "Give fewer.")
    events = []
    for where, row in rows:
        if not row.get("multiplier") and not row.get("drinks_per_day"):
            if multiplier is None:
                raise InputError(
                    FIELD, where, "it does not say how busy the event is", "Give a multiplier or drinks_per_day."
                )
            row = {**row, "multiplier": multiplier}
        try:
            events.append(Event.model_validate({k: v for k, v in row.items() if v not in ("", None)}))
        except ValidationError as error:
            problems.append(f"{where}: {_refused(error)}. Correct it in the file, or add the event by hand.")
    return EventsRead(tuple(events), tuple(problems))


def _refused(error: ValidationError) -> str:
    """The first fault of an entry in plain words: field, value, what it should be."""
    fault = error.errors(include_url=False)[0]
    field = str(fault["loc"][0]) if fault["loc"] else ""
    if field not in _WANTED:
        return str(fault["msg"]).removeprefix("Value error, ")
    value = str(fault.get("input", "nothing"))
    shown = value if len(value) <= 40 else value[:37] + "..."
    return f"{field.replace('_', ' ')} is {shown}; {_WANTED[field]}"


_Rows = tuple[list[tuple[str, Mapping[str, Any]]], list[str]]


def _from_csv(text: str) -> _Rows:
    try:
        dialect: type[csv.Dialect] | str = csv.Sniffer().sniff(text[:4000], delimiters=",;\t")
    except csv.Error:
        dialect = "excel"
    try:
        lines = [row for row in csv.reader(io.StringIO(text, newline=""), dialect) if any(c.strip() for c in row)]
    except csv.Error as error:
        raise InputError(FIELD, "its rows", f"it is not a CSV ({error})", "Save it as CSV again.") from None
    names = [_COLUMNS.get(cell.strip().lower()) for cell in lines[0]] if lines else []
    if "start" not in names:
        raise InputError(
            FIELD,
            ", ".join(lines[0])[:60] if lines else "empty",
            "a header with the columns name, start, end, multiplier or drinks_per_day is needed",
            "Add the header row.",
        )
    rows: list[tuple[str, Mapping[str, Any]]] = []
    for number, cells in enumerate(lines[1:], start=2):
        row = {n: c.strip() for n, c in zip(names, cells, strict=False) if n is not None}
        row["end"] = row.get("end") or row.get("start", "")
        row["name"] = row.get("name") or f"Event {number - 1}"
        rows.append((f"row {number}", row))
    return rows, []


def _from_ics(text: str) -> _Rows:
    from icalendar import Calendar as IcsCalendar  # its time zones take a tenth of a second

    try:
        parts = IcsCalendar.from_ical(text).walk("VEVENT")
    except (ValueError, KeyError, IndexError) as error:
        raise InputError(FIELD, "its text", f"it is not an iCalendar file ({error})", "Export it again.") from None
    rows: list[tuple[str, Mapping[str, Any]]] = []
    problems: list[str] = []
    for part in parts:
        name = str(part.get("SUMMARY", "")).strip()[:120] or "Event"
        if "DTSTART" not in part:
            problems.append(f"{name}: it has no start")
        elif "RRULE" in part or "RDATE" in part:
            problems.append(f"{name}: it repeats; write its days singly")
        else:
            try:
                first, last = _days(part)
            except (ValueError, TypeError, AttributeError, KeyError):
                problems.append(f"{name}: its dates cannot be read")
                continue
            rows.append((name, {"name": name, "start": first, "end": last}))
    return rows, problems


def _days(part: Any) -> tuple[dt.date, dt.date]:
    """First and last day of an entry; the end of an all-day entry, and of one up to midnight, is not part of it."""
    start = part["DTSTART"].dt
    length = part["DURATION"].dt if "DURATION" in part else dt.timedelta(0)
    end = part["DTEND"].dt if "DTEND" in part else start + length
    first = _day(start)
    return first, max(first, _day(end - dt.timedelta(microseconds=1) if _timed(end) else end - dt.timedelta(days=1)))


def _timed(moment: dt.date) -> bool:
    return isinstance(moment, dt.datetime)


def _day(moment: dt.date) -> dt.date:
    return moment.date() if isinstance(moment, dt.datetime) else moment
