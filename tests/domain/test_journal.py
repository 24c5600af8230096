from datetime import date

from sowbench.domain.journal import Entry, EntryKind, sowing_states


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
