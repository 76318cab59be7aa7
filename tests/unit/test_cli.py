"""The command line as outside scripts call it: exit status, one clear line, the shape of the JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from brewwater.cli import main

THREE = ["--hardness", "290", "--alkalinity", "240", "--tds", "420", "--drinks", "120"]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = main(arguments)
    out = capsys.readouterr()
    return status, out.out, out.err


@pytest.fixture(scope="module")
def plan_json() -> dict[str, Any]:
    from brewwater.output.result import plan_result
    from brewwater.plan import quick_plan

    made = quick_plan(hardness="290", alkalinity="240", tds="420", drinks="120")
    found: dict[str, Any] = json.loads(plan_result(made).model_dump_json())
    return found


@pytest.mark.parametrize(
    "arguments",
    [
        ["plan", "--hardness", "-5"],
        ["plan", "--hardness", "NaN"],
        ["plan", "--hardness", "inf"],
        ["plan", "--hardness", "1e400"],
        ["plan", "--hardness", "soft"],
        ["plan", "--hardness", ""],
        ["plan", "--alkalinity", "3 furlongs"],
        ["plan", "--drinks", "many"],
        ["plan", "--drinks", "-1"],
        ["plan", "--report", "no-such-file.csv"],
        ["plan", "no-such-plan.json"],
        ["plan", "--supply", "North"],
        ["plan", "--nonsense"],
        ["report", "no-such-file.pdf"],
        ["waters", "no-such-file.csv"],
        ["waters", "no-such-file.csv", "--temperature", "200"],
        ["app", "--port", "never"],
        ["nonsense"],
    ],
)
def test_bad_input_is_one_line_and_exit_2(capsys: pytest.CaptureFixture[str], arguments: list[str]) -> None:
    status, out, err = run(capsys, *arguments)
    assert status == 2
    assert out == ""
    assert len(err.strip().splitlines()) == 1, err
    assert "Traceback" not in err
    assert "Usage" not in err


def test_the_line_names_field_value_limit_and_remedy(capsys: pytest.CaptureFixture[str]) -> None:
    _, _, err = run(capsys, "plan", "--hardness", "-5")
    for part in ("--hardness", "-5", "less than 0", "sign"):
        assert part in err


@pytest.mark.parametrize("content", [b"", b"\x00\xff\xfe", b"{", b"[]", b'{"schema_version": 7}'])
def test_a_broken_plan_file_is_one_line(capsys: pytest.CaptureFixture[str], tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "plan.json"
    path.write_bytes(content)
    status, _, err = run(capsys, "plan", str(path))
    assert status == 2
    assert len(err.strip().splitlines()) == 1
    assert path.read_bytes() == content  # nothing lost


def test_an_empty_report_is_one_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "report.csv"
    path.write_bytes(b"")
    status, _, err = run(capsys, "plan", "--report", str(path))
    assert status == 2
    assert len(err.strip().splitlines()) == 1


def test_a_report_without_a_figure_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear customer, thank you for your patience.\n", encoding="utf-8")
    status, out, err = run(capsys, "report", str(path))
    assert status == 2
    assert "no figure of a water" in err
    assert not out


def test_units_of_the_closed_list_are_taken(capsys: pytest.CaptureFixture[str]) -> None:
    from brewwater.planning.quick import typed

    grains = typed("--hardness", "17 gpg", "total_hardness").in_plan_units("total_hardness")
    assert grains.middle == pytest.approx(17 * 17.11806, rel=1e-6)
    degrees = typed("--alkalinity", "3 dKH", "alkalinity").in_plan_units("alkalinity")
    assert degrees.middle == pytest.approx(3 * 17.848, rel=1e-4)


def test_plan_json_holds_against_its_schema(capsys: pytest.CaptureFixture[str], plan_json: dict[str, Any]) -> None:
    status, out, _ = run(capsys, "schema")
    assert status == 0
    schemas = json.loads(out)
    jsonschema.validate(plan_json, schemas["plan"])
    for key in ("plan_document", "report"):
        jsonschema.Draft202012Validator.check_schema(schemas[key])


def test_three_numbers_recommend_weak_acid_exchange(plan_json: dict[str, Any]) -> None:
    by_medium = {s["medium"]: s for s in plan_json["stages"]}
    assert set(by_medium) == {"sediment", "carbon", "weak_acid"} or "catalytic_carbon" in by_medium
    assert by_medium["weak_acid"]["bypass_percent"] == pytest.approx(22, abs=4)
    served = plan_json["served_water"]
    assert served["hardness_mg_L_as_CaCO3"]["p50"] == pytest.approx(110, abs=8)
    assert served["alkalinity_mg_L_as_CaCO3"]["p50"] == pytest.approx(60, abs=8)
    # acid in the line, alkaline in the air; judged and printed where that way first meets the goal (from 6.8)
    assert served["ph_in_line"]["p50"] < 6.5 < 7.5 < served["ph_in_air"]["p50"]
    assert served["ph"] == served["ph_in_cup"]
    assert served["ph"]["p50"] == pytest.approx(6.8)


def test_three_numbers_say_nothing_about_chloride_or_safety(plan_json: dict[str, Any]) -> None:
    status = {(v["water"], v["subject"]): v["status"] for v in plan_json["verdicts"]}
    for water in ("source", "served"):
        assert status[water, "corrosion"] == "unknown"
        assert status[water, "safety"] == "unknown"
    assert status["source", "scale"] == "act"


def test_yearly_cost_adds_up_to_the_cent(plan_json: dict[str, Any]) -> None:
    cost = plan_json["yearly_cost"]
    assert round(sum(line["amount"] for line in cost["lines"]), 2) == cost["expected"]
    assert any(w["code"] == "price_assumed" for w in plan_json["warnings"])


def test_rinse_and_sink_lines_are_unfiltered_by_default(plan_json: dict[str, Any]) -> None:
    filtered = {b["name"]: b["filtered"] for b in plan_json["branches"]}
    assert filtered == {
        "Espresso machine": True,
        "Pitcher rinser": False,
        "Hand sink": False,
        "Three-basin sink": False,
    }


def test_changes_are_dates_in_order(plan_json: dict[str, Any]) -> None:
    for cartridge in plan_json["cartridges"]:
        for change in cartridge["changes"]:
            known = [change[k] for k in ("early", "expected", "late") if change[k] is not None]
            assert known == sorted(known)
            assert all(len(day) == 10 for day in known)


def test_permanent_hardness_refuses_weak_acid_and_says_why(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "plan", "--hardness", "280", "--alkalinity", "45", "--tds", "520", "--json")
    assert status == 0
    plan = json.loads(out)
    assert "weak_acid" not in {s["medium"] for s in plan["stages"]}
    refused = [a for a in plan["alternatives"] if any(s["medium"] == "weak_acid" for s in a["stages"])]
    assert refused
    assert not any(a["fits"] for a in refused)
    assert any("alkalinity" in a["why"].lower() for a in refused)


def test_without_hardness_the_hardness_test_comes_first(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "plan", "--alkalinity", "100", "--tds", "200", "--json")
    assert status == 0
    plan = json.loads(out)
    status_of = {(v["water"], v["subject"]): v["status"] for v in plan["verdicts"]}
    assert status_of["source", "scale"] == "unknown"
    assert "hardness" in plan["next_tests"][0]["test"]
    assert not {"weak_acid", "softening"} & {s["medium"] for s in plan["stages"]}


def test_the_demo_plan_is_what_no_arguments_give(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "plan")
    assert status == 0
    assert "Juniper trailer" in out


def test_out_writes_sheet_calendar_and_tables(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    status, _, _ = run(capsys, "plan", *THREE, "--out", str(tmp_path / "made"))
    assert status == 0
    suffixes = {p.suffix for p in (tmp_path / "made").iterdir()}
    assert {".html", ".pdf", ".ics", ".csv"} <= suffixes


class TestRealReport:
    """The whole job on a real report with several supplies and two hardness units under one label."""

    def test_several_supplies_are_listed(self, capsys: pytest.CaptureFixture[str], samples: Path) -> None:
        report = str(samples / "reports" / "three_zones_2018.csv")
        status, _, err = run(capsys, "plan", "--report", report, "--drinks", "150")
        assert status == 2
        for name in ("North (groundwater)", "North (surface water)", "South (groundwater)"):
            assert name in err
        assert len(err.strip().splitlines()) == 1

    def test_one_supply_is_planned(self, capsys: pytest.CaptureFixture[str], samples: Path) -> None:
        report = str(samples / "reports" / "three_zones_2018.csv")
        status, out, _ = run(
            capsys, "plan", "--report", report, "--supply", "South (groundwater)", "--drinks", "150", "--json"
        )
        assert status == 0
        plan = json.loads(out)
        source = plan["source_water"]
        # the report: hardness 55 to 220, average 130; alkalinity 64 to 190, average 116; chloride 2.4 to 53, 20.3
        hardness, alkalinity = source["hardness_mg_L_as_CaCO3"], source["alkalinity_mg_L_as_CaCO3"]
        assert 55 < hardness["p10"] < hardness["p50"] < hardness["p90"] < 220
        assert 64 < alkalinity["p10"] < alkalinity["p50"] < alkalinity["p90"] < 190
        assert 2.4 < source["chloride_mg_L"]["p50"] < 53
        assert {v["status"] for v in plan["verdicts"] if v["subject"] == "safety"} == {"unknown"}
        assert plan["yearly_cost"]["expected"] > 0
