"""The demo's files read cleanly and show what the demo is meant to show."""

from __future__ import annotations

import itertools
import subprocess
import sys
from collections import Counter
from datetime import date
from types import SimpleNamespace

import pytest

from sowbench import demo
from sowbench.demo.prepare import copy_nursery, copy_windowsill
from sowbench.domain.records import PlaceKind
from sowbench.exchange.house import read_house
from sowbench.exchange.orders import SYSTEMS, read_orders
from sowbench.exchange.pins import read_pins
from sowbench.exchange.seed import read_seed
from sowbench.exchange.standing import read_standing
from sowbench.exchange.weather import read_weather
from sowbench.reference.catalog import load_catalog
from sowbench.science.errors import InputFileError


@pytest.fixture(scope="module")
def catalog():
    return load_catalog()


@pytest.fixture(scope="module")
def nursery(tmp_path_factory, catalog):
    folder = copy_nursery(tmp_path_factory.mktemp("demo") / "inputs")
    house = read_house(
        folder / "house.toml",
        containers=catalog.containers,
        container_keys=(),
        crop_keys=(),
        minute_keys=catalog.labor,
        resolve_crop=catalog.crop_id,
    )
    orders = read_orders(
        folder / "orders.csv",
        resolve_crop=catalog.crop_id,
        crop_unit=lambda crop: catalog.crops[crop].unit,
        containers=catalog.containers,
    )
    seed = read_seed(folder / "seed.csv", resolve_crop=catalog.crop_id)
    places = {each.name for each in house.places}
    ids = {each.id for each in orders.orders}
    standing = read_standing(
        folder / "standing.csv",
        resolve_crop=catalog.crop_id,
        container_cells={each.id: each.cells for each in catalog.containers.values()},
        places=places,
        orders=ids,
    )
    pins = read_pins(
        folder / "pins.csv",
        orders=ids,
        sowings={each.sowing for each in standing.standing},
        containers=catalog.containers,
        places=places,
    )
    return SimpleNamespace(
        folder=folder,
        house=house,
        read=orders,
        orders=orders.orders,
        lots=seed.lots,
        standing=standing.standing,
        pins=pins.pins,
        notes=(*orders.notes, *seed.notes, *standing.notes, *pins.notes),
    )


def rows(nursery):
    """Orders as a person wrote them: a standing order once."""
    return {each.standing_of or each.id: each for each in nursery.orders}


def germination(lot):
    return lot.n_normal / lot.n_tested


def test_orders_are_at_least_66_from_january_to_july(nursery):
    assert len(rows(nursery)) >= 66
    assert min(each.earliest_date for each in nursery.orders) > demo.DEMO_FROM_DATE
    months = {each.wanted_date.month for each in nursery.orders}
    assert months == {1, 2, 3, 4, 5, 6, 7}
    assert {each.wanted_date.year for each in nursery.orders} == {2027}


def test_from_date_is_a_monday_before_every_order():
    assert date(2027, 1, 4) == demo.DEMO_FROM_DATE
    assert demo.DEMO_FROM_DATE.weekday() == 0


def test_order_sizes_run_from_a_dozen_to_twelve_thousand(nursery):
    sizes = [each.plants for each in nursery.orders]
    assert min(sizes) == 12
    assert max(sizes) == 12_000


def test_every_system_is_ordered_for(nursery):
    assert {each.system for each in nursery.orders} == set(SYSTEMS)


def test_orders_name_at_least_forty_crops(nursery):
    assert len({each.crop for each in nursery.orders}) >= 40


def test_nothing_of_the_files_is_left_aside_but_notes(nursery):
    columns = [each for each in nursery.notes if "cancelled" not in each]
    assert columns == []


def test_standing_orders_repeat_weekly_for_raft_and_in_cubes_for_channel(nursery):
    drops = Counter(each.standing_of for each in nursery.orders if each.standing_of)
    assert len(drops) >= 2
    weekly = [each for each in nursery.orders if each.standing_of and each.system == "raft"]
    assert len(weekly) >= 20
    days = sorted(each.wanted_date for each in weekly)
    assert {(b - a).days for a, b in itertools.pairwise(days)} == {7}


