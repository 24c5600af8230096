"""What all parts of a unit of work share: its connection."""

from __future__ import annotations

from sqlalchemy import Connection


class Repository:
    """Reads and writes some of the tables on the connection of a unit of work."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
