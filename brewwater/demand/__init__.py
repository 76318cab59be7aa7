"""Demand: the calendar, the drinks and other uses, and the litres they draw on each branch."""

from brewwater.demand.calendar import (
    DAYS_PER_YEAR,
    TERMS,
    WEEKDAYS,
    Calendar,
    Closure,
    DayArray,
    Event,
    Season,
    Suspension,
    Weekday,
    months_later,
)
from brewwater.demand.calendar_file import EventsRead, read_events
from brewwater.demand.litres import (
    Demand,
    DemandInput,
    Drink,
    FixedUse,
    UsePerDrink,
    demand,
    usual_drink,
    usual_fixed,
    usual_mix,
    usual_mixes,
)

__all__ = [
    "DAYS_PER_YEAR",
    "TERMS",
    "WEEKDAYS",
    "Calendar",
    "Closure",
    "DayArray",
    "Demand",
    "DemandInput",
    "Drink",
    "Event",
    "EventsRead",
    "FixedUse",
    "Season",
    "Suspension",
    "UsePerDrink",
    "Weekday",
    "demand",
    "months_later",
    "read_events",
    "usual_drink",
    "usual_fixed",
    "usual_mix",
    "usual_mixes",
]
