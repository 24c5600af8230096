"""Offers: what could be done, with its effect on every order, room, hands, money; taking one."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import isfinite
from typing import TYPE_CHECKING, Any, Final, cast

from sowbench.checking.placing import check_placing
from sowbench.checking.report import Ledger
from sowbench.checking.season import CheckInputs, Season
from sowbench.checking.structure import check_dates, check_groups, check_seeds
from sowbench.checking.timeline import Timelines
from sowbench.checking.timing import check_timing
from sowbench.domain.book import NewPlan, PlannedUse, RunState
from sowbench.planning.patched import Patched, lay_plan, patched
from sowbench.science.errors import OutOfRangeError, SowbenchError
from sowbench.services.forecast_inputs import forecast_key
from sowbench.services.forecasts import HouseForecast, forecast_with, house_forecast
from sowbench.services.house_day import day_in_house
from sowbench.services.kept_plan import new_plan_of
from sowbench.services.kept_results import Kept
from sowbench.services.parts import Made
from sowbench.services.plan_patch import Change, changes_for, plan_inputs

if TYPE_CHECKING:
    from sowbench.domain.plan import Plan
    from sowbench.domain.ports import Unit
    from sowbench.planning.inputs import PlanInputs
    from sowbench.services.desk import Desk

# Chances that differ by less are the same to whoever reads them (ours).
_SMALL_FRAC: Final = 0.0005
# An offer worth a word raises the chances of orders by so much in sum (assumption).
_WORTH_FRAC: Final = 0.01
_RANK: Final = {"resow": 0, "share": 1, "push": 2, "hold": 3, "later": 4, "fewer": 5}


@dataclass(frozen=True, slots=True)
class Effect:
    """What an offer does to one order.

    Attributes
    ----------
    order : str
        The order.
    before_frac, after_frac : float
        Chance that it is filled in time, now and with the offer.
    enough_before_frac, enough_after_frac : float
        Chance of enough plants.
    """

    order: str
    before_frac: float
    after_frac: float
    enough_before_frac: float
    enough_after_frac: float


@dataclass(frozen=True, slots=True)
class Taking:
    """What an offer takes of a place or of the hands.

    Attributes
    ----------
    kind, name : str
        What, and which.
    first_date, last_date : date
        Days on which it takes more.
    most : float
        Most on one of these days.
    total : float
        Sum over them.
    """

    kind: str
    name: str
    first_date: date
    last_date: date
    most: float
    total: float


@dataclass(frozen=True, slots=True)
class Window:
    """When a sowing is ready, now and with an offer.

    Attributes
    ----------
    sowing : str
        The sowing.
    ready_before, ready_after : date or None
        Ready in the middle of what may be.
    """

    sowing: str
    ready_before: date | None
    ready_after: date | None


@dataclass(frozen=True, slots=True, eq=False)
class Offer:
    """One thing that could be done, and what it would do.

    Attributes
    ----------
    id : str
        Its name; another as soon as plan, journal or anything entered changes.
    kind, about, words : str
        Kind, what it is for, and what would be done.
    last_date : date
        Last day on which it can be taken.
    effects : tuple of Effect
        Every order, those that change first.
    takes : tuple of Taking
        Room and hands that it takes more.
    windows : tuple of Window
        Sowings whose days it moves.
    money : float
        What the plan costs more, less is below 0.
    overgrown_money : float
        What of it is for plants that may be overgrown.
    against : tuple of str
        What stands against it; such an offer cannot be taken.
    change : Change
        The change itself.
    plan : Plan
        The plan with it.
    patched : Patched
        The plan and what it takes.
    """

    id: str
    kind: str
    about: str
    words: str
    last_date: date
    effects: tuple[Effect, ...]
    takes: tuple[Taking, ...]
    windows: tuple[Window, ...]
    money: float
    overgrown_money: float
    against: tuple[str, ...]
    change: Change
    plan: Plan
    patched: Patched

    @property
    def moved(self) -> tuple[Effect, ...]:
        """Orders whose chances change."""
        return tuple(
            each
            for each in self.effects
            if abs(each.after_frac - each.before_frac) >= _SMALL_FRAC
            or abs(each.enough_after_frac - each.enough_before_frac) >= _SMALL_FRAC
        )

    @property
    def gain_frac(self) -> float:
        """Sum of what the chances of orders rise by."""
        return sum(each.after_frac - each.before_frac for each in self.effects)


class OfferChangedError(OutOfRangeError):
    """An offer that no longer is what it was.

    Parameters
    ----------
    offer : str
        Its name.
    """

    def __init__(self, offer: str) -> None:
        super().__init__(
            "offer",
            "one of the plan and the journal as they are now",
            offer,
            "Something was entered since; look at what is offered now.",
        )


_kept: Kept[tuple[object, ...], tuple[Offer, ...]] = Kept(32)


def offers_for(desk: Desk, name: str) -> tuple[Offer, ...]:
    """Say what could be done for a sowing or an order.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        A sowing or an order.

    Returns
    -------
    offers : tuple of Offer
        Those that can be taken first, then by what they bring and cost.

    Raises
    ------
    UnknownNameError
        If the book has no plan.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        key = (desk.data_url, forecast_key(unit, today), name)
        return _kept.get(key, lambda: _offers(desk, unit, today, name))


