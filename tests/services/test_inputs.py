"""All files of a plan are read together, and everything wrong in any is told at once."""

from datetime import date

import pytest
from tests.services.fakes import FROM_DATE, FakePlanner, write_orders

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.records import Standing
from sowbench.exchange.plan_json import write_plan
from sowbench.planning.parameters import SolveParameters
from sowbench.science.errors import InputFileError
from sowbench.services.inputs import InputFiles, load_house, load_inputs, standings_after

HOUSE = """[house]
name = "North House"
room_day_c = 20.0
room_night_c = 16.0
light = "south"

[[place]]
name = "shelf"
kind = "bench"
area_m2 = 4.0
temp_c = 18.0

[[container]]
id = "own-40"
like = "plug-50"
cells = 40
cols = 8
in_stock = 30

[[crop]]
id = "sorrel"
like = "spinach"
"""


def load(folder, **files):
    return load_inputs(InputFiles(**files), FROM_DATE)


def problems_of(**files):
    with pytest.raises(InputFileError) as caught:
        load_inputs(InputFiles(**files), FROM_DATE)
    return caught.value.problems


def test_orders_alone_are_enough_and_a_windowsill_stands_in(tmp_path):
    loaded = load(tmp_path, orders=write_orders(tmp_path))
    assert [each.id for each in loaded.inputs.orders] == ["O-1", "O-2"]
    assert loaded.inputs.lots is None
    assert loaded.inputs.from_date == FROM_DATE
    assert [each.name for each in loaded.inputs.house.places] == ["windowsill"]
    assert any("no house file" in each for each in loaded.inputs.house.assumptions)


def test_the_windowsill_says_what_a_short_plant_costs_there(tmp_path):
    house, _ = load_house(None)
    said = [each for each in house.assumptions if each.startswith("short_plant ")]
    assert house.prices.short_plant == pytest.approx(6.0)
    assert said == ["short_plant 6.00: high enough that plants are raised even if it does not pay"]


def test_the_house_adds_its_own_container_and_crop(tmp_path):
    house = tmp_path / "house.toml"
    house.write_text(HOUSE, encoding="utf-8")
    text = "order,crop,plants,wanted_on,container\nO-1,sorrel,60,2027-05-15,own-40\n"
    inputs = load(tmp_path, orders=write_orders(tmp_path, text), house=house).inputs
    assert inputs.catalog.containers["own-40"].cells == 40
    assert inputs.orders[0].crop == "sorrel"
    assert inputs.catalog.crops["sorrel"].emergence == inputs.catalog.crops["spinach"].emergence


def test_problems_of_all_files_come_together(tmp_path):
    orders = write_orders(tmp_path, "order,crop,plants,wanted_on\nO-1,tomatoe,60,03/08/2027\n")
    house = tmp_path / "house.toml"
    house.write_text(HOUSE.replace('kind = "bench"', 'kind = "bank"'), encoding="utf-8")
    seed = tmp_path / "seed.csv"
    seed.write_text("lot,crop,n_tested,n_normal,n_seeds\nA,tomato,100,104,500\n", encoding="utf-8")
    problems = problems_of(orders=orders, house=house, seed=seed)
    files = {each.file.rpartition("/")[2] for each in problems}
    assert files == {"orders.csv", "house.toml", "seed.csv"}
    wanted = next(each for each in problems if each.column == "wanted_on")
    assert (wanted.row, wanted.value) == (2, "03/08/2027")
    assert "2027-03-08" in wanted.message or "2027-08-03" in wanted.message


def test_a_house_that_is_not_right_is_not_blamed_on_other_files(tmp_path):
    house = tmp_path / "house.toml"
    house.write_text(HOUSE.replace("area_m2 = 4.0", "area_m2 = -4.0"), encoding="utf-8")
    standing = tmp_path / "standing.csv"
    standing.write_text(
        "sowing,crop,container,n_containers,n_cells,place,sown_on\n"
        "S-1,tomato,own-40,1,40,shelf,2026-12-20\n",
        encoding="utf-8",
    )
    problems = problems_of(orders=write_orders(tmp_path), house=house, standing=standing)
    assert {each.file for each in problems} == {str(house)}


def test_a_standing_sowing_must_stand_in_a_place_of_the_house(tmp_path):
    standing = tmp_path / "standing.csv"
    standing.write_text(
        "sowing,crop,container,n_containers,n_cells,place,sown_on\n"
        "S-1,tomato,plug-72,1,72,attic,2026-12-20\n",
        encoding="utf-8",
    )
    problems = problems_of(orders=write_orders(tmp_path), standing=standing)
    assert [(each.row, each.column, each.value) for each in problems] == [(2, "place", "attic")]


