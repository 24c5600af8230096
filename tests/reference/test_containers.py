"""Containers: whole rows, inferred by stated rules, and the house's own."""

import csv
import math
import statistics
from importlib import resources

import pytest

from sowbench.domain.records import ContainerClass
from sowbench.reference.containers import own_container, reference_containers
from sowbench.reference.infer_containers import (
    COLUMNS,
    PRISM_SHARE,
    TAPER,
    TOP_PER_PITCH,
    bottom_for_volume,
    complete_rows,
    frustum_ml,
    layout,
)
from sowbench.reference.tables import read_table
from sowbench.science.errors import OutOfRangeError, UnknownNameError


def test_there_are_containers_of_every_kind_and_enough():
    known = reference_containers()
    assert len(known) >= 30
    kinds = {each.kind for each in known.values()}
    assert {
        "plug tray",
        "flexible insert",
        "polystyrene tray",
        "mineral-wool cube",
        "mineral-wool block",
        "foam cube",
        "peat pellet",
        "paper plug",
        "pot",
    } <= kinds
    plugs = [each.cells for each in known.values() if each.kind == "plug tray"]
    assert {50, 72, 128, 200, 288, 512} <= set(plugs)
    assert {each.container_class for each in known.values()} == set(ContainerClass)


def test_every_container_is_whole_and_plausible():
    for each in reference_containers().values():
        assert each.cells > 0
        assert each.outer_length_mm >= each.outer_width_mm > 0, each.id
        assert each.depth_mm is not None, each.id
        assert each.cell_top_mm is not None, each.id
        assert each.cell_bottom_mm is not None, each.id
        assert each.cell_bottom_mm <= each.cell_top_mm + 1e-9, each.id
        assert each.cell_volume_ml > 0
        if each.rows is None or each.cols is None:
            assert each.id == "plug-38"
            continue
        assert each.rows * each.cols == each.cells
        assert each.cols * each.cell_top_mm <= each.outer_length_mm + 1, each.id
        assert each.rows * each.cell_top_mm <= each.outer_width_mm + 1, each.id


def test_cells_hold_no_more_than_a_straight_prism_of_their_opening():
    for each in reference_containers().values():
        assert each.cell_top_mm is not None
        assert each.depth_mm is not None
        prism_ml = each.cell_top_mm**2 * each.depth_mm / 1000
        assert each.cell_volume_ml <= prism_ml * 1.02, each.id


def test_stored_rows_are_what_the_rules_make():
    path = resources.files("sowbench.reference").joinpath("containers.csv")
    stored = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert tuple(stored[0]) == COLUMNS
    assert stored == complete_rows()


def test_every_inferred_value_says_its_basis_and_rule():
    n_inferred = 0
    for each in reference_containers().values():
        for fact in each.facts.values():
            if fact.basis == "computed":
                assert fact.why, (each.id, fact.key)
                n_inferred += 1
    assert n_inferred > 80


def test_constants_of_the_rules_are_the_medians_of_the_square_trays():
    # C21, the catalog's square trays with outer size, opening, depth and volume.
    tops, shares, tapers = [], [], []
    for row in read_table("data/crops/containers.csv"):
        if row["source_id"] != "C21" or row["cell_shape"] != "square":
            continue
        size = float(row["outer_length_mm"]) * float(row["outer_width_mm"])
        pitch = math.sqrt(size / float(row["cells_per_unit"]))
        top, depth = float(row["cell_top_mm"]), float(row["depth_mm"])
        volume = float(row["cell_volume_ml"])
        tops.append(top / pitch)
        shares.append(volume * 1000 / (top**2 * depth))
        bottom = bottom_for_volume(top, depth, volume, is_round=False)
        assert bottom is not None
        tapers.append(bottom / top)
    assert len(tops) == 7
    assert statistics.median(tops) == pytest.approx(TOP_PER_PITCH, abs=0.005)
    assert statistics.median(shares) == pytest.approx(PRISM_SHARE, abs=0.005)
    assert statistics.median(tapers) == pytest.approx(TAPER["plug tray"][0], abs=0.005)


def test_frustum_of_a_cube_is_its_cube_and_of_a_cylinder_pi_quarters_of_it():
    assert frustum_ml(10, 10, 10, is_round=False) == pytest.approx(1.0)
    assert frustum_ml(10, 10, 10, is_round=True) == pytest.approx(math.pi / 4)
    # Pyramid: a third of the prism.
    assert frustum_ml(30, 0, 30, is_round=False) == pytest.approx(9.0)


@pytest.mark.parametrize("is_round", [True, False])
def test_bottom_for_volume_undoes_the_frustum(is_round):
    volume = frustum_ml(38.6, 25.0, 57.2, is_round=is_round)
    assert bottom_for_volume(38.6, 57.2, volume, is_round=is_round) == pytest.approx(25.0)


def test_no_taper_gives_more_than_the_prism():
    assert bottom_for_volume(10, 10, 1.5, is_round=False) is None


@pytest.mark.parametrize(
    ("cells", "expected"), [(72, (6, 12)), (128, (8, 16)), (288, (12, 24)), (38, None)]
)
def test_layout_has_the_squarest_pitch(cells, expected):
    assert layout(cells, 540, 280) == expected


def test_published_volumes_of_other_sources_are_kept():
    volume = reference_containers()["plug-72"].facts["cell_volume_ml"]
    assert volume.value == 58.9
    assert {43.0, 71.8} == {each.value for each in volume.others}


def test_house_values_override_and_keep_the_reference_beside():
    made = own_container({"id": "plug-72", "price": 0.8}, reference_containers())
    assert made.price == 0.8
    assert made.cells == 72
    assert made.facts["price"].basis == "house"
    assert made.facts["price"].others[0].value == 1.3


def test_a_new_container_in_full():
    made = own_container(
        {
            "id": "soil block 50",
            "container_class": "block",
            "cells": 40,
            "outer_length_mm": 500,
            "outer_width_mm": 300,
            "cell_volume_ml": 100.0,
        },
        reference_containers(),
    )
    assert made.container_class is ContainerClass.BLOCK
    assert made.takes_mix
    assert made.area_m2 == pytest.approx(0.15)


def test_a_new_container_like_a_known_one_borrows_the_rest():
    made = own_container({"id": "our tray", "like": "plug-128", "price": 2}, reference_containers())
    assert (made.id, made.cells, made.price) == ("our tray", 128, 2.0)


@pytest.mark.parametrize(
    ("own", "error", "match"),
    [
        ({"id": "plug-72", "pirce": 1}, UnknownNameError, "price"),
        ({"id": "plug-72", "price": "dear"}, OutOfRangeError, "price of plug-72"),
        ({"id": "plug-72", "reusable": "maybe"}, OutOfRangeError, "yes or no"),
        ({"id": "plug-72", "cells": 71}, OutOfRangeError, "cells of plug-72"),
        ({"id": "new", "cells": 10}, OutOfRangeError, "missing: container_class"),
        ({"id": "new", "like": "plug-7"}, UnknownNameError, "plug-72"),
        ({"cells": 10}, OutOfRangeError, "id of a"),
        ({"id": "plug-72", "container_class": "sack"}, OutOfRangeError, "plug, cube"),
    ],
)
def test_bad_own_containers_are_refused(own, error, match):
    with pytest.raises(error, match=match):
        own_container(own, reference_containers())
