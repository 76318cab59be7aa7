"""Busy days from a file, many of them, and seasons."""

from __future__ import annotations

FILE = b"""name,start,end,multiplier
Harbour fair,2027-07-09,2027-07-11,4
Old fair,2019-07-09,2019-07-11,4
Broken,2027-08-40,,2
Backwards,2027-08-09,2027-08-01,2
Market,2027-09-04,,
"""


def test_busy_days_come_from_a_file_after_a_look(front) -> None:
    front.go("days")
    before = front.document.demand.calendar.events
    front.at.file_uploader(key="events_up_0").set_value(("year.csv", FILE, "text/csv"))
    front.run()
    html = front.html().split('aria-label="Events in the file"')[1]
    assert "4 × an ordinary day" in html
    assert "2 × an ordinary day" in html
    assert "outside the plan" in html
    out = front.html().split('aria-label="Entries left out"')[1]
    assert "row 4" in out
    assert "row 5" in out
    assert front.document.demand.calendar.events == before  # nothing is taken yet
    front.at.number_input(key="events_times").set_value(3)
    front.run()
    front.at.button(key="events_accept").click()
    front.run()
    added = front.document.demand.calendar.events[len(before) :]
    assert [(e.name, e.multiplier) for e in added] == [("Harbour fair", 4), ("Market", 3)]
    for _ in range(2):  # a run that only looks for the search's answer does not take the words away
        assert [s.value for s in front.at.success] == ["2 added. Undo takes them out again."]
        front.run()
    front.at.file_uploader(key="events_up_1").set_value(("year.csv", FILE, "text/csv"))
    front.run()
    assert front.html().split('aria-label="Events in the file"')[1].count("in the calendar already") == 2
    assert "Nothing in the file is new to this plan." in [i.value for i in front.at.info]
    assert front.at.button(key="events_accept").disabled
    front.at.button(key="events_away").click()
    front.run()
    assert 'aria-label="Events in the file"' not in front.html()
    front.at.button(key="undo").click()
    front.run()
    assert front.document.demand.calendar.events == before
    assert not front.at.success


def test_an_icalendar_counts_and_what_repeats_is_left_out_by_name(front) -> None:
    entry = "BEGIN:VEVENT\r\nSUMMARY:{}\r\nDTSTART;VALUE=DATE:20270605\r\n{}END:VEVENT\r\n"
    text = "BEGIN:VCALENDAR\r\n" + entry.format("Wedding", "") + entry.format("Weekly", "RRULE:FREQ=WEEKLY\r\n")
    front.go("days")
    front.at.file_uploader(key="events_up_0").set_value(("a.ics", (text + "END:VCALENDAR").encode(), "text/calendar"))
    front.run()
    assert "Weekly: it repeats" in front.html()
    front.at.button(key="events_accept").click()
    front.run()
    assert front.document.demand.calendar.events[-1].name == "Wedding"


def test_a_file_that_is_no_calendar_is_one_line(front) -> None:
    front.go("days")
    front.at.file_uploader(key="events_up_0").set_value(("a.csv", b"colour,size\nred,3\n", "text/csv"))
    front.run()
    assert len(front.errors()) == 1
    assert "header" in front.errors()[0]
    front.at.button(key="events_away").click()
    front.run()
    assert front.errors() == []


def test_of_many_busy_days_one_is_open_for_change(front) -> None:
    rows = "".join(f"Fair {i},2027-05-{i + 1:02d},2\n" for i in range(12))
    front.go("days")
    front.at.file_uploader(key="events_up_0").set_value(
        ("a.csv", f"name,start,multiplier\n{rows}".encode(), "text/csv")
    )
    front.run()
    front.at.button(key="events_accept").click()
    front.run()
    events = front.document.demand.calendar.events
    at = len(events) - 12
    front.at.selectbox(key="events_open").set_value(at)
    front.run()
    front.at.number_input(key=f"event_size_{at}").set_value(5)
    front.run()
    assert front.document.demand.calendar.events[at].multiplier == 5
    assert len([n for n in front.at.number_input if n.key.startswith("event_size_")]) == 1


def test_seasons_are_set_by_month(front) -> None:
    front.go("days")
    before = front.document.demand.calendar.seasons
    front.at.button(key="seasons_add").click()
    front.run()
    at = len(before)
    front.at.button_group(key=f"season_months_{at}").set_value(["Dec", "Jan"])
    front.run()
    front.at.number_input(key=f"season_size_{at}").set_value(0.5)
    front.run()
    made = front.document.demand.calendar.seasons[at]
    assert (set(made.months), made.multiplier) == ({1, 12}, 0.5)
    front.at.button_group(key=f"season_months_{at}").set_value([])
    front.run()
    assert len(front.errors()) == 1  # a season without a month
    front.at.button(key=f"season_out_{at}").click()
    front.run()
    assert front.document.demand.calendar.seasons == before
