"""Makes anew what follows from the journal."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from sowbench.services.desk import Desk


class Rebuilt(NamedTuple):
    """What was made anew.

    Parameters
    ----------
    n_entries : int
        Entries of the journal, struck ones too.
    n_sowings : int
        Sowings followed.
    """

    n_entries: int
    n_sowings: int


def rebuild_book(desk: Desk) -> Rebuilt:
    """Make all derived state of a book anew from its entries, in one piece of work.

    Parameters
    ----------
    desk : Desk
        The open book.

    Returns
    -------
    rebuilt : Rebuilt
        How much there was.
    """
    with desk.book.writing() as unit:
        n_sowings = unit.journal.rebuild()
        n_entries = unit.journal.n_entries()
        unit.commit()
    return Rebuilt(n_entries, n_sowings)
