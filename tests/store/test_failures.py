import sqlite3

import pytest
from sqlalchemy import exc, make_url

from sowbench.science.errors import (
    BookBusyError,
    BookError,
    BookOpenError,
    OutOfRangeError,
    StoreFullError,
)
from sowbench.store.failures import told

FILE = make_url("sqlite:////data/book.sqlite")
SERVER = make_url("postgresql+psycopg://grower:geheim@db/book")


class SaidError(Exception):
    """What a driver raises, with the code that it gives."""

    def __init__(self, code, words="words of the driver.\nmore of them"):
        super().__init__(words)
        self.sqlite_errorcode = self.sqlstate = code


def raised(url, error):
    with pytest.raises(Exception) as caught, told(url):  # noqa: PT011 - any; the tests look at it
        raise error
    return caught.value


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (sqlite3.SQLITE_FULL, StoreFullError),
        (sqlite3.SQLITE_IOERR_WRITE, StoreFullError),
        (sqlite3.SQLITE_BUSY, BookBusyError),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, BookBusyError),
        (sqlite3.SQLITE_NOTADB, BookOpenError),
        (sqlite3.SQLITE_CORRUPT, BookOpenError),
        (sqlite3.SQLITE_CANTOPEN, BookOpenError),
        (sqlite3.SQLITE_READONLY, BookOpenError),
        (sqlite3.SQLITE_IOERR_READ, BookError),
    ],
)
def test_what_sqlite_says_is_told_with_the_file(code, kind):
    error = raised(FILE, exc.OperationalError("INSERT", None, SaidError(code)))
    assert type(error) is kind
    assert "/data/book.sqlite" in str(error)
    assert error.problem == str(error)


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        ("53100", StoreFullError),
        ("55P03", BookBusyError),
        ("40001", BookBusyError),
        ("42501", BookOpenError),
        ("25006", BookOpenError),
        ("28P01", BookOpenError),
        ("3D000", BookOpenError),
        ("57P01", BookOpenError),
        (None, BookOpenError),
    ],
)
def test_what_a_server_says_is_told_without_the_password(code, kind):
    error = raised(SERVER, exc.OperationalError("INSERT", None, SaidError(code)))
    assert type(error) is kind
    assert "grower:***@db/book" in str(error)
    assert "geheim" not in str(error)


@pytest.mark.parametrize("url", [FILE, SERVER])
def test_what_is_our_own_mistake_is_not_told_as_the_databases(url):
    mistake = exc.ProgrammingError("SELEKT", None, SaidError(1 if url is FILE else "42601"))
    assert raised(url, mistake) is mistake
    assert raised(url, error := KeyError("k")) is error


def test_a_database_error_without_a_code_is_left_as_it_is():
    plain = exc.OperationalError("INSERT", None, Exception("?"))
    assert raised(FILE, plain) is plain


def test_a_value_that_cannot_be_kept_is_told_as_it_was():
    wrong = OutOfRangeError("instant", "a time with its zone", "noon")
    assert raised(FILE, exc.StatementError("m", "INSERT", None, wrong)) is wrong
    other = exc.StatementError("m", "INSERT", None, TypeError("?"))
    assert raised(FILE, other) is other


def test_too_many_at_once_is_busy():
    assert isinstance(raised(FILE, exc.TimeoutError()), BookBusyError)
