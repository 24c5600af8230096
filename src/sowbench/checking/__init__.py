"""Recomputation of every rule and figure of a plan, without the planner."""

from sowbench.checking.check import check_plan
from sowbench.checking.report import CheckReport, Finding, Severity
from sowbench.checking.season import CheckInputs

__all__ = ["CheckInputs", "CheckReport", "Finding", "Severity", "check_plan"]
