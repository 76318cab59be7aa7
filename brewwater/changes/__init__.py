"""Change dates of every cartridge, and the schedule that a policy makes of them."""

from brewwater.changes.descale import descale_dates
from brewwater.changes.forecast import GOVERNS, Changes, changes, quantile_days, share_used
from brewwater.changes.policy import MARGIN, InService, Policy, Stop, moves_of, stops_of
from brewwater.changes.schedule import Place, Planned, schedule

__all__ = [
    "GOVERNS",
    "MARGIN",
    "Changes",
    "InService",
    "Place",
    "Planned",
    "Policy",
    "Stop",
    "changes",
    "descale_dates",
    "moves_of",
    "quantile_days",
    "schedule",
    "share_used",
    "stops_of",
]
