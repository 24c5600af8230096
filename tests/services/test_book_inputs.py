"""What a plan is made from, out of a book: house, orders, seed, and what the journal tells."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from sowbench.bootstrap import open_desk
from sowbench.demo import DEMO_FROM_DATE
from sowbench.domain.book import NewPlan
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import OrderPlan, Plan, Sowing, SowingShare, Span, Spread, Step
from sowbench.domain.records import Order, Pin, Standing, StepKind
from sowbench.planning.inputs import Done
from sowbench.science.errors import InputFileError, UnknownNameError
from sowbench.services.book_inputs import (
    base_name,
    house_of,
    loaded_of,
    put_inputs,
    read_house_text,
    weather_name,
)
from sowbench.services.demo import lay_out_demo
from sowbench.services.desk import Desk
from sowbench.services.inputs import load_inputs

AT = datetime(2027, 3, 9, 12, tzinfo=UTC)
FIRST = date(2027, 3, 1)
TODAY = date(2027, 3, 9)
HOUSE = """
[house]
name = "Sallow End (invented)"
[[place]]
name = "bench"
kind = "bench"
area_m2 = 20.0
temp_c = 18.0
"""
KALE = "kale 02-20 a"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A book with a house, two orders and a plan of 1 March that had kale sown on 20 February."""
    with open_desk(tmp_path / "book") as opened:
        with opened.book.writing() as unit:
            unit.houses.put(HOUSE, AT, "", "")
            unit.orders.put([order("N1", 100), order("N2", 40)], AT, "", "")
            unit.plans.accept(unit.plans.add(NewPlan(a_plan(), (), {}), AT, ""), AT)
            unit.commit()
        yield opened


def order(name: str, plants: int, day: date = date(2027, 4, 12), **more: object) -> Order:
    """Write an order of kale."""
    return Order(name, "kale", plants, day, day, day, **more)  # type: ignore[arg-type]


def a_plan() -> Plan:
    """Plan one sowing of 160 cells for both orders."""
    step = Step(
        StepKind.GROW, "plug-128", 2, 160, 800.0, "bench", date(2027, 2, 20), date(2027, 4, 12)
    )
    kale = Sowing(
        sowing=KALE,
        orders=(SowingShare("N1", 100), SowingShare("N2", 40)),
        crop="kale",
        variety="",
        lot="S1",
        seeds_per_cell=1,
        plants_per_cell=(1, 1),
        n_cells=160,
        n_seeds=160,
        sow_date=date(2027, 2, 20),
        steps=(step,),
        ready_date=Span(date(2027, 4, 8), date(2027, 4, 12), date(2027, 4, 16)),
        overgrown_date=Span(date(2027, 4, 20), date(2027, 4, 26)),
        plants=Spread(140, 148, 155),
    )
    orders = tuple(OrderPlan(name, n, n, 0.97, 0.9, 0.87, 0.2) for name, n in kale_shares(kale))
    return Plan(
        FIRST, date(2027, 4, 12), 10.0, {}, 9.0, 0.1, 0.1, 1.0, 0, (), orders, (kale,), (), (), (),
        (),
    )  # fmt: skip


def kale_shares(kale: Sowing) -> list[tuple[str, int]]:
    """Return the shares of a sowing."""
    return [(each.order, each.plants) for each in kale.orders]


def write(desk: Desk, *entries: Entry) -> None:
    """Write entries into the journal."""
    with desk.book.writing() as unit:
        unit.journal.add(entries, AT)
        unit.commit()


def tell(number: int, day: date, kind: EntryKind, sowing: str = KALE, **more: object) -> Entry:
    """Write an entry."""
    return Entry(f"{number:032x}", day, kind, sowing, **more)  # type: ignore[arg-type]


def sown(number: int = 1, sowing: str = KALE) -> Entry:
    """Say that kale was sown."""
    return tell(
        number, date(2027, 2, 20), EntryKind.SOWN, sowing, n=160, place="bench", crop="kale",
        container="plug-128", n_containers=2, lot="S1", values={"n_cells_per_tray": 128},
    )  # fmt: skip


def done_of(desk: Desk) -> tuple[Done, ...]:
    """Return what the planner is told has happened."""
    with desk.book.reading() as unit:
        return loaded_of(unit, TODAY).inputs.done


def test_the_current_plan_is_kept_to(desk: Desk) -> None:
    with desk.book.reading() as unit:
        loaded = loaded_of(unit, TODAY)

    assert loaded.based_on == 1
    assert loaded.house_version == 1
    assert loaded.inputs.kept is not None
    assert loaded.inputs.kept.sowings[0].sowing == KALE
    assert loaded.inputs.house.name == "Sallow End (invented)"
    assert loaded.inputs.lots is None
    assert loaded.inputs.done == ()


def test_a_count_of_some_trays_goes_for_the_whole_sowing(desk: Desk) -> None:
    count = tell(2, date(2027, 3, 5), EntryKind.COUNTED, trays=(1,), n=64, n_of=128)
    write(desk, sown(), count)

    (counted,) = (each for each in done_of(desk) if each.kind == "counted")

    assert counted.n == 80  # half of 160 cells


def test_what_was_lost_since_is_told_once_and_before_the_count(desk: Desk) -> None:
    write(
        desk,
        sown(),
        tell(2, date(2027, 3, 5), EntryKind.COUNTED, n=150, n_of=160),
        tell(3, date(2027, 3, 6), EntryKind.LOST, n=32, reason="slugs"),
    )

    done = {each.kind: each.n for each in done_of(desk)}

    assert done["lost"] == 32
    assert done["counted"] == 120  # 150 of 160, of the 128 that are left


