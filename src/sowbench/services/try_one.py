"""Answer one question with no file at all: so many plants on a day, what to do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.domain.plan import OrderPlan, Plan, Sowing, Unmet
from sowbench.domain.records import Order
from sowbench.exchange.orders import SYSTEMS
from sowbench.exchange.weather import read_weather
from sowbench.planning.inputs import PlanInputs
from sowbench.reference.catalog import Catalog
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.cards import Card, sowing_cards
from sowbench.services.inputs import load_house, with_short_plant

if TYPE_CHECKING:
    from pathlib import Path

    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.parts import Parts

ORDER_NAME: Final = "this"
# What keeps a part of the plan from counting as raising is shortage, lateness and overgrowth.
_RAISING: Final = ("seed", "container", "mix", "labor", "room")
_SHORT_FACTORS: Final = (1.0, 10.0, 100.0)


@dataclass(frozen=True, slots=True)
class Question:
    """So many plants of a crop wanted on a day.

    Attributes
    ----------
    crop : str
        Crop in any spelling.
    plants : int
        Usable plants wanted.
    wanted_date : date
        The day.
    system : str
        Where the plants go; "any" takes what is cheapest.
    container : str
        Container to use; blank for any that fits.
    confidence_frac : float or None
        Chance wanted that there are enough.
    earliest_date, latest_date : date or None
        Days that still serve; the day itself if None.
    """

    crop: str
    plants: int
    wanted_date: date
    system: str = "any"
    container: str = ""
    confidence_frac: float | None = None
    earliest_date: date | None = None
    latest_date: date | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """A plan of one order, taken apart.

    ``order`` is what the order gets; ``unmet`` is None if all of it is planned; ``noun`` is what
    is counted, plants or clumps; ``cost_of_raising`` leaves out what a shortage would cost.
    """

    question: Question
    crop: str
    noun: str
    house: str
    currency: str
    plan: Plan
    order: OrderPlan | None
    sowings: tuple[Sowing, ...]
    cards: tuple[Card, ...]
    unmet: Unmet | None
    cost_of_raising: float


def try_question(
    question: Question,
    from_date: date,
    parameters: SolveParameters,
    seed: int,
    parts: Parts,
    house_path: str | Path | None = None,
) -> Answer:
    """Plan one order alone in the house.

    Parameters
    ----------
    question : Question
        What is wanted.
    from_date : date
        First day on which anything can be done.
    parameters : SolveParameters
        How to search.
    seed : int
        Seed of the search.
    parts : Parts
        The planner.
    house_path : str, Path or None, default None
        House file; None stands for a windowsill.

    Returns
    -------
    answer : Answer
        When, how, in what, how many seeds, how sure.

    Raises
    ------
    UnknownNameError
        If the crop, container or system is not known.
    OutOfRangeError
        If the number or the day makes no sense.
    InputFileError
        If the house file is not right.
    """
    house, catalog = load_house(house_path)
    order = order_of(question, catalog, from_date)
    inputs = PlanInputs(
        house=house,
        catalog=catalog,
        orders=(order,),
        from_date=from_date,
        weather=None if house.weather_file is None else read_weather(house.weather_file),
    )
    plan = _plan_at_any_cost(inputs, parameters, seed, parts)
    one = order.plants == 1
    clumps = order.unit == "cell" and catalog.crops[order.crop].plants_per_cell[1] > 1
    return Answer(
        question=question,
        crop=order.crop,
        noun=("clump" if clumps else "plant") + ("" if one else "s"),
        house=house.name,
        currency=house.prices.currency,
        plan=plan,
        order=next(iter(plan.orders), None),
        sowings=tuple(sorted(plan.sowings, key=lambda each: each.sow_date)),
        cards=sowing_cards(plan, inputs),
        unmet=next(iter(plan.unmet), None),
        cost_of_raising=sum(plan.cost_parts.get(each, 0.0) for each in _RAISING),
    )


def _plan_at_any_cost(
    inputs: PlanInputs, parameters: SolveParameters, seed: int, parts: Parts
) -> Plan:
    """Plan the order; where leaving it would only be cheaper, let a short plant cost more.

    Who asks how to raise twelve plants does not ask whether it pays. The first plan stands if
    nothing helps, with its reason and its offers.
    """
    first: Plan | None = None
    for factor in _SHORT_FACTORS:
        dearer = replace(inputs, house=with_short_plant(inputs.house, factor))
        plan = parts.make_plan(dearer, parameters, seed, None).plan
        if not plan.unmet:
            return plan
        first = first or plan
    assert first is not None  # noqa: S101 - there is at least one factor
    return first


def order_of(question: Question, catalog: Catalog, from_date: date) -> Order:
    """Write a question as an order.

    Parameters
    ----------
    question : Question
        What is wanted.
    catalog : Catalog
        Crops, containers and systems known.
    from_date : date
        First day on which anything can be done.

    Returns
    -------
    order : Order
        The order, asked for and not yet promised.

    Raises
    ------
    UnknownNameError
        If the crop, container or system is not known.
    OutOfRangeError
        If the number or the day makes no sense.
    """
    crop = catalog.crops[catalog.crop_id(question.crop)]
    if question.plants < 1:
        raise OutOfRangeError("--plants", "a whole number from 1 up", question.plants)
    if question.wanted_date <= from_date:
        raise OutOfRangeError(
            "--on", f"a day after {from_date}, the first day of work", question.wanted_date
        )
    earliest = question.earliest_date or question.wanted_date
    latest = question.latest_date or question.wanted_date
    if earliest > question.wanted_date:
        raise OutOfRangeError("--earliest", f"no later than {question.wanted_date}", earliest)
    if latest < question.wanted_date:
        raise OutOfRangeError("--latest", f"no earlier than {question.wanted_date}", latest)
    known = dict.fromkeys((*SYSTEMS, "any", *(each for _, _, each in catalog.ready_rules)))
    if question.system not in known:
        raise UnknownNameError.among(question.system, "system", known)
    containers = (catalog.container_id(question.container),) if question.container else ()
    return Order(
        id=ORDER_NAME,
        crop=crop.id,
        plants=question.plants,
        wanted_date=question.wanted_date,
        earliest_date=earliest,
        latest_date=latest,
        unit=crop.unit,
        system=question.system,
        containers=containers,
        confidence_frac=question.confidence_frac,
        status="asked",
    )
