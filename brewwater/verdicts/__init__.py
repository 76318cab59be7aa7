"""Targets and verdicts: what a water does to cup, boiler and metal, and whether the report calls it safe."""

from brewwater.verdicts.corrosion import stainless_chloride_max_mg_L
from brewwater.verdicts.cup import ph_in_cup
from brewwater.verdicts.goals import Goal, TargetChoice, editions, goals
from brewwater.verdicts.judge import REQUIRED, judge
from brewwater.verdicts.machine import Limit, MachineProfile
from brewwater.verdicts.measure import Measure
from brewwater.verdicts.safety import GateFinding, Potability, potability, worst_safety
from brewwater.verdicts.state import HOT_C, State, describe, solve_together
from brewwater.verdicts.verdict import RANK, Verdict

__all__ = [
    "HOT_C",
    "RANK",
    "REQUIRED",
    "GateFinding",
    "Goal",
    "Limit",
    "MachineProfile",
    "Measure",
    "Potability",
    "State",
    "TargetChoice",
    "Verdict",
    "describe",
    "editions",
    "goals",
    "judge",
    "ph_in_cup",
    "potability",
    "solve_together",
    "stainless_chloride_max_mg_L",
    "worst_safety",
]
