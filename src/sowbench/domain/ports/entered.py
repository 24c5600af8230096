"""What people enter beside the journal: orders, seed, pins, the house; every change is kept."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Protocol

from sowbench.domain.book import Change, HouseVersion
from sowbench.domain.records import Order, Pin, SeedLot, Standing


class Orders(Protocol):
    """Orders; those cancelled stay, with that status."""

    def all(self) -> tuple[Order, ...]:
        """Return every order in file order, cancelled ones too."""

    def get(self, name: str) -> Order | None:
        """Return one order."""

    def named(self, names: Iterable[str]) -> dict[str, Order]:
        """Return the orders of these names."""

    def put(self, orders: Sequence[Order], at: datetime, person: str, reason: str) -> int:
        """Add new orders and change known ones; return how many were not so already."""

    def history(self, name: str) -> list[Change]:
        """Return the changes of an order, the first first."""


class Lots(Protocol):
    """Seed lots."""

    def all(self) -> tuple[SeedLot, ...]:
        """Return every lot in file order."""

    def get(self, name: str) -> SeedLot | None:
        """Return one lot."""

    def put(self, lots: Sequence[SeedLot], at: datetime, person: str, reason: str) -> int:
        """Add new lots and change known ones; return how many were not so already."""

    def history(self, name: str) -> list[Change]:
        """Return the changes of a lot, the first first."""


class Pins(Protocol):
    """What is fixed by hand, one record an order or sowing."""

    def all(self) -> tuple[Pin, ...]:
        """Return every pin."""

    def put(self, pins: Sequence[Pin], at: datetime, person: str, reason: str) -> int:
        """Add or change pins; one without any wish is taken out."""


class Standings(Protocol):
    """What stood in the house when the book was begun, or was bought in."""

    def all(self) -> tuple[Standing, ...]:
        """Return every one in file order."""

    def put(self, standings: Sequence[Standing], at: datetime, person: str, reason: str) -> int:
        """Add new ones and change known ones; return how many were not so already."""


class Houses(Protocol):
    """Versions of house.toml."""

    def current(self) -> HouseVersion | None:
        """Return the last version; None where no house was given."""

    def get(self, version: int) -> HouseVersion | None:
        """Return one version."""

    def versions(self) -> list[HouseVersion]:
        """Return every version, the newest first."""

    def put(self, text: str, at: datetime, person: str, reason: str) -> int:
        """Keep a new version; return its number."""


class Files(Protocol):
    """Files that the house names, such as its weather."""

    def get(self, name: str) -> bytes | None:
        """Return the content of a file."""

    def put(self, name: str, content: bytes, at: datetime) -> None:
        """Keep a file in place of what had its name."""

    def names(self) -> list[str]:
        """Return the names of all files."""

    def changed_at(self, name: str) -> datetime | None:
        """Return when a file was put; None if there is none."""


class Settings(Protocol):
    """Settings of the book, by name; services/settings.py says which there are."""

    def get(self, name: str, default: str = "") -> str:
        """Return a setting."""

    def put(self, name: str, value: str) -> None:
        """Set it."""
