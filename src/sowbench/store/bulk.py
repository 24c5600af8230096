"""Many rows at once, as fast as each database takes them, in the transaction of a connection.

SQLite takes them by ``executemany``, PostgreSQL by COPY; both get plain values in the order of the
columns, so that nothing is looked up by name for each row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import Connection, Date, Table, exc
from sqlalchemy.types import TypeEngine

from sowbench.store.types import UtcDateTime, utc_instant

Row = Sequence[Any]


def insert_rows(
    connection: Connection, table: Table, names: Sequence[str], rows: Sequence[Row]
) -> None:
    """Add rows.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work that writes.
    table : Table
        Where they go.
    names : sequence of str
        Columns; the others get what the database gives them.
    rows : list of sequence
        Values in the order of `names`; instants have their zone.
    """
    if not rows:
        return
    into = f"{_quoted(table.name)} ({', '.join(map(_quoted, names))})"
    if connection.dialect.name == "sqlite":
        marks = ", ".join("?" * len(names))
        statement = f"INSERT INTO {into} VALUES ({marks})"  # noqa: S608 - names of our tables
        connection.exec_driver_sql(statement, list(_sqlite_rows(table, names, rows)))
    else:
        _copy(connection, into, _checked(table, names, rows))


def update_rows(
    connection: Connection, table: Table, key: str, names: Sequence[str], rows: Sequence[Row]
) -> None:
    """Change rows that there are.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work that writes.
    table : Table
        Where they are.
    key : str
        Column that tells one row from another; its value comes last in each row.
    names : sequence of str
        Columns to be changed, without the key.
    rows : list of sequence
        Values in the order of `names`, then the key; instants have their zone.
    """
    if not rows:
        return
    name, of = _quoted(table.name), _quoted(key)
    if connection.dialect.name == "sqlite":
        sets = ", ".join(f"{_quoted(each)} = ?" for each in names)
        statement = f"UPDATE {name} SET {sets} WHERE {of} = ?"  # noqa: S608 - as above
        connection.exec_driver_sql(statement, list(_sqlite_rows(table, [*names, key], rows)))
        return
    columns = ", ".join(map(_quoted, [*names, key]))
    sets = ", ".join(f"{_quoted(each)} = changed.{_quoted(each)}" for each in names)
    connection.exec_driver_sql(
        f"CREATE TEMPORARY TABLE changed ON COMMIT DROP AS SELECT {columns} FROM {name} LIMIT 0"  # noqa: S608
    )
    _copy(connection, f"changed ({columns})", _checked(table, [*names, key], rows))
    connection.exec_driver_sql(
        f"UPDATE {name} SET {sets} FROM changed WHERE {name}.{of} = changed.{of}"  # noqa: S608
    )
    connection.exec_driver_sql("DROP TABLE changed")


def _copy(connection: Connection, into: str, rows: Iterable[Row]) -> None:
    """Hand rows to PostgreSQL in one stream."""
    import psycopg

    statement = f"COPY {into} FROM STDIN"
    cursor: Any = connection.connection.cursor()
    try:
        with cursor.copy(statement) as copy:
            for row in rows:
                copy.write_row(row)
    except psycopg.Error as error:
        raise exc.OperationalError(statement, None, error) from error
    finally:
        cursor.close()


def _sqlite_rows(table: Table, names: Sequence[str], rows: Iterable[Row]) -> Iterator[Row]:
    """Write days and instants as SQLAlchemy keeps them in SQLite."""
    turned = [
        (at, turn)
        for at, turn in enumerate(_turn(table.c[name].type) for name in names)
        if turn is not None
    ]
    if not turned:
        yield from map(tuple, rows)
        return
    for row in rows:
        values = list(row)
        for at, turn in turned:
            if values[at] is not None:
                values[at] = turn(values[at])
        yield tuple(values)


def _checked(table: Table, names: Sequence[str], rows: Sequence[Row]) -> Sequence[Row]:
    """Refuse instants without a zone, which the server would take for its own."""
    instants = [at for at, name in enumerate(names) if isinstance(table.c[name].type, UtcDateTime)]
    for at in instants:
        for row in rows:
            if row[at] is not None:
                utc_instant(row[at])
    return rows


def _turn(kind: TypeEngine[Any]) -> Callable[[Any], Any] | None:
    """Return how SQLite holds a kind of value; None if as it is."""
    if isinstance(kind, Date):
        return date.isoformat
    return _instant if isinstance(kind, UtcDateTime) else None


_INSTANT: Final = "%Y-%m-%d %H:%M:%S.%f"


def _instant(value: datetime) -> str:
    """Write an instant."""
    return utc_instant(value).strftime(_INSTANT)


def _quoted(name: str) -> str:
    """Quote the name of a table or column."""
    return f'"{name}"'
