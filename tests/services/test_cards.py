"""The card of a sowing says what, how, where and when, and cites what it rests on."""

from datetime import date

import pytest
from tests.services.fakes import FROM_DATE, FakePlanner, write_orders

from sowbench.planning.parameters import SolveParameters
from sowbench.services.cards import cards_document, cited_sources, lot_words, sowing_cards
from sowbench.services.inputs import InputFiles, load_inputs


@pytest.fixture
def made(tmp_path):
    seed = tmp_path / "seed.csv"
    seed.write_text(
        "lot,crop,n_tested,n_normal,n_seeds,treated\nA-1,tomato,100,90,500,yes\n", encoding="utf-8"
    )
    loaded = load_inputs(InputFiles(write_orders(tmp_path), seed=seed), FROM_DATE)
    return FakePlanner()(loaded.inputs, SolveParameters(), 0).plan, loaded.inputs


def test_cards_come_by_sowing_day(made):
    cards = sowing_cards(*made)
    assert [each.sow_date for each in cards] == [date(2027, 3, 11), date(2027, 4, 5)]
    lettuce, tomato = cards
    assert lettuce.emergence_date is not None
    assert tomato.opening == (
        "Lot A-1: 75 seeds, 1 a cell, in 75 cells: 2 x Plug tray, 72 cells (plug-72).",
        "For O-1 (60).",
    )
    assert tomato.course[0] == "5 to 9 April: germinates (windowsill)."
    assert tomato.outlook[0] == (
        "Ready about Wed 12 May, 8 times in 10 between 8 and 18 May;"
        " overgrown from about Mon 24 May."
    )
    assert lettuce.sow_date < lettuce.emergence_date < tomato.sow_date


def test_emergence_follows_the_mean_temperature_of_the_mix(made):
    # 20 °C for 14 h and 17 °C for 10 h less 1 °C of evaporation are 17.75 °C; the tomato needs
    # 106.9 °C d above 7.6 °C: 10.5 days from noon of 5 April end on the 16th.
    tomato = sowing_cards(*made)[1]
    assert tomato.emergence_date == date(2027, 4, 16)


def test_treated_seed_carries_its_caution_onto_the_card(made):
    lettuce, tomato = sowing_cards(*made)

    def cautions(card):
        return " ".join(each.caution for each in card.steps)

    assert "treated" in cautions(tomato).casefold() or "coated" in cautions(tomato).casefold()
    assert cautions(tomato) != cautions(lettuce)


def test_the_document_cites_only_sources_that_exist(made):
    plan, inputs = made
    cards = sowing_cards(plan, inputs)
    text = cards_document(cards, inputs.catalog.sources)
    assert text.count("\n## ") == len(cards) + 1
    for name, citation in cited_sources(cards, inputs.catalog.sources):
        assert f"- {name}: {citation}" in text


def test_a_lot_that_stands_in_is_still_to_be_bought():
    assert lot_words("tomato (to buy)") == "seed to buy"
    assert lot_words("A-12") == "lot A-12"
