from dataclasses import replace
from datetime import UTC, date, datetime

import msgspec
import pytest
from sqlalchemy import event

from sowbench.domain.records import Order, Pin, SeedLot, Standing

NOW = datetime(2027, 3, 9, 8, 30, tzinfo=UTC)
LATER = datetime(2027, 3, 10, 8, 30, tzinfo=UTC)
ORDER = Order(
    id="O 1",
    crop="lettuce",
    plants=96,
    wanted_date=date(2027, 4, 12),
    earliest_date=date(2027, 4, 10),
    latest_date=date(2027, 4, 14),
    customer="Grün & Söhne",
    variety="Plain",
    substitutes=("Other", "Third"),
    unit="plug",
    system="raft",
    containers=("plug-128", "plug-72"),
    confidence_frac=0.9,
    min_frac=0.8,
    partial=True,
    organic=True,
    handover="loose",
    status="asked",
    note="by the gate",
    standing_of="weekly",
)
PLAIN = Order("O-2", "basil", 1, date(2027, 4, 1), date(2027, 4, 1), date(2027, 4, 1))
LOT = SeedLot(
    "L-1",
    *("lettuce", "Plain", 100, 91, 5000),
    tested_on=date(2026, 11, 1),
    pack_sizes=(1000, 5000),
    moisture_frac=0.06,
)


def put(book, repository, records, at=NOW, reason=""):
    with book.writing() as unit:
        n_changed = getattr(unit, repository).put(records, at, "Ana", reason)
        unit.commit()
    return n_changed


def test_orders_come_back_in_file_order(book):
    assert put(book, "orders", [ORDER, PLAIN]) == 2
    assert put(book, "orders", [replace(PLAIN, id="A-0")]) == 1
    with book.reading() as unit:
        assert unit.orders.all() == (ORDER, PLAIN, replace(PLAIN, id="A-0"))
        assert unit.orders.get("O 1") == ORDER
        assert unit.orders.get("O-9") is None
        assert unit.orders.named(["O-2", "O-9"]) == {"O-2": PLAIN}
        assert unit.orders.named([]) == {}


def test_orders_keep_their_place_and_their_history(book):
    put(book, "orders", [ORDER, PLAIN])
    more = replace(ORDER, plants=120, substitutes=(), confidence_frac=None, status="cancelled")
    assert put(book, "orders", [more, PLAIN], LATER, "by telephone") == 1
    assert put(book, "orders", [more, PLAIN], LATER) == 0
    with book.reading() as unit:
        assert unit.orders.all() == (more, PLAIN)
        first, second = unit.orders.history("O 1")
        assert (first.before, first.at, first.person, first.subject) == (None, NOW, "Ana", "order")
        assert msgspec.json.decode(first.after or "", type=Order) == ORDER
        assert msgspec.json.decode(second.before or "", type=Order) == ORDER
        assert msgspec.json.decode(second.after or "", type=Order) == more
        assert (second.at, second.reason) == (LATER, "by telephone")
        assert len(unit.orders.history("O-2")) == 1
        assert unit.orders.history("O-9") == []


def test_of_two_orders_of_one_name_the_last_holds(book):
    assert put(book, "orders", [PLAIN, replace(PLAIN, plants=2)]) == 1
    with book.reading() as unit:
        assert unit.orders.get("O-2").plants == 2


@pytest.mark.parametrize("status", ["promised", "asked", "cancelled"])
def test_cancelled_orders_stay(book, status):
    put(book, "orders", [replace(PLAIN, status=status)])
    with book.reading() as unit:
        assert [each.status for each in unit.orders.all()] == [status]


def test_many_orders_need_few_statements(book):
    sent = []
    many = [replace(PLAIN, id=f"M-{at}", note=f"{at}") for at in range(1500)]
    event.listen(book.engine, "before_cursor_execute", lambda *given: sent.append(given[2]))
    assert put(book, "orders", many) == 1500
    n_new = len(sent)
    assert put(book, "orders", [replace(each, plants=5) for each in many]) == 1500
    assert n_new <= 8
    assert len(sent) - n_new <= 8
    with book.reading() as unit:
        assert [each.note for each in unit.orders.all()] == [str(at) for at in range(1500)]


def test_lots_come_back_with_their_history(book):
    assert put(book, "lots", [LOT, replace(LOT, id="L-0")]) == 2
    tested = replace(LOT, n_tested=200, n_normal=160)
    assert put(book, "lots", [tested, replace(LOT, id="L-0")], LATER, "tested") == 1
    with book.reading() as unit:
        assert unit.lots.all() == (tested, replace(LOT, id="L-0"))
        assert unit.lots.get("L-1") == tested
        assert unit.lots.get("L-9") is None
        assert [each.reason for each in unit.lots.history("L-1")] == ["", "tested"]
        assert unit.lots.history("L-1")[1].subject == "lot"


def test_pins_without_a_wish_are_taken_out(book):
    pins = [Pin("S-2", place="bench"), Pin("S-1", seeds_per_cell=2), Pin("S-3")]
    assert put(book, "pins", pins) == 2
    assert put(book, "pins", [Pin("S-2", place="yard"), Pin("S-1"), Pin("S-3")]) == 2
    with book.reading() as unit:
        assert unit.pins.all() == (Pin("S-2", place="yard"),)


def test_standings_come_back_in_file_order(book):
    first = Standing("S-9", "tomato", "", "", "pot-6", 2, 12, "bench", date(2027, 2, 1))
    second = replace(first, sowing="S-1", orders=("O-1", "O-2"), n_usable=3)
    assert put(book, "standings", [first, second]) == 2
    assert put(book, "standings", [first, replace(second, place="yard")]) == 1
    with book.reading() as unit:
        assert unit.standings.all() == (first, replace(second, place="yard"))


def test_versions_of_the_house_are_all_kept(book):
    with book.writing() as unit:
        assert unit.houses.current() is None
        first = unit.houses.put("[house]\n", NOW, "Ana", "begun")
        second = unit.houses.put('[house]\nname = "Glashaus"\n', LATER, "Ben", "named")
        unit.commit()
    assert second > first
    with book.reading() as unit:
        current = unit.houses.current()
        assert (current.version, current.at, current.person) == (second, LATER, "Ben")
        assert unit.houses.get(first).text == "[house]\n"
        assert unit.houses.get(99) is None
        assert [each.version for each in unit.houses.versions()] == [second, first]


def test_files_take_the_place_of_those_of_their_name(book):
    with book.writing() as unit:
        unit.files.put("weather.epw", b"\x00\xffone", NOW)
        unit.files.put("a.csv", b"", NOW)
        unit.files.put("weather.epw", b"two", LATER)
        unit.commit()
    with book.reading() as unit:
        assert unit.files.get("weather.epw") == b"two"
        assert unit.files.get("none") is None
        assert unit.files.changed_at("weather.epw") == LATER
        assert unit.files.changed_at("none") is None
        assert unit.files.names() == ["a.csv", "weather.epw"]


def test_settings_have_a_default(book):
    with book.writing() as unit:
        assert unit.settings.get("today", "none") == "none"
        unit.settings.put("today", "2027-03-09")
        unit.settings.put("today", "2027-03-10")
        unit.commit()
    with book.reading() as unit:
        assert unit.settings.get("today") == "2027-03-10"
        assert unit.settings.get("other") == ""
