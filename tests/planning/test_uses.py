"""What one sowing uses of room, hands, trays, machine and seed, worked out by hand.

Sown on Monday, day 0, a tray leaves the chamber on day 1 and is grown at 8.5: it goes to the cool
bench on Wednesday, day 9, and out on day 12, a Saturday, packed on Friday, day 11.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.planning.tiny_house import (
    BENCH,
    HANDS,
    LOT,
    ONE_TRAY,
    STORE,
    chosen,
    crew,
    house,
    inputs,
    order,
    reference,
)

from sowbench.domain.records import Machine
from sowbench.planning.options import Group, group_table
from sowbench.planning.resources import ResourceKind, SegmentBuilder
from sowbench.planning.uses import add_uses, jobs_of, moves_of
from sowbench.planning.work import Work


def uses(season, found, block, since=-1):
    """Use by resource and day of a block of one candidate, setting up apart."""
    table = group_table(season, found.groups)
    builder = SegmentBuilder()
    add_uses(season, block, table, builder, 0, since)
    shape = season.resources.capacity.shape
    return builder.build(1).use(np.ones(1), *shape)


def of(season, use, kind, name):
    """Days and amounts of one resource where there are any."""
    row = use[season.resources.index(kind, name)]
    return {int(d): round(float(row[d]), 6) for d in np.flatnonzero(np.abs(row) > 1e-9)}


def stretch(first, last, amount):
    """The same amount on each day of [first, last)."""
    return dict.fromkeys(range(first, last), amount)


def test_room_is_taken_place_after_place():
    season, found, block = chosen(ONE_TRAY, "chamber", "cool bench")
    use = uses(season, found, block)
    assert of(season, use, ResourceKind.PLACE, "chamber") == stretch(0, 1, 1.0)
    assert of(season, use, ResourceKind.PLACE, "bench") == stretch(1, 9, 1.0)
    assert of(season, use, ResourceKind.PLACE, "cool bench") == stretch(9, 12, 1.0)


def test_room_is_counted_in_square_meters_where_the_place_has_an_area():
    bench = replace(BENCH, n_positions=None, area_m2=2.0)
    made = inputs(order("a", 50, 12), house=house(bench, crew=HANDS))
    season, found, block = chosen(made, "bench", "bench")
    units = int(block.sizing.n_units[0])
    assert units == -(-int(block.sizing.n_cells[0]) // 20)
    use = uses(season, found, block)
    assert of(season, use, ResourceKind.PLACE, "bench") == stretch(0, 12, round(0.1 * units, 6))


def test_hands_are_used_job_by_job():
    """A minute to fill, to carry and to pack a tray, 0.1 a seed, 0.5 to count, 0.1 for water."""
    season, found, block = chosen(ONE_TRAY, "chamber", "cool bench")
    n = int(block.sizing.n_cells[0])
    water = stretch(1, 12, 0.1)
    jobs = {0: 1.0 + 1.0 + 0.1 * n, 1: 1.0, 4: 0.5, 9: 1.0, 11: 1.0}
    expected = {d: round(jobs.get(d, 0.0) + water.get(d, 0.0), 6) for d in range(12)}
    expected = {d: minutes for d, minutes in expected.items() if minutes}
    assert of(season, uses(season, found, block), ResourceKind.CREW, "crew") == expected


def test_jobs_have_their_places():
    season, found, block = chosen(ONE_TRAY, "chamber", "cool bench")
    names = [p.name for p in season.places]
    table = group_table(season, found.groups)
    jobs = [
        (each.task, names[int(each.place[0])], int(each.day[0]))
        for each in jobs_of(season, block, table, Work(season.rates))
        if each.minutes[0] > 0
    ]
    assert jobs == [
        ("sow", "chamber", 0), ("move", "bench", 1), ("count", "bench", 4),
        ("tone", "cool bench", 9), ("pack", "cool bench", 11),
    ]  # fmt: skip


def test_trays_are_held_until_they_are_back_and_washed():
    season, found, block = chosen(ONE_TRAY, "chamber", "cool bench")
    use = uses(season, found, block)
    assert of(season, use, ResourceKind.CONTAINER, "tray-20") == stretch(0, 20, 1.0)


def test_seed_is_taken_once():
    season, found, block = chosen(ONE_TRAY, "chamber", "cool bench")
    use = uses(season, found, block)
    assert of(season, use, ResourceKind.LOT, "L1") == {0: float(block.sizing.n_cells[0])}


def test_a_machine_sows_instead_of_hands():
    """Twenty trays an hour: three minutes, and five of changing over."""
    machine = Machine("seeder", ("tray-20",), trays_per_hour=20.0, changeover_minutes=5.0)
    made = replace(ONE_TRAY, house=replace(ONE_TRAY.house, machines=(machine,)))
    season, found, block = chosen(made, "chamber", "cool bench")
    use = uses(season, found, block)
    assert of(season, use, ResourceKind.MACHINE, "seeder") == {0: 8.0}
    assert of(season, use, ResourceKind.CREW, "crew")[0] == pytest.approx(1.0 + 1.0 + 8.0)


def test_pelleted_seed_goes_twice_as_fast():
    made = replace(ONE_TRAY, lots=(replace(LOT, pelleted=True),))
    season, found, block = chosen(made, "chamber", "cool bench")
    minutes = of(season, uses(season, found, block), ResourceKind.CREW, "crew")[0]
    assert minutes == pytest.approx(2.0 + 0.05 * int(block.sizing.n_cells[0]))


def test_a_day_without_anybody_has_no_water():
    """Saturdays 5 and Sunday 6 pass without; so the crew has nothing to do then."""
    alone = crew(minutes_per_day=480.0, weekend_minutes=0.0, sow_days=(0,))
    made = replace(ONE_TRAY, house=replace(ONE_TRAY.house, crew=alone))
    season, found, block = chosen(made, "chamber", "cool bench")
    assert not season.calendar.attended[[5, 6]].any()
    minutes = of(season, uses(season, found, block), ResourceKind.CREW, "crew")
    assert minutes[4] == pytest.approx(0.6)
    assert np.isinf(season.resources.capacity[season.resources.index(ResourceKind.CREW, "crew"), 5])


def test_held_plants_stand_in_the_store_and_want_no_water():
    """Ready on day 10: from the bench into the store until day 15, carried on day 10."""
    made = inputs(
        order("a", 10, 15), catalog=reference(hold_d=7),
        house=house(BENCH, STORE, crew=HANDS),
    )  # fmt: skip
    season, found, block = chosen(made, "bench", "bench", "store")
    use = uses(season, found, block)
    assert of(season, use, ResourceKind.PLACE, "bench") == stretch(0, 10, 1.0)
    assert of(season, use, ResourceKind.PLACE, "store") == stretch(10, 15, 1.0)
    minutes = of(season, use, ResourceKind.CREW, "crew")
    assert minutes[10] == pytest.approx(1.0)
    assert 12 not in minutes


def test_what_stands_already_uses_nothing_before_its_first_day():
    season, found, block = chosen(ONE_TRAY, "chamber", "cool bench")
    use = uses(season, found, block, since=9)
    assert (use[:, :9] == 0).all()
    assert of(season, use, ResourceKind.PLACE, "cool bench") == stretch(9, 12, 1.0)
    assert of(season, use, ResourceKind.CONTAINER, "tray-20") == stretch(9, 20, 1.0)
    assert of(season, use, ResourceKind.LOT, "L1") == {}


def test_plants_potted_on_take_their_new_room_and_hands():
    """Sheet until Monday 7, pots until spaced on Wednesday 10, then 25 on a square meter."""
    bench = replace(BENCH, n_positions=None, area_m2=9.0)
    made = inputs(order("a", 20, 16), house=house(bench, stock=("sheet-40", "pot-5"), crew=HANDS))
    season, found, block = chosen(made, "bench", "bench")
    moves = moves_of(season, block)
    assert [int(getattr(moves, each)[0]) for each in ("start", "pot", "space", "tone", "end")] == [
        0, 7, 10, 15, 16
    ]  # fmt: skip
    last = int(block.sizing.n_last[0])
    carriers = int(block.sizing.n_last_units[0])
    assert carriers == -(-last // 5)
    wide = max(0.1 * carriers, last / 25.0)
    room = of(season, uses(season, found, block), ResourceKind.PLACE, "bench")
    assert room == stretch(0, 7, 0.1) | stretch(7, 10, round(0.1 * carriers, 6)) | stretch(
        10, 16, round(wide, 6)
    )
    table = group_table(season, found.groups)
    minutes = {
        each.task: float(each.minutes[0])
        for each in jobs_of(season, block, table, Work(season.rates))
    }
    assert minutes["pot on"] == pytest.approx(last / 600.0 * 60.0 + carriers)
    assert minutes["space"] == pytest.approx(last / 900.0 * 60.0)
    assert minutes["pack"] == pytest.approx(carriers)


def test_what_stays_of_a_shared_sowing_takes_the_trays_that_still_stand():
    """One third leaves on day 10; of the cells so many trays stand on until day 13."""
    made = inputs(order("a", 15, 10), order("b", 30, 13), house=house(crew=HANDS))
    season, found, block = chosen(made, "bench", "bench")
    group = found.groups[int(block.group[0])]
    assert group == Group((0, 1))
    cells, units = int(block.sizing.n_cells[0]), int(block.sizing.n_units[0])
    room = of(season, uses(season, found, block), ResourceKind.PLACE, "bench")
    rest = float(-(-round(np.ceil(cells * 2 / 3 - 1e-9)) // 20))
    assert room == stretch(0, 10, float(units)) | stretch(10, 13, rest)
