"""Orders in words: what is weak, what is left out, how many of what by when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.services import wording
from sowbench.services.offers import offer_words, reason_words

if TYPE_CHECKING:
    from sowbench.domain.plan import OrderPlan, Unmet
    from sowbench.domain.ports.orders_page import ListedOrder
    from sowbench.domain.records import Order
    from sowbench.reference.catalog import Catalog

UNTIMELY_FRAC: Final = 0.5
"""Under this chance of being in time, an order will more likely than not miss its days (ours)."""


@dataclass(frozen=True, slots=True)
class OrderLine:
    """An order as a list shows it.

    Attributes
    ----------
    name, customer, crop, crop_name, variety, status, standing_of : str
        As ordered, with the crop's name in words.
    plants : int
        How many are wanted.
    noun : str
        What they are: "plants" or "clumps".
    wanted_date, earliest_date, latest_date : date
        When they serve.
    confidence_frac : float
        Chance wanted that there are enough.
    chance_enough_frac, chance_in_time_frac : float or None
        Chances by the plan; None where it has none.
    level : str
        "good", "watch", "act"; blank where no plan knows the order.
    words : str
        What is wrong, in a few words; blank if nothing is.
    n_unmet, n_delivered : int
        Plants left out of the plan, and handed over.
    """

    name: str
    customer: str
    crop: str
    crop_name: str
    variety: str
    plants: int
    noun: str
    wanted_date: date
    earliest_date: date
    latest_date: date
    confidence_frac: float
    chance_enough_frac: float | None
    chance_in_time_frac: float | None
    level: str
    words: str
    n_unmet: int
    n_delivered: int
    status: str
    standing_of: str


def line_of(listed: ListedOrder, catalog: Catalog, *, planned: bool) -> OrderLine:
    """Put an order in the words of a list.

    Parameters
    ----------
    listed : ListedOrder
        The order with what a plan gives it.
    catalog : Catalog
        For the names of crops.
    planned : bool
        Whether there is a plan that could know it.

    Returns
    -------
    line : OrderLine
        The line.
    """
    order, plan = listed.order, listed.planned
    level, words = _standing(listed, planned=planned)
    n_unmet = 0 if listed.unmet is None else listed.unmet.plants
    has_chance = plan is not None and plan.planned > 0
    return OrderLine(
        name=order.id,
        customer=order.customer,
        crop=order.crop,
        crop_name=crop_name(order.crop, catalog),
        variety=order.variety,
        plants=order.plants,
        noun=noun_of(order, catalog),
        wanted_date=order.wanted_date,
        earliest_date=order.earliest_date,
        latest_date=order.latest_date,
        confidence_frac=listed.confidence_frac,
        chance_enough_frac=plan.chance_enough_frac if plan and has_chance else None,
        chance_in_time_frac=plan.chance_in_time_frac if plan and has_chance else None,
        level=level,
        words=words,
        n_unmet=n_unmet,
        n_delivered=listed.n_delivered,
        status=order.status,
        standing_of=order.standing_of,
    )


def _standing(listed: ListedOrder, *, planned: bool) -> tuple[str, str]:
    """Say how an order stands: a level, and a few words."""
    order, plan, unmet = listed.order, listed.planned, listed.unmet
    if order.status == "cancelled":
        return "", "cancelled"
    if listed.n_delivered >= order.plants:
        return "good", "all handed over"
    if unmet is not None and unmet.plants > 0:
        whole = unmet.plants >= order.plants
        what = "None planned" if whole else f"{unmet.plants:,} of {order.plants:,} not planned"
        return "act", f"{what}: {_lower(reason_words(unmet.reason))}"
    if plan is None:
        return "", "not in the plan yet" if planned else ""
    if plan.plants != order.plants and not listed.n_delivered:
        return "watch", f"planned for {plan.plants:,}; plan again"
    if plan.chance_in_time_frac < UNTIMELY_FRAC:
        return "act", "more likely too late, or overgrown, than not"
    if plan.risky:
        return "watch", "may come short"
    if listed.n_delivered:
        return "good", f"{listed.n_delivered:,} handed over"
    return "good", ""


def crop_name(crop: str, catalog: Catalog) -> str:
    """Return the name of a crop; one that is no longer known keeps its id.

    Parameters
    ----------
    crop : str
        Id.
    catalog : Catalog
        Crops known.

    Returns
    -------
    name : str
        As "pak choi".
    """
    known = catalog.crops.get(crop)
    return crop if known is None else _lower(known.name)


def noun_of(order: Order, catalog: Catalog) -> str:
    """Say what an order counts.

    Parameters
    ----------
    order : Order
        The order.
    catalog : Catalog
        Crops known.

    Returns
    -------
    noun : str
        "plants", "clumps", or one of them.
    """
    crop = catalog.crops.get(order.crop)
    clumps = order.unit == "cell" and crop is not None and crop.plants_per_cell[1] > 1
    return ("clump" if clumps else "plant") + ("" if order.plants == 1 else "s")


def unmet_words(unmet: Unmet, order: Order, currency: str) -> tuple[str, tuple[str, ...]]:
    """Say why plants of an order are left out, and what would help.

    Parameters
    ----------
    unmet : Unmet
        What is left out.
    order : Order
        The order.
    currency : str
        Currency of the house.

    Returns
    -------
    why : str
        A sentence.
    helps : tuple of str
        One sentence an offer.
    """
    why = unmet.words or f"{reason_words(unmet.reason)}."
    return why, tuple(offer_words(unmet.offers, order.plants, currency))


def window_words(order: Order) -> str:
    """Say on which days plants of an order serve.

    Parameters
    ----------
    order : Order
        The order.

    Returns
    -------
    text : str
        As "on 12 April", "between 10 and 14 April".
    """
    return wording.between(order.earliest_date, order.latest_date)


def chance_parts(plan: OrderPlan) -> tuple[tuple[str, float], ...]:
    """Name the parts of an order's chance.

    Parameters
    ----------
    plan : OrderPlan
        What a plan gives it.

    Returns
    -------
    parts : tuple of (str, float)
        What each is the chance of.
    """
    return (
        ("enough plants", plan.chance_enough_frac),
        ("ready in time, not overgrown", plan.chance_in_time_frac),
        ("both", plan.chance_filled_frac),
    )


def _lower(text: str) -> str:
    """Begin with a small letter, unless it is an abbreviation."""
    return text[:1].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text
