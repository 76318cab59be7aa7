"""A reading goes to the unit that was meant: a mistyped name makes no unit."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from brewwater.cli import main

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
