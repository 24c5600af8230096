"""The journal of a sowing in words, and its entries as the fields of a form."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from sowbench.domain.book import Kept
from sowbench.domain.journal import Entry, EntryKind
from sowbench.services.entries import entry_from, fields_from_form
from sowbench.services.sowing_fields import correction_fields
from sowbench.services.sowing_journal import entry_words, journal_lines, text_fields

DAY = date(2027, 3, 9)


def make(kind: EntryKind, **more: Any) -> Entry:
    """Make an entry."""
    return Entry("a" * 32, DAY, kind, "kale 03-01 a", **more)


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (make(EntryKind.COUNTED, trays=(4,), n=112, n_of=128), "Counted tray 4: 112 of 128 right"),
        (make(EntryKind.COUNTED, n=300), "Counted: 300 right"),
        (make(EntryKind.MOVED, place="yard", trays=(1, 2)), "Moved trays 1 and 2: to yard"),
        (make(EntryKind.PULLED, place="bench"), "Pulled from chamber: to bench"),
        (make(EntryKind.SOWN, n=128, n_containers=1, container="plug-128", lot="L1", place="bench"),
         "Sown: 128 cells, 1 x plug-128, lot L1, in bench"),
        (make(EntryKind.POTTED_ON, n=96, n_containers=7, container="pot-75", place="bench"),
         "Potted on: 96 plants, into 7 x pot-75, in bench"),
        (make(EntryKind.DELIVERED, n=96, order="N1", values={"last": 1}),
         "Delivered: 96 plants, for N1, the last of it"),
        (make(EntryKind.LOST, n=1, reason="eaten"), "Lost: 1 cell, eaten"),
        (make(EntryKind.GRADED, n=90, n_of=96), "Graded: 90 fit of 96"),
        (make(EntryKind.READ, values={"ph": 5.8, "ec_ms_cm": 1.25}), "Read: EC 1.25 mS/cm, pH 5.8"),
        (make(EntryKind.RETURNED, n=1, container="plug-128"), "Returned: 1 tray, plug-128"),
        (make(EntryKind.TREATED, values={"product": "soap", "ready_to_enter_at": "2027-03-10T08"}),
         "Treated: may be entered again 2027-03-10 08, soap"),
        (make(EntryKind.NOTED), "Noted"),
        (make(EntryKind.CORRECTED, corrects="b" * 32, reason="twice"), "Struck an entry: twice"),
        (make(EntryKind.WATERED, trays=tuple(range(1, 21))), "Watered 20 trays, 1 to 20"),
    ],
)  # fmt: skip
def test_entries_are_said_as_one_would(entry, words):
    assert entry_words(entry) == words


def test_the_time_is_that_of_the_house_and_a_later_day_is_said():
    at = datetime(2027, 3, 9, 7, 5, tzinfo=UTC)
    kept = Kept(1, make(EntryKind.NOTED, at=at), at)
    late = Kept(2, make(EntryKind.NOTED, at=datetime(2027, 3, 10, 6, 0, tzinfo=UTC)), at)
    first, second = journal_lines([kept, late], "Europe/Vienna")
    assert first.when == "Tue 9 March, 8:05"
    assert second.when == "Tue 9 March, written Wed 10 March 7:00"


@pytest.mark.parametrize(
    "entry",
    [
        make(EntryKind.SOWN, n=128, n_containers=1, container="plug-128", lot="L1", place="bench",
             crop="kale", variety="Winter", values={"n_seeds": 128.0, "n_cells_per_tray": 128.0}),
        make(EntryKind.COUNTED, trays=(1, 4), n=112, n_of=256, person="Ilo"),
        make(EntryKind.READ, values={"ec_ms_cm": 1.25, "ph": 5.8}),
        make(EntryKind.DELIVERED, n=96, order="N1", note="by bike"),
    ],
)  # fmt: skip
def test_a_correction_form_left_as_it_is_says_the_same(entry):
    fields = correction_fields(entry.kind, text_fields(entry))
    form = {each.name: each.value for each in fields}
    read = entry_from(
        fields_from_form({"id": "c" * 32, "kind": entry.kind.value, "sowing": entry.sowing, **form})
    )
    assert isinstance(read, Entry)
    plain = ("place", "order", "container", "crop", "variety", "lot", "note", "person", "reason")
    for name in ("n", "n_of", "n_containers", "trays", *plain):
        assert getattr(read, name) == getattr(entry, name), name
    assert dict(read.values) == dict(entry.values)
