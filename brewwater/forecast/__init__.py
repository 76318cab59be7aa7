"""Change dates of every cartridge, and the schedule that a policy makes of them."""

from brewwater.forecast.changes import GOVERNS, Changes, changes, quantile_days
from brewwater.forecast.parts import MARGIN, InService, Policy, Stop, moves_of, stops_of

__all__ = [
    "GOVERNS", "MARGIN", "Changes", "InService", "Policy", "Stop", "changes", "moves_of", "quantile_days",
    "stops_of",
]  # fmt: skip
