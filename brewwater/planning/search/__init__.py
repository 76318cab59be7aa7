"""Which train: candidates of every kind, "nothing" included, weighed on equal terms over the whole ensemble.

A candidate is weighed by what it costs a year over the life of its parts, plus what its waters being out of
goal is worth to the user (``Worth``). One setting must serve every water of the fill calendar: the worst one
counts, never the average.
"""

from brewwater.planning.search.best import Best
from brewwater.planning.search.kinds import NAMES, Kind, bases, in_size, kinds, stage
from brewwater.planning.search.search import Alternative, Cancelled, Progress, Search, recommend
from brewwater.planning.search.weigh import Scales
from brewwater.planning.search.words import cost_over_years, out_of_goal, over_years

__all__ = [
    "NAMES",
    "Alternative",
    "Best",
    "Cancelled",
    "Kind",
    "Progress",
    "Scales",
    "Search",
    "bases",
    "cost_over_years",
    "in_size",
    "kinds",
    "out_of_goal",
    "over_years",
    "recommend",
    "stage",
]
