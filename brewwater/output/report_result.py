"""``report --json``; apart from the result of a plan, so that reading a report loads nothing of the planning."""

from __future__ import annotations

from brewwater.output.result_schema import ReportResult
from brewwater.reports import Report


def report_result(report: Report, supply: str | None = None) -> ReportResult:
    """What ``report --json`` prints. Raises ReportError where the named supply is unknown."""
    return ReportResult.model_validate(report.to_json(supply))
