"""What all parts of a unit of work share: its connection."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Final, TypeVar

from sqlalchemy import Connection

T = TypeVar("T")

N_NAMES_MAX: Final = 2_000
"""Names in one query; both databases take more."""


class Repository:
    """Reads and writes some of the tables on the connection of a unit of work."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection


def in_parts(items: Iterable[T], size: int = N_NAMES_MAX) -> Iterator[list[T]]:
    """Cut what may be much into lists that one statement can take.

    Parameters
    ----------
    items : iterable
        Anything.
    size : int, default N_NAMES_MAX
        Items in a list at most.

    Yields
    ------
    part : list
        The next items.
    """
    source = iter(items)
    while part := list(islice(source, size)):
        yield part
