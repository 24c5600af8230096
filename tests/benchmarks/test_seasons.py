"""The invented seasons: repeatable, of the size asked for, and readable as anybody's files."""

from __future__ import annotations

import pytest
from benchmarks.free_choice import free_choice
from benchmarks.season_crops import PROFILES
from benchmarks.seasons import (
    CONTAINERS,
    FROM_DATE,
    LAST_WANTED,
    instance_names,
    make_season,
    open_instance,
)

from sowbench.reference.catalog import load_catalog
from sowbench.services.inputs import InputFiles, load_inputs


@pytest.fixture(scope="module")
def hundred(tmp_path_factory):
    return loaded(open_instance("crowded-100", tmp_path_factory.mktemp("hundred")))


def loaded(folder):
    files = InputFiles(folder / "orders.csv", folder / "house.toml", folder / "seed.csv")
    return load_inputs(files, FROM_DATE).inputs


def texts(folder):
    return {each: (folder / each).read_bytes() for each in ("orders.csv", "seed.csv", "house.toml")}


def test_same_seed_makes_the_same_files(tmp_path):
    first = texts(make_season(tmp_path / "a", 40, 3))
    assert texts(make_season(tmp_path / "b", 40, 3)) == first
    assert texts(make_season(tmp_path / "c", 40, 4)) != first


def test_more_room_scale_makes_wider_benches_and_nothing_else(tmp_path):
    narrow = texts(make_season(tmp_path / "a", 40, 3, room_scale=0.5))
    wide = texts(make_season(tmp_path / "b", 40, 3, room_scale=1.0))
    assert narrow["orders.csv"] == wide["orders.csv"]
    assert narrow["house.toml"] != wide["house.toml"]


@pytest.mark.parametrize(("n_orders", "scale"), [(19, 0.75), (40, 0.0), (40, float("nan"))])
def test_impossible_seasons_are_refused(tmp_path, n_orders, scale):
    with pytest.raises(ValueError, match="must be"):
        make_season(tmp_path, n_orders, 1, room_scale=scale)


def test_every_profile_has_a_rule_in_each_of_its_containers():
    catalog = load_catalog()
    for each in PROFILES:
        assert set(each.containers) <= set(CONTAINERS)
        for container in each.containers:
            assert catalog.suits(each.crop, container, each.system), (each.crop, container)
            assert catalog.rule_for(each.crop, container, each.system), (each.crop, container)
    assert len({each.crop for each in PROFILES}) >= 40


def test_frozen_instances_are_whole_and_of_their_size():
    assert instance_names() == ["crowded-100", "crowded-500"]


def test_unknown_instance_names_the_known_ones(tmp_path):
    with pytest.raises(LookupError, match="crowded-500"):
        open_instance("crowded-7", tmp_path)


@pytest.mark.parametrize("name", ["crowded-100", "crowded-500"])
def test_frozen_instance_is_a_season(tmp_path, name):
    inputs = loaded(open_instance(name, tmp_path))
    orders = inputs.orders
    n_orders = int(name.rpartition("-")[2])
    assert len(orders) == n_orders
    assert len({each.crop for each in orders}) >= 40
    assert any(each.standing_of for each in orders)
    assert all(FROM_DATE < each.wanted_date <= LAST_WANTED for each in orders)
    assert all(each.earliest_date <= each.wanted_date <= each.latest_date for each in orders)
    sizes = sorted(each.plants for each in orders)
    assert 12 <= sizes[0] < 100
    assert 400 <= sizes[n_orders // 2] <= 1000
    assert 5000 < sizes[-1] <= 12_000
    assert {each.crop for each in orders} == {each.crop for each in inputs.lots}
    readme = (open_instance_source(name) / "README.md").read_text(encoding="utf-8")
    assert "invented" in readme
    assert "--seed 1" in readme


def open_instance_source(name):
    from benchmarks.seasons import INSTANCES

    return INSTANCES / name


def test_frozen_instance_is_crowded(hundred):
    """Benches were sized to 75 % of the peak of free choice, 1 / 0.75 = 1.33, when it was frozen.

    The peak moves a little with every change of costs or rules; crowded it must stay.
    """
    uses = {each.name: each for each in free_choice(hundred)}
    for name in ("warm bench", "cool bench"):
        assert 1.1 < uses[name].peak / uses[name].capacity.max() < 2.0, name
