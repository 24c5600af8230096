"""What can hurt someone, in words."""

from __future__ import annotations

from functools import cache

from sowbench.reference.tables import read_table
from sowbench.science.errors import UnknownNameError

__all__ = ["caution_words"]


@cache
def caution_words(name: str) -> str:
    """Return a caution.

    Parameters
    ----------
    name : str
        Its id in ``cautions.csv``, as ``treated_seed``.

    Returns
    -------
    text : str
        The caution.

    Raises
    ------
    UnknownNameError
        If there is none of that id.
    """
    found = {row["id"]: row["words"] for row in read_table("cautions.csv")}
    if name not in found:
        raise UnknownNameError.among(name, "caution", found)
    return found[name]
