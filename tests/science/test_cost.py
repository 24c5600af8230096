"""Money by part, by hand, for arrays, and refusals."""

import numpy as np
import pytest

from sowbench.science import cost
from sowbench.science.errors import OutOfRangeError

PARTS = {
    # a hand calculation beside each
    "seed_cost": ((250, 40.0), 10.0),
    "container_cost": ((10, 2.0, False, 20, 0.02), 20.2),
    "mix_cost": ((50.0, 0.08), 4.0),
    "labor_cost": ((90, 16.0), 24.0),
    "room_cost": ((1.5, 40, 0.02), 1.2),
    "short_cost": ((2.5, 0.6), 1.5),
    "late_cost": ((100, 0.5, 0.05), 2.5),
    "overgrown_cost": ((100, 0.1, 0.3), 3.0),
    "surplus_value": ((10, 0.05), -0.5),
}


@pytest.mark.parametrize(("name", "case"), PARTS.items())
def test_each_part_by_hand_and_for_arrays(name, case):
    function = getattr(cost, name)
    arguments, expected = case
    assert float(function(*arguments)) == pytest.approx(expected)
    doubled = function(np.array([0, 1, 2]) * arguments[0], *arguments[1:])
    np.testing.assert_allclose(doubled, np.array([0, 1, 2]) * expected)


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("value", [-1.0, float("nan")])
def test_negative_amounts_are_refused(name, value):
    arguments, _ = PARTS[name]
    with pytest.raises(OutOfRangeError, match="must be 0 or more"):
        getattr(cost, name)(value, *arguments[1:])


def test_a_reusable_container_costs_one_of_its_uses():
    assert float(cost.container_cost(10, 2.0, True, 20)) == pytest.approx(1.0)
    assert float(cost.container_cost(10, 2.0, False, 20)) == pytest.approx(20.0)
    with pytest.raises(OutOfRangeError, match="n_uses must be 1 or more; got 0"):
        cost.container_cost(1, 1.0, True, 0)


def test_parts_add_up_and_split_by_the_plant():
    parts = {"seed": [10.0, 4.0], "labor": [30.0, 6.0], "surplus": [-5.0, 0.0]}
    np.testing.assert_allclose(cost.total_cost(parts), [35.0, 10.0])
    split = cost.cost_per_plant(parts, [100, 20])
    np.testing.assert_allclose(split["total"], [0.35, 0.5])
    np.testing.assert_allclose(split["seed"] + split["labor"] + split["surplus"], split["total"])


def test_no_plants_cost_without_end_unless_nothing_was_spent():
    split = cost.cost_per_plant({"seed": 1.0, "mix": 0.0}, 0)
    assert np.isinf(split["seed"])
    assert split["mix"] == 0


def test_a_part_with_an_unknown_name_is_refused():
    with pytest.raises(OutOfRangeError, match=r"named among seed, container.*got heat"):
        cost.total_cost({"heat": 1.0})
