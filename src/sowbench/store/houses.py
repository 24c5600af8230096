"""Versions of the house, the files that it names, and the settings of the book."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

from sqlalchemy import Table, insert, select, update

from sowbench.domain.book import HouseVersion
from sowbench.store import tables
from sowbench.store.changes import write_changes
from sowbench.store.repository import Repository

house: Final = tables.house
file: Final = tables.file
setting: Final = tables.setting

_VERSION: Final = (house.c.version, house.c.at, house.c.person, house.c.text, house.c.reason)


class Houses(Repository):
    """Versions of house.toml; see domain.ports.entered."""

    def current(self) -> HouseVersion | None:
        """Return the last version.

        Returns
        -------
        version : HouseVersion or None
            The version; None where no house was given.
        """
        query = select(*_VERSION).order_by(house.c.version.desc()).limit(1)
        row = self._connection.execute(query).first()
        return None if row is None else HouseVersion(*row)

    def get(self, version: int) -> HouseVersion | None:
        """Return one version.

        Parameters
        ----------
        version : int
            Its number.

        Returns
        -------
        version : HouseVersion or None
            The version; None if there is none of that number.
        """
        row = self._connection.execute(select(*_VERSION).where(house.c.version == version)).first()
        return None if row is None else HouseVersion(*row)

    def versions(self) -> list[HouseVersion]:
        """Return every version, the newest first.

        Returns
        -------
        versions : list of HouseVersion
            The versions.
        """
        query = select(*_VERSION).order_by(house.c.version.desc())
        return [HouseVersion(*row) for row in self._connection.execute(query)]

    def put(self, text: str, at: datetime, person: str, reason: str) -> int:
        """Keep a new version.

        Parameters
        ----------
        text : str
            house.toml.
        at : datetime
            Instant of the change.
        person : str
            Who changed it.
        reason : str
            Why.

        Returns
        -------
        version : int
            Its number.
        """
        before = self.current()
        query = insert(house).values(at=at, person=person, text=text, reason=reason)
        version = int(self._connection.execute(query.returning(house.c.version)).scalar_one())
        changed = [(str(version), None if before is None else before.text, text)]
        write_changes(self._connection, "house", changed, at, person, reason)
        return version


class Files(Repository):
    """Files that the house names; see domain.ports.entered."""

    def get(self, name: str) -> bytes | None:
        """Return the content of a file.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        content : bytes or None
            The content; None if there is none of that name.
        """
        query = select(file.c.content).where(file.c.name == name)
        content = self._connection.execute(query).scalar_one_or_none()
        return None if content is None else bytes(content)

    def put(self, name: str, content: bytes, at: datetime) -> None:
        """Keep a file in place of what had its name.

        Parameters
        ----------
        name : str
            Its name.
        content : bytes
            Its content.
        at : datetime
            Instant of the change.
        """
        _put(self._connection, file, {"name": name}, {"content": content, "at": at})

    def changed_at(self, name: str) -> datetime | None:
        """Return when a file was put.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        at : datetime or None
            The instant; None if there is none of that name.
        """
        query = select(file.c.at).where(file.c.name == name)
        return self._connection.execute(query).scalar_one_or_none()

    def names(self) -> list[str]:
        """Return the names of all files.

        Returns
        -------
        names : list of str
            Sorted.
        """
        return sorted(self._connection.execute(select(file.c.name)).scalars())


class Settings(Repository):
    """Settings of the book, by name; see domain.ports.entered."""

    def get(self, name: str, default: str = "") -> str:
        """Return a setting.

        Parameters
        ----------
        name : str
            Its name.
        default : str, default ""
            What it is where it was never set.

        Returns
        -------
        value : str
            Its value.
        """
        query = select(setting.c.value).where(setting.c.name == name)
        value = self._connection.execute(query).scalar_one_or_none()
        return default if value is None else value

    def put(self, name: str, value: str) -> None:
        """Set it.

        Parameters
        ----------
        name : str
            Its name.
        value : str
            Its value from now on.
        """
        _put(self._connection, setting, {"name": name}, {"value": value})


def _put(connection: Any, table: Table, key: dict[str, Any], values: dict[str, Any]) -> None:
    """Change the row of a key, or add it; a unit that writes is alone, so none comes between."""
    (name, value) = next(iter(key.items()))
    done = connection.execute(update(table).where(table.c[name] == value).values(**values))
    if done.rowcount == 0:
        connection.execute(insert(table).values(**key, **values))
