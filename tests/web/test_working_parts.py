"""Workings of a day, of seed, of cost parts, of places and cards: each ends at what is shown."""

from typing import Any

import pytest

from sowbench.science.errors import UnknownNameError
from sowbench.services.day_page import day_page
from sowbench.services.house_page import house_view
from sowbench.services.seed_page import seed_view
from sowbench.services.working_pages import working_of


def plan_of(desk):
    """Return the current plan."""
    with desk.book.reading() as unit:
        return unit.plans.body(unit.plans.current().id)


def test_minutes_at_each_place_add_up_to_what_the_page_of_the_day_shows(demo_desk):
    page = day_page(demo_desk)
    assert len(page.stays) > 1
    for stay in page.stays:
        working = working_of(demo_desk, "day", stay.place, day=page.day)
        assert working.figure == pytest.approx(stay.minutes, rel=0.02, abs=0.6), stay.place
    whole = working_of(demo_desk, "day", day=page.day)
    assert whole.figure == pytest.approx(page.minutes, rel=0.02, abs=0.6)


def test_every_part_of_the_cost_adds_up_from_sowings_and_orders(demo_desk):
    plan = plan_of(demo_desk)
    for part, money in plan.cost_parts.items():
        working = working_of(demo_desk, "part", part)
        assert working.figure == pytest.approx(money, rel=0.005, abs=0.02), part
        assert "The plan has the same" in working.agrees, part


def test_shortage_of_every_order_comes_to_what_the_plan_says(demo_desk):
    for row in plan_of(demo_desk).orders[::8]:
        working = working_of(demo_desk, "short", row.order)
        assert working.figure == pytest.approx(row.expected_short, abs=0.02 + 0.01 * row.plants), (
            row.order
        )


def test_seeds_left_and_taken_of_every_lot_are_those_of_the_page(demo_desk):
    lines = seed_view(demo_desk).lines
    assert any(each.stock.n_sown for each in lines)
    for line in lines[::3]:
        left = working_of(demo_desk, "seeds-left", line.lot.id)
        taken = working_of(demo_desk, "seeds-taken", line.lot.id)
        assert left.figure == line.stock.n_left, line.lot.id
        assert taken.figure == (line.take.n_seeds if line.take else 0), line.lot.id


# The Federal Seed Act's table (7 CFR 201.55, Table 2): at a mean of 90 %, four replicates of 100
# may differ by 12 points.
@pytest.mark.parametrize(
    ("counts", "verdict", "points"),
    [("96,91,90,84", "the replicates agree", 12), ("97,91,90,83", "they differ too much", 14)],
)
def test_replicates_are_judged_by_the_published_range(demo_desk, counts, verdict, points):
    working = working_of(demo_desk, "replicates", f"4 x 100/{counts}")
    assert verdict in working.result
    assert working.figure == points
    assert "12 points" in {each.result for each in working.lines}


def test_half_up_is_thermal_time_over_what_a_day_gives(demo_desk):
    with demo_desk.book.reading() as unit:
        from sowbench.services.book_inputs import house_of

        crop = house_of(unit)[1].crops["lettuce"]
    one = crop.emergence
    # Between base and optimum a day gives its degrees above the base.
    temp_c = (one.base_c + one.optimum_low_c) / 2
    working = working_of(demo_desk, "half-up", f"lettuce/{temp_c}")
    assert working.figure == pytest.approx(one.thermal_time_cd / (temp_c - one.base_c), rel=1e-6)


def test_mix_of_a_container_is_cells_by_volume(demo_desk):
    # 128 cells of 25.1 ml (reference, C21).
    working = working_of(demo_desk, "container", "plug-128")
    assert working.figure == pytest.approx(128 * 25.1 / 1000)
    assert "25.1 ml" in {each.result for each in working.lines}


def test_climate_of_a_place_is_what_the_page_of_the_house_says(demo_desk):
    cards: Any = [each for each in house_view(demo_desk).places if "mol" in each.light]
    assert cards
    for card in cards:
        working = working_of(demo_desk, "climate", card.name)
        assert card.light.partition(" mol")[0].split()[-1] in working.result


@pytest.mark.parametrize(
    ("what", "of"),
    [("day", "no such place"), ("part", "gold"), ("short", "none"), ("seeds-left", "none"),
     ("seeds-taken", "none"), ("replicates", "4 x 100/1,2"), ("replicates", "9 x 9/1"),
     ("half-up", "lettuce/warm"), ("half-up", "gold/20"), ("container", "gold"),
     ("climate", "moon"), ("counted", "none")],
)  # fmt: skip
def test_what_does_not_exist_is_unknown(demo_desk, what, of):
    with pytest.raises(UnknownNameError):
        working_of(demo_desk, what, of)
