"""The expected numbers are counted by hand on trays of a few cells."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.life import (
    HandedOver,
    TrayLife,
    handed_over,
    in_order,
    sowing_life,
    ticked_jobs,
)
from sowbench.domain.records import Standing

K = EntryKind


def day(number):
    return date(2027, 3, number)


_count = iter(range(10**9))


def entry(kind, on=1, n=None, **more):
    return Entry(f"e{next(_count)}", day(on), kind, more.pop("sowing", "S"), n, **more)


def sown(n=20, n_containers=3, **more):
    """Three trays of 8 cells, of which 4 of the last are sown."""
    values = {"n_cells_per_tray": 8} | more.pop("values", {})
    about = {"place": "chamber", "crop": "lettuce", "container": "plug-8"} | more
    return entry(K.SOWN, 1, n, n_containers=n_containers, values=values, **about)


def life(*entries, standing=None):
    return sowing_life("S", entries, standing)


def standing_trays(one):
    return [tray.number for tray in one.trays if tray.gone_date is None]


def test_sown_fills_all_trays_but_the_last():
    one = life(sown(lot="L1", variety="Plain", values={"n_seeds": 40}))
    assert [tray.n_cells for tray in one.trays] == [8, 8, 4]
    assert [tray.number for tray in one.trays] == [1, 2, 3]
    assert {tray.container for tray in one.trays} == {"plug-8"}
    assert (one.crop, one.variety, one.lot) == ("lettuce", "Plain", "L1")
    assert (one.n_cells, one.n_seeds, one.sown_date, one.place) == (20, 40, day(1), "chamber")
    assert one.ended_date is None


@pytest.mark.parametrize(
    ("n", "n_containers", "values", "cells"),
    [
        (700, 6, {"n_cells_per_tray": 128}, [128, 128, 128, 128, 128, 60]),
        (700, 6, {}, [117, 117, 117, 117, 117, 115]),  # no word of the tray: even shares
        (700, 6, {"n_cells_per_tray": 72}, [117, 117, 117, 117, 117, 115]),  # 6 of 72 hold 432
        (8, 1, {}, [8]),
        (2, 3, {}, [1, 1, 0]),
        (0, 2, {}, [0, 0]),
    ],
)
def test_trays_take_the_cells_that_were_sown(n, n_containers, values, cells):
    one = life(entry(K.SOWN, 1, n, n_containers=n_containers, values=values))
    assert [tray.n_cells for tray in one.trays] == cells
    assert sum(cells) == n


def test_moves_take_the_trays_named_or_all():
    begun = [sown(), entry(K.PULLED, 4, place="bench 1")]
    assert {tray.place for tray in life(*begun).trays} == {"bench 1"}
    moved = life(*begun, entry(K.MOVED, 5, place="bench 2", trays=(1, 3)))
    assert [tray.place for tray in moved.trays] == ["bench 2", "bench 1", "bench 2"]
    assert moved.place == "bench 2"  # two of three trays
    spaced = life(*begun, entry(K.SPACED, 6, place="bench 3", trays=(2,)))
    assert [tray.place for tray in spaced.trays] == ["bench 1", "bench 3", "bench 1"]
    assert spaced.place == "bench 1"
    assert life(*begun, entry(K.MOVED, 7)).place == "bench 1"


def test_a_later_count_of_a_tray_takes_the_place_of_an_earlier_one():
    one = life(
        sown(),
        entry(K.COUNTED, 8, 6, trays=(1,), person="Ana"),
        entry(K.COUNTED, 9, 7, trays=(2,), person="Ben"),
        entry(K.COUNTED, 10, 5, trays=(1,), n_of=6, person="Cleo", cells="11110-+."),
    )
    # Tray 1: 5 of 6 looked at; tray 2: 7 of its 8; tray 3 was never counted.
    assert (one.n_right, one.n_seen, one.counted_date) == (12, 14, day(10))
    first, second, third = one.trays
    assert (first.n_right, first.n_seen, first.counted_by) == (5, 6, "Cleo")
    assert (first.cells, first.counted_date) == ("11110-+.", day(10))
    assert (second.n_right, second.n_seen, second.counted_by) == (7, 8, "Ben")
    assert (third.n_right, third.n_seen, third.count_entry) == (None, None, "")


def test_a_map_without_numbers_counts_its_marks():
    one = life(sown(), entry(K.COUNTED, 8, trays=(1,), cells="11+0-..1"))
    assert (one.trays[0].n_right, one.trays[0].n_seen) == (4, 6)  # + has what is wanted, and more


def test_a_count_of_several_trays_is_shared_by_their_cells():
    one = life(sown(), entry(K.COUNTED, 8, 9, trays=(2, 3)))
    # 9 right of 12 cells, 8 and 4 of them: 6 and 3.
    assert [(tray.n_right, tray.n_seen) for tray in one.trays] == [(None, None), (6, 8), (3, 4)]
    assert (one.n_right, one.n_seen) == (9, 12)


def test_a_count_of_no_tray_speaks_for_the_sowing_and_replaces_the_counts_of_trays():
    counted = [sown(), entry(K.COUNTED, 8, 1, trays=(1,)), entry(K.COUNTED, 9, 15)]
    one = life(*counted)
    assert (one.n_right, one.n_seen) == (15, 20)
    assert {tray.n_right for tray in one.trays} == {None}
    sample = life(*counted[:2], entry(K.COUNTED, 9, 9, n_of=10))
    assert (sample.n_right, sample.n_seen) == (9, 10)


def test_a_tray_counted_after_the_whole_takes_its_share_out():
    one = life(sown(), entry(K.COUNTED, 9, 15), entry(K.COUNTED, 10, 4, trays=(3,)))
    # Of 15 in 20 cells, trays 1 and 2 keep 16 / 20: 12 of 16. Tray 3 has 4 of 4.
    assert (one.n_right, one.n_seen) == (16, 20)


def test_a_count_of_nothing_up_is_a_count():
    one = life(sown(), entry(K.COUNTED, 9, 0))
    assert (one.n_right, one.n_seen, one.counted_date) == (0, 20, day(9))


def test_counts_of_trays_that_are_gone_drop_out():
    counted = [sown(), *(entry(K.COUNTED, 8, n, trays=(t,)) for t, n in ((1, 6), (2, 2), (3, 4)))]
    one = life(*counted, entry(K.DUMPED, 9, trays=(2,)))
    assert (one.n_right, one.n_seen) == (10, 12)
    ended = life(*counted, entry(K.DUMPED, 9, trays=(2,)), entry(K.DELIVERED, 20, 10, trays=(1, 3)))
    assert (ended.n_right, ended.n_seen) == (10, 12)  # as it was known last
    assert ended.ended_date == day(20)


def test_potting_on_ends_the_old_trays_and_numbers_the_new_ones_on():
    one = life(
        sown(),
        entry(K.POTTED_ON, 20, 10, trays=(1, 2), container="pot-6", n_containers=2, place="bed"),
    )
    assert [(tray.number, tray.gone_how) for tray in one.trays] == [
        *((1, "potted on"), (2, "potted on"), (3, "")),
        *((4, ""), (5, "")),
    ]
    assert [tray.n_cells for tray in one.trays[3:]] == [5, 5]
    assert {tray.place for tray in one.trays[3:]} == {"bed"}
    assert one.ended_date is None
    assert life(sown(), entry(K.POTTED_ON, 20, 10, n_containers=2)).trays[3].place == "chamber"
    all_of_it = life(sown(), entry(K.POTTED_ON, 20, 18, container="pot-6", n_containers=3))
    assert standing_trays(all_of_it) == [4, 5, 6]
    assert all_of_it.ended_date is None


def test_potting_on_without_new_trays_leaves_the_old_ones():
    one = life(sown(), entry(K.POTTED_ON, 20, 18, place="bed"))
    assert standing_trays(one) == [1, 2, 3]
    assert one.place == "bed"


def test_lost_and_dumped_take_cells_off():
    one = life(
        sown(),
        entry(K.LOST, 8, 3, trays=(1,)),
        entry(K.LOST, 9, 2),
        entry(K.DUMPED, 10, 1, trays=(2,)),
    )
    assert one.n_lost == 6
    assert standing_trays(one) == [1, 2, 3]
    dumped = life(sown(), entry(K.LOST, 8, 3, trays=(1,)), entry(K.DUMPED, 9, trays=(1,)))
    assert dumped.n_lost == 8  # the three, and the five that were left
    assert (dumped.trays[0].gone_how, dumped.trays[0].gone_date) == ("dumped", day(9))
    dropped = life(sown(), entry(K.LOST, 8, trays=(3,)))
    assert (dropped.n_lost, dropped.trays[2].gone_how) == (4, "lost")
    assert life(sown(), entry(K.LOST, 8)).n_lost == 0


def test_dumped_without_number_ends_the_sowing():
    one = life(sown(), entry(K.DUMPED, 9))
    assert (one.ended_date, one.n_lost, standing_trays(one)) == (day(9), 20, [])
    later = life(sown(), entry(K.DUMPED, 9), entry(K.DUMPED, 11))
    assert later.ended_date == day(9)
    without_trays = life(entry(K.SOWN, 1, 20), entry(K.DUMPED, 9))
    assert without_trays.ended_date == day(9)


def test_a_sowing_has_ended_with_its_last_tray():
    one = life(sown(), entry(K.DUMPED, 9, trays=(1,)), entry(K.DELIVERED, 12, 9, trays=(2, 3)))
    assert one.ended_date == day(12)
    again = life(
        sown(), entry(K.DUMPED, 9), entry(K.BOUGHT_IN, 12, 8, n_containers=1, container="plug-8")
    )
    assert again.ended_date is None
    assert standing_trays(again) == [4]
    assert again.n_cells == 28


def test_deliveries_add_up_and_the_last_ends_the_sowing():
    first = entry(K.DELIVERED, 20, 6, order="O-1", trays=(1,))
    last = entry(K.DELIVERED, 21, 9, order="O-2", values={"last": 1.0})
    one = life(sown(), first, last)
    assert one.n_delivered == 15
    assert one.handed_over == (
        HandedOver(first.id, "S", "O-1", day(20), 6),
        HandedOver(last.id, "S", "O-2", day(21), 9),
    )
    assert one.ended_date == day(21)
    assert [tray.gone_date for tray in one.trays] == [day(20), day(21), day(21)]
    assert life(sown(), first).ended_date is None
    assert life(sown(), replace(last, values={"last": 0})).ended_date is None


def test_sown_again_takes_the_place_of_the_first():
    one = life(
        sown(lot="L1"),
        entry(K.DELIVERED, 1, 2),
        entry(K.COUNTED, 1, 5, trays=(1,)),
        sown(n=10, n_containers=2, place="bench", lot=""),
    )
    assert [tray.n_cells for tray in one.trays] == [8, 2]
    assert (one.n_cells, one.n_right, one.place, one.lot) == (10, None, "bench", "L1")
    assert (one.n_delivered, one.n_entries) == (2, 4)
    bare = life(sown(), sown(n_containers=None), entry(K.COUNTED, 8, 2, n_of=4, trays=(7,)))
    assert [tray.number for tray in bare.trays] == [7]


def test_what_stood_before_the_book_is_where_it_begins():
    stood = Standing(
        *("S", "tomato", "Plain", "L9", "pot-6", 3, 16, "bench 2", day(1)),
        counted_date=day(9),
        n_counted=14,
    )
    one = life(standing=stood)
    assert [tray.n_cells for tray in one.trays] == [6, 6, 4]
    assert (one.crop, one.lot, one.sown_date, one.n_cells) == ("tomato", "L9", day(1), 16)
    assert (one.n_right, one.n_seen, one.counted_date) == (14, 16, day(9))
    assert (one.place, one.n_entries, one.last_entry_at) == ("bench 2", 0, None)
    moved = life(entry(K.MOVED, 12, place="yard"), standing=stood)
    assert (moved.place, moved.n_entries) == ("yard", 1)
    usable = life(standing=replace(stood, n_usable=11))
    assert usable.n_right == 11


def test_trays_that_no_entry_made_are_there_when_they_are_named():
    one = life(
        entry(K.COUNTED, 8, 5, trays=(4,), cells="11111000", place="bench"),
        entry(K.COUNTED, 8, 6, trays=(5, 6), n_of=16),
    )
    assert [(tray.number, tray.n_cells) for tray in one.trays] == [(4, 8), (5, 8), (6, 8)]
    assert (one.n_right, one.n_seen) == (11, 24)
    gone = life(entry(K.DELIVERED, 9, 5, trays=(1,)))
    assert gone.ended_date is None  # nobody knows how many there were


def test_a_tray_that_there_is_not_changes_nothing():
    assert life(sown(), entry(K.COUNTED, 8, 5, trays=(9,))).n_right is None
    assert life(sown(), entry(K.DUMPED, 8, trays=(9, 0, -1))).ended_date is None
    gone = life(sown(), entry(K.DUMPED, 8, trays=(1,)), entry(K.COUNTED, 9, 5, trays=(1,)))
    assert gone.n_right is None


def test_kinds_that_change_nothing_are_counted_as_entries():
    noon = datetime(2027, 3, 9, 12, tzinfo=UTC)
    same = [K.THINNED, K.GAPPED_UP, K.GRAFTED, K.FED, K.WATERED, K.READ, K.GRADED, K.SCOUTED]
    same += [K.TREATED, K.RETURNED, K.WASHED, K.NOTED]
    before = life(sown())
    one = life(sown(), *(entry(kind, 9, 3, at=noon) for kind in same))
    assert (one.n_entries, one.last_entry_at) == (1 + len(same), noon)
    assert replace(one, n_entries=1, last_entry_at=None) == before


def test_entries_are_taken_by_day_and_then_by_arrival():
    late = [entry(K.PULLED, 4, place="bench"), sown(), entry(K.COUNTED, 3, 9)]
    assert life(*late) == life(late[1], late[2], late[0])
    assert life(*late).place == "bench"
    same_day = [sown(), entry(K.MOVED, 4, place="a"), entry(K.MOVED, 4, place="b")]
    assert life(*same_day).place == "b"


def test_a_slip_of_the_finger_makes_no_million_trays():
    assert len(life(sown(n=10**6, n_containers=10**6)).trays) == 10_000


def test_jobs_are_ticked_by_the_first_entry_that_does():
    first = entry(K.WATERED, 4, job="k", person="Ana")
    second = entry(K.WATERED, 3, job="k", person="Ben", sowing="")
    ticked = ticked_jobs([first, second, entry(K.NOTED, 1), entry(K.SOWN, 2, 1, job="j")])
    assert {key: (each.person, each.date) for key, each in ticked.items()} == {
        "j": ("", day(2)),
        "k": ("Ben", day(3)),
    }


def test_only_deliveries_are_handed_over():
    loose = entry(K.DELIVERED, 4, None, sowing="", order="O")
    assert handed_over([entry(K.SOWN), loose]) == (HandedOver(loose.id, "", "O", day(4), 0),)


def test_what_replaces_an_entry_stands_in_its_place():
    first, second, mended = (entry(K.MOVED, 4, place=place) for place in "abc")
    mended = replace(mended, corrects=first.id)
    arrived = [(2, second), (3, mended)]
    assert in_order(arrived, {("S", first.id): (1, "")}) == [mended, second]
    assert in_order(arrived, {}) == [second, mended]  # what it replaces is not here yet
    assert in_order(arrived, {("other", first.id): (1, "")}) == [second, mended]
    again = replace(entry(K.MOVED, 4, place="d"), corrects=mended.id)
    struck = {("S", first.id): (1, ""), ("S", mended.id): (3, first.id)}
    assert in_order([(2, second), (9, again)], struck) == [again, second]


def test_corrections_in_a_circle_end():
    one = entry(K.NOTED, corrects="x")
    assert in_order([(5, one)], {("S", "x"): (2, "y"), ("S", "y"): (3, "x")}) == [one]


_kinds = st.sampled_from([kind for kind in K if kind is not K.CORRECTED])
_entries = st.builds(
    Entry,
    id=st.uuids().map(lambda each: each.hex),
    day_date=st.dates(day(1), day(9)),
    kind=_kinds,
    sowing=st.just("S"),
    n=st.none() | st.integers(0, 40),
    n_of=st.none() | st.integers(0, 40),
    n_containers=st.none() | st.integers(0, 5),
    trays=st.lists(st.integers(0, 7), max_size=3).map(tuple),
    place=st.sampled_from(["", "a", "b"]),
    values=st.sampled_from([{}, {"last": 1}, {"n_cells_per_tray": 8}, {"last": "x"}]),
)


@given(st.lists(_entries, max_size=12))
def test_no_entries_whatever_break_a_life(entries):
    one = life(*entries)
    assert one.n_entries == len(entries)
    assert one.n_lost >= 0
    assert [tray.number for tray in one.trays] == sorted({tray.number for tray in one.trays})
    assert all(isinstance(tray, TrayLife) and tray.n_cells >= 0 for tray in one.trays)
    assert all((tray.gone_date is None) == (tray.gone_how == "") for tray in one.trays)
    assert (one.n_right is None) == (one.n_seen is None)
    assert one.n_delivered == sum(each.plants for each in one.handed_over)


@given(st.lists(_entries, max_size=8, unique_by=lambda each: each.day_date), st.randoms())
def test_entries_of_different_days_may_arrive_in_any_order(entries, random):
    shuffled = random.sample(entries, len(entries))
    assert life(*shuffled) == life(*entries)
