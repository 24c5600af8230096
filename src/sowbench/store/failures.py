"""What a database says, in words that help: full, busy, unreadable, out of reach."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from sqlalchemy import exc

from sowbench.science.errors import (
    BookBusyError,
    BookError,
    BookOpenError,
    SowbenchError,
    StoreFullError,
)

if TYPE_CHECKING:
    from sqlalchemy import URL

_NOTHING_LOST: Final = "Nothing of this was kept; what was there before is safe."
# What SQLite says where the system lets the file grow no further, as with a quota.
_NO_GROWTH: Final = {
    sqlite3.SQLITE_IOERR_WRITE,
    sqlite3.SQLITE_IOERR_SHMSIZE,
    sqlite3.SQLITE_IOERR_TRUNCATE,
}
_PRIMARY: Final = 0xFF


@contextmanager
def told(url: URL) -> Iterator[None]:
    """Turn the errors of the database into those of the house.

    Parameters
    ----------
    url : URL
        Address of the database, for the message.

    Raises
    ------
    BookError
        In place of what the database raised: StoreFullError where there is no room, BookBusyError
        where another writes for too long, BookOpenError where it cannot be opened or reached.
    SowbenchError
        If a value cannot be kept, as it was raised.
    """
    try:
        yield
    except exc.DBAPIError as error:
        told_as = _sqlite(error, url) if url.get_backend_name() == "sqlite" else _server(error, url)
        if told_as is None:
            raise
        raise told_as from error
    except exc.StatementError as error:
        # A value that a column cannot take, found on its way to the database.
        if isinstance(error.orig, SowbenchError):
            raise error.orig from None
        raise
    except exc.TimeoutError as error:
        raise BookBusyError(
            f"The house book is asked for more at once than it can answer. {_NOTHING_LOST}"
            " Try again in a moment."
        ) from error


def _sqlite(error: exc.DBAPIError, url: URL) -> BookError | None:
    """Tell what SQLite said."""
    code = getattr(error.orig, "sqlite_errorcode", None)
    if code is None:
        return None
    where = url.database
    primary = code & _PRIMARY
    if primary == sqlite3.SQLITE_FULL or code in _NO_GROWTH:
        return StoreFullError(
            f"The disk of {where} is full, or the file may grow no further. {_NOTHING_LOST}"
            " Make room on the disk, then enter it again."
        )
    if primary in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return BookBusyError(
            f"Another program has been writing to {where} for too long. {_NOTHING_LOST}"
            " Try again in a moment; if it goes on, end the other program."
        )
    if primary in {sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT}:
        return BookOpenError(
            f"{where} must be a house book, an SQLite database; it is another kind of file, or"
            " damaged. Name another folder with --data, or put back a copy of the book."
        )
    if primary in {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM}:
        return BookOpenError(
            f"{where} cannot be written by this user. {_NOTHING_LOST} Name a folder of your own"
            " with --data, or have the right to write to this one."
        )
    if primary == sqlite3.SQLITE_IOERR:
        return BookError(
            f"The disk of {where} failed to read or write ({error.orig}). {_NOTHING_LOST} See to"
            " the disk before you go on."
        )
    return None


def _server(error: exc.DBAPIError, url: URL) -> BookError | None:
    """Tell what PostgreSQL said, by its codes."""
    where = url.render_as_string(hide_password=True)
    code = getattr(error.orig, "sqlstate", None)
    if code == "53100":
        return StoreFullError(
            f"The disk of the database server is full ({where}). {_NOTHING_LOST} Make room there,"
            " then enter it again."
        )
    if code in {"55P03", "57014", "40P01", "40001"}:
        return BookBusyError(
            f"Someone else has been writing to {where} for too long. {_NOTHING_LOST} Try again in"
            " a moment."
        )
    if code in {"42501", "25006"}:
        return BookOpenError(
            f"{where} cannot be written by this user. {_NOTHING_LOST} Give the user of the"
            " address the right to make and write tables there."
        )
    if error.connection_invalidated or (code is None and isinstance(error, exc.OperationalError)):
        return BookOpenError(
            f"The database server does not answer at {where}: {_first_line(error)}. Start it, or"
            " correct the address."
        )
    if code is not None and code[:2] in {"08", "28", "3D", "53", "57"}:
        return BookOpenError(
            f"The database server refused at {where}: {_first_line(error)}. Correct the address,"
            " the user or the password, or see to the server."
        )
    return None


def _first_line(error: exc.DBAPIError) -> str:
    """Return the first line of what the driver said, without its full stop."""
    return str(error.orig).strip().partition("\n")[0].rstrip(".")
