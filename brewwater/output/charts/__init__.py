"""Pictures of a plan, as altair charts and one plain drawing; pure functions, no page in here.

Colours come in a light and a dark set; every series is also told apart by shape, dash or a written label, so
that nothing rests on colour alone.
"""

from brewwater.output.charts.base import DARK, LIGHT, Palette
from brewwater.output.charts.fact import planned_and_metered
from brewwater.output.charts.money import branch_costs, cost_lines, two_costs, worth_of_tests
from brewwater.output.charts.sketch import cup_sketch
from brewwater.output.charts.tree import branch_drawing
from brewwater.output.charts.water import boiler_cloud, cup_cloud, scale_laid
from brewwater.output.charts.year import Remaining, capacity_left, demand_year, remaining, tank_day

__all__ = [
    "DARK",
    "LIGHT",
    "Palette",
    "Remaining",
    "boiler_cloud",
    "branch_costs",
    "branch_drawing",
    "capacity_left",
    "cost_lines",
    "cup_cloud",
    "cup_sketch",
    "demand_year",
    "planned_and_metered",
    "remaining",
    "scale_laid",
    "tank_day",
    "two_costs",
    "worth_of_tests",
]
