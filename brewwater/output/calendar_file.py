"""The change calendar as an iCalendar file (RFC 5545).

An event keeps its UID as long as the unit's name, the stage and the number of the change stay the same, so
that importing a newer plan moves the old events instead of doubling them.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator

from icalendar import Alarm, Calendar, Event

from brewwater.output.round import Next
from brewwater.output.sheet.content import between, number, unknown_capacities
from brewwater.output.vocabulary import GOVERNS, governed
from brewwater.plan import Plan

BEFORE_A_CHANGE = (
    "Before a change: power off, let it cool, close the valve, relieve the pressure. Flush and test before serving. "
    "Manual, data sheet and local code override this."
)
CAUTION = f"Estimate: verify by test. {BEFORE_A_CHANGE}"
_EPOCH = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)


def calendar_file(plan: Plan, now: dt.datetime | None = None) -> bytes:
    """The calendar of a plan: changes and orders with alarms, lay-ups, notices.

    Parameters
    ----------
    plan : a plan
    now : when it was made, with a time zone; the clock's by default. A later file replaces an earlier one

    Returns
    -------
    UTF-8 text with CRLF line ends
    """
    made = (now or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).replace(microsecond=0)
    unit = plan.document.name
    calendar = Calendar()
    calendar.add("prodid", "-//brewwater//water plan//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"{unit}: water")
    for event in (*_changes(plan), *_descales(plan), *_stops(plan)):
        key = hashlib.sha256("/".join((unit, *event.key)).encode()).hexdigest()
        calendar.add_component(_event(event, f"{key[:32]}@brewwater", made))
    return bytes(calendar.to_ical())


def round_calendar(found: Iterable[Next], now: dt.datetime | None = None) -> bytes:
    """The next change of every cartridge of several units, and when to order for it, as one calendar.

    An event keeps its UID while the unit and the cartridge stay the same: a newer file moves it to the next change.
    ``now`` as in ``calendar_file``.
    """
    made = (now or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).replace(microsecond=0)
    calendar = Calendar()
    calendar.add("prodid", "-//brewwater//water round//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Water round")
    for one in found:
        title = f"{one.name}: change {one.number} {one.cartridge}"
        text = f"Load: {', '.join(one.parts)}. Governed by: {GOVERNS.label(one.governs)}. {CAUTION}"
        entries = [_Entry(("round", one.cartridge), one.due, one.due, title, text, [(-15, f"Tomorrow: {title}")])]
        if one.order_by is not None:
            words = f"{one.name}: order for {one.number} {one.cartridge}"
            entries.append(_Entry(("round order", one.cartridge), one.order_by, one.order_by, words, text))
        for entry in entries:
            key = hashlib.sha256("/".join((one.unit, *entry.key)).encode()).hexdigest()
            calendar.add_component(_event(entry, f"{key[:32]}@brewwater", made))
    return bytes(calendar.to_ical())


class _Entry:
    def __init__(
        self,
        key: tuple[str, ...],
        first: dt.date,
        last: dt.date,
        title: str,
        text: str,
        alarms: Iterable[tuple[int, str]] = (),
    ) -> None:
        self.key, self.first, self.last, self.title, self.text = key, first, last, title, text
        self.alarms = tuple(alarms)


def _event(entry: _Entry, uid: str, made: dt.datetime) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", made)
    event.add("last-modified", made)
    event.add("sequence", int((made - _EPOCH).total_seconds() // 60))
    event.add("dtstart", entry.first)
    event.add("dtend", entry.last + dt.timedelta(days=1))  # the end of an all-day event is not part of it
    event.add("summary", entry.title)
    event.add("description", entry.text)
    event.add("transp", "TRANSPARENT")
    event.add("categories", ["Water"])
    for hours, words in entry.alarms:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", words)
        alarm.add("trigger", dt.timedelta(hours=hours))
        event.add_component(alarm)
    return event


def _changes(plan: Plan) -> Iterator[_Entry]:
    unknown = unknown_capacities(plan)
    for due in plan.calendar.dues:
        name = due.cartridge
        because = f" Date {due.because}." if due.because else ""
        verb = "Change" if due.fitted == due.date else "Throw away"
        yield _Entry(
            ("change", name, str(due.number)),
            due.date,
            due.date,
            f"{verb} {name}",
            f"Governed by: {governed(due.governs, name not in unknown)}. Due {between(due)}. About "
            f"{number(100 * due.left[1], 2)} % of its capacity is left on this day.{because} {CAUTION}",
            [(-15, f"Tomorrow: {verb.lower()} {name}"), (8, f"Today: {verb.lower()} {name}")],
        )
        if due.fitted is None or due.order_by is None:
            continue
        if due.fitted != due.date:
            yield _Entry(
                ("fit", name, str(due.number)),
                due.fitted,
                due.fitted,
                f"Fit {name}",
                CAUTION,
                [(-15, f"Tomorrow: fit {name}")],
            )
        yield _Entry(
            ("order", name, str(due.number)),
            due.order_by,
            due.order_by,
            f"Order {name}",
            f"To be in hand for the early date; to be fitted on {due.fitted.isoformat()}. Check the shelf date.",
            [(9, f"Order {name}")],
        )


def _descales(plan: Plan) -> Iterator[_Entry]:
    for one in plan.calendar.descales:
        yield _Entry(
            ("descale", one.machine, str(one.number)),
            one.date,
            one.date,
            f"Descale {one.machine}",
            f"By the scale laid down; due {between(one)}. Follow the machine's manual; never mix descaler with "
            "bleach; flush and test before serving. Estimate: verify by looking.",
            [(9, f"Descale {one.machine}")],
        )


def _stops(plan: Plan) -> Iterator[_Entry]:
    calendar = plan.document.demand.calendar
    for stop in calendar.stops:
        stored = stop.kind == "stored"
        yield _Entry(
            ("closure", stop.name, stop.start.isoformat()),
            stop.start,
            stop.end,
            f"{'In store' if stored else 'Closed'}: {stop.name}",
            "Drain down and throw wet cartridges away at the start; sanitise, fit new ones, flush and test "
            "before opening."
            if stored
            else "No service. The cartridges' time limits go on.",
            [(-15, "Tomorrow: drain down")] if stored else (),
        )
    for notice in calendar.suspensions:
        yield _Entry(
            ("notice", notice.name, notice.start.isoformat()),
            notice.start,
            notice.end,
            f"Stop: {notice.name}",
            "Do not fill and do not serve. Afterwards: drain, sanitise tank and lines with the cartridges "
            "out, replace cartridges, flush, test. Follow the authority.",
        )
