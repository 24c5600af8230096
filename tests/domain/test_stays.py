"""Where trays stood, from evening to evening."""

from datetime import date

from tests.small_book import entry

from sowbench.domain.journal import EntryKind
from sowbench.domain.records import Standing
from sowbench.domain.stays import tray_stays

MARCH = [date(2027, 3, day) if day else date(2027, 2, 28) for day in range(32)]
SOWN = {"n": 256, "crop": "kale", "lot": "S", "container": "plug-128", "n_containers": 2}


def spans(entries, until=MARCH[20], standing=None):
    return [
        (each.number, each.place, each.from_date.day, each.to_date.day)
        for each in tray_stays("A", entries, standing, until)
    ]


def test_each_tray_is_followed_from_place_to_place_and_to_its_end():
    told = [
        entry("a", MARCH[1], EntryKind.SOWN, "A", place="chamber", **SOWN),
        entry("b", MARCH[5], EntryKind.PULLED, "A", place="bench", trays=(1,)),
        entry("c", MARCH[6], EntryKind.PULLED, "A", place="bench", trays=(2,)),
        entry("d", MARCH[9], EntryKind.COUNTED, "A", n=120, n_of=128, trays=(2,)),
        entry("e", MARCH[12], EntryKind.DELIVERED, "A", n=100, order="K1", trays=(1,)),
    ]
    assert spans(told) == [
        (1, "chamber", 1, 5), (1, "bench", 5, 12), (2, "chamber", 1, 6), (2, "bench", 6, 20),
    ]  # fmt: skip


def test_two_moves_on_a_day_count_once_and_a_late_entry_finds_its_place():
    told = [
        entry("a", MARCH[1], EntryKind.SOWN, "A", place="chamber", **SOWN),
        entry("c", MARCH[9], EntryKind.MOVED, "A", place="yard"),
        entry("b", MARCH[5], EntryKind.MOVED, "A", place="mat"),
        entry("d", MARCH[5], EntryKind.MOVED, "A", place="bench"),
        entry("e", MARCH[12], EntryKind.DUMPED, "A"),
    ]
    assert spans(told)[:3] == [(1, "chamber", 1, 5), (1, "bench", 5, 9), (1, "yard", 9, 12)]
    assert sum(last - first for _, _, first, last in spans(told)) == 22


def test_potting_on_ends_trays_and_makes_new_ones_and_spacing_is_kept():
    told = [
        entry("a", MARCH[1], EntryKind.SOWN, "A", place="bench", **SOWN),
        entry("b", MARCH[8], EntryKind.POTTED_ON, "A", n=200, container="pot-9",
              n_containers=10, place="yard"),
        entry("c", MARCH[10], EntryKind.SPACED, "A", trays=(3,)),
    ]  # fmt: skip
    found = tray_stays("A", told, None, MARCH[12])
    assert {each.number for each in found if each.place == "bench"} == {1, 2}
    assert [each.spaced for each in found if each.number == 3] == [False, True]
    assert sum(each.days for each in found) == 2 * 7 + 10 * 4


def test_what_stood_before_the_book_is_followed_from_its_sowing():
    start = Standing("A", "kale", "", "S", "plug-128", 1, 128, "bench", MARCH[2])
    told = [entry("b", MARCH[8], EntryKind.MOVED, "A", place="yard")]
    assert spans(told, standing=start) == [(1, "bench", 2, 8), (1, "yard", 8, 20)]
