"""Rules of germination tests: refusals; the printed tables stand in tests/published."""

import pytest

from sowbench.science.errors import OutOfRangeError
from sowbench.science.seed_testing import judge_replicates, results_agree, rounded_mean

TABLE = {99: 5, 90: 12, 51: 20}


def test_mean_is_rounded_half_up():
    assert rounded_mean([50, 51]) == 51
    assert rounded_mean([90, 90, 91, 91]) == 91
    assert rounded_mean([90, 90, 90, 91]) == 90


def test_a_range_at_the_limit_is_accepted():
    assert judge_replicates([96, 84, 90, 90], TABLE).accepted
    assert not judge_replicates([97, 84, 90, 89], TABLE).accepted


def test_low_means_use_the_mirrored_line():
    # 11 percent is read at 101 - 11 = 90, as the printed table pairs them.
    assert judge_replicates([10, 11, 11, 12], TABLE).allowed_points == 12


def test_replicates_all_alike_stand_without_a_line():
    assert judge_replicates([100, 100, 100, 100], TABLE).accepted
    assert judge_replicates([0, 0], TABLE).accepted


@pytest.mark.parametrize(
    ("replicates", "words"),
    [
        ([], "at least two"),
        ([90], "at least two"),
        ([90, 101], "between 0 and 100 percent; got 101"),
        ([70, 75], "in the table of allowed ranges"),
    ],
)
def test_replicates_that_cannot_be_judged_are_refused(replicates, words):
    with pytest.raises(OutOfRangeError, match=words):
        judge_replicates(replicates, TABLE)


def test_no_replicates_have_no_mean():
    with pytest.raises(OutOfRangeError, match="at least one"):
        rounded_mean([])


def test_two_tests_are_compared_at_their_mean():
    table = [(90.0, 95.999, 6.0), (80.0, 89.999, 7.0)]
    assert results_agree(94.0, 88.0, table)
    assert not results_agree(95.0, 88.0, table)
    assert results_agree(88.0, 81.0, table)
    with pytest.raises(OutOfRangeError, match="table of tolerances"):
        results_agree(50.0, 52.0, table)
    with pytest.raises(OutOfRangeError, match="between 0 and 100"):
        results_agree(150.0, 52.0, table)
