"""Published tolerances of germination tests: ranges of replicates, and differences of tests."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Final

from sowbench.reference.tables import read_table

__all__ = ["RANGE_SOURCE", "TESTS_SOURCE", "replicate_ranges", "tolerances_between_tests"]

RANGE_SOURCE: Final = "CFR-201.55"
TESTS_SOURCE: Final = "CFR-201.63"
_FILE: Final = "data/germination/seed_testing_tolerances.csv"


@cache
def replicate_ranges(n_replicates: int) -> Mapping[int, float]:
    """Allowed difference between the highest and the lowest replicate of 100 seeds.

    Parameters
    ----------
    n_replicates : int
        Replicates of 100 seeds.

    Returns
    -------
    allowed_points : mapping of int to float
        Percent points by rounded mean [percent]; empty where nothing is published.
    """
    return {
        int(row["mean_percent_low"]): float(row["tolerance_percent_points"])
        for row in read_table(_FILE)
        if row["source_id"] == RANGE_SOURCE and row["seeds"] == f"{n_replicates} x 100"
    }


@cache
def tolerances_between_tests() -> tuple[tuple[float, float, float], ...]:
    """Allowed difference between two tests of one lot, each of 400 seeds or more.

    Returns
    -------
    tolerances : tuple of (float, float, float)
        Lowest and highest mean of the two [percent], and the allowed difference [percent points].
    """
    return tuple(
        (
            float(row["mean_percent_low"]),
            float(row["mean_percent_high"]),
            float(row["tolerance_percent_points"]),
        )
        for row in read_table(_FILE)
        if row["source_id"] == TESTS_SOURCE
    )
