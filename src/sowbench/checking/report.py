"""What a check found: findings, and how much was recomputed to find them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType


class Severity(StrEnum):
    """Whether a rule is broken or a figure is not the one that comes out."""

    FAILS = "fails"
    DIFFERS = "differs"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold.

    Parameters
    ----------
    rule : str
        Name of the rule or figure.
    subject : str
        What it is about: an order, a sowing, a place and a day.
    message : str
        What is wrong, in words.
    expected, found : str
        What would be right, and what the plan has.
    severity : Severity
        A broken rule or a different figure.
    """

    rule: str
    subject: str
    message: str
    expected: str
    found: str
    severity: Severity

    def __str__(self) -> str:
        """Return the finding as one line."""
        got = f" Expected {self.expected}; found {self.found}." if self.expected else ""
        return f"{self.severity}: {self.rule}, {self.subject}: {self.message}{got}"


@dataclass(frozen=True, slots=True)
class CheckReport:
    """Everything that a check found and counted.

    Parameters
    ----------
    findings : tuple of Finding
        What does not hold, in the order of the rules.
    n_checks : mapping of str to int
        How often each rule was tried.
    figures : mapping of str to float
        Figures recomputed as a whole, such as ``cost`` and ``bound``.
    notes : tuple of str
        What could not be checked, and why.
    """

    findings: tuple[Finding, ...]
    n_checks: Mapping[str, int]
    figures: Mapping[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def n_total(self) -> int:
        """Number of figures and rules recomputed."""
        return sum(self.n_checks.values())

    @property
    def n_fails(self) -> int:
        """Number of broken rules."""
        return sum(each.severity is Severity.FAILS for each in self.findings)

    @property
    def n_differs(self) -> int:
        """Number of figures that are not what comes out."""
        return len(self.findings) - self.n_fails

    @property
    def holds(self) -> bool:
        """Whether nothing was found."""
        return not self.findings

    def summary(self) -> str:
        """Say in one line how much was recomputed and how it ended."""
        total = f"{self.n_total:,}".replace(",", " ")
        text = f"{total} figures and rules recomputed, {self.n_fails} fail"
        return f"{text}, {self.n_differs} differ" if self.n_differs else text


class Ledger:
    """Collects findings and counts while a check runs."""

    def __init__(self) -> None:
        self._findings: list[Finding] = []
        self._n_checks: Counter[str] = Counter()
        self.figures: dict[str, float] = {}
        self.notes: list[str] = []

    def require(
        self,
        holds: bool,  # noqa: FBT001 - the condition itself
        rule: str,
        subject: str,
        message: str,
        expected: object = "",
        found: object = "",
        severity: Severity = Severity.FAILS,
    ) -> bool:
        """Count one check and keep a finding if it does not hold; return whether it does."""
        self._n_checks[rule] += 1
        if not holds:
            shown = (_shown(expected), _shown(found))
            self._findings.append(Finding(rule, subject, message, *shown, severity))
        return bool(holds)

    def near(
        self, found: float, expected: float, tolerance: float, rule: str, subject: str, message: str
    ) -> bool:
        """Check a figure against the recomputed one within a tolerance."""
        holds = abs(found - expected) <= tolerance  # NaN never holds
        return self.require(holds, rule, subject, message, expected, found, Severity.DIFFERS)

    def report(self) -> CheckReport:
        """Return everything as a report."""
        return CheckReport(
            tuple(self._findings),
            MappingProxyType(dict(self._n_checks)),
            MappingProxyType(dict(self.figures)),
            tuple(self.notes),
        )


def _shown(value: object) -> str:
    """Write a value as a reader would."""
    if isinstance(value, float):
        return f"{value:.6g}"
    return str(value)
