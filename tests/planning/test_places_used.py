"""A path through a cooler place is only on offer to plants that stand there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sowbench.demo import DEMO_FROM_DATE
from sowbench.demo.prepare import copy_nursery
from sowbench.planning.candidates import build_candidates
from sowbench.planning.season import make_season
from sowbench.planning.uses import last_use_day
from sowbench.services.inputs import InputFiles, load_inputs

ORDERS = {"N001/2027-02-05", "N001/2027-03-12"}


@pytest.fixture(scope="module")
def candidates(tmp_path_factory):
    folder = copy_nursery(tmp_path_factory.mktemp("nursery"))
    files = InputFiles(folder / "orders.csv", folder / "house.toml", folder / "seed.csv")
    inputs = load_inputs(files, DEMO_FROM_DATE).inputs
    season = make_season(
        replace(inputs.house, machines=()),
        inputs.catalog,
        tuple(each for each in inputs.orders if each.id in ORDERS),
        tuple(each for each in inputs.lots or () if each.crop == "lettuce"),
        inputs.weather,
        inputs.from_date,
    )
    return season, build_candidates(season)


def test_plants_stand_a_day_at_least_in_a_toning_place_of_their_own(candidates):
    season, found = candidates
    moved = 0
    for block in found.blocks:
        rows = block.tone != block.route.grow
        last = block.hand_over.max(axis=1)
        tone = last_use_day(season, block.timeline, block.sow, last)
        assert (tone[rows] < last[rows]).all()
        moved += int(np.count_nonzero(rows))
    assert moved > 0


def test_plants_stand_a_day_at_least_in_a_cold_store(candidates):
    _, found = candidates
    held = 0
    for block in found.blocks:
        rows = block.hold >= 0
        ready = block.timeline.ready_day[block.sow]
        assert (ready[rows] < block.hand_over.max(axis=1)[rows]).all()
        held += int(np.count_nonzero(rows))
    assert held > 0


def test_plants_handed_over_on_the_day_they_are_ready_stay_where_they_grew(candidates):
    _, found = candidates
    staying = 0
    for block in found.blocks:
        rows = (block.tone == block.route.grow) & (block.hold < 0)
        ready = block.timeline.ready_day[block.sow]
        staying += int(np.count_nonzero(rows & (ready == block.hand_over.max(axis=1))))
    assert staying > 0