def _offers(desk: Desk, unit: Unit, today: date, name: str) -> tuple[Offer, ...]:
    """Work the offers out."""
    forecast = house_forecast(unit, today)
    gathered = forecast.gathered
    try:
        inputs = plan_inputs(unit, gathered.head, gathered.plan)
        laid = lay_plan(inputs, gathered.plan)
    except SowbenchError:
        return ()
    found = []
    for change in changes_for(unit, forecast, inputs, name, desk.parts.promise):
        made = patched(inputs, gathered.plan, change.patch, laid)
        if _rewrites_past(gathered.plan, made.plan, today):
            continue
        against = _against(inputs, made, change)
        after = forecast_with(unit, today, made.plan, change.patch.orders)
        offer = _offer(forecast, after, change, made, against, name)
        if offer.gain_frac > _WORTH_FRAC:
            found.append(offer)
    found.sort(key=lambda o: (bool(o.against), _RANK[o.kind] >= 4, o.money - _worth(o), o.words))
    return tuple(found)


def _worth(offer: Offer) -> float:
    """Return what the rise of chances stands for in the order of offers: money is in the plan."""
    return 100.0 * offer.gain_frac


def _rewrites_past(plan: Plan, new: Plan, today: date) -> bool:
    """Tell whether a change would have to have been made before today."""
    old = {each.sowing: each for each in plan.sowings}
    for each in new.sowings:
        was = old.get(each.sowing)
        if was is None:
            if each.sow_date < today:
                return True
            continue
        if was is each or was == each:
            continue
        gone = [(s.place, s.from_date, min(s.to_date, today)) for s in was.steps]
        now = [(s.place, s.from_date, min(s.to_date, today)) for s in each.steps]
        if [s for s in gone if s[1] < today] != [s for s in now if s[1] < today]:
            return True
    return False


def _against(inputs: PlanInputs, made: Patched, change: Change) -> tuple[str, ...]:
    """Say what stands against a change: room, hands, and what the crop bears."""
    said = []
    for each in made.against():
        days = each.short_days
        what = {"crew": "the crew's time", "lot": f"seed of {each.name}"}.get(each.kind, each.name)
        said.append(f"Not enough of {what} from {days[0]} to {days[-1]}.")
    names = {each.sowing for each in change.patch.sowings}
    of = {each.id for each in change.patch.orders}
    rows = tuple(
        each
        for each in made.plan.sowings
        if each.sowing in names or any(share.order in of for share in each.orders)
    )
    orders = {each.id: each for each in change.patch.orders}
    season = Season(
        replace(made.plan, sowings=rows),
        CheckInputs(
            house=inputs.house,
            orders=tuple(orders.get(each.id, each) for each in inputs.orders),
            lots=inputs.lots,
            catalog=cast("Any", inputs.catalog),
            from_date=inputs.from_date,
            standings=inputs.standings,
            weather=inputs.weather,
        ),
    )
    ledger = Ledger()
    for rule in (check_seeds, check_dates, check_groups):
        rule(season, ledger)
    check_timing(season, Timelines(season), ledger)
    check_placing(season, ledger)
    said += [f"{finding.subject}: {finding.message}" for finding in ledger.report().findings]
    return tuple(dict.fromkeys(said))


def _offer(
    before: HouseForecast,
    after: HouseForecast,
    change: Change,
    made: Patched,
    against: tuple[str, ...],
    name: str,
) -> Offer:
    """Put an offer together."""
    plan = before.gathered.plan
    effects = []
    for order, now in before.orders.items():
        then = after.orders.get(order)
        effects.append(
            Effect(
                order,
                now.chance_filled_frac,
                1.0 if then is None else then.chance_filled_frac,
                now.chance_enough_frac,
                1.0 if then is None else then.chance_enough_frac,
            )
        )
    effects.sort(key=lambda e: (-abs(e.after_frac - e.before_frac), e.order))
    mark = repr((before.gathered.key, change.kind, change.words, made.plan.cost))
    digest = hashlib.sha256(mark.encode()).hexdigest()[:16]
    parts = made.plan.cost_parts
    return Offer(
        f"{digest}.{name}",
        change.kind,
        change.about,
        change.words,
        change.last_date,
        tuple(effects),
        _takes(made),
        _windows(before, after, change),
        round(made.plan.cost - plan.cost, 4),
        round(parts.get("overgrown", 0.0) - plan.cost_parts.get("overgrown", 0.0), 4),
        against,
        change,
        made.plan,
        made,
    )


