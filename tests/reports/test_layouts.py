"""Invented reports in random layouts: few by default, ``BREWWATER_LAYOUTS`` for more. The floor is what is held today;
what is asked is no figure wrong and certain, none missed in silence, 97 % right."""

from __future__ import annotations

import os
from pathlib import Path

from tests.reports.layouts import make, score_of

MANY = int(os.environ.get("BREWWATER_LAYOUTS", "40"))


def test_reports_in_random_layouts(tmp_path: Path) -> None:
    scores = [score_of(make(seed), tmp_path) for seed in range(MANY)]
    figures = sum(len(s.figures) for s in scores)
    assert sum(s.count("right") for s in scores) >= 0.8 * figures
    assert sum(s.count("silent") for s in scores) <= 0.02 * figures
    assert sum(s.wrong for s in scores) <= 0.02 * figures


def test_a_seed_makes_the_same_report() -> None:
    one, two = make(7), make(7)
    assert one.data == two.data or one.suffix in (".xlsx", ".pdf")  # which carry the time they were made
    assert [str(f) for f in one.figures] == [str(f) for f in two.figures]