def test_house_has_six_kinds_of_place_and_two_chambers(nursery):
    kinds = Counter(each.kind for each in nursery.house.places)
    assert kinds[PlaceKind.CHAMBER] == 2
    assert kinds[PlaceKind.BENCH] == 2
    assert set(kinds) == {
        PlaceKind.CHAMBER,
        PlaceKind.BENCH,
        PlaceKind.LAMP_SHELF,
        PlaceKind.YARD,
        PlaceKind.COLD_STORE,
    }
    temps = {each.temp_c for each in nursery.house.places if each.kind is PlaceKind.CHAMBER}
    assert len(temps) == 2


def test_house_owns_every_kind_of_container(nursery, catalog):
    kinds = {catalog.containers[each.container].kind for each in nursery.house.stock}
    assert kinds == {each.kind for each in catalog.containers.values()}


def test_some_trays_come_back_and_are_few(nursery, catalog):
    back = [
        each
        for each in nursery.house.stock
        if catalog.containers[each.container].reusable and each.reusable is not False
    ]
    assert len(back) >= 4
    assert all(each.n_in_stock and each.back_after_d > 0 for each in back)


def test_crew_sows_on_some_days_and_has_closed_days_and_a_machine(nursery):
    crew = nursery.house.crew
    assert {1, 3} <= set(crew.sow_days)
    assert set(crew.sow_days) < set(crew.work_days)
    assert crew.weekend_minutes > 0
    assert len(crew.closed) >= 2
    assert crew.minutes_per_day
    assert len(nursery.house.machines) == 1


def test_every_order_but_those_meant_to_fail_has_a_container(nursery, catalog):
    owned = {each.container for each in nursery.house.stock}
    without = []
    for each in rows(nursery).values():
        suited = [
            found
            for found in catalog.containers_for(each.crop, each.system)
            if found.id in owned
            and (not each.containers or found.id in each.containers)
            and (found.organic_ok or not each.organic)
        ]
        if not suited:
            without.append((each.crop, each.system))
    assert without == [("basil", "channel")]


def test_paths_lead_from_cube_to_block_and_from_plug_to_pot(nursery, catalog):
    steps = set()
    for each in nursery.orders:
        for name in each.containers:
            rule = catalog.rule_for(each.crop, name, each.system)
            if rule is not None and rule.pot_on_from_class is not None:
                kind = catalog.containers[name].container_class.value
                steps.add((each.crop, rule.pot_on_from_class.value, kind, each.system))
    assert ("tomato", "cube", "block", "bucket") in steps
    assert ("tomato", "plug", "pot", "sale") in steps
    assert ("basil", "plug", "pot", "sale") in steps


def test_clump_crops_are_ordered_by_the_cell(nursery, catalog):
    clumps = {each.crop for each in nursery.orders if each.unit == "cell"}
    assert {"basil", "chives", "scallion"} <= clumps
    assert all(catalog.crops[each].plants_per_cell[1] > 1 for each in clumps)


def test_lots_cover_the_special_cases(nursery):
    lots = {each.id: each for each in nursery.lots}
    tests = sorted(round(germination(each), 2) for each in lots.values())
    assert tests[0] == 0.12
    assert 0.61 in tests
    for kind in ("treated", "pelleted", "primed", "organic"):
        assert any(getattr(each, kind) for each in lots.values()), kind
    assert any(each.arrives_on and each.arrives_on > demo.DEMO_FROM_DATE for each in lots.values())
    assert any(each.use_by for each in lots.values())


def test_one_ordered_crop_has_no_seed(nursery):
    with_seed = {each.crop for each in nursery.lots}
    assert {each.crop for each in nursery.orders} - with_seed == {"okra"}


def test_every_named_variety_has_a_lot(nursery):
    lots = {(each.crop, each.variety) for each in nursery.lots}
    wanted = {
        (each.crop, name)
        for each in nursery.orders
        for name in (each.variety, *each.substitutes)
        if name
    }
    assert wanted <= lots


