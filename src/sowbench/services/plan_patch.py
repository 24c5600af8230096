"""Changes of the current plan: what could be done about a sowing or an order, one thing each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.domain.records import PlaceKind, StepKind
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.patched import Patch, order_of, shares
from sowbench.services import wording
from sowbench.services.book_inputs import loaded_of, lots_left
from sowbench.services.learned import plan_house_of

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Plan, Sowing
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import Order
    from sowbench.services.forecasts import HouseForecast
    from sowbench.services.parts import Promiser

# Orders share a sowing if they are wanted so close together, and no part is less (model section 6).
_WITHIN_D: Final = 7
_PART_LEAST_FRAC: Final = 0.1
_SHARED_MOST: Final = 4
_PLACES_MOST: Final = 4
_GROWING: Final = frozenset({StepKind.GROW, StepKind.POT_ON, StepKind.SPACE})
_BENCHES: Final = frozenset(
    {PlaceKind.BENCH, PlaceKind.WINDOWSILL, PlaceKind.LAMP_SHELF, PlaceKind.YARD}
)


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that could be done.

    Attributes
    ----------
    kind : str
        resow, share, fewer, later, hold or push.
    about : str
        The order or the sowing that it is for.
    words : str
        What would be done.
    patch : Patch
        The change of the plan.
    last_date : date
        Last day on which it can be taken.
    """

    kind: str
    about: str
    words: str
    patch: Patch
    last_date: date


def plan_inputs(unit: Unit, head: PlanHead, plan: Plan) -> PlanInputs:
    """Gather what the current plan rests on, as it is now.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    head : PlanHead
        The plan.
    plan : Plan
        Its body.

    Returns
    -------
    inputs : PlanInputs
        Orders with the plants that the plan is for; of each lot what is left, and what was sown.
    """
    house, catalog, weather = plan_house_of(unit, head)
    known = unit.orders.named({each.order for each in plan.orders})
    orders = tuple(
        replace(known[each.order], plants=each.plants, status="firm")
        for each in plan.orders
        if each.order in known
    )
    standing = set(unit.orders_page.standing_sowings())
    sown: dict[str, int] = {}
    for each in plan.sowings:
        if each.sowing in standing:
            sown[each.lot] = sown.get(each.lot, 0) + each.n_seeds
    lots = tuple(
        each if each.n_seeds is None else replace(each, n_seeds=each.n_seeds + sown.get(each.id, 0))
        for each in lots_left(unit)
    )
    names = {each.sowing for each in plan.sowings if each.standing}
    return PlanInputs(
        house=house,
        catalog=catalog,
        orders=orders,
        from_date=plan.from_date,
        lots=lots or None,
        weather=weather,
        standings=tuple(each for each in unit.standings.all() if each.sowing in names),
    )


def changes_for(
    unit: Unit, forecast: HouseForecast, inputs: PlanInputs, name: str, promise: Promiser
) -> Iterator[Change]:
    """Think of what could be done for a sowing or an order.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    forecast : HouseForecast
        The forecast of the house.
    inputs : PlanInputs
        What the plan rests on.
    name : str
        A sowing, or an order.
    promise : Promiser
        Finds lot, container, place and day for what is sown anew.

    Yields
    ------
    change : Change
        Whether it fits, and what it does, is for the caller to find out.
    """
    gathered = forecast.gathered
    planned = gathered.planned
    if name in planned:
        names = [each.order for each in planned[name].orders if each.order in forecast.orders]
    else:
        names = [name] if name in forecast.orders else []
    whole = {each.order: each for each in gathered.plan.orders}
    known = {each.id for each in inputs.orders}
    for order in names:
        row = whole[order]
        if order not in known or gathered.given.get(order) or row.planned < row.plants:
            continue
        serving = [e for e in planned.values() if any(s.order == order for s in e.orders)]
        if not serving:
            continue
        wanted = order_of(inputs, order)
        yield from _for_order(unit, forecast, inputs, wanted, serving, promise)
    for each in planned.values():
        if each.sowing == name or any(share.order in names for share in each.orders):
            yield from _places(forecast, inputs, each)


