"""The handbook: found by a word, values with their sources, containers drawn as they are."""

import itertools
from typing import Any

import pytest
from bs4 import BeautifulSoup

from sowbench.reference.catalog import load_catalog
from sowbench.services.begin import take_in_house
from sowbench.services.emergence_curve import emergence_curve
from sowbench.services.handbook import container_page, crop_page, handbook_view
from sowbench.services.tray_drawing import draw_tray

HTML = {"Accept": "text/html"}
CATALOG = load_catalog()


def page(answer) -> Any:
    assert answer.status_code == 200
    return BeautifulSoup(answer.text, "html.parser")


def test_every_crop_and_container_is_listed(client):
    shown = page(client.get("/handbook", headers=HTML))
    crops = shown.select('a[href^="/handbook/crops/"]')
    containers = shown.select('a[href^="/handbook/containers/"]')
    assert len(crops) == len(CATALOG.crops)
    assert len(containers) == len(CATALOG.containers)


def test_the_filter_works_without_script_by_the_address(client):
    shown = page(client.get("/handbook?q=romaine", headers=HTML))
    names = [each.get_text() for each in shown.select(".index b")]
    assert names == ["Lettuce, romaine"]
    assert shown.select_one("#q")["value"] == "romaine"
    assert shown.select_one("form[role=search]")["action"] == "/handbook"


def test_several_words_must_all_fit(desk):
    view = handbook_view(desk, "warm squash")
    assert {each.id for each in view.crops} == {"summer squash", "winter squash"}
    assert view.containers == ()


def test_nothing_found_says_so(client):
    shown = page(client.get("/handbook?q=zzz", headers=HTML))
    assert shown.select_one(".empty h2").get_text() == "Nothing here is called that"


def test_every_crop_has_a_page(desk):
    for name in CATALOG.crops:
        shown = crop_page(desk, name)
        assert shown.steps
        assert shown.sections
        assert shown.curve.chart["data"]["values"], name


def test_every_container_has_a_page_and_is_drawn_with_all_its_cells(desk):
    for name, each in CATALOG.containers.items():
        shown = container_page(desk, name)
        assert len(shown.drawing.centers) == each.cells
        for x, y in shown.drawing.centers:
            assert 0 < x < shown.drawing.width_mm
            assert 0 < y < shown.drawing.length_mm


def test_a_tray_of_8_by_16_stands_on_end():
    drawn = draw_tray(CATALOG.containers["plug-128"])
    # 279 mm / 8 = 34.875 mm across, 539 mm / 16 = 33.6875 mm along; the first middle is at half.
    assert drawn.centers[0] == (17.4, 16.8)
    assert drawn.centers[7][1] == drawn.centers[0][1]
    assert drawn.centers[8] == (17.4, 50.5)
    assert drawn.cell_mm == 30.2


def test_cells_never_overlap_in_the_drawing():
    for each in CATALOG.containers.values():
        drawn = draw_tray(each)
        across = sorted({x for x, _ in drawn.centers})
        gaps = [b - a for a, b in itertools.pairwise(across)]
        assert all(gap >= drawn.cell_mm - 0.11 for gap in gaps), each.id


def test_a_page_of_a_crop_names_sources_and_leads_to_them(client):
    shown = page(client.get("/handbook/crops/lettuce", headers=HTML))
    led_to = {each["href"].removeprefix("#") for each in shown.select(".cites a")}
    assert led_to
    assert led_to <= {each["id"] for each in shown.select(".sources li")}
    assert "Sources disagree." in shown.get_text()


def test_a_page_of_a_crop_says_how_to_sow_it_in_what_was_chosen(client):
    shown = page(client.get("/handbook/crops/lettuce?in=wool-25&where=chamber", headers=HTML))
    assert shown.select_one("#in option[selected]")["value"] == "wool-25"
    assert shown.select_one("#where option[selected]")["value"] == "chamber"
    assert "fiber" in " ".join(each.get_text() for each in shown.select(".flag.watch"))


def test_an_unknown_container_to_sow_in_is_not_found(client):
    answer = client.get("/handbook/crops/lettuce?in=nothing", headers=HTML)
    assert answer.status_code == 404


def test_a_caution_is_said_once(desk):
    shown = crop_page(desk, "lettuce", "wool-25")
    assert len(shown.cautions) == len(set(shown.cautions)) > 0


@pytest.mark.parametrize("name", ["lettuce", "tomato", "parsley"])
def test_the_curve_is_quickest_between_the_cold_and_the_hot(name):
    points = emergence_curve(CATALOG, CATALOG.crops[name]).chart["data"]["values"]
    days = [each["days"] for each in points]
    quickest = min(range(len(days)), key=days.__getitem__)
    assert 0 < quickest < len(days) - 1
    assert all(each["low"] <= each["days"] <= each["high"] for each in points)


def test_the_house_puts_its_own_values_first(desk):
    own = b'[house]\nname = "H"\n[[place]]\nname = "b"\nkind = "bench"\narea_m2 = 2.0\n'
    own += b'[[crop]]\nid = "lettuce"\ndepth_mm = 9.0\n'
    take_in_house(desk, "house.toml", own)
    shown = crop_page(desk, "lettuce")
    assert shown.first[0][1] == "9 mm"


def test_a_name_in_another_spelling_is_found(desk):
    assert crop_page(desk, "Leaf Lettuce").id == "lettuce"


def test_groups_are_folded_until_one_looks_for_something(demo_client):
    folded = BeautifulSoup(demo_client.get("/handbook").text, "html.parser")
    groups = folded.select("#found details.group")
    assert len(groups) > 8
    assert not [each for each in groups if each.has_attr("open")]
    assert len(folded.select("#found .index li")) == 69 + 46
    found = BeautifulSoup(demo_client.get("/handbook?q=lettuce").text, "html.parser")
    assert all(each.has_attr("open") for each in found.select("#found details.group"))
