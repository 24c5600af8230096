"""Where the house stands as a planner minds it: the journal, followed sowing by sowing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.journal import Entry
from sowbench.domain.life import SowingLife, sowing_life
from sowbench.domain.plan import Plan, Sowing
from sowbench.domain.records import Order, Pin, Standing
from sowbench.planning.inputs import Done
from sowbench.reference.catalog import Catalog

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit

# A sowing that its plan has let go is still counted on while plants of it are due, so long (ours).
_OVERDUE_D: Final = 14


@dataclass(frozen=True, slots=True)
class Followed:
    """A sowing that a plan may mind, and how it came to stand as it does."""

    life: SowingLife
    entries: tuple[Entry, ...]
    start: Standing | None

    def before(self, day: date) -> SowingLife:
        """Follow it up to the evening before a day."""
        earlier = [each for each in self.entries if each.day_date < day]
        return sowing_life(self.life.sowing, earlier, self.start)


def followed_sowings(unit: Unit, kept: Plan | None) -> dict[str, Followed]:
    """Follow the sowings that a plan may mind: those that stand, and those of the kept plan."""
    names = set(unit.orders_page.standing_sowings())
    if kept is not None:
        names |= {each.sowing for each in kept.sowings}
    entries: dict[str, list[Entry]] = {}
    for entry in unit.journal.that_stand(names):
        entries.setdefault(entry.sowing, []).append(entry)
    starts = {each.sowing: each for each in unit.standings.all() if each.sowing in names}
    return {
        name: Followed(
            sowing_life(name, entries.get(name, ()), starts.get(name)),
            tuple(entries.get(name, ())),
            starts.get(name),
        )
        for name in names
        if name in entries or name in starts
    }


def given_before(lives: Iterable[SowingLife], day: date) -> dict[str, int]:
    """Add up the plants handed over before a day, by order."""
    given: dict[str, int] = {}
    for life in lives:
        for each in life.handed_over:
            if each.order and each.date < day:
                given[each.order] = given.get(each.order, 0) + each.plants
    return given


def less_given(order: Order, plants: int) -> Order:
    """Take off what was handed over before the kept plan, which knows nothing of it."""
    return order if not plants else replace(order, plants=max(order.plants - plants, 0))


def standings_now(
    entered: Iterable[Standing],
    lives: Mapping[str, SowingLife],
    kept: Plan | None,
    from_date: date,
    catalog: Catalog,
) -> tuple[Standing, ...]:
    """Say what stands beside the kept plan: as entered, sown without a plan, or overdue in it."""
    planned = {} if kept is None else {each.sowing: each for each in kept.sowings}
    found: list[Standing] = []
    known: set[str] = set()
    for each in entered:
        life = lives.get(each.sowing)
        if life is None or life.ended_date is not None:
            continue
        known.add(each.sowing)
        followed = _as_standing(life, catalog, each.orders) if life.n_entries else None
        found.append(followed or each)
    for name, life in lives.items():
        if name in known or life.ended_date is not None or life.sown_date is None:
            continue
        orders: tuple[str, ...] = ()
        if name in planned:
            orders = _still_due(planned[name], life)
            last = planned[name].steps[-1].to_date if planned[name].steps else date.min
            overdue = last <= from_date < last + timedelta(days=_OVERDUE_D)
            if not (overdue and orders):
                continue
        standing = _as_standing(life, catalog, orders)
        if standing is not None:
            found.append(standing)
    return tuple(found)


def _still_due(sowing: Sowing, life: SowingLife) -> tuple[str, ...]:
    """Return the orders that have not had all their plants of a sowing."""
    given: dict[str, int] = {}
    for each in life.handed_over:
        given[each.order] = given.get(each.order, 0) + each.plants
    return tuple(each.order for each in sowing.orders if given.get(each.order, 0) < each.plants)


def _as_standing(life: SowingLife, catalog: Catalog, orders: tuple[str, ...]) -> Standing | None:
    """Write a life as what stands today; None if too little is known, or nothing is left."""
    trays = [each for each in life.trays if each.gone_date is None]
    if not trays or life.sown_date is None or life.crop not in catalog.crops:
        return None
    container = catalog.containers.get(trays[-1].container)
    if container is None or not life.place:
        return None
    alike = [each for each in trays if each.container == container.id]
    n_cells = min(_cells_left(life), sum(each.n_cells for each in alike))
    if n_cells <= 0:
        return None
    share = _right_frac(life)
    n_counted = None if share is None else round(share * n_cells)
    return Standing(
        sowing=life.sowing,
        crop=life.crop,
        variety=life.variety,
        lot=life.lot,
        container=container.id,
        n_containers=max(-(-n_cells // container.cells), 1),
        n_cells=n_cells,
        place=life.place,
        sown_date=life.sown_date,
        counted_date=None if share is None else life.counted_date,
        n_counted=n_counted,
        orders=orders,
    )


def _cells_left(life: SowingLife, *, with_given: bool = False) -> int:
    """Return the cells that were neither lost nor, unless asked for, handed over."""
    cells = max((life.n_cells or 0) - life.n_lost, 0)
    return cells if with_given else max(cells - life.n_delivered, 0)


def _right_frac(life: SowingLife) -> float | None:
    """Return the share of the cells last looked at that had what is wanted."""
    if life.counted_date is None or not life.n_seen or life.n_right is None:
        return None
    return min(life.n_right / life.n_seen, 1.0)


def done_since(
    kept: Plan,
    followed: Mapping[str, Followed],
    begins: date,
    standings: Sequence[Standing],
) -> tuple[Done, ...]:
    """Say what has happened since the kept plan was made, sowing by sowing, as a planner minds it.

    The kept plan already knows what was lost and handed over before its first day. A count goes
    for the whole sowing: the share of the cells looked at that are right, of all cells left.
    """
    planned = {each.sowing for each in kept.sowings}
    standing = {each.sowing for each in standings}
    done: list[Done] = []
    for name, each_life in followed.items():
        if name in planned - standing:
            done += _done_of(each_life.life, each_life.before(begins))
        for each in each_life.life.handed_over:
            if each.date >= begins:
                done.append(Done(each.date, "delivered", name, n=each.plants, order=each.order))
    return tuple(sorted(done, key=lambda each: each.date))


def _done_of(life: SowingLife, before: SowingLife) -> list[Done]:
    """Say what has become of one sowing of the kept plan since its first day."""
    done: list[Done] = []
    if life.sown_date is None:
        return done
    name = life.sowing
    last = max(life.counted_date or life.sown_date, life.sown_date)
    known = before.sown_date is not None
    if not known:
        done.append(Done(life.sown_date, "sown", name, life.place, life.n_cells))
    n_lost = life.n_lost - (before.n_lost if known else 0)
    if n_lost > 0:
        done.append(Done(last, "lost", name, n=n_lost))
    if life.place:
        done.append(Done(last, "moved", name, life.place))
    share = _right_frac(life)
    if share is not None:
        gone = before.n_delivered if known else 0
        cells = max(_cells_left(life, with_given=True) - gone, 0)
        done.append(Done(last, "counted", name, n=round(share * cells)))
    if life.ended_date is not None:
        done.append(Done(max(life.ended_date, last), "dumped", name))
    return done


def pins_that_hold(unit: Unit, orders: Sequence[Order], kept: Plan | None) -> tuple[Pin, ...]:
    """Return the pins on orders and sowings that are still there."""
    known = {each.id for each in orders if each.plants > 0}
    if kept is not None:
        known |= {each.sowing for each in kept.sowings}
    return tuple(each for each in unit.pins.all() if each.target in known)
