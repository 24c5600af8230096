"""What can be promised, as one would say it on the phone."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.cli.text import WIDTH, block, heading, wrap
from sowbench.services import wording
from sowbench.services.cards import lot_words
from sowbench.services.offers import reason_words
from sowbench.services.promise import SAFE_FRAC

if TYPE_CHECKING:
    from sowbench.services.promise import PromiseAnswer, PromiseOutcome

_INDENT: Final = "  "
_ISO_DAY: Final = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def promise_lines(outcome: PromiseOutcome, width: int = WIDTH) -> list[str]:
    """Say what can be promised.

    Parameters
    ----------
    outcome : PromiseOutcome
        On the wanted day, and the earliest.
    width : int, default 100
        Most columns of a line.

    Returns
    -------
    lines : list of str
        The answer first, then how, then what it squeezes.
    """
    question = outcome.question
    wanted = (
        f"{question.plants:,} {outcome.crop} for {wording.day(question.wanted_date, year=True)}"
    )
    if outcome.on_day is not None:
        lines = _first(f"{wanted}: {_verdict(outcome.on_day)}", width)
        lines += _how(outcome, outcome.on_day, width)
    else:
        lines = _first(f"{wanted}: no. {reason_words(outcome.reason)}.", width)
    earliest = outcome.earliest
    if earliest is None:
        lines += wrap("No later day of the next four months fits either.", width) * (
            outcome.on_day is None
        )
    elif outcome.on_day is None or earliest.date < outcome.on_day.date:
        lines += [
            "",
            *_first(f"The earliest day is {wording.day(earliest.date, year=True)}.", width),
        ]
        lines += _how(outcome, earliest, width)
    noted: list[str] = []
    for each in outcome.notes:
        noted += wrap(each, width, _INDENT * 2, _INDENT + "- ")
    return [*lines, *block("To note", noted)]


def _first(words: str, width: int) -> list[str]:
    """Make the line that counts stand out."""
    return [heading(each) for each in wrap(words, width)]


def _verdict(answer: PromiseAnswer) -> str:
    """Say yes, or yes at a risk."""
    if answer.chance_filled_frac >= SAFE_FRAC:
        return f"yes, filled {wording.chance(answer.chance_filled_frac)}."
    return f"it fits, but is filled only {wording.chance(answer.chance_filled_frac)}."


def _how(outcome: PromiseOutcome, answer: PromiseAnswer, width: int) -> list[str]:
    """Say how it would be done, how sure it is, what it costs and what it squeezes."""
    cells = wording.count(answer.n_cells, "cell")
    seeds = wording.count(answer.seeds_per_cell, "seed")
    sentences = [
        (
            f"Sow on {wording.day(answer.sow_date)}: {cells} of {seeds} each,"
            f" {lot_words(answer.lot)}; handed over in {answer.container_name}"
            f" ({answer.container}), grown in {answer.place}."
        ),
        (
            f"Enough plants: {wording.chance(answer.chance_enough_frac)}. Ready and not overgrown"
            f" then: {wording.chance(answer.chance_in_time_frac)}."
        ),
        (
            f"It costs about {wording.money(answer.cost, outcome.currency)}, that is"
            f" {wording.money(answer.cost_per_plant, outcome.currency)} each, with what a shortage"
            " or a late day may cost."
        ),
    ]
    if answer.squeezes:
        tight = "; ".join(_said(each) for each in answer.squeezes)
        sentences.append(f"It leaves hardly any room elsewhere: {tight}.")
    else:
        sentences.append("Nothing gets tight by it.")
    lines: list[str] = []
    for sentence in sentences:
        lines += wrap(sentence, width, _INDENT)
    return lines


def _said(words: str) -> str:
    """Say the days in a text as people do; seed is scarce for the whole season."""
    if words.startswith("seed of "):
        return re.split(r" (?:on|from) \d", words)[0]
    return _ISO_DAY.sub(lambda found: wording.day(date.fromisoformat(found[0])), words)
