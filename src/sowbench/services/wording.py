"""Days, amounts and chances as a grower says them; the same in print, in files and on screen."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sowbench.domain.plan import Spread


def day(when: date, *, year: bool = False) -> str:
    """Write a day.

    Parameters
    ----------
    when : date
        The day.
    year : bool, default False
        Whether the year is said.

    Returns
    -------
    text : str
        As "Tue 2 March".
    """
    return f"{when:%a} {when.day} {when:%B}" + (f" {when.year}" if year else "")


def short_day(when: date) -> str:
    """Write a day for a narrow column.

    Parameters
    ----------
    when : date
        The day.

    Returns
    -------
    text : str
        As "2 Mar".
    """
    return f"{when.day} {when:%b}"


def span(first: date, last: date | None) -> str:
    """Write a first and a last day.

    Parameters
    ----------
    first : date
        First day.
    last : date or None
        Last day; None if there is none.

    Returns
    -------
    text : str
        As "14 to 24 April", "28 April to 3 May".
    """
    if last is None or last == first:
        return f"{first.day} {first:%B}"
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {last.day} {first:%B}"
    return f"{first.day} {first:%B} to {last.day} {last:%B}"


def between(first: date, last: date) -> str:
    """Write a first and a last day as bounds.

    Parameters
    ----------
    first, last : date
        The days.

    Returns
    -------
    text : str
        As "between 14 and 24 April"; of one day "on 14 April".
    """
    if first == last:
        return f"on {span(first, last)}"
    return f"between {span(first, last)}".replace(" to ", " and ")


def count(n: float, noun: str, plural: str = "") -> str:
    """Write how many of something.

    Parameters
    ----------
    n : float
        How many.
    noun : str
        One of them.
    plural : str, default ""
        Several of them; with an s if it is not given.

    Returns
    -------
    text : str
        As "1 seed", "1,200 seeds".
    """
    return f"{n:,.0f} {noun if n == 1 else plural or noun + 's'}"


def minutes(n: float) -> str:
    """Write working time.

    Parameters
    ----------
    n : float
        Minutes.

    Returns
    -------
    text : str
        As "25 min", "3 h 40 min"; never less than a minute.
    """
    whole = max(round(n), 1)
    if whole < 60:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest:02d} min" if rest else f"{hours} h"


def percent(share: float, digits: int = 0) -> str:
    """Write a share of 1 in percent.

    Parameters
    ----------
    share : float
        Share.
    digits : int, default 0
        Decimals.

    Returns
    -------
    text : str
        As "98 %"; a share that is not 1 is never written as 100 %, nor one above 0 as 0 %.
    """
    text = f"{100 * share:.{digits}f}"
    step = 10.0**-digits
    if float(text) >= 100 and share < 1:
        return f"over {100 - step:.{digits}f} %"
    if float(text) == 0 and share > 0:
        return f"under {step:.{digits}f} %"
    return f"{text} %"


def chance(share: float) -> str:
    """Write a chance as times in ten or a hundred.

    Parameters
    ----------
    share : float
        Chance from 0 to 1.

    Returns
    -------
    text : str
        As "19 times in 20", "about 7 times in 10", "nearly always", "hardly ever".
    """
    if share >= 0.995:
        return "nearly always"
    if share < 0.005:
        return "hardly ever"
    if share >= 0.945:
        return f"{100 * share:.0f} times in 100"
    tenths = round(10 * share)
    if tenths == 0:
        return "less than once in 10"
    return "about once in 10" if tenths == 1 else f"about {tenths} times in 10"


def money(amount: float, currency: str = "") -> str:
    """Write money.

    Parameters
    ----------
    amount : float
        How much.
    currency : str, default ""
        Currency of the house, if it has one: a word behind, a sign in front.

    Returns
    -------
    text : str
        As "4,812", "12.40", "4,812 crowns" or "¤ 4,812"; cents below 100 only.
    """
    digits = 2 if abs(amount) < 100 else 0
    rounded = round(amount, digits) + 0.0  # no "-0"
    text = f"{rounded:,.{digits}f}"
    return f"{text} {currency}" if currency[-1:].isalpha() else f"{currency} {text}".strip()


def amount(value: float) -> str:
    """Write an amount with no more digits than it needs.

    Parameters
    ----------
    value : float
        How much.

    Returns
    -------
    text : str
        As "12", "3.5", "1,240".
    """
    if abs(value) >= 100 or value == round(value):
        return f"{value:,.0f}"
    return f"{value:,.1f}"


def usable(spread: Spread) -> str:
    """Write how many usable plants come of a sowing.

    Parameters
    ----------
    spread : Spread
        Five, fifty and ninety-five percent points.

    Returns
    -------
    text : str
        As "most likely 64, 60 to 68 nine times in ten".
    """
    if spread.p05 == spread.p95:
        return f"{spread.p50:,}"
    return f"most likely {spread.p50:,}, {spread.p05:,} to {spread.p95:,} nine times in ten"


def listed(parts: Iterable[str]) -> str:
    """Join words as in a sentence.

    Parameters
    ----------
    parts : iterable of str
        Words.

    Returns
    -------
    text : str
        As "a, b and c".
    """
    every = list(parts)
    if len(every) < 2:
        return "".join(every)
    return f"{', '.join(every[:-1])} and {every[-1]}"


def assumed(sentences: Iterable[str]) -> list[str]:
    """Say assumptions, those that are alike but for name and value together.

    Parameters
    ----------
    sentences : iterable of str
        As a plan lists them: "label 0.02: default, change in [prices]".

    Returns
    -------
    sentences : list of str
        "short_plant 0.60, label 0.02: default, change in [prices]", in the order of the first.
    """
    alike: dict[str, list[str]] = {}
    for sentence in sentences:
        what, colon, rest = sentence.partition(": ")
        name_and_value = colon and len(what.split()) == 2
        key = rest if name_and_value else sentence
        alike.setdefault(key, []).append(what if name_and_value else "")
    return [f"{', '.join(whats)}: {rest}" if whats[0] else rest for rest, whats in alike.items()]


def sentence_start(words: str) -> str:
    """Begin words with a capital, leaving the rest as it is.

    Parameters
    ----------
    words : str
        Words.

    Returns
    -------
    text : str
        As "Lot A-12" from "lot A-12".
    """
    return words[:1].upper() + words[1:]
