"""The committed trust page is what its command would write now: same checks, same verdicts, nothing left over."""

from __future__ import annotations

import csv
import runpy
from pathlib import Path

import pytest

from brewwater import reference

HERE = Path(__file__).resolve().parent
MADE = runpy.run_path(str(HERE / "trust_page.py"))
RENEW = "run: python tests/validation/trust_page.py"


@pytest.fixture(autouse=True)
def _already_made(request: pytest.FixtureRequest) -> None:
    if request.config.pluginmanager.has_plugin("trust_page"):
        pytest.skip("the page is being made by this run")


def rows() -> list[dict[str, str]]:
    return [dict(row) for row in reference.table("outside_checks")]


def test_the_page_says_what_the_table_says() -> None:
    assert MADE["PAGE"].read_text(encoding="utf-8") == MADE["page"](rows(), []), RENEW


def test_enough_is_computed_against_enough_sources_and_nothing_misses() -> None:
    found = rows()
    computed = [r for r in found if r["kind"] == "computed"]
    assert len(computed) >= 80
    assert len({r["source"] for r in computed} - {"definition", "common_practice", "memory"}) >= 20
    assert {r["room"] for r in computed} >= {"chemistry", "units", "treatment", "flow", "tanks"}
    assert not [r for r in found if r["verdict"] == "differs"]


def test_the_second_ways_are_there() -> None:
    assert [file for _, file in MADE["SECOND_WAYS"] if not (MADE["TOP"] / file).is_file()] == []


def test_a_wide_limit_says_why() -> None:
    assert not [r for r in rows() if r["verdict"] == "within stated limit" and not r["why"]]


def test_every_test_that_holds_a_figure_is_on_the_page(request: pytest.FixtureRequest) -> None:
    """Both ways, over the files of this folder that were collected whole."""
    here = [item for item in request.session.items if item.path.parent == HERE and "printed" in item.fixturenames]
    now = {MADE["short"](item.nodeid) for item in here}
    shown = {r["test"] for r in rows()}
    assert now <= shown, f"{sorted(now - shown)} not on the trust page; {RENEW}"
    there = {path.name for path in HERE.glob("test_*.py")}
    gone = {test for test in shown if test.split("::")[0] not in there}
    if {item.path.name for item in request.session.items if item.path.parent == HERE} >= there:
        gone |= shown - now
    narrowed = request.config.getoption("keyword") or request.config.getoption("deselect")
    assert narrowed or not gone, f"{sorted(gone)} no longer tested; {RENEW}"


def test_both_sides_of_a_disagreement_have_a_source() -> None:
    known = reference.sources()
    assert [row["key"] for row in reference.table("disagreements") if row["other_source"] not in known] == []


def test_every_line_of_authorities_is_known_and_begins_otherwise() -> None:
    with (HERE / "authorities.csv").open(encoding="utf-8", newline="") as handle:
        lines = list(csv.DictReader(handle))
    assert {line["source"] for line in lines} <= set(reference.sources())
    assert {line["room"] for line in lines} <= set(MADE["ROOMS"])
    assert len({line["begins"] for line in lines}) == len(lines)


@pytest.mark.parametrize(
    ("value", "tolerance", "text"),
    [(1.23456, 0.05, "1.235"), (-0.00001, 0.05, "0"), (250.0, 0, "250"), (1413.2, 14, "1413"), (2.0, 0.5, "2")],
)
def test_figures_are_shown_to_a_tenth_of_the_tolerance(value: float, tolerance: float, text: str) -> None:
    assert MADE["shown"](value, tolerance) == text


@pytest.mark.parametrize(
    ("ours", "why", "said"),
    [(1.0, "", "agrees"), (1.04, "x", "within stated limit"), (2, "x", "differs"), (float("nan"), "", "differs")],
)
def test_verdict(ours: float, why: str, said: str) -> None:
    assert MADE["verdict"]({"ours": ours, "theirs": 1.0, "tolerance": 0.05, "why": why}) == said
