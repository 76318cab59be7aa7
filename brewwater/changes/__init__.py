"""Change dates of every cartridge: what wears it, and the calendar that a policy makes of it."""

from brewwater.changes.calendar import ASSUMED, ChangeCalendar, Due, Life, Slot, change_calendar, grouped, joined
from brewwater.changes.descale import Descale, descale_dates, descales
from brewwater.changes.forecast import GOVERNS, Changes, changes, quantile_days, share_used
from brewwater.changes.policy import MARGIN, InService, Policy, Standstill, moves_of, stops_of

__all__ = [
    "ASSUMED",
    "GOVERNS",
    "MARGIN",
    "ChangeCalendar",
    "Changes",
    "Descale",
    "Due",
    "InService",
    "Life",
    "Policy",
    "Slot",
    "Standstill",
    "change_calendar",
    "changes",
    "descale_dates",
    "descales",
    "grouped",
    "joined",
    "moves_of",
    "quantile_days",
    "share_used",
    "stops_of",
]
