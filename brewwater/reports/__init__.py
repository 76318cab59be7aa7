"""Intake: any water report to rows as printed, to an analysis of each supply, to complete waters."""

from __future__ import annotations

from brewwater.reports.analysis import Disinfectant, Measurement, Method, Supply
from brewwater.reports.reading import read_report, read_text
from brewwater.reports.report import Problem, Report, Row

__all__ = ["Disinfectant", "Measurement", "Method", "Problem", "Report", "Row", "Supply", "read_report", "read_text"]
