"""Workings of what could be raised beside the plan: answers to a customer, and offers."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final
from urllib.parse import parse_qsl

from sowbench.checking.stand import TRAY_LOSS_FRAC
from sowbench.domain.plan import HandOver, OrderPlan
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.offers import fit_again
from sowbench.planning.promise import season_around
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services import wording
from sowbench.services.kept_results import Kept
from sowbench.services.learned import plan_house_of
from sowbench.services.offers import offer_words
from sowbench.services.orders_promise import answer_to, asked_of
from sowbench.services.plan_body import plan_body
from sowbench.services.working import (
    HOUSE,
    PLANNED,
    WORKED_OUT,
    Input,
    Line,
    Working,
    citations,
)
from sowbench.services.working_few import Few
from sowbench.services.working_model import model_of
from sowbench.services.working_money import PART_WORDS, sowing_cost
from sowbench.services.working_order import Chance, chance_working
from sowbench.services.working_ready import ready_working
from sowbench.services.working_sowing import cells_working

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Offer, Sowing
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import Order, SeedLot
    from sowbench.planning.offers import Fit
    from sowbench.services.desk import Desk
    from sowbench.services.working_model import Recomputed

COST: Final = "cost"
CELLS: Final = "cells"
READY: Final = "ready"
PARTS: Final = (*(each.value for each in Chance), COST, CELLS, READY)
"""What of something beside the plan has a working."""

_WHERE: Final = "docs/model.md, sections 5 and 8"
_MOST_KEPT: Final = 16
# Four digits of a chance and two of money are told.
_SAME_CHANCE: Final = 0.0005
_SAME_MONEY_FRAC: Final = 0.005
_SAME_MONEY: Final = 0.02
_fits: Final[Kept[tuple[object, ...], tuple[Fit | None, SeedLot]]] = Kept(_MOST_KEPT)


def beside_working(
    inputs: PlanInputs,
    head: PlanHead,
    sowing: Sowing,
    order: Order,
    day: date,
    part: str,
    told: float,
) -> Working:
    """Work out once more what raising an order beside the plan gives or costs.

    Parameters
    ----------
    inputs : PlanInputs
        What it was fitted with.
    head : PlanHead
        The plan beside which it stands.
    sowing : Sowing
        The sowing that would be made.
    order : Order
        The order as it was fitted.
    day : date
        Day on which it would be handed over.
    part : str
        One of `PARTS`.
    told : float
        The number that the page shows; of cells and days it is not looked at.

    Returns
    -------
    working : Working
        Worked out from the sowing, by the checker's functions.
    """
    plants = sum(each.plants for each in sowing.orders)
    planned = min(plants, order.plants)
    hand_over = (HandOver(day, sowing.sowing, planned),)
    row = OrderPlan(order.id, order.plants, planned, told, told, told, 0.0, (), hand_over)
    model = model_of(
        Few(
            replace(head, from_date=inputs.from_date),
            inputs.house,
            inputs.catalog,
            inputs.weather,
            (sowing,),
            (order,),
            {order.id: row},
            inputs.lots,
        )
    )
    if part == CELLS:
        return cells_working(model, sowing)
    if part == READY:
        return ready_working(model, sowing)
    if part == COST:
        return _cost(model, sowing, order, planned, told)
    found = chance_working(model, order.id, Chance(part))
    figure = found.figure if isinstance(found.figure, float) else 0.0
    return replace(
        found,
        subject=_subject(sowing, order, day),
        planned=told,
        agrees=_same(wording.percent(figure, 1), wording.percent(told, 1),
                     is_same=abs(figure - told) <= _SAME_CHANCE),
    )  # fmt: skip


def _subject(sowing: Sowing, order: Order, day: date) -> str:
    """Say what it is about."""
    return f"{order.plants:,} of {sowing.crop} on {wording.day(day)}"


def _same(here: str, told: str, *, is_same: bool) -> str:
    """Say whether the answer is what is worked out here."""
    if is_same:
        return f"The answer has the same: {told}. Everything in the plan stays where it is."
    return (
        f"The answer says {told}; with what is entered now it comes to {here}. Ask again, or plan "
        "again, to bring them together."
    )


def _cost(model: Recomputed, sowing: Sowing, order: Order, planned: int, told: float) -> Working:
    """Tell what raising it costs, with what may be short or late."""
    season, house = model.season, model.few.house
    prices, money = house.prices, house.prices.currency
    parts = sowing_cost(model, sowing)
    chances = model.chances(order, planned)
    per_cell = order.plants / max(season.wanted_cells(order), 1)
    short = chances.expected_short * per_cell + max(order.plants - planned, 0)
    parts["short"] = prices.short_plant * short
    usable, weights = model.stand(sowing).usable_at_nodes()
    above = max(
        0.0,
        float(season.w_weights @ usable @ weights) * (1.0 - TRAY_LOSS_FRAC) * sowing.n_cells
        - season.wanted_cells(order, planned)
        + chances.expected_short,
    )
    parts["surplus"] = -prices.surplus_plant * above * per_cell
    total = sum(parts.values())
    lines = [
        Line(*PART_WORDS[name], wording.money(value, money))
        for name, value in parts.items()
        if abs(value) >= 0.005
    ]
    lines += [
        Line("Together.", "sum", wording.money(total, money)),
        Line("A plant.", f"{total:,.2f} / {order.plants:,}",
             wording.money(total / order.plants, money)),
        Line("In return the plants left out are no longer counted as short.",
             f"{order.plants:,} x {wording.money(prices.short_plant, money)}",
             f"{wording.money(order.plants * prices.short_plant, money)}, not taken off here"),
    ]  # fmt: skip
    inputs = (
        Input("cells, seeds", f"{sowing.n_cells:,}, {sowing.n_seeds:,}", "", "", PLANNED),
        Input("steps", wording.listed(f"{each.container} in {each.place}" for each in sowing.steps),
              "", wording.span(sowing.sow_date, sowing.steps[-1].to_date), PLANNED),
        Input("plants short, on average", f"{short:,.2f}", "plants", "opens in the chance of "
              "enough", WORKED_OUT),
        Input("a plant short", wording.money(prices.short_plant, money), "", "house file", HOUSE),
        Input("an hour of work", wording.money(house.crew.rate_per_hour, money), "", "house file",
              HOUSE),
    )  # fmt: skip
    here, said = wording.money(total, money), wording.money(told, money)
    return Working(
        "What it costs",
        _subject(sowing, order, sowing.steps[-1].to_date),
        here,
        inputs,
        tuple(lines),
        total,
        told,
        _same(here, said, is_same=abs(total - told) <= _SAME_MONEY + _SAME_MONEY_FRAC * abs(told)),
        sources=citations(inputs, model.few.catalog),
        where=_WHERE,
    )


def promised_working(desk: Desk, of: str) -> Working:
    """Show how sure an answer to a customer is, what it costs, or why these days.

    Parameters
    ----------
    desk : Desk
        The desk.
    of : str
        Part and answer ("day" or "earliest") with "/" between them, then "?" and the question as
        the page of promises has it in its address.

    Returns
    -------
    working : Working
        Worked out from the sowing that the answer would make.

    Raises
    ------
    UnknownNameError
        If there is no such part or answer.
    """
    head_words, _, question = of.partition("?")
    part, _, which = head_words.partition("/")
    if part not in PARTS:
        raise UnknownNameError.among(part, "part of an answer", PARTS)
    asked = asked_of(desk, dict(parse_qsl(question)))
    if asked is None:
        raise UnknownNameError(question, "question that could be answered")
    found = answer_to(desk, asked)
    answer = {"day": found.on_day, "earliest": found.earliest}.get(which)
    if answer is None:
        raise UnknownNameError(which, "answer to this question")
    told = {
        Chance.ENOUGH.value: answer.chance_enough_frac,
        Chance.IN_TIME.value: answer.chance_in_time_frac,
        Chance.FILLED.value: answer.chance_filled_frac,
        COST: answer.cost,
    }.get(part, 0.0)
    return beside_working(
        asked.inputs, asked.head, answer.sowing, answer.order, answer.date, part, told
    )


def offer_working(unit: Unit, head: PlanHead, of: str) -> Working:
    """Show how sure an offer to an order is, or what it costs.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan that makes the offer.
    of : str
        Part, number of the offer from 0 on, and order, with "/" between them.

    Returns
    -------
    working : Working
        Fitted into what the plan leaves once more, and worked out from there.

    Raises
    ------
    UnknownNameError
        If there is no such order left out, offer or part.
    OutOfRangeError
        If it does not fit any more with what is entered now.
    """
    part, _, rest = of.partition("/")
    number, _, name = rest.partition("/")
    if part not in PARTS:
        raise UnknownNameError.among(part, "part of an offer", PARTS)
    plan = plan_body(unit, head)
    unmet = next((each for each in plan.unmet if each.order == name), None)
    offers: Sequence[Offer] = () if unmet is None else unmet.offers
    if not number.isascii() or not number.isdigit() or int(number) >= len(offers):
        raise UnknownNameError(f"{number} of order {name}", "offer of this plan")
    offer = offers[int(number)]
    inputs = _as_planned(unit, head)
    order = next((each for each in inputs.orders if each.id == name), None)
    if order is None:
        raise UnknownNameError(name, "open order")
    plants = offer.plants or order.plants
    # Places, hands and stock are the same as long as the plan is, so it is fitted once.
    key = (head.id, head.made_at, number, order, inputs.lots)
    fit, bought = _fits.get(
        key, lambda: fit_again(season_around(inputs, plan, order), order, offer.kind, plants)
    )
    if fit is None:
        raise OutOfRangeError("offer", "one that still fits beside the plan", f"{number} of {name}")
    if offer.kind == "buy_seed":
        inputs = replace(inputs, lots=(bought,))
    told = offer.cost_change if part == COST else offer.chance_filled_frac
    found = beside_working(
        inputs, head, fit.sowing, fit.order, fit.hand_over_date, part, told or 0.0
    )
    words = offer_words([offer], order.plants, inputs.house.prices.currency)[0]
    first = Line(
        "What would be agreed on; then the earliest day on which it fits beside everything that "
        f"is planned, the cheapest way for that day: {words}",
        "",
        f"sown {wording.day(fit.sow_date)}, handed over {wording.day(fit.hand_over_date)}",
    )
    return replace(found, lines=(first, *found.lines))


def _as_planned(unit: Unit, head: PlanHead) -> PlanInputs:
    """Gather what a plan was made from, as it is entered now."""
    house, catalog, weather = plan_house_of(unit, head)
    orders = unit.orders_page.since(head.from_date)
    return PlanInputs(
        house=house,
        catalog=catalog,
        orders=tuple(each for each in orders if each.status != "cancelled" and each.plants > 0),
        from_date=head.from_date,
        lots=tuple(unit.lots.all()) or None,
        weather=weather,
        standings=tuple(unit.standings.all()),
    )
