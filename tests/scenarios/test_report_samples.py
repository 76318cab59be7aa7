"""Real reports beside their truth: every row, right supply, unit and basis; none wrong."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import pytest

from brewwater.errors import ReportError
from brewwater.reports import Report, Row, read_report
from brewwater.verdicts.safety import potability

pytestmark = pytest.mark.samples

NAMES = {
    "Bicarbonate Alkalinity": "bicarbonate",
    "Hardness": "total_hardness",
    "Specific Conductance": "conductivity",
    "Chlorine Residual": "total_chlorine",
}
FILES = [(stem, form) for stem in ("three_zones_2018", "four_agencies_2018") for form in ("csv", "pdf")]


@cache
def read(folder: Path, stem: str, form: str) -> Report:
    return read_report(folder / "reports" / f"{stem}.{form}")


def figure(text: str) -> float | None:
    return None if text in ("ND", "") else float(text)


def expected(line: dict[str, str]) -> tuple[float | None, float | None, float | None, bool]:
    low, _, high = line["range"].partition("-")
    below = "ND" in (low, high, line["average"])
    return (0.0 if low == "ND" else float(low)), figure(line["average"]), figure(high or low), below


@pytest.mark.parametrize(("stem", "form"), FILES)
def test_every_row_of_the_truth(samples: Path, stem: str, form: str) -> None:
    report = read(samples, stem, form)
    with (samples / "reports" / f"{stem}.csv").open(encoding="utf-8") as handle:
        truth = list(csv.DictReader(handle))
    assert len(truth) > 20
    for line in truth:
        analyte = NAMES.get(line["constituent"], line["constituent"].lower().replace(" ", "_"))
        found = [
            r
            for r in report.rows
            if r.analyte == analyte and r.supply == line["zone"] and r.unit.lower() == line["units"].lower()
        ]
        assert len(found) == 1, (line, found)
        row = found[0]
        assert (row.low, row.typical, row.high, row.below_detection) == expected(line), (line, row)
        assert row.date == line["sample_date"]
        if analyte in ("total_hardness", "alkalinity"):
            assert row.basis == "CaCO3"
        assert (row.page is not None) == (form == "pdf")
        assert row.certain == (analyte != "bicarbonate"), row


def test_the_supplies(samples: Path) -> None:
    for form in ("csv", "pdf"):
        assert read(samples, "three_zones_2018", form).supplies == (
            "North (groundwater)",
            "North (surface water)",
            "South (groundwater)",
        )
        assert read(samples, "four_agencies_2018", form).supplies == (
            "San Juan Surface Water",
            "Citrus Heights Groundwater",
            "Fair Oaks Groundwater",
        )


def test_several_supplies_and_none_named(samples: Path) -> None:
    report = read(samples, "three_zones_2018", "pdf")
    with pytest.raises(ReportError, match="South"):
        report.analysis()
    shown = report.to_json()
    assert shown["analysis"] is None
    assert len(shown["rows"]) == len(report.rows)
    assert report.supply("south").name == "South (groundwater)"
    with pytest.raises(ReportError, match="the report has"):
        report.supply("east")


def test_one_positive_sample_without_a_violation_warns_and_plans(samples: Path) -> None:
    report = read(samples, "three_zones_2018", "pdf")
    (row,) = (r for r in report.rows if r.analyte == "e_coli")
    assert (row.high, row.supply, row.page, row.violation) == (1.0, "all", 1, False)
    supply = report.supply("North (groundwater)")
    assert not supply.violation_reported
    judged = potability(supply)
    assert judged.verdict.status == "watch"
    assert "E. coli" in judged.verdict.why


def test_hardness_printed_in_grains_and_in_ppm_agrees(samples: Path) -> None:
    report = read(samples, "three_zones_2018", "pdf")
    for supply in report.supplies:
        assert len([r for r in report.rows if r.analyte == "total_hardness" and r.supply == supply]) == 2
        assert not [p for p in report.problems if p.field == "total_hardness" and p.supply == supply]


def test_bicarbonate_alkalinity_is_asked_and_spans_both_bases(samples: Path) -> None:
    report = read(samples, "four_agencies_2018", "pdf")
    value = report.analysis("Citrus Heights Groundwater")["bicarbonate"].in_plan_units("bicarbonate")
    assert (value.low, value.high) == (130, pytest.approx(180 * 61.0168 / 50.04345))
    assert any(p.code == "basis_unclear" and p.field == "bicarbonate" for p in report.problems)


def test_nitrate_is_as_nitrogen(samples: Path) -> None:
    (row,) = (
        r
        for r in read(samples, "four_agencies_2018", "pdf").rows
        if r.analyte == "nitrate" and r.supply == "Citrus Heights Groundwater"
    )
    assert (row.basis, row.high) == ("N", 2.8)


def test_no_row_that_the_reports_do_not_print(samples: Path) -> None:
    """Every certain row's own text holds its numbers, and no limit is taken for a value."""

    def holds(row: Row) -> bool:
        return all(x is None or x == 0 or f"{x:g}" in (row.text or "").replace(",", "") for x in (row.low, row.high))

    for stem, form in FILES:
        rows = read(samples, stem, form).rows
        assert all(holds(r) for r in rows if r.certain), [r for r in rows if r.certain and not holds(r)]
        assert all(r.violation is False for r in rows)


def test_what_is_missing_is_said(samples: Path) -> None:
    assert "nitrate" in read(samples, "three_zones_2018", "pdf").missing("South")
    assert "ph" in read(samples, "four_agencies_2018", "pdf").missing()
    assert read(samples, "three_zones_2018", "pdf").disinfectant("South") == "unknown"
