"""The answer to one question, as a short card."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sowbench.cli.render_cards import card_body
from sowbench.cli.text import WIDTH, block, heading, wrap
from sowbench.domain.records import StepKind
from sowbench.services import wording
from sowbench.services.offers import offer_words, reason_words

if TYPE_CHECKING:
    from sowbench.services.cards import Card
    from sowbench.services.try_one import Answer

INDENT: Final = "  "


def try_lines(answer: Answer, width: int = WIDTH, *, reasons: bool = False) -> list[str]:
    """Say what to do for so many plants on a day.

    Parameters
    ----------
    answer : Answer
        The answer.
    width : int, default 100
        Most columns of a line.
    reasons : bool, default False
        Whether each step says why, with its source.

    Returns
    -------
    lines : list of str
        The text.
    """
    question = answer.question
    wanted = (
        f"{question.plants:,} {answer.crop} {answer.noun} for"
        f" {wording.day(question.wanted_date, year=True)}"
    )
    if not answer.sowings:
        lines = [heading(f"{wanted}: this cannot be done.")]
        return lines + _unmet_lines(answer, width) + _ground(answer, width)
    days = wording.listed(
        wording.day(each, year=True)
        for each in dict.fromkeys(sowing.sow_date for sowing in answer.sowings)
    )
    lines = wrap(f"{wanted}: sow on {days}.", width)
    lines[0] = heading(lines[0])
    for card in answer.cards:
        for sentence in _opening(answer, card):
            lines += wrap(sentence, width)
    lines += _sure_lines(answer, width)
    for card in answer.cards:
        name = f"How to sow ({card.sowing})" if len(answer.cards) > 1 else "How to sow"
        lines += block(name, card_body(card, width, reasons=reasons, outlook=False)[1:])
    lines += _unmet_lines(answer, width)
    return lines + _ground(answer, width)


def _opening(answer: Answer, card: Card) -> list[str]:
    """Say in what, how many seeds, and when it comes up and is ready."""
    sowing = next(each for each in answer.sowings if each.sowing == card.sowing)
    sentences = [card.opening[0]]
    if card.emergence_date is not None:
        sentences.append(f"Half of it is up about {wording.day(card.emergence_date)}.")
    later = [step for step in sowing.steps if step.kind in _MOVES and step.to_date > step.from_date]
    sentences += [_MOVES[step.kind].format(day=wording.day(step.from_date)) for step in later]
    return [*sentences, *card.outlook]


_MOVES: Final = {
    StepKind.POT_ON: "Pot on about {day}.",
    StepKind.SPACE: "Space out about {day}.",
    StepKind.TONE: "Tone from about {day}: drier, cooler, more air.",
}


def _sure_lines(answer: Answer, width: int) -> list[str]:
    """Say how sure it is, and what it costs."""
    order, question = answer.order, answer.question
    if order is None or not order.planned:
        return []
    first = question.earliest_date or question.wanted_date
    last = question.latest_date or question.wanted_date
    when = wording.between(first, last)
    sentence = (
        f"Enough plants: {wording.chance(order.chance_enough_frac)}."
        f" Ready and not yet overgrown {when}: {wording.chance(order.chance_in_time_frac)}."
        f" Seed, container, mix and room cost about"
        f" {wording.money(answer.cost_of_raising, answer.currency)}."
    )
    return wrap(sentence, width)


def _unmet_lines(answer: Answer, width: int) -> list[str]:
    """Say what is not planned and what would help."""
    unmet = answer.unmet
    if unmet is None:
        return []
    why = unmet.words or reason_words(unmet.reason)
    lines = wrap(f"Not planned: {unmet.plants:,}. {why}", width, INDENT)
    for offer in offer_words(unmet.offers, answer.question.plants, answer.currency):
        lines += wrap(offer, width, INDENT * 3, INDENT * 2 + "→ ")
    return lines


def _ground(answer: Answer, width: int) -> list[str]:
    """List what was assumed."""
    lines: list[str] = []
    for each in wording.assumed(answer.plan.assumptions):
        lines += wrap(each, width, INDENT * 2, INDENT + "- ")
    return block("Assumed, because no file says otherwise", lines)
