"""The audit of dependencies fails on a known flaw, and does not call an answerless service a pass."""

from __future__ import annotations

import runpy
import sys
from pathlib import Path
from typing import Any

import pytest

SCRIPT = Path(__file__).resolve().parents[2] / ".ci" / "audit.py"
FLAW = {"name": "requests", "version": "2.19.0", "vulns": [{"id": "PYSEC-2018-28", "fix_versions": ["2.20.0"]}]}
CLEAN = {"name": "numpy", "version": "2.0", "vulns": []}
SKIPPED = {"name": "ours", "skip_reason": "not found"}


def ran(monkeypatch: pytest.MonkeyPatch, answers: Any) -> int:
    script = runpy.run_path(str(SCRIPT))
    monkeypatch.setitem(script["main"].__globals__, "audit", answers)
    status: int = script["main"](sys.executable)
    return status


def test_a_known_flaw_fails(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert ran(monkeypatch, lambda service, pins: {"dependencies": [CLEAN, FLAW]}) == 1
    assert "requests 2.19.0: PYSEC-2018-28, fixed in 2.20.0" in capsys.readouterr().out


def test_clean_is_clean_only_where_the_service_knows_flaws(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def knows(service: str, pins: str) -> dict[str, Any]:
        return {"dependencies": [FLAW] if pins.startswith("requests==2.19.0") else [CLEAN, SKIPPED]}

    assert ran(monkeypatch, knows) == 0
    said = capsys.readouterr().out
    assert "audited with pypi: 1 packages, 0 known flaws" in said
    assert "unknown to the service: ours" in said


@pytest.mark.parametrize(("answer", "status"), [({}, 1), (None, 0)])
def test_no_report_from_a_service_that_answers_is_no_pass(
    monkeypatch: pytest.MonkeyPatch, answer: dict[str, Any] | None, status: int
) -> None:
    def breaks(service: str, pins: str) -> dict[str, Any] | None:
        return {"dependencies": [FLAW]} if pins.startswith("requests==2.19.0") else answer

    assert ran(monkeypatch, breaks) == status


@pytest.mark.parametrize("answer", [{}, {"dependencies": [SKIPPED]}, {"dependencies": [CLEAN]}])
def test_no_service_is_said_and_passes(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], answer: dict[str, Any]
) -> None:
    assert ran(monkeypatch, lambda service, pins: answer) == 0
    assert capsys.readouterr().out.startswith("not audited: no network")
