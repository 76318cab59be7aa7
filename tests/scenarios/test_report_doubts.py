"""What a report leaves open is said, never settled silently; every fault that a check names."""

from __future__ import annotations

import pytest

from brewwater.ensemble import Draws
from brewwater.errors import ReportError
from brewwater.reports import Report, read_text
from brewwater.supply.completion import complete


def lines(**values: object) -> Report:
    """A report of one supply from ``label=value`` pairs; an underscore stands for a space."""
    return read_text("\n".join(f"{k.replace('_', ' ')}: {v}" for k, v in values.items()))


def codes(report: Report) -> set[tuple[str, str | None]]:
    return {(p.code, p.field) for p in report.problems}


SOUND = {
    "Calcium": "40 mg/L",
    "Magnesium": "12 mg/L",
    "Sodium": "20 mg/L",
    "Chloride": "25 mg/L",
    "Sulfate": "30 mg/L",
    "Alkalinity": "130 mg/L",
    "Hardness": "149 mg/L",
    "TDS": "215 mg/L",
    "Conductivity": "380 µS/cm",
    "pH": "7.7",
}


def test_a_sound_report_has_no_problem() -> None:
    report = lines(**SOUND)
    assert report.problems == ()
    assert len(report.analysis()) == len(SOUND)
    assert complete(report.supply(), Draws(64)).water is not None


@pytest.mark.parametrize(
    ("changed", "code", "field"),
    [
        ({"Calcium": "100 mg/L", "Magnesium": "49 mg/L"}, "calcium_as_caco3", "calcium"),
        ({"Hardness": "8.7 mg/L"}, "hardness_unit", "total_hardness"),
        ({"Hardness": "240 mg/L"}, "hardness_mismatch", "total_hardness"),
        ({"TDS": "60 mg/L"}, "tds_impossible", "total_dissolved_solids"),
        ({"TDS": "380 mg/L"}, "tds_is_conductivity", "total_dissolved_solids"),
        ({"TDS": "380 µS/cm"}, "tds_is_conductivity", "total_dissolved_solids"),
        ({"Conductivity": "1900 µS/cm"}, "conductivity_mismatch", "conductivity"),
        ({"pH": "76"}, "implausible", "ph"),
        ({"pH": "4.9"}, "ph_mismatch", "ph"),
        ({"Bicarbonate": "130 mg/L"}, "bicarbonate_as_caco3", "bicarbonate"),
        ({"Bicarbonate": "60 mg/L"}, "alkalinity_mismatch", "alkalinity"),
        ({"Chloride": "140 mg/L"}, "charge_balance", None),
        ({"Nitrate": "3 mg/L"}, "basis_unclear", "nitrate"),
        ({"Sodium": "12000 mg/L"}, "implausible", "sodium"),
    ],
)
def test_a_fault_is_named(changed: dict[str, str], code: str, field: str | None) -> None:
    assert (code, field) in codes(lines(**{**SOUND, **changed}))


def test_sulfate_as_sulfur_is_suspected() -> None:
    report = lines(
        Calcium="100 mg/L",
        Magnesium="20 mg/L",
        Sodium="10 mg/L",
        Chloride="15 mg/L",
        Alkalinity="120 mg/L",
        Sulfate="73 mg/L",
        Hardness="332 mg/L",
    )
    assert ("sulfate_as_s", "sulfate") in codes(report)


def test_bicarbonate_that_balances_only_as_caco3() -> None:
    report = lines(
        Calcium="80 mg/L",
        Magnesium="10 mg/L",
        Sodium="10 mg/L",
        Chloride="12 mg/L",
        Sulfate="12 mg/L",
        Bicarbonate="233 mg/L",
    )
    assert ("bicarbonate_as_caco3", "bicarbonate") in codes(report)


def test_two_values_under_one_label() -> None:
    agree = read_text("Hardness: 10 gpg\nHardness: 171 ppm")
    assert len(agree.rows) == 2
    assert not agree.problems
    differ = read_text("Hardness: 10 gpg\nHardness: 90 ppm")
    assert ("contradiction", "total_hardness") in codes(differ)
    value = differ.analysis()["total_hardness"]
    assert value.confidence < 0.7
    assert value.in_plan_units("total_hardness").low == pytest.approx(90)
    assert value.in_plan_units("total_hardness").high == pytest.approx(171.18, abs=0.01)


def test_a_second_unit_in_brackets_is_a_second_row() -> None:
    report = read_text("Parameter;Unit;Result\nTotal hardness;ppm [gpg];70 [4.1]\nCalcium;ppm;20\nSodium;ppm;9")
    found = {(r.unit, r.typical) for r in report.rows if r.analyte == "total_hardness"}
    assert found == {("ppm", 70.0), ("gpg", 4.1)}
    assert not report.problems


