"""A unit of work: one transaction, with everything that can be read and written in it."""

from __future__ import annotations

from functools import cached_property

from sqlalchemy import Connection

from sowbench.store.back_page import BackPage
from sowbench.store.entered import Lots, Pins, Standings
from sowbench.store.houses import Files, Houses, Settings
from sowbench.store.journal import Journal
from sowbench.store.learned import LearnedStore
from sowbench.store.orders import Orders
from sowbench.store.orders_page import OrdersPage
from sowbench.store.plans import Plans, Runs
from sowbench.store.season_page import SeasonPage
from sowbench.store.seed_page import SeedPage
from sowbench.store.sowings_page import SowingsPage
from sowbench.store.today_page import TodayPage


class Unit:
    """One unit of work on a connection; see domain.ports.book."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def commit(self) -> None:
        """Keep what was written."""
        self._connection.commit()

    @cached_property
    def journal(self) -> Journal:
        """What happened."""
        return Journal(self._connection)

    @cached_property
    def orders(self) -> Orders:
        """Orders, with every change."""
        return Orders(self._connection)

    @cached_property
    def lots(self) -> Lots:
        """Seed lots, with every change."""
        return Lots(self._connection)

    @cached_property
    def pins(self) -> Pins:
        """What is fixed by hand."""
        return Pins(self._connection)

    @cached_property
    def standings(self) -> Standings:
        """What stood in the house when the book was begun."""
        return Standings(self._connection)

    @cached_property
    def houses(self) -> Houses:
        """Versions of the house."""
        return Houses(self._connection)

    @cached_property
    def files(self) -> Files:
        """Files that the house names."""
        return Files(self._connection)

    @cached_property
    def settings(self) -> Settings:
        """Settings of the book."""
        return Settings(self._connection)

    @cached_property
    def plans(self) -> Plans:
        """Versions of the plan."""
        return Plans(self._connection)

    @cached_property
    def runs(self) -> Runs:
        """Runs of the planner."""
        return Runs(self._connection)

    @cached_property
    def today_page(self) -> TodayPage:
        """What the page of a day's work reads."""
        return TodayPage(self._connection)

    @cached_property
    def orders_page(self) -> OrdersPage:
        """What the pages of the orders read."""
        return OrdersPage(self._connection)

    @cached_property
    def season_page(self) -> SeasonPage:
        """What the page of the season reads."""
        return SeasonPage(self._connection)

    @cached_property
    def sowings_page(self) -> SowingsPage:
        """What the pages of the sowings read."""
        return SowingsPage(self._connection)

    @cached_property
    def seed_page(self) -> SeedPage:
        """What the pages of seed and supplies read."""
        return SeedPage(self._connection)

    @cached_property
    def learned(self) -> LearnedStore:
        """What finished sowings say, and what the grower decided of it."""
        return LearnedStore(self._connection)

    @cached_property
    def back_page(self) -> BackPage:
        """What looking back reads."""
        return BackPage(self._connection)
