"""The score of a reading tells right from doubtful, silent and wrong."""

from __future__ import annotations

from typing import Any

import pytest

from tests.reports.score import Figure, judge


def figure(analyte: str, low: str, typical: str, high: str, unit: str, supply: str = "North") -> Figure:
    return Figure("town.txt", supply, analyte, (analyte,), unit, None, (low, typical, high), 1)


def row(analyte: str, low: float | None, typical: float | None, high: float | None, unit: str, **more: Any) -> dict:
    usual = {"basis": None, "below_detection": False, "supply": "North", "date": None, "page": None, "text": ""}
    return {"analyte": analyte, "low": low, "typical": typical, "high": high, "unit": unit} | usual | more


def outcome(figures: list[Figure], rows: list[dict], **more: Any) -> Any:
    read = {"rows": rows, "problems": [], "unread": [], "supplies": ["North"]} | more
    return judge("town.txt", figures, read, {})


@pytest.mark.parametrize(
    "read",
    [
        row("calcium", 20, 30, 41, "ppm"),
        row("calcium", 20, 30, 41, "mg/l", supply=None),
    ],
)
def test_the_printed_numbers_in_the_printed_unit_are_right(read: dict) -> None:
    assert outcome([figure("calcium", "20", "30", "41", "mg/L")], [read]).count("right") == 1


@pytest.mark.parametrize(
    "read",
    [
        row("calcium", 30, 30, 30, "mg/L"),  # the range is lost
        row("calcium", 20, 30, 41, "gpg"),
        row("calcium", 20, 30, 41, "mg/L", below_detection=True),
        row("calcium", 20, 41, 41, "mg/L"),
    ],
)
def test_a_lost_range_or_another_unit_is_wrong_until_a_problem_names_it(read: dict) -> None:
    figures = [figure("calcium", "20", "30", "41", "mg/L")]
    assert outcome(figures, [read]).count("wrong") == 1
    doubt = [{"code": "column_unclear", "field": "calcium", "message": "North, calcium: look at it"}]
    assert outcome(figures, [read], problems=doubt).count("flagged") == 1
    elsewhere = [figure("calcium", "1", "2", "3", "mg/L", "South Bank")]
    doubt = [{"code": "column_unclear", "field": "calcium", "message": "South Bank, calcium: look at it"}]
    assert outcome(figures + elsewhere, [read], problems=doubt, supplies=["North", "South Bank"]).figures[
        0
    ].outcome == ("wrong")


def test_what_is_not_read_is_silent_unless_an_unread_line_shows_it() -> None:
    figures = [figure("calcium", "20", "30", "41", "mg/L")]
    assert outcome(figures, []).count("silent") == 1
    shown = [{"page": 1, "text": "Ca 20 30 41", "why": "no unit"}]
    assert outcome(figures, [], unread=shown).count("flagged") == 1
    other = [{"page": 1, "text": "Calcium 20", "why": "no unit"}]
    score = outcome(figures, [], unread=other)
    assert score.count("silent") == 1 and score.idle_unread == 1


def test_a_heading_or_an_unknown_name_as_a_supply_is_invented() -> None:
    figures = [figure("ph", "", "7.5", "", "")]
    rows = [row("ph", 7.5, 7.5, 7.5, "1")]
    score = outcome(figures, rows, supplies=["North", "Highest Level Detected", "which is softened"])
    assert score.invented == ["Highest Level Detected", "which is softened"] and score.wrong == 2
    assert outcome(figures, [row("ph", 7.5, 7.5, 7.5, "1", supply="2018")], supplies=["2018"]).invented == ["2018"]


def test_supplies_pooled_into_one_are_not_right_and_a_second_row_contradicts() -> None:
    figures = [figure("ph", "", "7.5", "", ""), figure("ph", "", "8.1", "", "", "South Bank")]
    rows = [row("ph", 7.5, 7.5, 7.5, "1", supply="Town"), row("ph", 8.1, 8.1, 8.1, "1", supply="Town")]
    assert outcome(figures, rows, supplies=["Town"]).count("wrong") == 2
    score = outcome(figures[:1], [row("ph", 7.5, 7.5, 7.5, "1"), row("ph", 5, 5, 5, "1")])
    assert score.count("right") == 1 and len(score.contradicting) == 1


def test_below_detection_is_asked_for() -> None:
    figures = [figure("iron", "", "<0.02", "", "mg/L"), figure("lead", "", "ND", "", "ppb")]
    below = [
        row("iron", 0, None, 0.02, "mg/L", below_detection=True),
        row("lead", 0, None, None, "ppb", below_detection=True),
    ]
    assert outcome(figures, below).count("right") == 2
    exact = [row("iron", 0.02, 0.02, 0.02, "mg/L"), row("lead", 0, 0, 0, "ppb")]
    assert outcome(figures, exact).count("wrong") == 2
