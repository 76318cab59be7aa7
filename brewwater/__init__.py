"""brewwater: the water-quality and filtration planner for people who serve coffee.

Public names: ``read_report``, ``make_plan``, ``quick_plan``, ``Water``, ``speciate``. They are imported when first
asked for, so that one room can be used without paying for the whole house.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from brewwater.plan import make_plan, quick_plan
    from brewwater.reports import read_report
    from brewwater.water import Water, speciate

__all__ = ["Water", "make_plan", "quick_plan", "read_report", "speciate"]
__version__ = "0.1.0"

_HOME = {"Water": "water", "make_plan": "plan", "quick_plan": "plan", "read_report": "reports", "speciate": "water"}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'brewwater' has no attribute {name!r}")
    return getattr(import_module(f"brewwater.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
