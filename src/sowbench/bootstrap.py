"""Wires the real parts together: planner, checker, picture, book. Tests wire fakes instead."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

from sowbench.exchange.season_use import DailyUse
from sowbench.science.errors import BookOpenError
from sowbench.services.parts import Made, Parts
from sowbench.services.workers import Workers

if TYPE_CHECKING:
    from sowbench.domain.plan import Plan
    from sowbench.domain.records import Order
    from sowbench.planning.inputs import PlanInputs
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.desk import Desk
    from sowbench.services.parts import Progress, PromiseLike, ReportLike

_NO_LIMIT: Final = 1e8

BOOK_FILE: Final = "book.sqlite"
"""File of the book in its folder."""


def real_parts() -> Parts:
    """Return the planner, the checker and the picture of this package.

    Returns
    -------
    parts : Parts
        Parts that load their libraries when they are first used.
    """
    return Parts(make_plan=_make_plan, check_plan=_check_plan, promise=_promise, draw=_draw)


def _make_plan(
    inputs: PlanInputs,
    parameters: SolveParameters,
    seed: int,
    progress: Progress | None = None,
) -> Made:
    """Plan with the planner of this package."""
    from sowbench.planning.plan import make_plan

    planned = make_plan(inputs, parameters, seed, progress)
    first = planned.season.calendar.first
    uses = sorted(planned.uses, key=lambda each: each.kind == "crew")
    return Made(
        planned.plan,
        tuple(
            DailyUse(
                name="hands" if each.kind == "crew" else each.name,
                unit="min" if each.kind == "crew" else each.unit,
                first_date=first,
                use=[float(value) for value in each.use],
                capacity=_limit(each.capacity),
                hands=each.kind == "crew",
            )
            for each in uses
            if each.kind in {"place", "crew"}
        ),
    )


def _limit(capacity: Iterable[float]) -> list[float] | None:
    """Return a limit by day; one too large to be meant is none."""
    values = [float(each) for each in capacity]
    return values if all(each < _NO_LIMIT for each in values) else None


def _check_plan(
    plan: Plan,
    inputs: PlanInputs,
    cancelled: Sequence[Order] = (),
    *,
    with_bound: bool = True,
) -> ReportLike:
    """Check a plan with the checker of this package."""
    from sowbench.checking import check_plan
    from sowbench.checking.season import CheckInputs
    from sowbench.domain.journal import Entry, EntryKind

    # The checker asks for rates as numbers, and takes the reference's own just as well.
    catalog = cast("Any", inputs.catalog)
    return check_plan(
        plan,
        CheckInputs(
            house=inputs.house,
            orders=(*inputs.orders, *cancelled),
            lots=inputs.lots,
            catalog=catalog,
            from_date=inputs.from_date,
            standings=inputs.standings,
            pins=inputs.pins,
            weather=inputs.weather,
            kept=inputs.kept,
            entries=tuple(
                Entry("", each.date, EntryKind(each.kind), each.sowing, each.n, each.order)
                for each in inputs.done
            ),
        ),
        with_bound=with_bound,
    )


def _promise(inputs: PlanInputs, plan: Plan, order: Order) -> PromiseLike:
    """Fit one more order beside a plan with the planner of this package."""
    from sowbench.planning.promise import promise

    return promise(inputs, plan, order)


def _draw(uses: Sequence[DailyUse], title: str) -> Mapping[str, bytes]:
    """Draw how full places and hands are."""
    from sowbench.exchange.picture import draw_season, season_spec

    return draw_season(season_spec(uses, title=title))


def default_data_folder() -> Path:
    """Return where the platform keeps a program's data.

    Returns
    -------
    folder : Path
        The folder of the house book where none is named.
    """
    from platformdirs import user_data_path

    return user_data_path("sowbench", appauthor=False)


@contextmanager
def open_desk(
    data: Path,
    url: str | None = None,
    *,
    clock: Callable[[], datetime] | None = None,
    must_exist: bool = False,
) -> Iterator[Desk]:
    """Open a house book, with all that its pages and commands work with.

    Parameters
    ----------
    data : Path
        Folder of the book; made for this user alone if it is not there.
    url : str or None, default None
        Address of the database; None is a file in the folder.
    clock : callable or None, default None
        Gives the instant (UTC); None is the clock of the computer.
    must_exist : bool, default False
        Whether a book in a file must be there already; else a new one is begun.

    Yields
    ------
    desk : Desk
        The desk, closed with its workers at the end.

    Raises
    ------
    BookOpenError
        If the folder cannot be made, or the book cannot be opened or is not there.
    """
    from sowbench.services.desk import Desk
    from sowbench.store.book import open_book
    from sowbench.store.engine import file_address

    folder = Path(data).expanduser().absolute()
    if must_exist and url is None and not (folder / BOOK_FILE).is_file():
        raise BookOpenError(
            f"{folder} must hold a house book; there is no {BOOK_FILE} in it. Name the folder with"
            " --data, or begin a book with sowbench serve."
        )
    _make_folder(folder)
    address = url or file_address(folder / BOOK_FILE)
    book = open_book(address)
    workers = Workers()
    try:
        yield Desk(
            book=book,
            parts=real_parts(),
            clock=clock or _now,
            executor=workers,
            data=folder,
            data_url=address,
        )
    finally:
        workers.shutdown(wait=False, cancel_futures=True)
        book.close()


def _now() -> datetime:
    """Return the instant by the clock of the computer."""
    return datetime.now(UTC)


def _make_folder(folder: Path) -> None:
    """Make the folder of a book, for this user alone."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise BookOpenError(
            f"{folder} must be a folder, or one that can be made; {error.strerror or error}."
            " Name another with --data."
        ) from error
