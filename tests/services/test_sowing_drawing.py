"""The strip of a life, the map of a tray, and the counts beside the curve."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.services.test_sowing_words import LIFE, PLANNED, SOWN

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.ports.sowings_page import TrayState
from sowbench.domain.tray_grid import TrayGrid
from sowbench.reference.catalog import load_catalog
from sowbench.services.sowing_emergence import count_points
from sowbench.services.sowing_strip import life_strip, real_stays
from sowbench.services.sowing_trays import PITCH, drawn_tray, tray_map

TODAY = date(2027, 3, 9)
TRAYS = [TrayState(n, "plug-128", 128, "bench", SOWN) for n in (1, 2, 3)]


def entry(kind: EntryKind, day: date, **more: Any) -> Entry:
    """Make an entry of the sowing."""
    return Entry(f"{day}{kind}{more}", day, kind, PLANNED.sowing, **more)


def test_real_stays_follow_the_journal():
    moves = [
        entry(EntryKind.SOWN, SOWN, place="chamber"),
        entry(EntryKind.PULLED, date(2027, 3, 5), place="bench"),
    ]
    stays = real_stays(moves, LIFE, TRAYS, TODAY)
    assert [(s.place, s.from_date, s.to_date) for s in stays] == [
        ("chamber", SOWN, date(2027, 3, 5)),
        ("bench", date(2027, 3, 5), TODAY + timedelta(days=1)),
    ]


def test_a_move_of_one_tray_of_three_is_no_move_of_the_sowing():
    moves = [
        entry(EntryKind.SOWN, SOWN, place="chamber"),
        entry(EntryKind.MOVED, date(2027, 3, 5), place="yard", trays=(1,)),
    ]
    assert [s.place for s in real_stays(moves, LIFE, TRAYS, TODAY)] == ["chamber"]


def test_a_move_of_two_trays_of_three_is():
    moves = [
        entry(EntryKind.SOWN, SOWN, place="chamber"),
        entry(EntryKind.MOVED, date(2027, 3, 5), place="bench", trays=(1, 2)),
    ]
    assert [s.place for s in real_stays(moves, LIFE, TRAYS, TODAY)] == ["chamber", "bench"]


@pytest.mark.parametrize("width", [356.0, 1180.0])
def test_strip_draws_the_plan_without_gaps_inside_its_width(width):
    strip: Any = life_strip(PLANNED, (), TODAY, width)
    assert strip is not None
    assert strip.planned[0].x == 0
    for a, b in zip(strip.planned, strip.planned[1:], strict=False):
        assert a.x + a.width == pytest.approx(b.x, abs=0.2)
    assert all(0 <= b.x <= b.x + b.width <= width for b in strip.planned)
    assert strip.wanted is not None
    assert strip.wanted.x == pytest.approx(strip.planned[-1].x + strip.planned[-1].width, abs=0.2)
    # The first day on which it may be ready lies before the middle, and that before overgrown.
    assert strip.ready.x < strip.ready.middle < strip.overgrown_x


def test_strip_marks_the_stages_and_names_a_place_once():
    strip: Any = life_strip(PLANNED, (), TODAY, 1180.0)
    assert [b.stage for b in strip.planned] == ["1", "2", "4"]
    assert [b.place for b in strip.planned] == ["chamber", "bench", "yard"]
    assert strip.today.words == "today, day 8"
    assert strip.words.startswith("Planned: chamber from 1 Mar, bench from 4 Mar and yard")


def test_words_at_the_right_edge_stand_left_of_their_line():
    strip: Any = life_strip(PLANNED, (), date(2027, 4, 26), 356.0)
    assert strip.today.anchor == "end"
    assert strip.today.text_x < strip.today.x


def test_nothing_known_has_no_strip():
    assert life_strip(None, (), TODAY, 356.0) is None


@given(
    st.integers(1, 16),
    st.integers(1, 20),
    st.text(alphabet="10+-.", min_size=0, max_size=320),
)
def test_every_cell_of_a_tray_is_drawn_once(n_across, n_rows, cells):
    n_cells = n_across * n_rows
    drawing = tray_map(TrayGrid(n_across, n_rows, n_cells, drawn_as_is=True), cells, n_cells)
    shown = cells[:n_cells].ljust(n_cells, ".")

    def run_cells(path: str) -> int:
        lengths = [int(each.split("h")[1]) for each in path.split("M")[1:]]
        assert all((each + 2) % PITCH == 0 for each in lengths)
        return sum((each + 2) // PITCH for each in lengths)

    assert run_cells(drawing.full) == shown.count("1")
    assert run_cells(drawing.unseen) == shown.count(".")
    assert drawing.empty.count("M") == shown.count("0")
    assert drawing.few.count("M") == shown.count("-")
    assert drawing.many.count("M") == shown.count("+")
    assert drawing.width == n_across * PITCH
    assert drawing.height == n_rows * drawing.tall


def test_a_tray_of_128_stands_on_end_with_sixteen_rows_of_eight():
    tray = TrayState(4, "plug-128", 128, "bench", SOWN, counted_date=TODAY, n_right=127, n_seen=128)
    drawing: Any = drawn_tray(tray, "1" * 127 + "0", load_catalog())
    assert (drawing.map.width, drawing.map.height) == (8 * PITCH, 16 * drawing.map.tall)
    assert drawing.words == "127 of 128, 9 Mar"


def test_a_tray_that_is_gone_says_how():
    tray = TrayState(4, "plug-128", 128, "bench", SOWN, TODAY, "delivered")
    drawing = drawn_tray(tray, "", load_catalog())
    assert drawing.is_gone
    assert drawing.place == "delivered 9 Mar"
    assert drawing.map is None


def test_counts_of_one_day_are_added_up_and_a_recount_replaces():
    counts = [
        entry(EntryKind.COUNTED, TODAY, n=60, n_of=128, trays=(1,), person="Ilo"),
        entry(EntryKind.COUNTED, TODAY, n=100, n_of=128, trays=(1,), person="Tess"),
        entry(EntryKind.COUNTED, TODAY, n=120, n_of=128, trays=(2,), person="Ilo"),
    ]
    (point,) = count_points(counts, TRAYS)
    assert (point.n_right, point.n_seen, point.n_counts) == (220, 256, 2)
    assert point.share == pytest.approx(220 / 256)


def test_a_count_without_cells_looked_at_is_of_all_cells_of_its_trays():
    counts = [
        entry(EntryKind.COUNTED, TODAY, n=200, trays=(1, 2)),
        entry(EntryKind.COUNTED, TODAY + timedelta(days=1), n=300),
    ]
    first, second = count_points(counts, TRAYS)
    assert first.n_seen == 256
    assert second.n_seen == 384
