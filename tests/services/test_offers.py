"""Offers read as something to do."""

from datetime import date

from sowbench.domain.plan import Offer
from sowbench.services.offers import offer_words, reason_words


def words(offer):
    return offer_words([offer], 200, "crowns")[0]


def test_later_and_fewer_say_how_many_and_when():
    later = Offer("later", 200, date(2027, 5, 20), cost_change=12.0, chance_filled_frac=0.9)
    assert words(later) == (
        "Give 200 plants on Thu 20 May: filled about 9 times in 10, 12.00 crowns more in all."
    )
    assert words(Offer("fewer", 120, cost_change=-3.0)) == (
        "Give 120 plants in place of all: 3.00 crowns less in all."
    )


def test_place_container_and_variety_are_named():
    offer = Offer("container", container="plug-288", place="warm bench", variety="Gable")
    assert words(offer) == "Give 200 plants in plug-288 raised in warm bench of 'Gable'."


def test_seed_to_buy_says_how_much_and_by_when():
    offer = Offer("buy_seed", amount=380, latest_date=date(2027, 2, 4))
    assert words(offer) == "Buy 380 seeds by Thu 4 February."


def test_every_reason_of_the_plan_has_words():
    held = ("too_soon", "past", "temperature", "pinned", "germination")
    for reason in ("room", "crew", "seed", "container", *held):
        assert " " in reason_words(reason)
