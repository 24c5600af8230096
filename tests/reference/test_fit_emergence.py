"""The emergence table: it is what its sources give, whole and in order."""

import csv
from importlib import resources

import numpy as np
import pytest

from sowbench.reference import fit_emergence
from sowbench.reference.emergence_fits import (
    FractionPrior,
    RatePrior,
    fit_fraction,
    fit_rate,
    limits_curve,
)
from sowbench.reference.fit_emergence import COLUMNS, build, half_log_ratio
from sowbench.science.emergence import (
    FractionCurve,
    ThermalResponse,
    days_at_constant,
    final_fraction,
)
from sowbench.science.errors import OutOfRangeError, UnknownNameError

TRUE = ThermalResponse(6.0, 26.0, 31.0, 40.0, 100.0)
PRIOR = RatePrior(6.0, 1.5, 26.0, 35.0)
TEXT_COLUMNS = {
    "crop", "source", "fraction_source", "basis", "why", "other_source", "note",
}  # fmt: skip
CROPS = """\
lettuce, lettuce romaine, lettuce butterhead, endive, chicory, spinach, chard, beet, kale,
collards, cabbage, red cabbage, savoy cabbage, broccoli, cauliflower, brussels sprouts,
kohlrabi, pak choi, chinese cabbage, mustard, turnip, radish, arugula, watercress, corn salad,
tomato, pepper, eggplant, cucumber, melon, watermelon, summer squash, winter squash, pumpkin,
okra, onion, leek, scallion, chives, parsley, celery, celeriac, basil, cilantro, dill, fennel,
thyme, oregano, sage, rosemary, mint, lemon balm, marigold, zinnia, petunia, pansy, snapdragon,
sunflower, cosmos, vinca, impatiens, calendula, alyssum, asparagus, pea, bean, sweet corn,
carrot, parsnip
"""


@pytest.fixture(scope="module")
def stored():
    text = resources.files("sowbench.reference").joinpath("emergence.csv").read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


def test_every_crop_has_its_row(stored):
    assert [row["crop"] for row in stored] == CROPS.replace("\n", " ").strip().split(", ")
    assert tuple(stored[0]) == COLUMNS


def test_regenerating_gives_the_stored_rows(stored):
    # Words exactly; numbers to one unit of their last printed digit, because another machine's
    # arithmetic may round the other way.
    for old, new in zip(stored, build(), strict=True):
        for column in COLUMNS:
            if column in TEXT_COLUMNS or not old[column]:
                assert new[column] == old[column], (old["crop"], column)
            else:
                decimals = len(old[column].partition(".")[2])
                unit = 1.01 * 10.0**-decimals
                assert abs(float(new[column]) - float(old[column])) <= unit, (old["crop"], column)


def test_every_row_can_be_used_and_says_where_it_is_from(stored):
    for row in stored:
        response = ThermalResponse(*(float(row[name]) for name in ThermalResponse._fields))
        curve = FractionCurve(*(float(row[name]) for name in FractionCurve._fields))
        best = min(response.optimum_low_c, 25.0)
        assert 1.0 < days_at_constant(best, response) < 25.0, row["crop"]
        assert 0.0 < final_fraction(20.0, curve) <= 1.0
        assert 0.1 <= float(row["sigma_seed"]) <= 0.3
        assert fit_emergence.SIGMA_PACE_MIN <= float(row["sigma_pace"]) <= 0.6
        assert 0.3 <= float(row["germination_share"]) < 1.0
        assert row["source"]
        assert row["fraction_source"]
        assert row["basis"] in {
            "computed", "seen", "from memory", "common practice", "assumption",
        }  # fmt: skip
        assert row["why"].endswith(".")


def test_a_borrower_is_no_surer_than_its_kin(stored):
    rows = {row["crop"]: row for row in stored}
    for row in stored:
        if row["source"].startswith("borrowed from "):
            kin = rows[row["source"].removeprefix("borrowed from ")]
            assert float(row["sigma_pace"]) > float(kin["sigma_pace"]), row["crop"]


