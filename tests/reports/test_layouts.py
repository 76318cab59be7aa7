"""Invented reports in random layouts: few by default, ``BREWWATER_LAYOUTS`` for more; and reports written by hand, with what
they print. No figure is wrong and certain, none missed in silence, 97 % are right."""

from __future__ import annotations

import os
from pathlib import Path

from tests.reports.layouts import make, score_of
from tests.reports.score import run, summary

MANY = int(os.environ.get("BREWWATER_LAYOUTS", "40"))


def test_reports_in_random_layouts(tmp_path: Path) -> None:
    scores = [score_of(make(seed), tmp_path) for seed in range(MANY)]
    figures = sum(len(s.figures) for s in scores)
    assert sum(s.count("right") for s in scores) >= 0.97 * figures
    assert sum(s.count("silent") for s in scores) == 0
    assert sum(s.wrong for s in scores) == 0


def test_reports_written_by_hand() -> None:
    folder = Path(__file__).with_name("invented")
    scores = run(folder, folder / "truth.csv", fast=True)
    assert len(scores) == 77
    total = summary(scores)
    assert total["right_share"] >= 0.97
    assert total["missed_in_silence"] == 0
    assert total["wrong_and_certain"] == 0


def test_a_seed_makes_the_same_report() -> None:
    one, two = make(7), make(7)
    assert one.data == two.data or one.suffix in (".xlsx", ".pdf")  # which carry the time they were made
    assert [str(f) for f in one.figures] == [str(f) for f in two.figures]
