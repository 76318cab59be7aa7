"""Change dates of every cartridge, and the schedule that a policy makes of them."""

from brewwater.forecast.changes import GOVERNS, Changes, changes, quantile_days, share_used
from brewwater.forecast.descale import descale_dates
from brewwater.forecast.parts import MARGIN, InService, Policy, Stop, moves_of, stops_of
from brewwater.forecast.schedule import Place, Planned, schedule

__all__ = [
    "GOVERNS", "MARGIN", "Changes", "InService", "Place", "Planned", "Policy", "Stop", "changes", "descale_dates",
    "moves_of", "quantile_days", "schedule", "share_used", "stops_of",
]  # fmt: skip