def test_what_was_handed_over_before_the_kept_plan_is_taken_off_the_order(desk: Desk) -> None:
    before = tell(2, date(2027, 2, 27), EntryKind.DELIVERED, n=30, order="N1")
    since = tell(3, date(2027, 3, 4), EntryKind.DELIVERED, n=20, order="N1")
    write(desk, sown(), before, since)

    with desk.book.reading() as unit:
        inputs = loaded_of(unit, TODAY).inputs

    assert {each.id: each.plants for each in inputs.orders} == {"N1": 70, "N2": 40}
    assert [each.n for each in inputs.done if each.kind == "delivered"] == [20]


def test_a_sowing_that_has_ended_is_gone(desk: Desk) -> None:
    write(desk, sown(), tell(2, date(2027, 3, 5), EntryKind.DUMPED))

    (dumped,) = (each for each in done_of(desk) if each.kind == "dumped")

    assert dumped.n is None


def test_a_sowing_without_a_plan_stands(desk: Desk) -> None:
    write(desk, sown(9, "extra"), tell(10, date(2027, 3, 5), EntryKind.LOST, "extra", n=60))

    with desk.book.reading() as unit:
        inputs = loaded_of(unit, TODAY).inputs

    (extra,) = (each for each in inputs.standings if each.sowing == "extra")
    assert (extra.n_cells, extra.n_containers, extra.place) == (100, 1, "bench")
    assert not [each for each in inputs.done if each.sowing == "extra"]


def test_what_stood_when_the_book_was_begun_follows_the_journal(desk: Desk) -> None:
    standing = Standing(
        "W1", "leek", "", "", "plug-128", 2, 256, "bench", date(2027, 1, 25), orders=("N1",)
    )
    with desk.book.writing() as unit:
        unit.standings.put([standing], AT, "", "")
        unit.commit()
    write(desk, tell(20, date(2027, 3, 4), EntryKind.LOST, "W1", n=56))

    with desk.book.reading() as unit:
        (now,) = loaded_of(unit, TODAY).inputs.standings

    assert (now.n_cells, now.orders) == (200, ("N1",))


def test_pins_on_what_is_gone_are_left_out(desk: Desk) -> None:
    with desk.book.writing() as unit:
        pins = [Pin("N1", place="bench"), Pin(KALE, place="bench"), Pin("old", place="bench")]
        unit.pins.put(pins, AT, "", "")
        unit.commit()

    with desk.book.reading() as unit:
        found = {each.target for each in loaded_of(unit, TODAY).inputs.pins}

    assert found == {"N1", KALE}


def test_orders_that_are_over_or_cancelled_are_not_planned(desk: Desk) -> None:
    with desk.book.writing() as unit:
        unit.orders.put(
            [order("past", 5, date(2027, 2, 1)), order("off", 5, status="cancelled")], AT, "", ""
        )
        unit.commit()

    with desk.book.reading() as unit:
        loaded = loaded_of(unit, TODAY)

    assert {each.id for each in loaded.inputs.orders} == {"N1", "N2"}
    assert [each.id for each in loaded.cancelled] == ["off"]


def test_files_come_out_of_the_book_as_they_went_in(tmp_path: Path) -> None:
    laid = lay_out_demo(tmp_path / "demo")
    there = load_inputs(laid.files, laid.from_date)
    with open_desk(tmp_path / "book") as desk:
        with desk.book.writing() as unit:
            taken = put_inputs(unit, laid.files, laid.from_date, AT)
            unit.commit()
        with desk.book.reading() as unit:
            here = loaded_of(unit, DEMO_FROM_DATE)

    assert taken.n_orders == len(there.inputs.orders) + len(there.cancelled)
    assert here.inputs.orders == there.inputs.orders
    assert here.inputs.pins == there.inputs.pins
    assert {each.id for each in here.inputs.lots or ()} == {
        each.id for each in there.inputs.lots or ()
    }
    assert here.inputs.standings == there.inputs.standings
    assert here.inputs.house.places == there.inputs.house.places
    assert here.inputs.weather is not None


def test_a_house_is_read_once_a_version_and_known_by_its_number(desk: Desk) -> None:
    with desk.book.writing() as unit:
        unit.houses.put(HOUSE.replace("Sallow End", "Alder End"), AT, "", "")
        unit.commit()
    with desk.book.reading() as unit:
        old, _, _ = house_of(unit, 1)
        new, _, _ = house_of(unit)
        assert house_of(unit)[0] is new
        with pytest.raises(UnknownNameError):
            house_of(unit, 9)

    assert (old.name, new.name) == ("Sallow End (invented)", "Alder End (invented)")


def test_a_book_without_a_house_has_a_windowsill(tmp_path: Path) -> None:
    with open_desk(tmp_path / "book") as desk, desk.book.reading() as unit:
        house, _, weather = house_of(unit)

    assert house.name == "windowsill"
    assert weather is None


@pytest.mark.parametrize("path", ["../x.epw", "/etc/passwd", "C:\\years\\x.epw", "a/x.epw"])
def test_the_weather_of_a_book_is_never_looked_for_outside_it(path: str) -> None:
    text = HOUSE.replace("[house]", f"[house]\nweather = '{path}'")

    with pytest.raises(InputFileError, match="name of a file alone"):
        weather_name(text)
    assert base_name(path) in {"x.epw", "passwd"}


def test_what_is_wrong_with_a_house_is_told_without_the_folder_it_was_read_in() -> None:
    with pytest.raises(InputFileError) as raised:
        read_house_text(HOUSE.replace("bench", "sofa", 2), None)

    assert {each.file for each in raised.value.problems} == {"house.toml"}