def test_a_second_figure_of_unknown_meaning_is_a_doubt() -> None:
    report = read_text("Parameter;Unit;Result\nTotal hardness;ppm;70 (33)\nCalcium;ppm;20\nSodium;ppm;9")
    (row,) = (r for r in report.rows if r.analyte == "total_hardness")
    assert not row.certain
    assert ("second_figure", "total_hardness") in codes(report)


def test_nothing_detected_is_an_interval_from_zero() -> None:
    report = lines(Iron="ND", Chloride="<2.0 mg/L", Lead="not detected")
    values = report.analysis()
    assert values["chloride"].in_plan_units("chloride").high == 2.0
    assert values["chloride"].value.low == 0
    assert values["chloride"].below_detection


def test_a_spreadsheets_date_is_not_a_value() -> None:
    report = read_text("Parameter,Unit,Range\nCalcium,mg/L,13-Aug\nSodium,mg/L,8-13\nChloride,mg/L,4-9")
    assert ("date_not_range", "calcium") in codes(report)
    assert "calcium" not in report.analysis()
    assert report.analysis()["sodium"].value.high == 13


def test_nitrate_is_read_by_its_limit() -> None:
    for limit, basis in (("10", "N"), ("45", "NO3"), ("50", "NO3")):
        report = read_text(f"Parameter,Unit,Result,MCL\nNitrate,ppm,2.0,{limit}\nSodium,ppm,9,none\nChloride,ppm,8,250")
        (row,) = (r for r in report.rows if r.analyte == "nitrate")
        assert row.basis == basis


def test_an_unknown_unit_is_said() -> None:
    report = read_text("Parameter,Unit,Result\nSodium,furlong,20\nCalcium,mg/L,40\nChloride,mg/L,9")
    assert ("unit_unknown", "sodium") in codes(report)
    assert set(report.analysis()) == {"calcium", "chloride"}


def test_a_limit_is_never_a_value() -> None:
    report = read_text(
        "The limit for nitrate is 10 mg/L.\nWater of 0 to 60 mg/L hardness is considered soft.\n"
        "The action level for lead is 15 ppb.\nHardness: 120 mg/L as CaCO3"
    )
    assert {(r.analyte, r.typical) for r in report.rows} == {("total_hardness", 120.0)}


def test_several_years_use_the_newest_and_say_so() -> None:
    report = read_text(
        "Parameter          Unit      2019      2022\nCalcium            mg/L      30        44\n"
        "Sodium             mg/L      12        12\nChloride           mg/L      9         9"
    )
    assert report.analysis()["calcium"].value.typical == 44
    assert ("older_value", "calcium") in codes(report)
    assert len([r for r in report.rows if r.analyte == "calcium"]) == 2


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Our water is disinfected with chloramine.", "chloramine"),
        ("Sodium hypochlorite is added to maintain a free chlorine residual.", "free_chlorine"),
        ("We do not use chloramines to disinfect the water.", "unknown"),
        ("Chloramines are a by-product of disinfection.", "unknown"),
        ("The water is not chlorinated.", "none"),
        ("In summer we treat with chloramine. In March we switch to free chlorine.", "unknown"),
        ("Das Wasser wird mit Chloramin desinfiziert.", "chloramine"),
        ("Total chlorine: 2.8 mg/L\nFree chlorine: 0.1 mg/L", "chloramine"),
        ("Total chlorine: 0.9 mg/L\nFree chlorine: 0.8 mg/L", "free_chlorine"),
        ("Chlorine residual: 0.7 mg/L", "unknown"),
    ],
)
def test_the_disinfectant(text: str, kind: str) -> None:
    assert read_text(text + "\nCalcium: 40 mg/L").disinfectant() == kind


def test_a_violation_is_carried_to_the_supply() -> None:
    text = "Parameter,Unit,Result,Violation\nArsenic,ppb,14,{}\nSodium,ppm,9,No\nChloride,ppm,8,No"
    assert read_text(text.format("Yes")).supply().violation_reported
    assert not read_text(text.format("No")).supply().violation_reported


def test_a_notice_in_force_is_carried_and_one_explained_is_not() -> None:
    assert read_text("A boil water notice is in effect.\nCalcium: 40 mg/L").supply().notice == "boil_water"
    assert read_text("If a boil water notice is issued, boil.\nCalcium: 40 mg/L").supply().notice == "none"


def test_nothing_found_is_said() -> None:
    report = read_text("Dear customer, our water is good.")
    assert report.rows == ()
    assert ("nothing_found", None) in codes(report)
    with pytest.raises(ReportError):
        report.supply()
    with pytest.raises(ReportError):
        read_text("   ")