def test_rate_fit_recovers_what_made_the_days():
    temps = np.arange(10.0, 40.0, 2.5)
    fit = fit_rate(temps, days_at_constant(temps, TRUE), PRIOR)
    np.testing.assert_allclose(
        days_at_constant(temps, fit), days_at_constant(temps, TRUE), rtol=0.05
    )
    assert fit.base_c == pytest.approx(TRUE.base_c, abs=0.3)


def test_rate_fit_of_one_temperature_falls_back_on_the_prior():
    fit = fit_rate([20.0], [7.0], PRIOR)
    assert days_at_constant(20.0, fit) == pytest.approx(7.0, rel=0.01)
    assert fit.base_c == pytest.approx(6.0, abs=0.05)
    assert fit.optimum_low_c == pytest.approx(26.0, abs=0.1)


def test_rate_fit_scales_with_the_days():
    temps = np.array([10.0, 15.0, 20.0, 25.0, 30.0])
    days = np.array([100.0, 45.0, 30.0, 24.0, 22.0])
    one, double = fit_rate(temps, days, PRIOR), fit_rate(temps, 2 * days, PRIOR)
    assert double.thermal_time_cd == pytest.approx(2 * one.thermal_time_cd, rel=0.02)
    assert double.base_c == pytest.approx(one.base_c, abs=0.05)


def test_fraction_fit_recovers_what_made_the_percents():
    true = FractionCurve(0.95, 8.0, 1.5, 33.0, 2.0)
    temps = np.arange(0.0, 45.0, 2.5)
    fit = fit_fraction(temps, final_fraction(temps, true), FractionPrior(9.5, 33.0))
    np.testing.assert_allclose(final_fraction(temps, fit), final_fraction(temps, true), atol=0.02)


def test_fraction_fit_is_not_moved_by_one_wrong_cell():
    true = FractionCurve(0.95, 8.0, 1.5, 33.0, 2.0)
    temps = np.arange(0.0, 45.0, 5.0)
    fractions = final_fraction(temps, true)
    fractions[temps == 20.0] = 0.2
    fit = fit_fraction(temps, fractions, FractionPrior(9.5, 33.0))
    assert final_fraction(20.0, fit) > 0.85


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fit_rate([20.0], [0.0], PRIOR), "days_d must be above 0 d; got 0"),
        (lambda: fit_rate([20.0, 25.0], [5.0], PRIOR), "vectors of one length"),
        (lambda: fit_rate([], [], PRIOR), "vectors of one length"),
        (lambda: fit_rate([20.0], [np.nan], PRIOR), "leave out cells that were not tested"),
        (lambda: fit_fraction([20.0], [95.0], FractionPrior(9, 33)), "between 0 and 1"),
        (lambda: limits_curve(30.0, 20.0), "rising"),
    ],
)
def test_tables_that_cannot_be_are_refused(call, words):
    with pytest.raises(OutOfRangeError, match=words):
        call()


def test_unknown_crops_of_the_tables_are_named_with_the_nearest():
    with pytest.raises(UnknownNameError, match="Did you mean 'lettuce'"):
        fit_emergence.days_fit("letuce")
    with pytest.raises(UnknownNameError, match="Did you mean 'lettuce'"):
        fit_emergence.fraction_fit("letuce")


def test_half_log_ratio_of_a_source_twice_as_slow_is_half_of_ln_two():
    slow = TRUE._replace(thermal_time_cd=200.0)
    assert half_log_ratio(TRUE, slow) == pytest.approx(0.5 * np.log(2.0))
    assert half_log_ratio(TRUE, TRUE) == 0.0


def test_blanks_and_no_germination_are_kept_apart_from_days():
    # [HM54-K] watermelon: 15 °C was not tested, 5 °C gave nothing; neither is a day count.
    temps, days = fit_emergence.days_table()["watermelon"]
    assert temps.tolist() == [20.0, 25.0, 30.0, 35.0]
    assert days.tolist() == [12.0, 5.0, 4.0, 3.0]
    # [HM54-P1] cabbage at 20 °C is blank, its zero at 35 °C doubtful.
    temps, _ = fit_emergence.percent_table()["cabbage"]
    assert temps.tolist() == [5.0, 10.0, 15.0, 25.0]
