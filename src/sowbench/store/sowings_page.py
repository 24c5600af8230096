"""What the sowings pages read."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date
from typing import Any, Final

from sqlalchemy import (
    ColumnElement,
    Row,
    Select,
    and_,
    exists,
    false,
    func,
    literal,
    or_,
    select,
    tuple_,
)

from sowbench.domain.plan import Sowing
from sowbench.domain.ports.sowings_page import (
    Cursor,
    ListedBy,
    ListedSowing,
    Search,
    Shown,
    TrayGroup,
)
from sowbench.store.sowing_reads import LIFE, PLANNED, SowingReads, life_of
from sowbench.store.tables import (
    planned_sowing,
    planned_stay,
    sowing_life,
    tray,
)

# Stands in for a day that nobody gave, in the order of a list.
_LONG_AGO: Final = date(1, 1, 1)


class SowingsPage(SowingReads):
    """Reads for the sowings pages; see domain.ports.sowings_page."""

    def window(
        self,
        plan: int | None,
        shown: Shown,
        by: ListedBy,
        search: Search,
        after: Cursor | None,
        limit: int,
    ) -> list[ListedSowing]:
        """Return a window of a list of sowings.

        Parameters
        ----------
        plan : int or None
            The current plan.
        shown : Shown
            Which sowings.
        by : ListedBy
            In which order; finished ones always go by the day they ended, the last first.
        search : Search
            Words or names that they must match; blank matches all.
        after : Cursor or None
            Where the window before ended.
        limit : int
            Most lines.

        Returns
        -------
        lines : list of ListedSowing
            The window.
        """
        if shown is Shown.COMING:
            return self._coming(plan, by, search, after, limit)
        day: ColumnElement[Any] = sowing_life.c.ended_date
        where: list[ColumnElement[bool]] = [sowing_life.c.ended_date.is_not(None)]
        if shown is Shown.STANDING:
            day = func.coalesce(sowing_life.c.sown_date, _LONG_AGO)
            where = [sowing_life.c.ended_date.is_(None), _is_begun()]
        falling = shown is Shown.FINISHED or by is ListedBy.DAY
        where += self._matches(search, shown)
        place: ColumnElement[Any] = literal("") if falling else sowing_life.c.place
        key = (day, sowing_life.c.sowing) if falling else (place, day, sowing_life.c.sowing)
        query = (
            select(place.label("at_place"), day.label("at_day"), planned_sowing.c.body, *LIFE)
            .select_from(
                sowing_life.outerjoin(
                    planned_sowing,
                    and_(
                        planned_sowing.c.sowing == sowing_life.c.sowing,
                        planned_sowing.c.plan == (plan if plan is not None else -1),
                    ),
                )
            )
            .where(*where)
        )
        return [
            ListedSowing(row.sowing, row.at_place, row.at_day, life_of(row), _sowing(row.body))
            for row in self._ordered(query, key, after, limit, falling=falling)
        ]

    def _coming(
        self, plan: int | None, by: ListedBy, search: Search, after: Cursor | None, limit: int
    ) -> list[ListedSowing]:
        """Return a window of what is planned and not yet begun."""
        if plan is None:
            return []
        first = (
            select(func.min(planned_stay.c.step))
            .where(
                planned_stay.c.plan == planned_sowing.c.plan,
                planned_stay.c.sowing == planned_sowing.c.sowing,
            )
            .correlate(planned_sowing)
            .scalar_subquery()
        )
        place: ColumnElement[Any] = planned_stay.c.place if by is ListedBy.PLACE else literal("")
        words = [
            or_(
                *(
                    func.lower(each).contains(search.words, autoescape=True)
                    for each in (
                        planned_sowing.c.sowing,
                        planned_sowing.c.crop,
                        planned_sowing.c.variety,
                        planned_sowing.c.lot,
                        planned_sowing.c.orders,
                    )
                ),
                planned_sowing.c.sowing.in_(search.names) if search.names else false(),
            )
        ]
        query = (
            select(
                place.label("at_place"),
                planned_sowing.c.sow_date.label("at_day"),
                planned_sowing.c.sowing,
                planned_sowing.c.body,
            )
            .select_from(
                planned_sowing.join(
                    planned_stay,
                    and_(
                        planned_stay.c.plan == planned_sowing.c.plan,
                        planned_stay.c.sowing == planned_sowing.c.sowing,
                        planned_stay.c.step == first,
                    ),
                )
            )
            .where(
                planned_sowing.c.plan == plan,
                ~_begun(),
                *(words if search.words else []),
            )
        )
        key = (planned_sowing.c.sow_date, planned_sowing.c.sowing)
        return [
            ListedSowing(row.sowing, row.at_place, row.at_day, None, _sowing(row.body))
            for row in self._ordered(
                query,
                (place, *key) if by is ListedBy.PLACE else key,
                after,
                limit,
                falling=False,
            )
        ]

    def _ordered(
        self,
        query: Select[Any],
        key: tuple[ColumnElement[Any], ...],
        after: Cursor | None,
        limit: int,
        *,
        falling: bool,
    ) -> Sequence[Row[Any]]:
        """Read a window of a query by a key, which names are part of."""
        if after is not None:
            whole = (after.place, after.day, after.sowing)
            given = tuple_(*(literal(each) for each in whole[-len(key) :]))
            query = query.where(tuple_(*key) < given if falling else tuple_(*key) > given)
        order = [each.desc() if falling else each.asc() for each in key]
        return self._connection.execute(query.order_by(*order).limit(limit)).all()

    def _matches(self, search: Search, shown: Shown) -> list[ColumnElement[bool]]:
        """Say what a search asks of a sowing's life; among finished ones, names by their start."""
        if not search.words:
            return []
        own = (sowing_life.c.sowing, sowing_life.c.lot)
        found: list[ColumnElement[bool]] = []
        if shown is Shown.FINISHED:
            found += [self._starts(each, search.words) for each in own]
        else:
            wide = (*own, sowing_life.c.crop, sowing_life.c.variety)
            found += [func.lower(each).contains(search.words, autoescape=True) for each in wide]
        if search.names:
            found.append(sowing_life.c.sowing.in_(search.names))
        return [or_(*found)]

    def _starts(self, column: ColumnElement[str], words: str) -> ColumnElement[bool]:
        """Say that a column starts with words, in a way that its index can answer."""
        if self._connection.dialect.name != "sqlite":
            return column.startswith(words, autoescape=True)
        plain = "".join(f"[{each}]" if each in "*?[" else each for each in words)
        return column.op("GLOB")(f"{plain}*")

    def counts(self, plan: int | None) -> dict[Shown, int]:
        """Return how many sowings stand and how many are planned but not sown.

        Parameters
        ----------
        plan : int or None
            The current plan.

        Returns
        -------
        counts : dict of Shown to int
            Without those that are finished, which nobody counts.
        """
        standing = select(func.count()).where(sowing_life.c.ended_date.is_(None), _is_begun())
        coming = (
            select(func.count())
            .select_from(planned_sowing)
            .where(planned_sowing.c.plan == (plan if plan is not None else -1), ~_begun())
        )
        row = self._connection.execute(
            select(standing.scalar_subquery(), coming.scalar_subquery())
        ).one()
        return {Shown.STANDING: int(row[0]), Shown.COMING: int(row[1])}

    def tray_groups(self, sowings: Collection[str]) -> list[TrayGroup]:
        """Return the trays that still stand, by sowing, place and container.

        Parameters
        ----------
        sowings : collection of str
            Names of the sowings.

        Returns
        -------
        groups : list of TrayGroup
            The largest group of a sowing first.
        """
        if not sowings:
            return []
        columns = (tray.c.sowing, tray.c.place, tray.c.container)
        rows = self._connection.execute(
            select(*columns, func.count(), func.count(tray.c.counted_date))
            .where(tray.c.sowing.in_(sowings), tray.c.gone_date.is_(None))
            .group_by(*columns)
            .order_by(tray.c.sowing, func.count().desc(), tray.c.place)
        )
        return [TrayGroup(*row) for row in rows]


def _is_begun() -> ColumnElement[bool]:
    """Say that a sowing was sown, stood already, or was bought in, and is not only noted on."""
    return or_(sowing_life.c.sown_date.is_not(None), sowing_life.c.n_cells.is_not(None))


def _begun() -> ColumnElement[bool]:
    """Say that a planned sowing has been begun."""
    return exists().where(sowing_life.c.sowing == planned_sowing.c.sowing, _is_begun())


def _sowing(body: str | None) -> Sowing | None:
    """Decode a planned sowing."""
    return None if body is None else PLANNED.decode(body)
