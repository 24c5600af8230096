"""What an earlier plan and the journal leave to a plan that is made again: model section 11."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import Plan, Sowing
from sowbench.domain.records import Order, Pin, Standing

if TYPE_CHECKING:
    from sowbench.checking.report import Ledger
    from sowbench.checking.season import Season

ALL_GONE = frozenset({EntryKind.DUMPED, EntryKind.LOST})


@dataclass(frozen=True, slots=True)
class Left:
    """What is left of a sowing of the kept plan that stands already.

    Parameters
    ----------
    before : Sowing
        As the kept plan has it.
    sow_date : date
        Day on which it was sown.
    n_cells : int
        Cells that still stand.
    n_counted : int or None
        Counted plants that still stand; None if nobody counted.
    shares : mapping of str to int
        Plants not yet handed over, by order.
    """

    before: Sowing
    sow_date: date
    n_cells: int
    n_counted: int | None
    shares: Mapping[str, int]


def handed_over(
    kept: Plan, entries: tuple[Entry, ...], from_date: date
) -> Counter[tuple[str, str]]:
    """Plants handed over already by order and sowing: planned or written down, the larger."""
    planned: Counter[tuple[str, str]] = Counter()
    written: Counter[tuple[str, str]] = Counter()
    for row in kept.orders:
        for each in row.hand_over:
            if each.date < from_date:
                planned[row.order, each.sowing] += each.plants
    for entry in entries:
        if entry.kind is EntryKind.DELIVERED:
            written[entry.order, entry.sowing] += entry.n or 0
    return planned | written


def left_of(
    kept: Plan | None,
    entries: tuple[Entry, ...],
    from_date: date,
    standings: Mapping[str, Standing],
) -> dict[str, Left]:
    """Return what stands of the kept plan's sowings on the first day, by name."""
    if kept is None:
        return {}
    gone = handed_over(kept, entries, from_date)
    found = {}
    for sowing in kept.sowings:
        if sowing.sowing in standings or not sowing.steps:
            continue
        if sowing.steps[-1].to_date <= from_date:
            continue
        own = sorted(
            (each for each in entries if each.sowing == sowing.sowing),
            key=lambda each: each.day_date,
        )
        left = _follow(sowing, own, gone, from_date)
        if left is not None:
            found[sowing.sowing] = left
    return found


def _follow(
    sowing: Sowing, own: list[Entry], gone: Counter[tuple[str, str]], from_date: date
) -> Left | None:
    """Follow one sowing through its entries; None if it is not sown, or nothing of it is left."""
    sow_date, cells, counted = sowing.sow_date, sowing.n_cells, None
    is_sown = sowing.standing or sow_date < from_date
    n_lost = 0
    for entry in own:
        if entry.kind is EntryKind.SOWN:
            is_sown, sow_date = True, entry.day_date
            cells = cells if entry.n is None else entry.n
        elif entry.kind is EntryKind.COUNTED:
            counted = entry.n
        elif entry.kind in ALL_GONE:
            if entry.n is None:
                return None
            n_lost += entry.n
            counted = None if counted is None else max(counted - entry.n, 0)
    cells -= n_lost
    shares = {each.order: each.plants - gone[each.order, sowing.sowing] for each in sowing.orders}
    shares = {order: plants for order, plants in shares.items() if plants > 0}
    whole, rest = sum(each.plants for each in sowing.orders), sum(shares.values())
    if not is_sown or cells <= 0 or (whole and not rest):
        return None
    if whole:
        cells = -(-cells * rest // whole)
        counted = None if counted is None else counted * rest // whole
    counted = None if counted is None else min(counted, cells)
    return Left(sowing, sow_date, cells, counted, shares)


def open_orders(
    orders: Mapping[str, Order], kept: Plan | None, entries: tuple[Entry, ...], from_date: date
) -> dict[str, Order]:
    """Return the orders with what is still to be handed over; without a kept plan, as they are."""
    if kept is None:
        return dict(orders)
    given: Counter[str] = Counter()
    for (order, _), plants in handed_over(kept, entries, from_date).items():
        given[order] += plants
    return {
        name: replace(each, plants=each.plants - given[name])
        for name, each in orders.items()
        if each.plants > given[name] and each.latest_date >= from_date
    }


def pins_by_order(
    pins: tuple[Pin, ...], orders: Mapping[str, Order], kept: Plan | None
) -> tuple[Pin, ...]:
    """Return the pins; one on a sowing of the kept plan holds for the orders it was for."""
    named = {} if kept is None else {each.sowing: each for each in kept.sowings}
    found: list[Pin] = []
    for pin in pins:
        sowing = None if pin.target in orders else named.get(pin.target)
        if sowing is None:
            found.append(pin)
        else:
            found += [replace(pin, target=share.order) for share in sowing.orders]
    return tuple(found)


def stood_before(left: Mapping[str, Left]) -> dict[str, Standing]:
    """Return what stood when the kept plan was made and is not named as standing again."""
    found = {}
    for name, each in left.items():
        old = each.before
        if old.standing:
            step = old.steps[0]
            found[name] = Standing(
                name, old.crop, old.variety, old.lot, step.container, step.n_containers,
                each.n_cells, step.place, each.sow_date, n_counted=each.n_counted,
            )  # fmt: skip
    return found


def check_earlier(season: Season, ledger: Ledger) -> None:
    """What stands of the kept plan is in the new one, as it was sown, for no one else."""
    for name, left in season.left.items():
        sowing = season.sowings.get(name)
        if not ledger.require(
            sowing is not None, "what stands stays in the plan", name,
            "It was sown by the kept plan and is not in this one.",
        ) or sowing is None:  # fmt: skip
            continue
        old = left.before
        for what, expected, found in (
            ("crop", old.crop, sowing.crop),
            ("variety", old.variety, sowing.variety),
            ("lot", old.lot, sowing.lot),
            ("seeds per cell", old.seeds_per_cell, sowing.seeds_per_cell),
            ("sowing day", left.sow_date, sowing.sow_date),
            ("cells", left.n_cells, sowing.n_cells),
            ("containers", _containers(old), _containers(sowing)),
            ("growing place", _grows_in(season, old), _grows_in(season, sowing)),
        ):
            ledger.require(
                expected == found, "what stands is as it was sown", name,
                f"Its {what} is another.", expected, found,
            )  # fmt: skip
        for share in sowing.orders:
            most = left.shares.get(share.order, 0)
            ledger.require(
                share.plants <= most, "what stands serves whom it was sown for", name,
                f"It was not meant for so many plants of {share.order}.", f"at most {most}",
                share.plants,
            )  # fmt: skip


def _containers(sowing: Sowing) -> list[str]:
    """Containers of a sowing in turn; of one that stood already, the last."""
    names = list(dict.fromkeys(each.container for each in sowing.steps))
    return names[-1:] if sowing.standing else names


def _grows_in(season: Season, sowing: Sowing) -> list[str]:
    """Places of a sowing in turn, up to toning; of one that stood already, where it ends."""
    places = list(dict.fromkeys(each.place for each in sowing.steps))
    return places[-1:] if sowing.standing else [each for each in places if each in season.places]
