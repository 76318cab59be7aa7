"""The log sorted: what is used, what is kept but flagged, and that nothing is lost."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from brewwater.log.entry import Reading
from brewwater.planning.correction import Correction, correct
from brewwater.planning.document import PlanDocument, load_document
from brewwater.planning.scenario import prepare

START = dt.date(2026, 3, 2)  # a Monday
ALL_DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


def document(readings: list[dict[str, Any]], **more: Any) -> PlanDocument:
    base: dict[str, Any] = {
        "unit": {"kind": "truck"},
        "supplies": [
            {
                "name": "Town",
                "disinfectant": "free_chlorine",
                "analysis": {
                    "total_hardness": {"value": [150, 200, 250], "unit": "mg/L"},
                    "alkalinity": {"value": [120, 150, 190], "unit": "mg/L"},
                },
            }
        ],
        "fill": {"fills": [{"supply": "Town"}]},
        "demand": {
            "calendar": {"start": START.isoformat(), "weekdays": ALL_DAYS},
            "main_branch": "Machine",
            "drinks": [{"name": "cup", "per_service_day": [90, 100, 110], "fl_oz": 10}],
        },
        "branches": [
            {"name": "Machine", "kind": "espresso_machine", "machine": "M", "filtered": True},
            {"name": "Sink", "kind": "sink", "filtered": False},
        ],
        "machines": [{"name": "M", "kind": "espresso"}],
        "train": [
            {"name": "Carbon", "medium": "carbon", "sheet": {"rated_gal": 1000, "reference_chlorine_mg_L_as_Cl2": 2.0}}
        ],
        "settings": {"draws": 256},
        "readings": readings,
    }
    return load_document(base | more)


def line(kind: str, value: float | None, day: int, where: str = "", unit: str = "", **more: Any) -> dict[str, Any]:
    usual = {"meter_gal": "gal", "hardness": "mg/L", "alkalinity": "mg/L", "ph": "1", "total_chlorine": "mg/L"}
    date = (START + dt.timedelta(days=day)).isoformat()
    unit = unit or usual.get(kind, "psi" if "psi" in kind else "")
    return {"kind": kind, "value": value, "date": date, "where": where, "unit": unit, **more}


def corrected(doc: PlanDocument) -> Correction:
    return correct(prepare(doc), doc.train)


def codes(found: Correction) -> dict[str, str]:
    return {f.reading_id: f.code for f in found.flags}


def test_a_meter_counts_from_the_new_cartridge_and_between_readings() -> None:
    found = corrected(document([line("meter_gal", 80, 10), line("meter_gal", 244, 30), line("meter_gal", 400, 50)]))
    (meter,) = found.log.meters
    assert meter.gal.tolist() == [80, 164, 156]
    assert meter.service_days.tolist() == [10, 20, 20]
    assert meter.branches == ("Machine",)
    assert not found.flags


def test_litres_and_gallons_meet() -> None:
    found = corrected(document([line("meter_gal", 1000, 35, unit="L")]))
    assert found.log.meters[0].gal[0] == pytest.approx(1000 / 3.785411784)


def test_a_meter_that_runs_backwards_is_kept_flagged_and_not_used() -> None:
    doc = document([line("meter_gal", 80, 10), line("meter_gal", 30, 20), line("meter_gal", 240, 30)])
    found = corrected(doc)
    assert codes(found) == {doc.readings[1].id: "meter_backwards"}
    assert found.log.meters[0].gal.tolist() == [80, 160]
    assert len(doc.readings) == 3  # never lost


def test_one_reading_far_too_high_is_the_one_that_is_flagged() -> None:
    doc = document([line("meter_gal", v, d) for v, d in ((80, 10), (2400, 20), (240, 30), (320, 40))])
    found = corrected(doc)
    assert codes(found) == {doc.readings[1].id: "meter_backwards"}


def test_a_meter_set_back_with_its_cartridge_is_not_backwards() -> None:
    found = corrected(
        document(
            [line("meter_gal", 800, 100), line("changed_cartridge", None, 101, "Carbon"), line("meter_gal", 90, 112)]
        )
    )
    assert not found.flags
    assert found.log.meters[0].gal.tolist() == [800, 90]
    assert found.scenario.made == {"Carbon": (101,)}


def test_a_reading_before_the_cartridge_is_flagged() -> None:
    doc = document([line("meter_gal", 80, -20), line("hardness", 90, -20, "served")])
    assert set(codes(corrected(doc)).values()) == {"before_the_cartridge"}
    placed = document(
        [line("meter_gal", 80, -20)],
        in_service=[{"stage": "Carbon", "installed": (START - dt.timedelta(days=30)).isoformat()}],
    )
    found = corrected(placed)
    assert not found.flags
    assert found.log.meters[0].gal.tolist() == [80]


def test_dates_outside_every_plan_are_flagged() -> None:
    doc = document([line("meter_gal", 80, 3000), line("drinks_sold", 80, -3000)])
    assert set(codes(corrected(doc)).values()) == {"date_outside_plan"}


def test_corrected_and_withdrawn_lines_do_not_count() -> None:
    wrong = Reading.model_validate(line("meter_gal", 800, 10))
    right = Reading.model_validate(line("meter_gal", 80, 10, corrects=wrong.id))
    gone = Reading.model_validate(line("meter_gal", 999, 20))
    back = Reading.model_validate(line("withdrawn", None, 20, corrects=gone.id))
    found = corrected(document([r.model_dump(mode="json") for r in (wrong, right, gone, back)]))
    assert found.log.meters[0].gal.tolist() == [80]
    assert not found.flags


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ([line("ph", 0.7, 5, "source")], "impossible"),
        ([line("hardness", 60, 5, "source"), line("hardness", 240, 5, "source")], "contradicts"),
        ([line("hardness", 60, 5)], "place_unclear"),
        ([line("ph", 7.1, 5, "served")], "ph_after_treatment"),
        ([line("meter_gal", 60, 5, "Annex")], "place_unknown"),
        ([line("changed_cartridge", None, 5, "Softener")], "cartridge_unknown"),
        ([line("pressure_in_psi", 40, 5)], "pressure_alone"),
        ([line("pressure_in_psi", 40, 5), line("pressure_out_psi", 60, 5)], "impossible"),
        ([line("drinks_sold", 100, 5), line("drinks_sold", 110, 5)], "same_day"),
        ([line("drinks_sold", v, d) for d, v in enumerate((100, 95, 1040, 108))], "count_out_of_line"),
        ([line("meter_gal", 51_000, 5, "source")], "meter_alone"),
    ],
)
def test_what_cannot_be_used_is_flagged(lines: list[dict[str, Any]], code: str) -> None:
    found = corrected(document(lines))
    assert code in set(codes(found).values())
    assert all(f.message.endswith((".", "?")) and not f.used for f in found.flags)


def test_a_meter_at_a_cartridge_that_nobody_took_says_how_to_take_it() -> None:
    lines = [line("meter_gal", 60, 5, "Carbon")]
    assert not corrected(document(lines)).flags
    (flag,) = corrected(document(lines, train=None)).flags
    assert flag.code == "place_unknown"
    assert "take the one shown as yours" in flag.message
    (other,) = corrected(document([line("meter_gal", 60, 5, "Annex")])).flags
    assert "as yours" not in other.message


def test_drinks_off_the_calendar_are_flagged() -> None:
    doc = document([line("drinks_sold", 100, 5)])
    shut = doc.model_copy(
        update={
            "demand": doc.demand.model_copy(
                update={"calendar": doc.demand.calendar.model_copy(update={"weekdays": ("mon",)})}
            )
        }
    )
    assert set(codes(corrected(shut)).values()) == {"not_a_service_day"}


def test_served_tests_wait_until_the_train_is_known() -> None:
    doc = document([line("hardness", 90, 5, "served")])
    found = correct(prepare(doc), None)
    assert set(codes(found).values()) == {"train_unknown"}
    assert not found.log.tests


def test_a_long_log_is_merged_into_few_rows() -> None:
    lines = [line("meter_gal", 8.0 * d, d) for d in range(1, 400)]
    lines += [line("hardness", 180 + d % 7, d, "source") for d in range(400)]
    lines += [line("drinks_sold", 95 + d % 11, d) for d in range(400)]
    found = corrected(document(lines))
    assert not found.flags
    assert len(found.log.meters[0].gal) <= 32
    assert found.log.meters[0].gal.sum() == pytest.approx(8.0 * 399)
    assert len(found.log.tests[0].value) <= 32
    assert found.log.counts[0].drinks.sum() == sum(95 + d % 11 for d in range(400))


def test_one_draw_is_never_corrected() -> None:
    doc = document([line("meter_gal", 384, 30)], settings={"draws": 1})
    found = corrected(doc)
    assert found.resampled == 0
    np.testing.assert_array_equal(found.scenario.weights, np.ones(1))


def test_a_plan_without_a_log_is_left_as_it_is() -> None:
    doc = document([])
    scenario = prepare(doc)
    found = correct(scenario, doc.train)
    assert found.scenario is scenario
    assert not found.diagnoses