def test_organic_orders_have_organic_lots_except_where_meant(nursery):
    lots = {each.crop for each in nursery.lots if each.organic}
    organic = {each.crop for each in nursery.orders if each.organic}
    assert len(organic) >= 3
    assert organic - lots == {"basil"}


def test_one_order_comes_too_soon(nursery, catalog):
    """A leek plug takes the rule's days at 18 °C and then its emergence; 44 days are not enough."""
    early = [
        each
        for each in nursery.orders
        if each.crop == "leek" and each.latest_date < date(2027, 3, 1)
    ]
    assert len(early) == 1
    rule = catalog.rule_for("leek", "plug-200", early[0].system)
    assert (early[0].latest_date - demo.DEMO_FROM_DATE).days < rule.days_ref


def test_orders_show_partial_substitutes_school_and_status(nursery):
    orders = nursery.orders
    assert any(each.partial for each in orders)
    assert any(each.substitutes for each in orders)
    assert sum("School" in each.customer for each in orders) >= 3
    assert any(each.status == "asked" for each in orders)
    assert len(nursery.read.cancelled) == 1
    assert {each.handover for each in orders} == {"trays", "pulled", "racks"}
    assert any(each.min_frac < 1 for each in orders)
    assert any(each.confidence_frac for each in orders)


def test_trays_stand_with_and_without_counts(nursery):
    assert any(each.n_counted for each in nursery.standing)
    assert any(each.n_counted is None for each in nursery.standing)
    assert all(each.sown_date < demo.DEMO_FROM_DATE for each in nursery.standing)
    lots = {each.id: each for each in nursery.lots}
    for each in nursery.standing:
        assert lots[each.lot].crop == each.crop
        assert each.orders


def test_pins_fix_a_container_a_place_and_a_first_day(nursery):
    assert any(each.container for each in nursery.pins)
    assert any(each.place for each in nursery.pins)
    assert any(each.not_before for each in nursery.pins)


def test_weather_is_the_named_station_and_lies_next_to_the_house(nursery):
    assert nursery.house.weather_file == str(nursery.folder / demo.WEATHER_NAME)
    year = read_weather(nursery.house.weather_file)
    assert "723170" in year.station
    assert "723170" in demo.WEATHER_SOURCE


def test_weather_is_found_without_importing_pvlib():
    code = (
        "import sys; from sowbench.demo import weather_file;"
        "print(weather_file().name, 'pvlib' in sys.modules)"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.split() == [demo.WEATHER_NAME, "False"]


def test_weather_that_is_not_installed_is_named(monkeypatch):
    monkeypatch.setattr(demo, "find_spec", lambda name: None)
    with pytest.raises(InputFileError, match="723170TYA"):
        demo.weather_file()


def test_readme_says_that_the_nursery_is_invented(nursery):
    text = (nursery.folder / "README.md").read_text(encoding="utf-8")
    assert "invented" in text
    assert "723170" in text


def test_copy_replaces_old_files_and_leaves_others(tmp_path):
    (tmp_path / "orders.csv").write_text("old", encoding="utf-8")
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    copy_nursery(tmp_path)
    assert (tmp_path / "orders.csv").read_bytes() == (
        demo.nursery_folder() / "orders.csv"
    ).read_bytes()
    assert (tmp_path / "mine.txt").read_text(encoding="utf-8") == "mine"


def test_copy_into_a_file_is_refused(tmp_path):
    taken = tmp_path / "taken"
    taken.write_text("", encoding="utf-8")
    with pytest.raises(InputFileError, match="cannot be copied"):
        copy_nursery(taken)


def test_windowsill_is_twelve_tomatoes_and_nothing_else(tmp_path, catalog):
    folder = copy_windowsill(tmp_path)
    assert [each.name for each in folder.iterdir()] == ["orders.csv"]
    read = read_orders(
        folder / "orders.csv",
        resolve_crop=catalog.crop_id,
        crop_unit=lambda crop: catalog.crops[crop].unit,
    )
    (order,) = read.orders
    assert (order.crop, order.plants) == ("tomato", 12)
