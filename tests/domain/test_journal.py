from dataclasses import replace
from datetime import date

from sowbench.domain.journal import Entry, EntryKind, sowing_states, whole_entries


def entry(day, kind, n=None, **more):
    return Entry(f"{day}{kind}", date(2027, 3, day), EntryKind(kind), "S-1", n, **more)


def test_state_follows_the_entries_in_order_of_their_days():
    state = sowing_states(
        [
            entry(20, "delivered", 40, order="a"),
            entry(4, "sown", 144, place="Warm room", crop="kale", container="plug-72"),
            entry(9, "moved", place="Yard"),
            entry(10, "lost", 4),
            entry(12, "counted", 130),
            entry(14, "lost", 6),
            entry(21, "delivered", 30, order="a"),
            entry(21, "delivered", 5, order="b"),
        ]
    )["S-1"]
    assert (state.sown_date, state.n_cells, state.crop) == (date(2027, 3, 4), 144, "kale")
    assert state.place == "Yard"
    assert (state.counted_date, state.n_counted) == (date(2027, 3, 12), 130)
    assert (state.n_lost, state.n_lost_since_count) == (10, 6)
    assert state.n_delivered == {"a": 70, "b": 5}
    assert not state.ended


def test_dumping_all_ends_a_sowing_and_dumping_some_does_not():
    sown = entry(4, "sown", 144, place="Yard")
    assert sowing_states([sown, entry(9, "dumped")])["S-1"].ended
    some = sowing_states([sown, entry(9, "dumped", 20)])["S-1"]
    assert (some.ended, some.n_lost) == (False, 20)


def test_sowings_are_kept_apart():
    other = Entry("x", date(2027, 3, 5), EntryKind.MOVED, "S-2", place="Yard")
    states = sowing_states([entry(4, "sown", 10, place="A"), other])
    assert (states["S-1"].place, states["S-2"].place) == ("A", "Yard")
    assert states["S-2"].sown_date is None


SOWN = entry(4, "sown", 144, place="Yard", n_containers=2)


def test_dumping_one_tray_takes_its_cells_and_does_not_end_the_sowing():
    state = sowing_states([SOWN, entry(9, "dumped", trays=(2,))])["S-1"]
    assert (state.ended, state.n_lost) == (False, 72)
    both = sowing_states([SOWN, entry(9, "dumped", trays=(2,)), entry(10, "lost", trays=(1,))])
    assert both["S-1"].ended


def test_a_count_of_one_tray_leaves_the_last_count_of_the_other():
    whole, one = entry(9, "counted", 120), entry(12, "counted", 50, trays=(2,))
    state = sowing_states([SOWN, whole, one])["S-1"]
    assert (state.n_counted, state.counted_date) == (60 + 50, date(2027, 3, 12))


def test_trays_never_counted_are_taken_to_be_like_those_counted():
    state = sowing_states([SOWN, entry(12, "counted", 30, n_of=36, trays=(2,))])["S-1"]
    assert state.n_counted == 60 + 60  # 30 of 36 are 5 in 6, of 72 cells a tray


def test_a_dumped_tray_takes_its_own_count_with_it():
    counts = [entry(9, "counted", 70, trays=(1,)), entry(9, "counted", 10, trays=(2,))]
    state = sowing_states([SOWN, *counts, entry(10, "dumped", trays=(2,))])["S-1"]
    assert (state.n_lost, state.n_counted, state.n_lost_since_count) == (72, 70, 0)


def test_cells_lost_in_a_tray_are_off_its_count_when_the_other_is_counted():
    counts = [entry(9, "counted", 140), entry(10, "lost", 10, trays=(1,))]
    state = sowing_states([SOWN, *counts, entry(11, "counted", 66, trays=(2,))])["S-1"]
    assert (state.n_lost, state.n_counted, state.n_lost_since_count) == (10, 60 + 66, 0)


def test_a_sowing_stands_where_most_of_its_trays_do():
    sown = replace(SOWN, n_containers=3)
    one = entry(9, "moved", place="Shed", trays=(1,))
    assert sowing_states([sown, one])["S-1"].place == "Yard"
    two = entry(10, "moved", place="Shed", trays=(3,))
    assert sowing_states([sown, one, two])["S-1"].place == "Shed"


def test_trays_of_a_size_that_nobody_told_change_nothing():
    some = [entry(9, "dumped", trays=(2,)), entry(9, "counted", 50, trays=(1,))]
    state = sowing_states([entry(4, "sown", 144, place="Yard"), *some])["S-1"]
    assert (state.ended, state.n_lost, state.n_counted) == (False, 0, None)


def test_trays_of_a_sowing_in_the_plan_are_as_large_as_it_has_them():
    found = whole_entries([entry(9, "dumped", trays=(2,))], {"S-1": (100, 2, None)})
    assert [(each.kind, each.n, each.trays) for each in found] == [(EntryKind.DUMPED, 50, ())]


def test_what_stood_counted_keeps_its_count_in_trays_not_counted_since():
    found = whole_entries([entry(9, "counted", 40, trays=(2,))], {"S-1": (100, 2, 90)})
    assert [each.n for each in found] == [45 + 40]