def _takes(made: Patched) -> tuple[Taking, ...]:
    """Say what a change takes of places and hands."""
    out = []
    for each in made.uses:
        if each.kind not in {"place", "crew"}:
            continue
        days = [i for i, value in enumerate(each.more) if value > 1e-6]
        if days:
            first = each.first_date
            out.append(
                Taking(
                    each.kind,
                    each.name,
                    first + timedelta(days=days[0]),
                    first + timedelta(days=days[-1]),
                    round(float(max(each.more)), 3),
                    round(float(sum(each.more[i] for i in days)), 3),
                )
            )
    return tuple(out)


def _windows(before: HouseForecast, after: HouseForecast, change: Change) -> tuple[Window, ...]:
    """Say which sowings are ready on other days."""
    out = []
    for each in change.patch.sowings:
        was, now = before.sowings.get(each.sowing), after.sowings.get(each.sowing)
        if now is not None:
            out.append(
                Window(
                    each.sowing,
                    None if was is None else _date(before, was.ready.p50),
                    _date(after, now.ready.p50),
                )
            )
    return tuple(w for w in out if w.ready_before != w.ready_after)


def _date(forecast: HouseForecast, day: float) -> date | None:
    """Return a day of the season; None for never."""
    return forecast.gathered.season.day(round(day)) if isfinite(day) else None


def offer_of(desk: Desk, offer_id: str) -> Offer:
    """Return an offer as it stands.

    Parameters
    ----------
    desk : Desk
        The desk.
    offer_id : str
        Its name.

    Returns
    -------
    offer : Offer
        The offer.

    Raises
    ------
    OfferChangedError
        If plan, journal or anything entered has changed since.
    """
    about = offer_id.partition(".")[2]
    for each in offers_for(desk, about):
        if each.id == offer_id:
            return each
    raise OfferChangedError(offer_id)


def take_offer(desk: Desk, offer_id: str, person: str = "") -> int:
    """Take an offer: its plan becomes the one by which the house works.

    Parameters
    ----------
    desk : Desk
        The desk.
    offer_id : str
        The offer.
    person : str, default ""
        Who takes it.

    Returns
    -------
    plan_id : int
        The new plan.

    Raises
    ------
    OfferChangedError
        If plan, journal or anything entered has changed since; nothing is done.
    OutOfRangeError
        If something stands against it.
    """
    offer = offer_of(desk, offer_id)
    if offer.against:
        raise OutOfRangeError("offer", "one that nothing stands against", offer.against[0])
    with desk.book.writing() as unit:
        head = unit.plans.current()
        key = forecast_key(unit, day_in_house(unit, desk.clock()))
        about = offer_id.partition(".")[2]
        kept = _kept.get((desk.data_url, key, about), lambda: ())
        if head is None or offer.id not in {each.id for each in kept}:
            raise OfferChangedError(offer_id)
        at = desk.clock()
        body = unit.plans.body(head.id)
        inputs = plan_inputs(unit, head, body)
        uses = _uses(unit.season_page.uses(head.id), offer)
        made = Made(offer.plan, ())
        new: NewPlan = replace(
            new_plan_of(made, inputs, head.id, head.house_version), uses=tuple(uses)
        )
        if offer.change.patch.orders:
            known = unit.orders.named({each.id for each in offer.change.patch.orders})
            rows = [
                replace(each, status=known[each.id].status) for each in offer.change.patch.orders
            ]
            unit.orders.put(rows, at, person, offer.words)
        run = unit.runs.start(at, person, offer.plan.from_date, 0.0)
        plan_id = unit.plans.add(new, at, person)
        unit.plans.accept(plan_id, at)
        unit.runs.end(run, at, RunState.DONE, plan_id, offer.words)
        unit.commit()
    return plan_id


def _uses(uses: list[PlannedUse], offer: Offer) -> list[PlannedUse]:
    """Add what an offer takes to the use of places and hands."""
    more = {
        ("hands" if each.kind == "crew" else each.name): each
        for each in offer.patched.uses
        if each.kind in {"place", "crew"}
    }
    out = []
    for each in uses:
        own = more.get(each.name)
        if own is None:
            out.append(each)
            continue
        values = list(each.use)
        shift = (own.first_date - each.first_date).days
        for i, value in enumerate(own.more):
            if 0 <= i + shift < len(values):
                values[i + shift] = max(values[i + shift] + float(value), 0.0)
        out.append(replace(each, use=values))
    return out
