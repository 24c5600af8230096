from datetime import date, timedelta

import numpy as np
import pytest
from tests.forecasting._learned import KIN, finished

from sowbench.forecasting.learning_hindsight import foretell, score_foretold
from sowbench.forecasting.learning_records import PACE_EMERGENCE, Choices


def a_house(seed, n=90, lag=0.2):
    """Return sowings of two years in a house whose crops differ from the handbook."""
    rng = np.random.default_rng(seed)
    crops = sorted(KIN)
    own = {crop: lag + 0.12 * rng.standard_normal() for crop in crops}
    out = []
    for at in range(n):
        crop = crops[at % len(crops)]
        sown = date(2026, 1, 10) + timedelta(days=8 * at)
        pace = own[crop] + 0.06 * rng.standard_normal()
        out.append(
            finished(
                f"{crop} {at}", crop, sow_date=sown, ended_date=sown + timedelta(days=35),
                pace=pace + 0.03 * rng.standard_normal(), error=0.03,
            )
        )  # fmt: skip
    return out


def test_the_first_sowing_is_foretold_by_the_handbook():
    first = foretell(a_house(0, 12))[0]
    assert first.mean == pytest.approx(0.0)
    assert first.sd == pytest.approx(first.handbook_sd)
    assert first.n_known == 0


def test_nothing_is_foretold_from_what_ended_later():
    every = a_house(1, 30)
    ends = {each.sowing: each.ended_date for each in every}
    told = foretell(every)
    assert len(told) == 30
    for each in told:
        assert each.known_until <= each.sow_date
        assert each.n_known == sum(end < each.known_until for end in ends.values())


def test_a_house_that_differs_is_foretold_better_than_by_the_handbook():
    score = score_foretold(foretell(a_house(2)), PACE_EMERGENCE)
    assert score.skill_frac > 0.3
    assert 0.70 < score.learned.within_frac < 0.95
    assert score.crps_learned < score.crps_handbook


def test_where_all_doubt_is_chance_little_is_lost_by_learning():
    # The worst there is: nothing about a crop or a season lasts.
    rng = np.random.default_rng(3)
    every = [
        finished(f"S{at}", crop, sow_date=date(2026, 1, 1) + timedelta(days=9 * at),
                 ended_date=date(2026, 2, 1) + timedelta(days=9 * at),
                 pace=0.25 * rng.standard_normal())
        for at, crop in enumerate(sorted(KIN) * 4)
    ]  # fmt: skip
    assert score_foretold(foretell(every)).skill_frac > -0.25


def test_what_was_dropped_is_not_judged():
    every = a_house(4, 6)
    choices = Choices(dropped=frozenset({f"{PACE_EMERGENCE}|{every[0].sowing}"}))
    assert len(foretell(every, choices)) == 5
    assert foretell(()) == ()
    assert score_foretold(()).learned.n == 0
