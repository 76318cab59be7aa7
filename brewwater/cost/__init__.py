"""What the year costs, what an installation may cost, and two plans side by side."""

from brewwater.cost.budgets import Budget, budgets
from brewwater.cost.coins import decimals, rounded, written
from brewwater.cost.compare import Difference, Payback, avoided_damage, compare, payback
from brewwater.cost.inputs import EQUIPMENT, CostInput, Damage, Prices, price_of
from brewwater.cost.year import Bought, Cost, Line, Usage, yearly_cost

__all__ = [
    "EQUIPMENT",
    "Bought",
    "Budget",
    "Cost",
    "CostInput",
    "Damage",
    "Difference",
    "Line",
    "Payback",
    "Prices",
    "Usage",
    "avoided_damage",
    "budgets",
    "compare",
    "decimals",
    "payback",
    "price_of",
    "rounded",
    "written",
    "yearly_cost",
]
