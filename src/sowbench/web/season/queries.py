"""What an address of the season pages asks for; what cannot be read asks for nothing."""

from __future__ import annotations

from datetime import date


def asked_day(text: str | None) -> date | None:
    """Read a day of an address.

    Parameters
    ----------
    text : str or None
        Text after the question mark.

    Returns
    -------
    day : date or None
        The day; None if there is none, or none that could be read.
    """
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return None


def asked_whole(text: str | None, most: int, default: int | None = None) -> int | None:
    """Read a whole number of an address.

    Parameters
    ----------
    text : str or None
        Text after the question mark.
    most : int
        The largest that is taken; a larger one is brought to it.
    default : int or None, default None
        What an absent or unreadable one means.

    Returns
    -------
    number : int or None
        The number, at least 1.
    """
    if text is None or not text.isascii() or not text.isdigit() or len(text) > 6:
        return default
    return min(max(int(text), 1), most)
