"""Intake: any water report to rows as printed, to an analysis of each supply, to complete waters.

``read_report`` and ``read_text`` are imported when first asked for: a plan of three numbers reads no report.
"""

from typing import TYPE_CHECKING, Any

from brewwater.reports.analysis import Disinfectant, Measurement, Method, Supply
from brewwater.reports.report import Problem, Report, Row

if TYPE_CHECKING:
    from brewwater.reports.reading import read_report, read_text

__all__ = ["Disinfectant", "Measurement", "Method", "Problem", "Report", "Row", "Supply", "read_report", "read_text"]


def __getattr__(name: str) -> Any:
    if name not in ("read_report", "read_text"):
        raise AttributeError(f"module 'brewwater.reports' has no attribute {name!r}")
    from brewwater.reports import reading

    return getattr(reading, name)
