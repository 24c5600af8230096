"""A check as text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sowbench.cli.text import WIDTH, Column, block, heading, table, wrap
from sowbench.services import wording

if TYPE_CHECKING:
    from sowbench.services.check import CheckOutcome

_MOST_FAULTS: Final = 40


def check_lines(outcome: CheckOutcome, width: int = WIDTH, *, every: bool = False) -> list[str]:
    """Say what a check found.

    Parameters
    ----------
    outcome : CheckOutcome
        The check.
    width : int, default 100
        Most columns of a line.
    every : bool, default False
        Whether every fault is listed, or the first ones of each rule.

    Returns
    -------
    lines : list of str
        The text.
    """
    total = f"{outcome.n_total:,} rules and figures recomputed without the planner"
    if outcome.holds:
        lines = [heading(f"{total}: all hold.")]
    else:
        found = [f"{outcome.n_fails:,} fail"] if outcome.n_fails else []
        if outcome.n_differs:
            found.append(f"{outcome.n_differs:,} come out otherwise")
        lines = [heading(f"{total}: {' and '.join(found)}.")]
    by_rule: dict[tuple[str, bool], list[str]] = {}
    for each in outcome.faults:
        got = f" Expected {each.expected}; the plan has {each.found}." if each.expected else ""
        by_rule.setdefault((each.rule, each.fails), []).append(
            f"{each.subject}: {each.message}{got}"
        )
    for (rule, fails), sentences in by_rule.items():
        most = len(sentences) if every else max(3, _MOST_FAULTS // len(by_rule))
        below: list[str] = []
        for text in sentences[:most]:
            below += wrap(text, width, "    ", "  - ")
        if len(sentences) > most:
            below.append(f"  and {len(sentences) - most:,} more; --all lists them")
        word = "Fails" if fails else "Comes out otherwise"
        lines += block(f"{word}: {rule} ({len(sentences):,})", below)
    figures = [(name, wording.money(value)) for name, value in outcome.figures.items()]
    columns = (Column(""), Column("", right=True))
    lines += block("Recomputed as a whole", table(columns, figures, width, "  "))
    noted: list[str] = []
    for note in outcome.notes:
        noted += wrap(note, width, "    ", "  - ")
    return lines + block("To note", noted)
