"""Colour is for water and verdicts: money is drawn in ink, two plans as solid and hollow."""

from __future__ import annotations

import json

import pytest

from brewwater.output.charts.base import DARK, LIGHT, Palette
from brewwater.output.charts.money import branch_costs, cost_lines, two_costs


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_money_has_no_colour_of_water(colours: Palette) -> None:
    rows = [("Carbon", 120.0), ("Test kits", 40.0)]
    drawn = [
        cost_lines(rows, "USD", colours, ["$120", "$40"]),
        branch_costs(rows, "USD", colours, ["$120", "$40"]),
        two_costs("This plan", "The other", [("Carbon", 120.0, 90.0)], "USD", colours),
    ]
    for chart in drawn:
        spec = json.dumps(chart.to_dict())
        assert colours.ink in spec
        assert colours.source not in spec
        assert colours.served not in spec
    assert drawn[2].to_dict()["encoding"]["fill"]["scale"]["range"] == [colours.ink, colours.ground]
