"""What a phone has room for: tables whose rows become cards, long names in lists, and words in a plain order."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
import streamlit as st

from brewwater.demand import read_events
from brewwater.planning.document import load_document
from brewwater.verdicts.sentences import decided
from brewwater.web.state import as_document
from brewwater.web.widgets import fields, show
from brewwater.web.widgets.words import Kind, Words

EVIL = '"><script>alert(1)</script>'


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Draws a table and gives its HTML."""

    def draw(*scenario: Any, **named: Any) -> str:
        found: list[str] = []
        monkeypatch.setattr(st, "html", found.append)
        show.table(*scenario, **named)
        return "".join(found)

    return draw


def test_a_table_is_one_for_screen_readers_and_names_each_value(written) -> None:
    html = written(["Cartridge", "Order by"], [["Carbon", "2 Apr 2027"]], pin=True)
    assert '<table role="table">' in html
    assert html.count('role="row"') == 2
    assert '<th scope="col" role="columnheader">Order by</th>' in html
    assert '<th class="p" scope="row" role="rowheader" data-label="Cartridge"><div>Carbon</div></th>' in html
    assert '<td role="cell" data-label="Order by"><div>2 Apr 2027</div></td>' in html


def test_text_of_a_user_stays_text_in_cell_and_label(written) -> None:
    html = written([EVIL, "b", "c"], [[EVIL, EVIL, "x"]], label=EVIL)
    assert "<script" not in html
    assert html.count("&lt;script&gt;") == 5  # head, label of the region, label of the cell, two cells


@pytest.mark.parametrize(
    ("heads", "row", "kind"),
    [
        (["Measure", "Before", "After"], ["Hardness, mg/L as CaCO3", "63.7 – 281", "53.2 – 94.6"], ""),
        (["Measure", "What is wrong"], ["x", "A long sentence of more letters than any phone has room for."], ""),
        (
            ["Water", "Do", "Why"],
            ["Saltmarsh End", "fill; set the bypass", "A long sentence of many letters."],
            "cards",
        ),
        (
            ["Date", "Cartridge", "Order by", "Falls due", "In", "By", "Left"],
            [
                "4 Jun 2027",
                "Sediment filter, change 1",
                "2 Apr 2027",
                "23 Apr 2027 to 1 Jul 2027",
                "same day",
                "Has passed its rated water",
                "21 %",
            ],
            "broad",
        ),
    ],
)
def test_rows_become_cards_where_there_is_no_room(written, heads, row, kind: str) -> None:
    html = written(heads, [row])
    assert ("bw-cards" in html) == (kind != "")
    assert ("bw-broad" in html) == (kind == "broad")


def test_a_name_too_long_for_a_closed_list_is_chosen_from_an_open_one(front) -> None:
    typed = as_document(front.document)
    assert [s["name"] for s in typed["supplies"]] == ["Chalkworth", "Saltmarsh End"]
    assert front.at.selectbox(key="supply").value == "Chalkworth"
    long = "Market hydrant of Little Sandwater-on-Quay"
    assert len(long) > fields.MOST_LETTERS
    typed["supplies"][1]["name"] = long
    for fill in typed["fill"]["fills"]:
        fill["supply"] = long if fill["supply"] == "Saltmarsh End" else fill["supply"]
    other = type(front)(load_document(typed))
    other.at.radio(key="supply").set_value(long).run()
    other.sound()
    assert other.desk.extra["supply"] == long


def test_a_share_of_nothing_has_no_sign() -> None:
    assert "; 0 % of" in decided("act", [], [], 0, None, -1e-17, "")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("Fair,2027-13-01,,300", "start is 2027-13-01; a date such as 2027-06-04 is needed"),
        ("Fair,2027-06-04,,many", "drinks per day is many; a number of 0 or more is needed"),
        ("Fair,2027-06-04,2027-06-01,300", "ends on 2027-06-01, before it starts on 2027-06-04"),
    ],
)
def test_a_refused_calendar_row_is_one_plain_line(row: str, said: str) -> None:
    (line,) = read_events(f"name,start,end,drinks_per_day\n{row}\n".encode()).problems
    assert line == f"row 2: {said}. Correct it in the file, or add the event by hand."


@pytest.mark.parametrize(
    ("kind", "us", "metric"),
    [
        ("drink", 2.0, "59.1 mL"),
        ("length", 10.0, "3.05 m"),
        ("short", 2.0, "50.8 mm"),
        ("speed", 8.0, "2.44 m/s"),
        ("slope", 0.25, "20.8 mm/m"),
    ],
)
def test_a_reader_of_metric_units_sees_no_inch_foot_or_ounce(kind: Kind, us: float, metric: str) -> None:
    words = Words(metric=True)
    assert words.quantity(kind, us) == metric
    assert words.back(kind, words.out(kind, us)) == pytest.approx(us)


def test_a_metric_plan_has_metric_fields_and_checks(front) -> None:
    front.at.radio(key="units").set_value("metric").run()
    front.go("tanks")
    labels = [n.label for n in front.at.number_input]
    assert "Length of the waste tank's floor (mm)" in labels
    assert "Length (m)" in labels
    assert " ft/s" not in front.html()
    assert " fills</strong> (must be at most " in front.html()
    assert front.document.unit.pipe.length_ft == 14  # shown anew, not changed
    front.go("days")
    assert {t.label for t in front.at.text_input if t.label.startswith("Each")} == {"Each (mL)"}


def test_an_event_that_ends_before_it_starts_is_refused_in_one_plain_line(front) -> None:
    front.go("days")
    before = front.document.demand.calendar.events[0]
    front.at.date_input(key="events_end_0").set_value(before.start - dt.timedelta(days=3)).run()
    (said,) = front.errors()
    assert said == (
        f"Ends on {before.start - dt.timedelta(days=3)}, before it starts on {before.start}. "
        "Correct it; the plan still uses the value before."
    )
    assert front.document.demand.calendar.events[0] == before


def test_ph_asks_for_no_unit(front) -> None:
    front.go("water")
    front.at.selectbox(key="analyte").set_value("ph").run()
    assert "Unit as printed" not in {t.label for t in front.at.text_input}
    front.at.selectbox(key="analyte").set_value("calcium").run()
    assert "Unit as printed" in {t.label for t in front.at.text_input}


# -- blocks as one element


def test_blocks_together_are_one_element_in_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    found: list[str] = []
    monkeypatch.setattr(st, "html", found.append)
    with show.together():
        show.heading(EVIL)
        show.say("inside")
        show.small("after")
    show.say("alone")
    assert len(found) == 2
    assert found[0].startswith('<div class="bw bw-blocks"><h3>&quot;&gt;&lt;script&gt;')
    assert found[0].index("</h3>") < found[0].index("inside") < found[0].index("after")
    assert found[1] == '<div class="bw bw-line">alone</div>'


def test_blocks_that_fail_midway_are_not_shown_and_the_next_are(monkeypatch: pytest.MonkeyPatch) -> None:
    found: list[str] = []
    monkeypatch.setattr(st, "html", found.append)

    def failing() -> None:
        with show.together():
            show.say("half")
            show.say(str(1 / 0))

    with pytest.raises(ZeroDivisionError):
        failing()
    show.say("next")
    assert found == ['<div class="bw bw-line">next</div>']
