"""Types of columns that both databases hold alike."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sqlalchemy import DateTime
from sqlalchemy.types import TypeDecorator

from sowbench.science.errors import OutOfRangeError

if TYPE_CHECKING:
    from sqlalchemy import Dialect


def utc_instant(value: datetime) -> datetime:
    """Turn an instant to UTC.

    Parameters
    ----------
    value : datetime
        The instant.

    Returns
    -------
    in_utc : datetime
        The same instant.

    Raises
    ------
    OutOfRangeError
        If it has no zone, so that nobody knows which instant it is.
    """
    if value.utcoffset() is None:
        raise OutOfRangeError("instant", "a time with its zone", value.isoformat())
    return value.astimezone(UTC)


class UtcDateTime(TypeDecorator[datetime]):
    """An instant: with its zone in Python, in UTC in the database."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn an instant to UTC; SQLite has no zones, and takes it without."""
        if value is None:
            return None
        in_utc = utc_instant(value)
        return in_utc.replace(tzinfo=None) if dialect.name == "sqlite" else in_utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy gives it
        """Turn what the database holds to an instant in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
