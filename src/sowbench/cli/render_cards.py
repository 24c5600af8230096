"""The cards of how to sow, as text."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from sowbench.cli.text import WIDTH, heading, wrap
from sowbench.services import wording

if TYPE_CHECKING:
    from sowbench.services.cards import Card


def cards_lines(cards: Iterable[Card], width: int = WIDTH) -> list[str]:
    """Say the cards.

    Parameters
    ----------
    cards : iterable of Card
        The cards.
    width : int, default 100
        Most columns of a line.

    Returns
    -------
    lines : list of str
        One card after another, a blank line between.
    """
    lines: list[str] = []
    for each in cards:
        title = f"{wording.day(each.sow_date, year=True)}: {each.title} ({each.sowing})"
        lines += [*(["", ""] if lines else []), heading(title)]
        for sentence in each.opening:
            lines += wrap(sentence, width, "  ")
        lines += card_body(each, width)
    return lines


def card_body(
    card: Card, width: int = WIDTH, *, reasons: bool = True, outlook: bool = True
) -> list[str]:
    """Say how to sow, what can hurt, and where it goes.

    Parameters
    ----------
    card : Card
        The card.
    width : int, default 100
        Most columns of a line.
    reasons : bool, default True
        Whether each step says why, with its source.
    outlook : bool, default True
        Whether the ready window and the plants to expect are said.

    Returns
    -------
    lines : list of str
        Steps and course, a blank line before each; a caution is said once.
    """
    lines: list[str] = []
    said: set[str] = set()
    if card.steps:
        lines.append("")
    for at, step in enumerate(card.steps, start=1):
        lines += wrap(step.words, width, "     ", f"{at:>3}. ")
        if reasons and step.why:
            source = f" [{step.source}]" if step.source else ""
            lines += wrap(f"{step.why}{source}", width, "     ", "     Why: ")
        if step.caution and step.caution not in said:
            said.add(step.caution)
            lines += wrap(step.caution, width, "     ", "     Caution: ")
    if card.course:
        lines.append("")
        for sentence in (*card.course, *(card.outlook if outlook else ())):
            lines += wrap(sentence, width, "    ", "  - ")
    return lines
