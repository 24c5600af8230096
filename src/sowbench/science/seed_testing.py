"""The rules of an official germination test: are its replicates close enough to be believed.

The allowed ranges are a printed table, not a formula, and come in as an argument; the reference
data holds those of the United States' Federal Seed Act.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sowbench.science.errors import OutOfRangeError

# Allowed difference between the highest and the lowest replicate [percent points] by the rounded
# mean [percent], both for one number of replicates.
RangeTable = Mapping[int, float]


@dataclass(frozen=True, slots=True)
class ReplicateVerdict:
    """What the replicates of a germination test say.

    Parameters
    ----------
    mean_percent : int
        Mean of the replicates, rounded half up [percent].
    range_points : float
        Highest less lowest replicate [percent points].
    allowed_points : float
        Largest difference that chance explains [percent points].
    accepted : bool
        Whether the test stands; if not, it is made again.
    """

    mean_percent: int
    range_points: float
    allowed_points: float
    accepted: bool


def rounded_mean(replicates_percent: Sequence[float]) -> int:
    """Mean of the replicates, rounded half up to a whole percent.

    Parameters
    ----------
    replicates_percent : sequence of float, shape (n,)
        Germination of each replicate [percent], 0 to 100.

    Returns
    -------
    mean_percent : int
        Rounded mean [percent].

    Raises
    ------
    OutOfRangeError
        If there is no replicate or one is not between 0 and 100 percent.

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 7, section 201.55.

    Examples
    --------
    >>> rounded_mean([95, 91, 88, 84])
    90
    """
    if len(replicates_percent) == 0:
        raise OutOfRangeError("replicates_percent", "at least one replicate", [])
    for each in replicates_percent:
        if not 0.0 <= each <= 100.0:
            raise OutOfRangeError("replicates_percent", "between 0 and 100 percent", each)
    return math.floor(math.fsum(replicates_percent) / len(replicates_percent) + 0.5)


def judge_replicates(replicates_percent: Sequence[float], allowed: RangeTable) -> ReplicateVerdict:
    """Accept the replicates of a germination test, or ask for it to be made again.

    Parameters
    ----------
    replicates_percent : sequence of float, shape (n,)
        Germination of each replicate of 100 seeds [percent], 0 to 100.
    allowed : mapping of int to float
        Allowed range [percent points] by rounded mean [percent] for this number of replicates.
        Means of 50 and below may be left out: the range of p is that of 101 - p.

    Returns
    -------
    result : ReplicateVerdict
        Mean, range, allowed range and whether the test stands.

    Raises
    ------
    OutOfRangeError
        If a replicate is not between 0 and 100 percent, there are fewer than two, or the table
        has no line for their mean.

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 7, section 201.55: retests.

    Examples
    --------
    >>> judge_replicates([97, 90, 88, 83], {90: 12}).accepted
    False
    """
    if len(replicates_percent) < 2:
        raise OutOfRangeError(
            "replicates_percent", "at least two replicates", len(replicates_percent)
        )
    mean = rounded_mean(replicates_percent)
    spread = float(max(replicates_percent) - min(replicates_percent))
    # Four replicates of 0 or of 100 percent have no range to judge.
    if mean in allowed:
        limit = float(allowed[mean])
    elif 101 - mean in allowed:
        limit = float(allowed[101 - mean])
    elif spread == 0.0:
        limit = 0.0
    else:
        raise OutOfRangeError(
            "mean of replicates_percent",
            f"in the table of allowed ranges ({min(allowed)} to {max(allowed)} percent)",
            mean,
            "The table does not judge so extreme a mean; make the test again.",
        )
    return ReplicateVerdict(mean, spread, limit, spread <= limit)


def results_agree(
    first_percent: float, second_percent: float, allowed: Sequence[tuple[float, float, float]]
) -> bool:
    """Whether two whole tests of one lot differ by no more than chance explains.

    Parameters
    ----------
    first_percent, second_percent : float
        Results of two tests [percent].
    allowed : sequence of (float, float, float)
        Lowest mean, highest mean [percent] and allowed difference [percent points].

    Returns
    -------
    agree : bool
        True if the difference is allowed.

    Raises
    ------
    OutOfRangeError
        If a result is not between 0 and 100 percent or the table has no line for the mean.

    References
    ----------
    .. [1] Code of Federal Regulations (USA), title 7, section 201.63: tolerances.

    Examples
    --------
    >>> results_agree(94.0, 88.0, [(90.0, 95.999, 6.0), (80.0, 89.999, 7.0)])
    True
    """
    for each in (first_percent, second_percent):
        if not 0.0 <= each <= 100.0:
            raise OutOfRangeError("test result", "between 0 and 100 percent", each)
    mean = 0.5 * (first_percent + second_percent)
    for low, high, points in allowed:
        if low <= mean <= high:
            return abs(first_percent - second_percent) <= points
    raise OutOfRangeError("mean of the two tests", "in the table of tolerances", mean)
