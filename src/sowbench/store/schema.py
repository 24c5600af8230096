"""Brings the tables of a book up to date, by the migrations, when it is opened."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Engine, inspect, text

from sowbench.science.errors import BookOpenError
from sowbench.store.engine import reading_options, writing_options

HEAD: Final = "0002"
"""Revision of the tables that this sowbench works with: the last of store/migrations."""

_VERSION_TABLE: Final = "alembic_version"
MIGRATIONS: Final = Path(__file__).parent / "migrations"


def bring_up_to_date(engine: Engine) -> None:
    """Make the tables of a new book, or change those of an older one.

    Parameters
    ----------
    engine : Engine
        The database.

    Raises
    ------
    BookOpenError
        If a later sowbench made the book, or the database is something else's.
    """
    with engine.connect() as opened:
        connection = opened.execution_options(**reading_options(engine))
        if _revision(connection) == HEAD:
            return
    with engine.connect() as opened:
        connection = opened.execution_options(**writing_options(engine))
        # Another process may have done it while this one waited for the lock.
        found = _revision(connection)
        if found != HEAD:
            _check_revision(connection, engine, found)
            _migrate(connection)
            connection.commit()


def _revision(connection: Connection) -> str | None:
    """Return the revision of the tables; None for a database without any."""
    if not inspect(connection).has_table(_VERSION_TABLE):
        return None
    query = text(f"SELECT version_num FROM {_VERSION_TABLE}")  # noqa: S608 - a constant of ours
    return connection.execute(query).scalar_one_or_none()


def _check_revision(connection: Connection, engine: Engine, found: str | None) -> None:
    """Refuse a database that a later sowbench made, or that is something else's."""
    where = engine.url.render_as_string(hide_password=True)
    if found is not None and found > HEAD:
        raise BookOpenError(
            f"The house book at {where} was made by a later sowbench (tables {found}; this one"
            f" knows {HEAD}). Use that version or a later one; nothing was changed."
        )
    if found is None:
        others = sorted(inspect(connection).get_table_names())
        if others:
            raise BookOpenError(
                f"The database at {where} must be empty or a house book; it has the tables"
                f" {', '.join(others[:5])} of something else. Give the book a database of its"
                " own; nothing was changed."
            )


def _migrate(connection: Connection) -> None:
    """Run the migrations in the transaction of a connection."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
