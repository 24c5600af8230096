"""How numbers, days and money are written on pages: filters for the templates."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.services import wording

if TYPE_CHECKING:
    from litestar.contrib.jinja import JinjaTemplateEngine

_MISSING: Final = "—"


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
        As "91 %".
    """
    return _MISSING if value_frac is None else f"{100 * value_frac:.{digits}f} %"


def minutes(value_min: float) -> str:
    """Write a time of work.

    Parameters
    ----------
    value_min : float
        Minutes.

    Returns
    -------
    text : str
        As "45 min" or "3 h 10".
    """
    whole = round(value_min)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d}"


def day(value: date | None) -> str:
    """Write a day as one says it.

    Parameters
    ----------
    value : date or None
        The day; None is a dash.

    Returns
    -------
    text : str
        As "Tue 9 Mar".
    """
    return _MISSING if value is None else wording.day(value)


def prepare(engine: JinjaTemplateEngine) -> None:
    """Give the templates their filters.

    Parameters
    ----------
    engine : JinjaTemplateEngine
        The engine of the templates.
    """
    environment = engine.engine
    environment.trim_blocks = True
    environment.lstrip_blocks = True
    environment.filters.update(number=number, percent=percent, minutes=minutes, day=day)
