"""Workings of supplies: the sowings add up to the list, line by line."""

from dataclasses import replace

import pytest
from bs4 import BeautifulSoup

from sowbench.science.errors import UnknownNameError
from sowbench.services.working_pages import working_of


def supplies_of(desk):
    """Return the supplies of the current plan."""
    with desk.book.reading() as unit:
        return unit.seed_page.supplies(unit.plans.current().id)


def test_every_line_of_the_supplies_is_what_its_sowings_take(demo_desk):
    rows = supplies_of(demo_desk)
    assert {each.item.partition(" ")[0] for each in rows} > {"seed", "mix"}
    for row in rows:
        working = working_of(demo_desk, "supply", row.item)
        assert working.figure == pytest.approx(row.amount, rel=0.005, abs=0.02), row.item
        assert "The plan has the same" in working.agrees, (row, working.agrees)


def test_seed_of_a_lot_is_cells_by_seeds_of_its_sowings(demo_desk):
    row = next(each for each in supplies_of(demo_desk) if each.item.startswith("seed "))
    lot = row.item.removeprefix("seed ")
    with demo_desk.book.reading() as unit:
        plan = unit.plans.body(unit.plans.current().id)
    by_hand = sum(
        each.n_cells * each.seeds_per_cell
        for each in plan.sowings
        if each.lot == lot and not each.standing
    )
    assert working_of(demo_desk, "supply", row.item).figure == by_hand


def test_mix_of_the_plan_adds_up_its_sowings_and_not_the_list(demo_desk):
    working = working_of(demo_desk, "mix")
    listed = sum(each.amount for each in supplies_of(demo_desk) if each.unit == "L")
    assert working.figure == pytest.approx(listed, abs=0.5)
    assert "The plan has the same" in working.agrees
    # 25.1 ml a cell (reference, C21) and a tenth more (model section 10), for one of its sowings.
    assert any("25.1 ml x 1.10" in each.symbols for each in working.lines)


def test_a_lot_with_less_seed_than_the_plan_takes_says_what_to_buy_in_whole_packs(demo_desk):
    row = next(each for each in supplies_of(demo_desk) if each.item.startswith("seed "))
    with demo_desk.book.writing() as unit:
        lot = unit.lots.get(row.item.removeprefix("seed "))
        less = replace(lot, n_seeds=100, pack_sizes=(250, 1000))
        unit.lots.put([less], demo_desk.clock(), "Ilo", "counted")
        unit.commit()
    working = working_of(demo_desk, "supply", row.item)
    packs = -(-(row.amount - 100) // 250) * 250
    assert f"{packs:,.0f} to buy" in working.result
    assert "have changed since the plan was made" in working.agrees


def test_a_supply_that_the_plan_does_not_need_is_unknown(demo_desk):
    with pytest.raises(UnknownNameError, match="supply"):
        working_of(demo_desk, "supply", "seed of nothing")


def test_every_line_of_the_page_opens_a_working(demo_client):
    soup = BeautifulSoup(demo_client.get("/supplies").text, "html.parser")
    urls = {str(each["data-working"]) for each in soup.select("main [data-working]")}
    assert len(urls) > 20
    for url in sorted(urls):
        answer = demo_client.get(url)
        assert answer.status_code == 200, url
        assert "How it is reckoned" in answer.text
