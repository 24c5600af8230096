"""Log-chances read from tables, against the same sum without them."""

from __future__ import annotations

import numpy as np
import pytest
from tests.forecasting._made import count, made

from sowbench.forecasting import forecast_sowings
from sowbench.forecasting.count_tables import SomeCounts, count_tables, node_shares
from sowbench.forecasting.evidence import Look
from sowbench.forecasting.looks import factors_of

ONCE = [count("S", 8, 40, (1,)), count("S", 9, 70, (2,)), count("S", 9, 20, (3,), n_of=32)]
AGAIN = [count("S", day, n, (1,)) for day, n in ((7, 20), (9, 77), (12, 109), (14, 110))]


def test_nodes_are_even_about_a_half():
    nodes = node_shares()
    assert nodes + nodes[::-1] == pytest.approx(1.0, abs=1e-12)
    assert np.all(np.diff(nodes) > 0.0)


@pytest.mark.parametrize("entries", [ONCE, AGAIN, [count("S", 12, 1000)]])
@pytest.mark.parametrize("seeds", [1, 3])
def test_tables_agree_with_the_sum_without_them_where_it_matters(entries, seeds):
    batch = forecast_sowings([made(entries=entries, seeds=seeds)]).batch
    assert batch is not None
    lag, stand, mass = (getattr(batch.posterior, name) for name in ("lag", "stand", "mass"))
    exact = batch.looks.log_likelihood(slice(0, 1), lag, stand)
    read = SomeCounts(count_tables(batch.looks), slice(0, 1)).log_likelihood(lag, stand)
    off = read - exact
    off -= (off * mass).sum()  # constants do not matter
    assert np.sqrt((off**2 * mass).sum()) < 0.01
    assert np.abs(off[mass > 1e-4]).max() < 0.03


def test_a_count_of_other_cells_is_trusted_for_its_own_part_only():
    whole = [Look(192.0, 60, 128, 0), Look(240.0, 110, 128, 0)]
    sample = [Look(192.0, 15, 32, 0), Look(240.0, 110, 128, 0)]
    assert [each.trust for each in factors_of(whole, 128, 65.0)] == [1.0, 1.0]
    own = [each.trust for each in factors_of(sample, 128, 65.0)]
    assert own[0] == 1.0
    assert 0.5 < own[1] < 1.0
