"""How numbers, days and money are written on pages: filters for the templates."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import TYPE_CHECKING, Final
from urllib.parse import quote
from zoneinfo import ZoneInfo

import msgspec
from jinja2 import StrictUndefined
from markupsafe import Markup

from sowbench.services import wording
from sowbench.web import assets
from sowbench.web.security import csrf_token_now, new_entry_id

if TYPE_CHECKING:
    from litestar.plugins.jinja import JinjaTemplateEngine

_MISSING: Final = "—"
_NEARLY_FRAC: Final = 0.10
"""A chance that lacks no more than this is to be watched (assumption)."""


def number(value: float | None, digits: int = 0) -> str:
    """Write a number with thousands apart.

    Parameters
    ----------
    value : float or None
        The number; None is a dash.
    digits : int, default 0
        Digits after the point.

    Returns
    -------
    text : str
        As "1,240".
    """
    return _MISSING if value is None else f"{value:,.{digits}f}"


def percent(value_frac: float | None, digits: int = 0) -> str:
    """Write a share as percent.

    Parameters
    ----------
    value_frac : float or None
        The share, 0 to 1; None is a dash.
    digits : int, default 0
        Digits after the point.

    Returns
    -------
    text : str
        As "91 %"; a share that is not 1 is never written as 100 %, nor one above 0 as 0 %.
    """
    return _MISSING if value_frac is None else wording.percent(value_frac, digits)


def minutes(value_min: float | None) -> str:
    """Write a time of work.

    Parameters
    ----------
    value_min : float or None
        Minutes; None is a dash.

    Returns
    -------
    text : str
        As "45 min" or "3 h 10".
    """
    if value_min is None:
        return _MISSING
    whole = round(value_min)
    if whole < 60:
        return f"{whole} min"
    return f"{whole // 60} h {whole % 60:02d}" if whole % 60 else f"{whole // 60} h"


def day(value: date | None, *, year: bool = False) -> str:
    """Write a day as one says it.

    Parameters
    ----------
    value : date or None
        The day; None is a dash.
    year : bool, default False
        Whether the year is said.

    Returns
    -------
    text : str
        As "Tue 9 March".
    """
    return _MISSING if value is None else wording.day(value, year=year)


def long_day(value: date | None) -> str:
    """Write a day with its weekday in full, as over a page.

    Parameters
    ----------
    value : date or None
        The day; None is a dash.

    Returns
    -------
    text : str
        As "Tuesday 9 March".
    """
    return _MISSING if value is None else f"{value:%A} {value.day} {value:%B}"


def short_day(value: date | None) -> str:
    """Write a day for a narrow column.

    Parameters
    ----------
    value : date or None
        The day; None is a dash.

    Returns
    -------
    text : str
        As "9 Mar".
    """
    return _MISSING if value is None else wording.short_day(value)


def span(first: date | None, last: date | None = None) -> str:
    """Write a first and a last day.

    Parameters
    ----------
    first : date or None
        First day; None is a dash.
    last : date or None, default None
        Last day.

    Returns
    -------
    text : str
        As "14 to 24 April".
    """
    return _MISSING if first is None else wording.span(first, last)


def moment(value: datetime | None, zone: str = "UTC") -> str:
    """Write an instant by the clock of the house.

    Parameters
    ----------
    value : datetime or None
        The instant, with its zone; None is a dash.
    zone : str, default "UTC"
        Time zone of the house.

    Returns
    -------
    text : str
        As "9 Mar, 8:12".
    """
    if value is None:
        return _MISSING
    there = value.astimezone(ZoneInfo(zone))
    return f"{wording.short_day(there.date())}, {there.hour}:{there.minute:02d}"


def money(value: float | None, currency: str = "") -> str:
    """Write money.

    Parameters
    ----------
    value : float or None
        How much; None is a dash.
    currency : str, default ""
        Currency of the house, if it has one.

    Returns
    -------
    text : str
        As "4,812 crowns".
    """
    return _MISSING if value is None else wording.money(value, currency)


def amount(value: float | None) -> str:
    """Write an amount with no more digits than it needs.

    Parameters
    ----------
    value : float or None
        How much; None is a dash.

    Returns
    -------
    text : str
        As "12", "3.5", "1,240".
    """
    return _MISSING if value is None else wording.amount(value)


def lower_start(words: str) -> str:
    """Let a sentence go on after a colon.

    Parameters
    ----------
    words : str
        Words.

    Returns
    -------
    text : str
        As "a windowsill" from "A windowsill".
    """
    return words[:1].lower() + words[1:]


def chance_level(mid_frac: float, high_frac: float | None, wanted_frac: float | None) -> str:
    """Say which mark a chance gets.

    Parameters
    ----------
    mid_frac : float
        The chance in the middle.
    high_frac : float or None
        Its upper end, nine times in ten below; None if it has no range.
    wanted_frac : float or None
        The chance that is wanted; None if none is.

    Returns
    -------
    level : str
        "good" if it is what is wanted; "watch" if it may be, or lacks at most a tenth
        (assumption); else "act".
    """
    if wanted_frac is None or round(mid_frac, 3) >= round(wanted_frac, 3):
        return "good"
    if mid_frac >= wanted_frac - _NEARLY_FRAC or (high_frac or 0.0) >= wanted_frac:
        return "watch"
    return "act"


def chance_words(
    low_frac: float | None,
    mid_frac: float,
    high_frac: float | None,
    wanted_frac: float | None,
) -> str:
    """Say a chance to who cannot see its mark.

    Parameters
    ----------
    low_frac, high_frac : float or None
        Its range, from 10 to 90 %; None if it has none.
    mid_frac : float
        The chance in the middle.
    wanted_frac : float or None
        The chance that is wanted; None if none is.

    Returns
    -------
    text : str
        As "Chance 91 %, between 84 % and 95 %; 95 % is wanted. Watch."
    """
    text = f"Chance {percent(mid_frac)}"
    if low_frac is not None and high_frac is not None:
        text += f", between {percent(low_frac)} and {percent(high_frac)}"
    if wanted_frac is not None:
        text += f"; {percent(wanted_frac)} is wanted"
    level = chance_level(mid_frac, high_frac, wanted_frac)
    return text + {"good": ". Good.", "watch": ". Watch.", "act": ". Act."}[level]


def script_json(value: object) -> Markup:
    """Write plain values as JSON that can stand within a script element.

    Parameters
    ----------
    value : object
        JSON as text, or plain values and records.

    Returns
    -------
    text : Markup
        JSON without any ``<``.
    """
    text = value if isinstance(value, str) else msgspec.json.encode(value).decode("utf-8")
    return Markup(text.replace("<", "\\u003c"))  # noqa: S704 - nothing in it can end the script


_ORDER_PAGES: Final = frozenset(
    {"called", "edit", "free", "keep", "new", "promise", "status", "take-in"}
)


def order_address(name: str) -> str:
    """Return the address of an order.

    Parameters
    ----------
    name : str
        Its name.

    Returns
    -------
    address : str
        As "/orders/salad/2027-03-08"; a name that cannot stand in a path, or is that of another
        page, is asked for.

    Examples
    --------
    >>> order_address("salad/2027-03-08"), order_address("new")
    ('/orders/salad/2027-03-08', '/orders/called?name=new')
    """
    parts = name.split("/")
    if parts[0] in _ORDER_PAGES or {"", ".", ".."} & set(parts):
        return f"/orders/called?name={quote(name, safe='')}"
    return f"/orders/{quote(name)}"


FILTERS: Final[dict[str, Callable[..., str]]] = {
    "number": number,
    "percent": percent,
    "minutes": minutes,
    "day": day,
    "long_day": long_day,
    "short_day": short_day,
    "span": span,
    "moment": moment,
    "money": money,
    "amount": amount,
    "script_json": script_json,
    "counted": wording.count,
    "listed": wording.listed,
    "times": wording.chance,
    "start": wording.sentence_start,
    "lower_start": lower_start,
    "order_address": order_address,
}
"""Filters of the templates by name."""


def prepare(engine: JinjaTemplateEngine) -> None:
    """Give the templates their filters and functions.

    Parameters
    ----------
    engine : JinjaTemplateEngine
        The engine of the templates.
    """
    environment = engine.engine
    environment.trim_blocks = True
    environment.lstrip_blocks = True
    environment.undefined = StrictUndefined
    environment.filters.update(FILTERS)
    environment.globals.update(
        static=assets.address,
        has_static=assets.exists,
        chance_level=chance_level,
        chance_words=chance_words,
        csrf_token_now=csrf_token_now,
        new_entry_id=new_entry_id,
    )
