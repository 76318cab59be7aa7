from __future__ import annotations

import pytest
from pydantic import ValidationError

from brewwater.plumbing import Branch, Pump, Unit, known, unit_template
from brewwater.plumbing.parts import fixture_class, limit
from brewwater.reference import cite, keyed, table


@pytest.mark.parametrize(
    ("kind", "filtered"),
    [
        ("espresso_machine", True),
        ("brewer", True),
        ("hot_water", True),
        ("ice", True),
        ("fill", True),
        ("rinser", False),
        ("hand_sink", False),
        ("sink", False),
        ("other", False),
    ],
)
def test_what_is_filtered_where_nothing_is_said(kind: str, filtered: bool) -> None:
    assert Branch.model_validate({"name": "x", "kind": kind}).filtered is filtered
    assert Branch.model_validate({"name": "x", "kind": kind, "filtered": None}).filtered is filtered
    assert Branch.model_validate({"name": "x", "kind": kind, "filtered": not filtered}).filtered is not filtered


@pytest.mark.parametrize("filtered", [True, False])
@pytest.mark.parametrize("kind", ["espresso_machine", "rinser"])
def test_a_choice_survives_saving(kind: str, filtered: bool) -> None:
    branch = Branch.model_validate({"name": "x", "kind": kind, "filtered": filtered})
    assert Branch.model_validate_json(branch.model_dump_json(exclude_defaults=True)) == branch


@pytest.mark.parametrize("kind", ["cart", "truck", "kiosk", "shop"])
def test_templates_are_whole_and_assumed_until_given(kind: str) -> None:
    usual = unit_template(kind)  # type: ignore[arg-type]
    assert known(usual).assumed == frozenset()
    bare = known(Unit.model_validate({"kind": kind}))
    assert bare.unit == usual
    assert ("fresh_tank_gal" in bare.assumed) == usual.has_tanks
    assert ("mains_psi" in bare.assumed) != usual.has_tanks


def test_own_figures_are_not_assumed() -> None:
    on = known(Unit(kind="truck", fresh_tank_gal=32))
    assert on.unit.fresh_tank_gal == 32
    assert "fresh_tank_gal" not in on.assumed
    assert on.missing(("fresh_tank_gal", "waste_tank_gal")) == ["waste tank"]


@pytest.mark.parametrize("kind", ["cart", "truck", "kiosk", "shop"])
@pytest.mark.parametrize("on_board", [True, False])
def test_any_kind_on_board_or_plumbed(kind: str, on_board: bool) -> None:
    unit = known(Unit.model_validate({"kind": kind, "on_board": on_board})).unit
    assert (unit.pump is not None and unit.fresh_tank_gal is not None) == on_board
    assert (unit.mains_psi is not None) or on_board


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("jurisdiction", "atlantis", "the listed jurisdictions are food_code"),
        ("fresh_tank_gal", -1, "greater than 0"),
        ("fresh_tank_gal", float("nan"), "finite"),
        ("pump", {"cut_in_psi": 40, "cut_out_psi": 40, "flow_gpm": 3}, "not above cut-in"),
        ("pump", {"cut_in_psi": 4, "cut_out_psi": 40, "flow_gpm": 3, "curve": [[0, 10], [1, 20]]}, "pressure falling"),
        ("colour", "red", "not permitted"),
    ],
)
def test_a_unit_that_cannot_be(field: str, value: object, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        Unit.model_validate({field: value})


def test_one_point_is_no_curve() -> None:
    with pytest.raises(ValidationError, match="two points"):
        Pump.model_validate({"cut_in_psi": 1, "cut_out_psi": 2, "flow_gpm": 1, "curve": [(1, 1)]})


def test_every_kind_of_fixture_is_whole() -> None:
    threads = keyed("thread_sizes")
    for row in table("fixtures"):
        usual = fixture_class(row["kind"])
        assert usual.connection in threads
        assert 0 <= usual.to_waste_share <= 1
        assert cite(usual.source)


def test_limits_are_numbers_with_a_source() -> None:
    for row in table("unit_limits"):
        assert limit(row["key"]) > 0
        assert row["unit"]
