"""Why an order does not fit, and what would, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sowbench.services import wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sowbench.domain.plan import Offer
    from sowbench.services.summary import UnmetOrder

_REASONS: Final = {
    "room": "There is no room for it",
    "crew": "The crew has no time for it",
    "seed": "There is no seed for it",
    "germination": "Its seed germinates too poorly",
    "container": "No container is allowed or left for it",
    "too_soon": "It cannot be ready by then",
    "past": "The last day it serves has passed",
    "temperature": "No place is warm enough for it then",
    "pinned": "What is pinned for it leaves no way",
    "price": "Raising it costs more than it is worth",
}


def reason_words(reason: str) -> str:
    """Say a reason.

    Parameters
    ----------
    reason : str
        Reason as plan.json has it.

    Returns
    -------
    text : str
        A sentence without its point.
    """
    return _REASONS.get(reason, reason.replace("_", " ").capitalize())


def helps(unmet: UnmetOrder, currency: str = "") -> list[str]:
    """Say what would help an unmet order.

    Parameters
    ----------
    unmet : UnmetOrder
        The order with its offers.
    currency : str, default ""
        Currency of the house.

    Returns
    -------
    sentences : list of str
        One an offer.
    """
    return offer_words(unmet.offers, unmet.plants_ordered, currency)


def offer_words(offers: Sequence[Offer], plants: int, currency: str = "") -> list[str]:
    """Say what would fit.

    Parameters
    ----------
    offers : sequence of Offer
        The offers.
    plants : int
        Plants ordered.
    currency : str, default ""
        Currency of the house.

    Returns
    -------
    sentences : list of str
        One an offer, as an action with its chance and what it costs.
    """
    return [f"{_action(each, plants)}{_tail(each, currency)}." for each in offers]


def _action(offer: Offer, plants: int) -> str:
    """Say what to do."""
    n = offer.plants if offer.plants is not None else plants
    if offer.kind == "buy_seed":
        n_seeds = wording.count(offer.amount, "seed") if offer.amount else "seed"
        by = f" by {wording.day(offer.latest_date)}" if offer.latest_date else ""
        variety = f" of '{offer.variety}'" if offer.variety else ""
        return f"Buy {n_seeds}{variety}{by}"
    parts = [f"Give {wording.count(n, 'plant')}"]
    if offer.wanted_on is not None:
        parts.append(f"on {wording.day(offer.wanted_on)}")
    if offer.container:
        parts.append(f"in {offer.container}")
    if offer.place:
        parts.append(f"raised in {offer.place}")
    if offer.variety:
        parts.append(f"of '{offer.variety}'")
    if offer.kind == "fewer" and offer.wanted_on is None:
        parts.append("in place of all")
    return " ".join(parts)


def _tail(offer: Offer, currency: str) -> str:
    """Say chance and cost of an offer."""
    tail = ""
    if offer.chance_filled_frac is not None:
        tail += f": filled {wording.chance(offer.chance_filled_frac)}"
    if offer.cost_change is not None and abs(offer.cost_change) >= 0.005:
        word = "more" if offer.cost_change > 0 else "less"
        cost = wording.money(abs(offer.cost_change), currency)
        tail += f"{',' if tail else ':'} {cost} {word} in all"
    return tail
