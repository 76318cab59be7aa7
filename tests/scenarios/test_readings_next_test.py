"""Scenarios 9 and 15 of the job: what is missing from the report decides what to test next."""

from __future__ import annotations

from functools import cache
from typing import Any

from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document


@cache
def plan_of(number: int) -> Plan:
    reports: dict[int, dict[str, Any]] = {
        9: {"total_hardness": [80, 260], "total_dissolved_solids": [180, 420]},
        # calcium 150 mg/L as CaCO3 is 60 mg/L as the ion
        15: {"total_hardness": 200, "calcium": 60, "alkalinity": 160, "total_dissolved_solids": 280},
    }
    return make_plan(
        load_document(
            {
                "unit": {"kind": "truck"},
                "supplies": [
                    {
                        "name": "Town",
                        "disinfectant": "free_chlorine",
                        "analysis": {
                            k: {"value": v, "unit": "mg/L", "method": "report"} for k, v in reports[number].items()
                        },
                    }
                ],
                "fill": {"fills": [{"supply": "Town"}]},
                "demand": {
                    "calendar": {"start": "2026-03-02"},
                    "main_branch": "Machine",
                    "drinks_per_service_day": 100,
                },
                "branches": [{"name": "Machine", "kind": "espresso_machine", "machine": "M", "filtered": True}],
                "machines": [{"name": "M", "kind": "espresso", "wetted_metal": "copper_brass"}],
                "settings": {"draws": 256},
            }
        )
    )


def test_9_alkalinity_is_the_first_test() -> None:
    """Hardness 80 to 260, alkalinity absent: nothing is decided, and no resin is named, before it is measured."""
    plan = plan_of(9)
    first = plan.next_tests[0]
    assert first.test == "alkalinity_drop_kit"
    assert "Not measured in Town" in first.because
    assert first.value > 0  # it is not only missing: it changes what one buys
    assert "alkalinity_missing" in {w.code for w in plan.warnings}
    assert "weak_acid" not in {s.medium for s in plan.candidate.stages}


def test_15_the_missing_ph_is_named() -> None:
    """pH missing: scale is red whatever it is, cold corrosion is undecided, and a strip for a few coins tells."""
    plan = plan_of(15)
    source = {v.subject: v for v in plan.source_verdicts}
    assert source["scale"].status == "act"
    assert source["corrosion"].status == "unknown"
    # corrosion is judged by the metal that is there, so chloride may come first: it decides more of what is bought
    named = [t for t in plan.next_tests if t.analyte == "ph"]
    assert all("Not measured in Town" in t.because for t in named)
    assert any("Corrosion is undecided" in t.because for t in named)
    assert not any(
        t.analyte in ("total_hardness", "alkalinity") and "Not measured" in t.because for t in plan.next_tests
    )
