"""A reading goes to the unit that was meant: a mistyped name makes no unit."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from brewwater.cli import main
from brewwater.cli.words import open_store
from brewwater.planning.document import demo_document

LINE = ["--date", "2026-03-31", "--kind", "meter", "--value", "5", "--unit", "gal"]


@pytest.fixture(autouse=True)
def _own_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    monkeypatch.delenv("BREWWATER_DATABASE_URL", raising=False)


def lines(capsys: pytest.CaptureFixture[str], unit: str) -> int:
    capsys.readouterr()
    assert main(["log", "list", unit, "--json"]) == 0
    return len(json.loads(capsys.readouterr().out))


def test_a_mistyped_unit_is_an_error_that_names_the_units(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "add", "truck", *LINE]) == 0  # the first of an empty store
    capsys.readouterr()
    assert main(["log", "add", "trukc", *LINE]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.strip().splitlines()) == 1
    for part in ("trukc", "there are: truck", "--new"):
        assert part in said.err
    assert main(["log", "list", "trukc"]) == 2  # none was made
    assert lines(capsys, "truck") == 1


def test_the_flag_makes_the_unit(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "add", "truck", *LINE]) == 0
    assert main(["log", "add", "cart", *LINE, "--new"]) == 0
    assert main(["log", "add", "cart", *LINE]) == 0
    assert (lines(capsys, "truck"), lines(capsys, "cart")) == (1, 2)


def test_a_unit_is_found_however_spelled(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["log", "add", "Truck A", *LINE, "--where", "Carbon"]) == 0
    for name in ("Truck A", "truck-a", "TRUCK_A", "truck a"):
        assert main(["log", "add", name, *LINE]) == 0
        assert main(["export", name, str(tmp_path / "file")]) == 0
    assert lines(capsys, "tRuCk A") == 5
    assert main(["log", "add", "Truck B", *LINE]) == 2
    assert "truck-a" in capsys.readouterr().err


def test_where_a_reading_was_taken_is_kept(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "add", "Truck A", *LINE, "--where", "Espresso machine"]) == 0
    capsys.readouterr()
    assert main(["log", "list", "truck a", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)[0]["where"] == "Espresso machine"


def test_two_units_that_a_spelling_cannot_tell_apart_are_not_guessed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "add", "Truck A", *LINE]) == 0
    assert main(["log", "add", "Truck-a!", *LINE, "--new"]) == 0  # the same unit in another spelling
    with open_store() as place:
        place.create_unit("TRUCK A")
    assert main(["log", "add", "truck_a", *LINE]) == 2


def test_a_saved_unit_is_planned_with_its_log(capsys: pytest.CaptureFixture[str]) -> None:
    few = {"train": [{"name": "C", "medium": "carbon"}], "settings": {"draws": 16}}
    with open_store() as place:
        place.create_unit("Truck A")
        place.save_plan("truck-a", json.loads(demo_document().to_json()) | few, 0)
    capsys.readouterr()
    assert main(["plan", "TRUCK a", "--json"]) == 0
    before = json.loads(capsys.readouterr().out)
    line = ["--date", "2027-04-05", "--kind", "meter", "--value", "900", "--unit", "gal", "--where", "C"]
    assert main(["log", "add", "truck a", *line]) == 0
    capsys.readouterr()
    assert main(["plan", "Truck_A", "--json"]) == 0
    after = json.loads(capsys.readouterr().out)
    assert after["cartridges"][0]["changes"][0]["expected"] < before["cartridges"][0]["changes"][0]["expected"]
    assert main(["plan", "Truck C"]) == 2
    said = capsys.readouterr().err
    assert "Truck C" in said and "Truck A" in said and len(said.strip().splitlines()) == 1


def test_a_unit_without_a_plan_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", "add", "Truck A", *LINE]) == 0
    assert main(["plan", "Truck A"]) == 2
    assert "no plan was saved" in capsys.readouterr().err