def _for_order(
    unit: Unit,
    forecast: HouseForecast,
    inputs: PlanInputs,
    order: Order,
    serving: list[Sowing],
    promise: Promiser,
) -> Iterator[Change]:
    """Think of what could be done for an order."""
    gathered = forecast.gathered
    season, today = gathered.season, gathered.today
    per_cell = max(order.plants // max(season.wanted_cells(order), 1), 1)
    sure = sum(
        min(forecast.sowings[each.sowing].plants.p05 * per_cell, _share(each, order.id))
        for each in serving
    )
    least = -(-order.plants // round(1 / _PART_LEAST_FRAC))
    missing = min(max(order.plants - sure, 0), order.plants - least)
    if missing > 0:
        yield from _shares(forecast, inputs, order, serving, missing)
        found = _resow(unit, forecast, order, serving, max(missing, least), promise)
        if found is not None:
            yield found
        few = order.plants - missing
        if few < order.plants:
            less = replace(order, plants=few)
            patch = Patch(_cut(serving, order.id, missing), (less,))
            yield Change(
                "fewer",
                order.id,
                f"Tell {order.customer or order.id} early: {few:,} plants in place of"
                f" {order.plants:,}.",
                patch,
                order.latest_date,
            )
    ready = max(forecast.sowings[each.sowing].ready.p90 for each in serving)
    if ready < season.n_days - 1 and season.day(int(-(-ready // 1))) > order.latest_date:
        day = season.day(int(-(-ready // 1)))
        later = replace(
            order,
            wanted_date=day,
            earliest_date=max(order.earliest_date, today),
            latest_date=day + (order.latest_date - order.wanted_date),
        )
        yield Change(
            "later",
            order.id,
            f"Tell {order.customer or order.id} early: {wording.day(day)} in place of"
            f" {wording.day(order.wanted_date)}.",
            Patch((), (later,)),
            order.latest_date,
        )


def _share(sowing: Sowing, order: str) -> int:
    """Return the plants of a sowing that an order gets."""
    return sum(each.plants for each in sowing.orders if each.order == order)


def _plants(sowing: Sowing) -> dict[str, int]:
    """Return the shares of a sowing by order."""
    return {each.order: each.plants for each in sowing.orders}


def _cut(serving: list[Sowing], order: str, plants: int) -> tuple[Sowing, ...]:
    """Take plants off the shares of an order, off the largest first; each keeps one."""
    out = []
    for each in sorted(serving, key=lambda one: -_share(one, order)):
        less = min(plants, _share(each, order) - 1)
        plants -= less
        if less:
            out.append(shares(each, {**_plants(each), order: _share(each, order) - less}))
    return tuple(out)


def _resow(
    unit: Unit,
    forecast: HouseForecast,
    order: Order,
    serving: list[Sowing],
    plants: int,
    promise: Promiser,
) -> Change | None:
    """Look for lot, container, place and day for the plants that are missing."""
    gathered = forecast.gathered
    loaded = loaded_of(unit, max(gathered.today, gathered.head.from_date))
    asked = replace(order, plants=plants, status="firm")
    now = replace(loaded.inputs, kept=None)
    answer = promise(now, gathered.plan, asked).on_day
    if answer is None:
        return None
    names = {each.sowing for each in gathered.plan.sowings} | set(gathered.followed)
    stem = f"{order.crop} {answer.sow_date:%m-%d}"
    name = next(n for k in range(400) if (n := f"{stem} {_letters(k + 1)}") not in names)
    again = shares(replace(answer.sowing, sowing=name), {order.id: plants})
    container = gathered.season.catalog.containers[answer.container].name
    return Change(
        "resow",
        order.id,
        f"Sow {answer.n_cells:,} cells of lot {answer.lot} again on {wording.day(answer.sow_date)},"
        f" in {container} on {answer.place}.",
        Patch((*_cut(serving, order.id, plants), again)),
        answer.sow_date,
    )


def _letters(number: int) -> str:
    """Return a, b, ... z, aa, ab ... for 1, 2, ..."""
    out = ""
    while number > 0:
        number, rest = divmod(number - 1, 26)
        out = chr(ord("a") + rest) + out
    return out


def _shares(
    forecast: HouseForecast, inputs: PlanInputs, order: Order, serving: list[Sowing], missing: int
) -> Iterator[Change]:
    """Look for plants to spare in other sowings of the same kind."""
    gathered = forecast.gathered
    known = {each.id: each for each in inputs.orders}
    own = {each.sowing for each in serving}
    one = serving[0]
    least = -(-order.plants // round(1 / _PART_LEAST_FRAC))
    for each in gathered.planned.values():
        alike = (each.crop, each.variety, each.plants_per_cell) == (
            one.crop,
            one.variety,
            one.plants_per_cell,
        )
        if each.sowing in own or not alike or not each.steps or not one.steps:
            continue
        if each.steps[-1].container != one.steps[-1].container:
            continue
        others = [known[s.order] for s in each.orders if s.order in known]
        if len(others) != len(each.orders) or not _goes_with(order, others):
            continue
        spare = forecast.sowings[each.sowing].plants.p05 - sum(s.plants for s in each.orders)
        plants = min(missing, spare)
        if plants < least:
            continue
        given = shares(each, {**_plants(each), order.id: plants})
        yield Change(
            "share",
            order.id,
            f"Give {order.customer or order.id} {plants:,} plants of {each.sowing}.",
            Patch((*_cut(serving, order.id, plants), given)),
            each.steps[-1].to_date,
        )


def _goes_with(order: Order, others: list[Order]) -> bool:
    """Tell whether an order may share a sowing with others."""
    if len(others) >= _SHARED_MOST:
        return False
    days = [order.wanted_date, *(each.wanted_date for each in others)]
    kinds = {(o.system, o.handover, o.organic) for o in (order, *others)}
    return (max(days) - min(days)).days <= _WITHIN_D and len(kinds) == 1


def _places(forecast: HouseForecast, inputs: PlanInputs, sowing: Sowing) -> Iterator[Change]:
    """Think of other places for the steps that have not begun."""
    today = forecast.gathered.today
    crop = inputs.catalog.crops[sowing.crop]
    growing = [each for each in sowing.steps if each.kind in _GROWING]
    last = sowing.steps[-1] if sowing.steps else None
    if last is None or last.to_date <= today + timedelta(days=1) or not sowing.orders:
        return
    kinds = {each.name: each.kind for each in inputs.house.places}
    here = growing[0].place if growing else sowing.steps[0].place
    others = [n for n, kind in kinds.items() if kind in _BENCHES and n != here][:_PLACES_MOST]
    first = growing[0] if growing else last
    own_place = len(sowing.steps) == 1 or sowing.steps[0].place != here
    if first.from_date > today and own_place:
        for name in others:
            steps = tuple(
                replace(each, place=name) if each.place == here else each for each in sowing.steps
            )
            words = f"Grow {sowing.sowing} on {name} in place of {here}."
            yield Change(
                "push", sowing.sowing, words, Patch((replace(sowing, steps=steps),)),
                first.from_date,
            )  # fmt: skip
    body = tuple(e for e in sowing.steps if e.kind not in {StepKind.TONE, StepKind.HOLD})
    tone = [each for each in sowing.steps if each.kind is StepKind.TONE]
    for name in others:
        if tone and tone[-1].place == name:
            continue
        end = replace(last, kind=StepKind.TONE, place=name)
        words = f"Tone {sowing.sowing} on {name} in place of {tone[-1].place if tone else here}."
        yield Change(
            "hold", sowing.sowing, words, Patch((replace(sowing, steps=(*body, end)),)),
            sowing.ready_date.p50,
        )  # fmt: skip
    for name, kind in kinds.items():
        if kind is PlaceKind.COLD_STORE and crop.hold_d > 0 and last.place != name:
            end = replace(last, kind=StepKind.HOLD, place=name)
            words = f"Hold {sowing.sowing} in {name}, up to {wording.count(crop.hold_d, 'day')}."
            kept = tuple(e for e in sowing.steps if e.kind is not StepKind.HOLD)
            yield Change(
                "hold", sowing.sowing, words, Patch((replace(sowing, steps=(*kept, end)),)),
                sowing.ready_date.p50,
            )  # fmt: skip
