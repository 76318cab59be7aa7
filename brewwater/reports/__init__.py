"""Intake: any water report to rows as printed, to an analysis of each supply, to complete waters.

What reads a report is imported when first asked for: a plan of three numbers reads none.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from brewwater.reports.analysis import Disinfectant, Measurement, Method, Supply

if TYPE_CHECKING:
    from brewwater.reports.reading import read_report, read_text
    from brewwater.reports.report import Problem, Report, Row

__all__ = ["Disinfectant", "Measurement", "Method", "Problem", "Report", "Row", "Supply", "read_report", "read_text"]

_LATE = dict.fromkeys(("read_report", "read_text"), "reading") | dict.fromkeys(("Problem", "Report", "Row"), "report")


def __getattr__(name: str) -> Any:
    if name not in _LATE:
        raise AttributeError(f"module 'brewwater.reports' has no attribute {name!r}")
    return getattr(import_module(f"brewwater.reports.{_LATE[name]}"), name)
