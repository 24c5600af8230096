"""The book as a whole: units of work, each one transaction."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Protocol

from sowbench.domain.ports.back_page import BackPage
from sowbench.domain.ports.entered import Files, Houses, Lots, Orders, Pins, Settings, Standings
from sowbench.domain.ports.journal import Journal
from sowbench.domain.ports.learned import LearnedStore
from sowbench.domain.ports.orders_page import OrdersPage
from sowbench.domain.ports.plans import Plans, Runs
from sowbench.domain.ports.season_page import SeasonPage
from sowbench.domain.ports.seed_page import SeedPage
from sowbench.domain.ports.sowings_page import SowingsPage
from sowbench.domain.ports.today_page import TodayPage


class Unit(Protocol):
    """One unit of work: all of it is kept on `commit`, nothing of it otherwise."""

    @property
    def journal(self) -> Journal:
        """What happened."""

    @property
    def orders(self) -> Orders:
        """Orders, with every change."""

    @property
    def lots(self) -> Lots:
        """Seed lots, with every change."""

    @property
    def pins(self) -> Pins:
        """What is fixed by hand."""

    @property
    def standings(self) -> Standings:
        """What stood in the house when the book was begun."""

    @property
    def houses(self) -> Houses:
        """Versions of the house."""

    @property
    def files(self) -> Files:
        """Files that the house names."""

    @property
    def settings(self) -> Settings:
        """Settings of the book."""

    @property
    def plans(self) -> Plans:
        """Versions of the plan."""

    @property
    def runs(self) -> Runs:
        """Runs of the planner."""

    @property
    def today_page(self) -> TodayPage:
        """What the page of a day's work reads."""

    @property
    def orders_page(self) -> OrdersPage:
        """What the pages of the orders read."""

    @property
    def season_page(self) -> SeasonPage:
        """What the page of the season reads."""

    @property
    def sowings_page(self) -> SowingsPage:
        """What the pages of the sowings read."""

    @property
    def seed_page(self) -> SeedPage:
        """What the pages of seed and supplies read."""

    @property
    def learned(self) -> LearnedStore:
        """What finished sowings say, and what the grower decided of it."""

    @property
    def back_page(self) -> BackPage:
        """What looking back reads."""

    def commit(self) -> None:
        """Keep what was written."""


class Book(Protocol):
    """A house book that is open."""

    def reading(self) -> AbstractContextManager[Unit]:
        """Begin a unit of work that only reads, one consistent state throughout."""

    def writing(self) -> AbstractContextManager[Unit]:
        """Begin a unit of work that writes; leaving it without `commit` undoes it."""
