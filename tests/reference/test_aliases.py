"""Every spelling finds its crop or container."""

import csv
from importlib import resources

import pytest

from sowbench.reference.aliases import container_id, crop_id, crop_ids
from sowbench.reference.tables import read_table
from sowbench.science.errors import UnknownNameError

# What the tables know and nobody raises from seed for setting out here.
NOT_RAISED = {row["name"] for row in read_table("aliases.csv") if not row["ids"]}

# Tables of choices made here, which have headings of their own among the crops.
OURS = {"growth_cardinal.csv", "growth_choices.csv"}


def tables_with_crops():
    root = resources.files("sowbench.reference")
    for folder in ("crops", "germination"):
        for path in sorted(root.joinpath("data", folder).iterdir(), key=lambda each: each.name):
            if path.name.endswith(".csv") and path.name not in OURS:
                rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
                if rows and "crop" in rows[0]:
                    yield path.name, [row["crop"] for row in rows]


def test_every_spelling_of_the_source_tables_is_known():
    known = {row["id"] for row in read_table("crops.csv")}
    n_tables = n_found = 0
    for name, spellings in tables_with_crops():
        n_tables += 1
        for spelling in spellings:
            ids = crop_ids(spelling)
            assert set(ids) <= known, (name, spelling)
            assert ids or spelling in NOT_RAISED, (name, spelling)
            n_found += bool(ids)
    assert n_tables >= 9
    assert n_found > 600


def test_every_alias_leads_to_crops_that_exist():
    known = {row["id"] for row in read_table("crops.csv")}
    for row in read_table("aliases.csv"):
        assert {each for each in row["ids"].split("|") if each} <= known, row


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Tomato", "tomato"),
        ("tomatoes", "tomato"),
        ("aubergine", "eggplant"),
        ("courgettes", "summer squash"),
        ("zucchini", "summer squash"),
        ("rocket", "arugula"),
        ("coriander", "cilantro"),
        ("silverbeet", "chard"),
        ("Swiss chard", "chard"),
        ("bok choy", "pak choi"),
        ("pak-choi", "pak choi"),
        ("capsicum", "pepper"),
        ("Bell pepper", "pepper"),
        ("spring onions", "scallion"),
        ("cos", "lettuce romaine"),
        ("radishes", "radish"),
        ("brócoli", "broccoli"),
        ("brocoli", "broccoli"),
        ("Orégano", "oregano"),
        ("lamb\u2019s lettuce", "corn salad"),
        ("  Chinese   cabbage ", "chinese cabbage"),
        ("cabbage (chinese)", "chinese cabbage"),
        ("Solanum lycopersicum", "tomato"),
    ],
)
def test_common_names_find_the_crop(name, expected):
    assert crop_id(name) == expected


def test_a_misspelled_name_is_refused_with_the_nearest():
    with pytest.raises(UnknownNameError) as caught:
        crop_id("letuce")
    assert caught.value.nearest[0] == "lettuce"
    assert "Did you mean 'lettuce'" in str(caught.value)


def test_a_name_for_two_crops_is_refused_with_both():
    with pytest.raises(UnknownNameError) as caught:
        crop_id("squash")
    assert caught.value.nearest == ["summer squash", "winter squash"]
    assert crop_ids("squash") == ("summer squash", "winter squash")


def test_a_plant_that_is_not_raised_here_is_refused():
    assert crop_ids("wheat") == ()
    with pytest.raises(UnknownNameError):
        crop_id("wheat")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("plug-128", "plug-128"),
        ("128-cell tray", "plug-128"),
        ("128-cell square", "plug-128"),
        ("Pot-75", "pot-75"),
        ("plug 72", "plug-72"),
        ("mineral-wool cube 25 x 25 x 38 mm", "wool-25"),
    ],
)
def test_container_names_find_the_container(name, expected):
    assert container_id(name) == expected


def test_an_unknown_container_is_refused_with_the_nearest():
    with pytest.raises(UnknownNameError) as caught:
        container_id("plugg-128")
    assert "plug-128" in caught.value.nearest


def test_every_published_container_is_known_or_said_to_have_none_of_its_own():
    known = {row["name"]: row for row in read_table("container_aliases.csv")}
    for row in read_table("data/crops/containers.csv"):
        entry = known[row["container"]]
        assert entry["id"] or entry["note"], row["container"]
