"""Seed lots: what is left of them, what age has left of their germination, files in and out."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sowbench.bootstrap import open_desk
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.records import SeedLot
from sowbench.reference.catalog import load_catalog
from sowbench.services.desk import TODAY_SETTING
from sowbench.services.seed_germination import germination_as_tested, germination_on
from sowbench.services.seed_lots import look_at_seed, save_lot, seed_file, take_seed_in
from sowbench.services.seed_page import ENTRIES_A_PAGE, lot_view, seed_view

TODAY = date(2027, 3, 9)
THEN = datetime(2027, 1, 4, 8, tzinfo=UTC)
NOW = datetime(2027, 3, 9, 8, tzinfo=UTC)
ONION = SeedLot(
    "B1", "onion", "Barnstack", 400, 360, 5000, tested_on=date(2025, 3, 9),
    moisture_frac=0.08, storage_c=10.0,
)  # fmt: skip
BASIL = SeedLot("B4", "basil", "", 200, 171, 12000, treated=True, pack_sizes=(500, 1000))


@pytest.fixture
def desk(tmp_path):
    with open_desk(tmp_path / "book", clock=lambda: NOW) as opened:
        with opened.book.writing() as unit:
            unit.settings.put(TODAY_SETTING, TODAY.isoformat())
            unit.lots.put([ONION, BASIL], THEN, "", "taken in")
            unit.commit()
        yield opened


def sown(n: int, day: date, lot: str = "B1", name: str = "") -> Entry:
    return Entry(
        f"{n:032x}", day, EntryKind.SOWN, name or f"s{n}", n, place="bench", crop="onion",
        lot=lot, container="plug-288", n_containers=1, values={"n_seeds": float(n)},
    )  # fmt: skip


def test_age_lowers_a_test_where_constants_are_published():
    # science/viability.py, example of aged_germination_nodes: onion, 8 %, 10 °C, 730 days:
    # 0.9 falls to 0.839.
    catalog = load_catalog()
    now = germination_on(ONION, catalog, TODAY)
    tested = germination_as_tested(360, 400)
    assert now.is_aged
    assert tested.low_frac < tested.mid_frac < tested.high_frac
    assert now.mid_frac == pytest.approx(0.839, abs=0.002)
    assert now.mid_frac < tested.mid_frac
    assert germination_on(ONION, catalog, date(2025, 3, 9)).mid_frac == pytest.approx(
        tested.mid_frac
    )


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"primed": True}, "primed"),
        ({"pelleted": True}, "pelleted"),
        ({"moisture_frac": None, "storage_c": None}, "moisture and temperature of the store"),
        ({"tested_on": None}, "day of the test"),
    ],
)
def test_age_that_cannot_be_reckoned_says_why(changed, why):
    now = germination_on(replace(ONION, **changed), load_catalog(), TODAY)
    assert not now.is_aged
    assert why in now.why_not
    assert now.mid_frac == germination_as_tested(360, 400).mid_frac


def test_seed_sown_since_the_stock_was_stated_is_taken_off(desk):
    with desk.book.writing() as unit:
        unit.journal.add([sown(300, date(2027, 1, 3)), sown(200, date(2027, 2, 1))], NOW)
        unit.commit()
    stock = lot_view(desk, "B1").line.stock
    assert (stock.n_stated, stock.n_sown, stock.n_left) == (5000, 200, 4800)
    # Counted anew: what was sown before is forgotten.
    name, form = save_lot(desk, "B1", {"crop": "onion", "n_tested": "400", "n_normal": "360",
                                       "n_seeds": "4700"})  # fmt: skip
    assert (name, form) == ("B1", None)
    stock = lot_view(desk, "B1").line.stock
    assert (stock.n_stated, stock.stated_date, stock.n_left) == (4700, TODAY, 4700)


def test_another_change_of_a_lot_does_not_state_its_stock(desk):
    with desk.book.writing() as unit:
        unit.journal.add([sown(200, date(2027, 2, 1))], NOW)
        unit.lots.put([replace(ONION, variety="Other")], NOW, "", "renamed")
        unit.commit()
    assert lot_view(desk, "B1").line.stock.n_left == 4800


def test_a_treated_lot_carries_its_caution_and_each_change_its_words(desk):
    values = {"crop": "basil", "n_tested": "200", "n_normal": "150", "n_seeds": "12000"}
    save_lot(desk, "B4", values | {"treated": "yes", "note": "tested again"})
    view = lot_view(desk, "B4")
    assert "gloves" in view.caution
    assert view.changes[0].reason == "tested again"
    assert "normal seedlings: 171 → 150" in view.changes[0].words
    assert "packs: 500, 1000 → none" in view.changes[0].words
    assert not lot_view(desk, "B1").caution


@pytest.mark.parametrize(
    ("values", "column", "said"),
    [
        ({"lot": "B1"}, "lot", "already"),
        ({"lot": ""}, "lot", "blank"),
        ({"lot": "a|b"}, "lot", "'|'"),
        ({"crop": "basill"}, "crop", "basil"),
        ({"n_normal": "500"}, "n_normal", "more than n_tested"),
        ({"n_seeds": "1,200"}, "n_seeds", "1200"),
        ({"moisture_percent": "0.06"}, "moisture_percent", "percent"),
        ({"tested_on": "03/08/2026"}, "tested_on", "2026-08-03"),
        ({"use_by": "2026-01-01", "arrives_on": "2026-02-01"}, "use_by", "before arrives_on"),
        ({"pack_sizes": "500;1000"}, "pack_sizes", "500|1000"),
    ],
)
def test_a_lot_filled_in_wrongly_is_not_kept(desk, values, column, said):
    good = {"lot": "N1", "crop": "kale", "n_tested": "100", "n_normal": "90", "n_seeds": "1000"}
    name, form = save_lot(desk, "", good | values)
    assert not name
    assert form is not None
    assert said in " ".join(form.problems[column])
    with desk.book.reading() as unit:
        assert [each.id for each in unit.lots.all()] == ["B1", "B4"]


def test_a_file_is_looked_at_before_it_is_taken_in(desk):
    text = (
        "lot,crop,variety,n_tested,n_normal,n_seeds,colour\n"
        "B1,onion,Barnstack,400,360,5000,red\nN1,kale,,100,90,800,\n"
    )
    view = look_at_seed(desk, "seed.csv", text.encode())
    assert (view.n_new, view.n_changed, view.n_same) == (1, 1, 0)
    changed = next(each for each in view.differences if not each.is_new)
    assert ("moisture_percent", "8", "") in changed.changes
    assert "colour" in " ".join(view.notes)
    with desk.book.reading() as unit:
        assert unit.lots.get("N1") is None
    assert take_seed_in(desk, view.table, "seed.csv") == 2
    assert look_at_seed(desk, "seed.csv", text.encode()).n_same == 2


def test_every_problem_of_a_file_stands_beside_its_row(desk):
    text = "lot,crop,n_tested,n_normal,n_seeds\nN1,kail,100,90,800\nN1,kale,0,90,x\n"
    view = look_at_seed(desk, "mine.csv", text.encode())
    assert {(each.row, each.column) for each in view.problems} >= {
        (2, "crop"), (3, "lot"), (3, "n_tested"), (3, "n_seeds"),
    }  # fmt: skip
    assert all(each.file == "mine.csv" for each in view.problems)


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02", b"PK\x03\x04broken", b"\xff\xfeabc"])
def test_a_file_that_is_none_is_refused_in_words(desk, content):
    view = look_at_seed(desk, "x.csv", content)
    assert view.problems
    assert not view.table


def test_what_is_to_be_bought_or_looked_at_stands_first_and_can_be_found(desk):
    view = seed_view(desk)
    assert view.n_lots == 2
    assert [each.lot.id for each in seed_view(desk, "treated").lines] == ["B4"]
    assert [each.lot.id for each in seed_view(desk, "barnST").lines] == ["B1"]
    assert seed_view(desk, "no such").lines == ()
    assert seed_view(desk, page=99).page == 1


_TEXT = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=12)
_LOT = st.builds(
    SeedLot,
    id=_TEXT.filter(lambda t: t and "|" not in t and t[0] not in "=+-@'#"),
    crop=st.sampled_from(["kale", "onion", "basil"]),
    variety=_TEXT.filter(lambda t: not t.startswith(("'", "#"))),
    n_tested=st.integers(100, 1000),
    n_normal=st.integers(0, 100),
    n_seeds=st.integers(0, 10**6),
    tested_on=st.none() | st.dates(date(2020, 1, 1), date(2030, 1, 1)),
    moisture_frac=st.none() | st.sampled_from([0.02, 0.06, 0.11]),
    storage_c=st.none() | st.integers(-20, 30).map(float),
    price_per_1000=st.none() | st.integers(0, 10000).map(lambda n: n / 100),
    pack_sizes=st.sampled_from([(), (500,), (500, 2000)]),
    treated=st.booleans(),
    organic=st.booleans(),
)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lots=st.lists(_LOT, min_size=1, max_size=4, unique_by=lambda each: each.id))
def test_lots_written_to_a_file_come_back_the_same(desk, lots):
    with desk.book.writing() as unit:
        unit.lots.put(lots, NOW, "", "")
        unit.commit()
    view = look_at_seed(desk, "seed.csv", seed_file(desk))
    assert not view.problems
    assert (view.n_new, view.n_changed) == (0, 0)


def test_the_journal_of_a_lot_is_shown_in_windows_without_its_sowings(desk):
    def note(n: int) -> Entry:
        return Entry(f"{n:032x}", TODAY, EntryKind.NOTED, "", n, lot="B1")

    with desk.book.writing() as unit:
        n_notes = 2 * ENTRIES_A_PAGE + 3
        unit.journal.add([note(1_000 + each) for each in range(n_notes)], NOW)
        unit.journal.add([sown(1 + each, TODAY) for each in range(9)], NOW)
        unit.commit()
    shown: list[int | None] = []
    before: int | None = None
    while before != 0:
        view = lot_view(desk, "B1", before)
        assert 0 < len(view.entries) <= ENTRIES_A_PAGE
        shown += [each.entry.n for each in view.entries]
        before = view.earlier
    assert shown == [1_000 + each for each in reversed(range(n_notes))]
