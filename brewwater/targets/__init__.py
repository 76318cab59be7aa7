"""Targets and verdicts: what a water does to cup, boiler and metal, and whether the report calls it safe."""

from brewwater.targets.corrosion import stainless_chloride_max_mg_L
from brewwater.targets.goals import Goal, TargetChoice, editions, goals
from brewwater.targets.judge import REQUIRED, judge
from brewwater.targets.machine import Limit, MachineProfile
from brewwater.targets.measure import Measure
from brewwater.targets.safety import Finding, Potability, potability, worst_safety
from brewwater.targets.state import HOT_C, State, describe, solve_together
from brewwater.targets.verdict import RANK, Verdict

__all__ = [
    "HOT_C", "RANK", "REQUIRED", "Finding", "Goal", "Limit", "MachineProfile", "Measure", "Potability",
    "State", "TargetChoice", "Verdict", "describe", "editions", "goals", "judge", "potability",
    "solve_together", "stainless_chloride_max_mg_L", "worst_safety",
]  # fmt: skip
