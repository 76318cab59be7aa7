"""The plan document: one clear line for every fault, and nothing lost on a round trip."""

from __future__ import annotations

import json
from typing import Any

import pytest

from brewwater.errors import InputError
from brewwater.planning.document import demo_document, load_document, mobile_template, with_overrides
from brewwater.reports.analysis import Measurement, Supply


def changed(**changes: Any) -> dict[str, Any]:
    return {**json.loads(mobile_template().model_dump_json()), **changes}


@pytest.mark.parametrize("make", [demo_document, mobile_template])
def test_documents_survive_a_round_trip(make: Any) -> None:
    document = make()
    assert load_document(document.to_json()) == document
    assert load_document(document.model_dump_json()) == document
    assert load_document(document.to_json()).fingerprint() == document.fingerprint()


def test_the_template_borrows_nothing_from_the_demo() -> None:
    template = mobile_template()
    assert len(template.supplies) == 1
    assert not template.supplies[0].analysis
    assert len(template.demand.calendar.weekdays) == 5
    assert template.policy.margin == 0.8
    assert template.train is None


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"schema_version": 99}, "schema_version"),
        ({"surprise": 1}, "surprise"),
        ({"branches": []}, "branches"),
        ({"name": ""}, "name"),
        ({"settings": {"draws": 0}}, "settings.draws"),
        ({"policy": {"margin": 1.5}}, "policy.margin"),
        ({"fill": {"fills": [{"supply": "Elsewhere"}]}}, "Elsewhere"),
        ({"supplies": [{"name": "A"}, {"name": "A"}]}, "stands twice"),
        ({"worth": {"cup": -1}}, "worth.cup"),
        ({"worth": {"cup": "NaN"}}, "worth.cup"),
        ({"train": [{"name": "x", "medium": "moonlight"}]}, "train"),
    ],
)
def test_a_fault_is_one_line_that_names_it(change: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError) as caught:
        load_document(changed(**change))
    line = str(caught.value)
    assert "\n" not in line
    assert says in line


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "null", '"x"', "[" * 100_000])
def test_what_is_not_a_document_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="plan document"):
        load_document(text)


def test_overrides_replace_single_numbers_and_keep_the_rest() -> None:
    entry = Measurement.model_validate({"value": 290, "unit": "mg/L", "method": "typed"})
    document = with_overrides(mobile_template(), analysis={"total_hardness": entry}, drinks_per_service_day=120)
    assert document.supplies[0].analysis == {"total_hardness": entry}
    assert document.demand.drinks_per_service_day is not None
    assert document.demand.drinks_per_service_day.middle == 120
    assert document.demand.uses_per_drink == mobile_template().demand.uses_per_drink


def test_a_supply_replaces_the_first_and_its_fills_follow() -> None:
    document = with_overrides(demo_document(), supply=Supply(name="Dell Spring"))
    assert [s.name for s in document.supplies] == ["Dell Spring", "Saltmarsh End"]
    assert [f.supply for f in document.fill.fills] == ["Dell Spring", "Saltmarsh End"]


def test_a_drinks_count_that_replaces_another_is_held_against_its_limits() -> None:
    for count in (-1.0, float("nan")):
        with pytest.raises(InputError, match="drinks_per_service_day"):
            with_overrides(mobile_template(), drinks_per_service_day=count)
