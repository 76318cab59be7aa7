"""One line of the log."""

from __future__ import annotations

import pytest

from brewwater.errors import InputError
from brewwater.log.entry import KINDS, Reading, make_reading, printable, reading_from_text, standing_readings


def reading(kind: str = "meter_gal", value: float | None = 1, unit: str = "gal", **more: object) -> Reading:
    return make_reading({"date": "2026-03-31", "kind": kind, "value": value, "unit": unit, **more})


@pytest.mark.parametrize(
    ("kind", "value", "unit", "own"),
    [
        ("meter_gal", 384, "gal", 384),
        ("meter_gal", 3.785411784, "L", 1),
        ("meter_gal", 1, "ft3", 7.48051948051948),  # 1728 / 231 cubic inches, by definition
        ("pressure_in_psi", 6.894757293168361, "kPa", 1),
        ("pressure_out_psi", 1, "bar", 14.5037737730209),
        ("drinks_sold", 120, "drinks", 120),
        ("ph", 7.2, "1", 7.2),
    ],
)
def test_value_in_the_kinds_own_unit(kind: str, value: float, unit: str, own: float) -> None:
    assert reading(kind, value, unit).own_value() == pytest.approx(own, rel=1e-12)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"value": -1}, "value"),
        ({"value": float("nan")}, "value"),
        ({"value": float("inf")}, "value"),
        ({"value": 1e10}, "value"),
        ({"value": None}, "reading"),
        ({"kind": "guess"}, "kind"),
        ({"date": "1897-01-01"}, "date"),
        ({"date": "31.3.2026"}, "date"),
        ({"where": "x" * 121}, "where"),
        ({"note": "x\x00y"}, "note"),
        ({"note": "\ud800"}, "note"),
        ({"where": "\u202egnp.exe"}, "where"),
        ({"id": "../../etc"}, "id"),
        ({"corrects": "1"}, "corrects"),
        ({"kind": "withdrawn", "value": None}, "reading"),
        ({"colour": "red"}, "colour"),
        ({"recorded_at": "yesterday"}, "recorded_at"),
        ({"unit": "furlongs"}, "unit"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_one_line(fields: dict[str, object], field: str) -> None:
    good: dict[str, object] = {"date": "2026-03-31", "kind": "meter_gal", "value": 1, "unit": "gal"}
    with pytest.raises(InputError) as error:
        make_reading(good | fields)
    assert error.value.field == field
    assert "\n" not in str(error.value)


def test_text_as_typed() -> None:
    line = reading_from_text(" 2026-03-31 ", "Meter", "384", "gal", "from the gauge")
    assert (line.kind, line.value, line.note) == ("meter_gal", 384, "from the gauge")
    taste = reading_from_text("2026-03-31", "taste", "flat", "", "second cup")
    assert (taste.kind, taste.value, taste.note) == ("taste_note", None, "flat; second cup")


@pytest.mark.parametrize(
    ("date", "kind", "value", "field"),
    [
        ("today", "meter", "1", "date"),
        ("2026-02-30", "meter", "1", "date"),
        ("2026-03-31", "vibes", "1", "kind"),
        ("2026-03-31", "meter", "much", "value"),
        ("2026-03-31", "meter", "inf", "value"),
        ("2026-03-31", "meter", "", "reading"),
    ],
)
def test_text_that_cannot_be_used(date: str, kind: str, value: str, field: str) -> None:
    with pytest.raises(InputError) as error:
        reading_from_text(date, kind, value, "gal")
    assert error.value.field == field


def test_every_kind_can_be_written() -> None:
    units = {
        "meter_gal": "gal",
        "drinks_sold": "drinks",
        "pressure_in_psi": "psi",
        "pressure_out_psi": "psi",
        "conductivity": "µS/cm",
        "ph": "1",
    }
    for kind in KINDS:
        more = {"corrects": "0" * 32} if kind == "withdrawn" else {}
        assert reading(kind, 1, units.get(kind, "mg/L"), **more).kind == kind


def test_corrections_stand_and_the_corrected_do_not() -> None:
    first, other = reading(value=100), reading(value=5)
    second = reading(value=110, corrects=first.id, recorded_at="2026-04-01T08:00:00Z")
    third = reading(value=111, corrects=first.id, recorded_at="2026-04-02T08:00:00Z")
    fourth = reading(value=112, corrects=third.id)
    gone = reading("withdrawn", None, "", corrects=other.id)
    assert standing_readings([first, other, second, third, fourth, gone]) == [fourth]
    assert standing_readings([fourth, third, gone, second, other, first]) == [fourth]
    assert standing_readings([first, second, third]) == standing_readings([third, second, first]) == [third]
    assert standing_readings([first, other]) == [first, other]


def test_corrections_of_which_none_is_known_to_be_later_all_stand() -> None:
    first = reading(value=100)
    second, third = (reading(value=v, corrects=first.id) for v in (110, 111))
    assert standing_readings([first, second, third]) == [second, third]
    assert standing_readings([third, first, second]) == [third, second]


def test_printable() -> None:
    assert printable("São Paulo 水 – 12 °dH")
    assert not printable("a\nb")
    assert printable("a\nb", keep="\n")
