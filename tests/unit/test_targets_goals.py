"""Goals: the bands, the editions, and what fills in where a sheet is silent."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from brewwater.errors import InputError
from brewwater.planning.document import demo_document, load_document
from brewwater.reference import table
from brewwater.verdicts import Goal, TargetChoice, editions, goals


def bands(goal: Goal, *values: float) -> list[int]:
    return goal.severity(np.array(values)).tolist()


def test_trade_bands_at_their_bounds() -> None:
    trade = goals(TargetChoice())
    assert bands(trade["total_hardness"], 10, 49.9, 50, 120, 120.1, 200, 200.1) == [1, 1, 0, 0, 1, 1, 2]
    assert bands(trade["alkalinity"], 19.9, 20, 40, 70, 70.1, 150, 150.1) == [2, 1, 0, 0, 1, 1, 2]
    assert bands(trade["ph"], 6.4, 6.5, 6.8, 7.8, 8.3, 8.4) == [2, 1, 0, 0, 1, 2]


def test_under_means_the_bound_itself_is_out() -> None:
    trade = goals(TargetChoice())
    assert bands(trade["total_chlorine"], 0.0, 0.0999, 0.1) == [0, 0, 2]
    assert bands(trade["chloride"], 29.9, 30, 50.1) == [0, 1, 2]


def test_nan_is_never_in_goal() -> None:
    assert bands(Goal(high=10), np.nan) == [1]


def test_sheet_range_takes_the_trades_red_line() -> None:
    sheet = goals(TargetChoice(edition="scaa_2009"))
    assert (sheet["total_dissolved_solids"].low, sheet["total_dissolved_solids"].high) == (75, 250)
    assert sheet["total_dissolved_solids"].red_above == 350
    assert sheet["ph"].red_above == 8.3


def test_sheet_with_an_aim_but_no_range_takes_the_trades_range() -> None:
    alkalinity = goals(TargetChoice(edition="scaa_2009"))["alkalinity"]
    assert (alkalinity.target, alkalinity.low, alkalinity.high) == (40, 40, 70)
    assert "range: common practice" in alkalinity.source


def test_calcium_sheets_keep_only_the_red_line_of_total_hardness() -> None:
    sheet = goals(TargetChoice(edition="sca_later"))
    assert (sheet["calcium_hardness"].low, sheet["calcium_hardness"].high) == (50, 175)
    assert bands(sheet["total_hardness"], 20, 190, 201) == [0, 0, 2]


def test_overrides_replace_a_goal_whole() -> None:
    own = TargetChoice(overrides={"alkalinity": Goal(low=20, high=60)})
    assert bands(goals(own)["alkalinity"], 10, 25, 61) == [1, 0, 1]
    assert goals(own)["alkalinity"].source == "your own goal"


@pytest.mark.parametrize("edition", editions())
def test_every_edition_covers_the_trades_measures(edition: str) -> None:
    found = goals(TargetChoice(edition=edition))
    assert set(goals(TargetChoice())) <= set(found)
    assert all(g.source for g in found.values())


def test_unknown_edition_and_crossed_bounds_are_refused() -> None:
    with pytest.raises(ValidationError, match="not one of trade"):
        TargetChoice(edition="nobody_1999")
    with pytest.raises(ValidationError, match="does not hold"):
        Goal(low=100, high=50)
    with pytest.raises(ValidationError, match="overrides"):
        TargetChoice.model_validate({"overrides": {"colour": {"high": 1}}})


def test_targets_table_rows_are_whole() -> None:
    for row in table("targets"):
        assert row["unit"]
        assert row["bound_is_outside"] in ("yes", "no")


@pytest.mark.parametrize("side", ["low", "high", "red_below", "red_above", "target"])
def test_a_goal_that_no_water_can_have_is_refused_in_one_line(side: str) -> None:
    document = demo_document().model_dump(mode="json")
    document["targets"]["overrides"] = {"alkalinity": {side: 1e308}}
    with pytest.raises(InputError) as told:
        load_document(document)
    assert len(str(told.value).splitlines()) == 1
    assert side in str(told.value) and "1000000" in str(told.value)