def test_a_missing_file_is_told_by_name(tmp_path):
    problems = problems_of(orders=tmp_path / "order.csv", seed=tmp_path / "seed.csv")
    assert [each.file for each in problems] == [
        str(tmp_path / "order.csv"),
        str(tmp_path / "seed.csv"),
    ]


def test_cancelled_orders_are_set_aside(tmp_path):
    text = (
        "order,crop,plants,wanted_on,status\n"
        "O-1,tomato,60,2027-05-15,promised\nO-2,leek,80,2027-05-15,cancelled\n"
    )
    loaded = load(tmp_path, orders=write_orders(tmp_path, text))
    assert [each.id for each in loaded.inputs.orders] == ["O-1"]
    assert [each.id for each in loaded.cancelled] == ["O-2"]
    assert any("O-2" in each for each in loaded.notes)


def kept_plan(tmp_path, orders):
    inputs = load(tmp_path, orders=orders).inputs
    return FakePlanner()(inputs, SolveParameters(), 0).plan


def test_a_plan_to_keep_is_found_by_its_folder_and_its_journal_followed(tmp_path):
    orders = write_orders(tmp_path)
    plan = kept_plan(tmp_path, orders)
    (tmp_path / "plan").mkdir()
    write_plan(plan, tmp_path / "plan" / "plan.json")
    journal = tmp_path / "journal.csv"
    journal.write_text(
        "date,kind,sowing,n,crop,container,place,n_containers\n"
        "2027-04-05,sown,S1,75,tomato,plug-72,windowsill,2\n"
        "2027-04-06,sown,X-1,40,basil,plug-72,windowsill,1\n",
        encoding="utf-8",
    )
    loaded = load(tmp_path, orders=orders, keep=tmp_path / "plan", done=journal)
    assert loaded.inputs.kept == plan
    assert [(each.kind, each.sowing) for each in loaded.inputs.done] == [("sown", "S1")]
    assert [each.sowing for each in loaded.inputs.standings] == ["X-1"]


def test_a_dumped_tray_of_a_kept_sowing_is_so_many_cells(tmp_path):
    orders = write_orders(tmp_path)
    plan = kept_plan(tmp_path, orders)
    write_plan(plan, tmp_path / "plan.json")
    journal = tmp_path / "journal.csv"
    journal.write_text(
        "date,kind,sowing,n,place,n_containers,trays\n"
        "2027-04-05,sown,S1,80,windowsill,2,\n"
        "2027-04-06,dumped,S1,,,,2\n",
        encoding="utf-8",
    )
    loaded = load(tmp_path, orders=orders, keep=tmp_path / "plan.json", done=journal)
    assert [(each.kind, each.n) for each in loaded.inputs.done] == [("sown", 80), ("dumped", 40)]


def test_a_pin_must_name_an_order_or_a_sowing(tmp_path):
    pins = tmp_path / "pins.csv"
    pins.write_text("order,place\nO-9,windowsill\n", encoding="utf-8")
    problems = problems_of(orders=write_orders(tmp_path), pins=pins)
    assert [(each.column, each.value) for each in problems] == [("order", "O-9")]


STANDING = Standing(
    "S-1", "tomato", "", "A", "plug-72", 2, 144, "shelf", date(2026, 12, 20),
    date(2026, 12, 30), 130, 120,
)  # fmt: skip


def entry(kind, n=None, day=5, **values):
    return Entry(f"e{day}{kind}", date(2027, 1, day), kind, "S-1", n, **values)


def test_losses_come_off_what_stands():
    (after,) = standings_after([STANDING], [entry(EntryKind.LOST, 24)], set())
    assert (after.n_cells, after.n_counted, after.n_usable) == (120, 106, 96)


def test_a_new_count_takes_the_place_of_an_old_one():
    entries = [entry(EntryKind.LOST, 10, 5), entry(EntryKind.COUNTED, 125, 6),
               entry(EntryKind.LOST, 5, 7)]  # fmt: skip
    (after,) = standings_after([STANDING], entries, set())
    assert (after.n_counted, after.counted_date) == (120, date(2027, 1, 6))
    assert after.n_usable is None
    assert after.n_cells == 129


def test_what_was_moved_stands_elsewhere_and_what_was_dumped_is_gone():
    moved = standings_after([STANDING], [entry(EntryKind.MOVED, place="yard")], set())
    assert moved[0].place == "yard"
    assert standings_after([STANDING], [entry(EntryKind.DUMPED)], set()) == ()


def test_entries_of_the_kept_plan_are_left_to_the_planner():
    assert standings_after([], [entry(EntryKind.SOWN, 72, crop="tomato")], {"S-1"}) == ()
