import numpy as np
import pytest

from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.light import (
    day_length,
    extraterrestrial_radiation,
    inside_dli,
    outside_dli,
    window_dli,
)


def test_outside_light_of_a_steady_day_by_hand():
    # 100 W m-2 x 86,400 s x 2.0565 umol J-1 = 17.768 mol.
    assert outside_dli(np.full(48, 100.0)) == pytest.approx([17.76816, 17.76816])


def test_outside_light_keeps_days_apart():
    ghi = np.concatenate([np.zeros(24), np.full(24, 50.0)])
    assert outside_dli(ghi)[0] == 0
    assert outside_dli(np.tile(ghi, (3, 1))).shape == (3, 2)


def test_part_of_a_day_and_negative_light_are_refused():
    with pytest.raises(OutOfRangeError, match="whole days"):
        outside_dli(np.zeros(25))
    with pytest.raises(OutOfRangeError, match="0 W"):
        outside_dli(np.full(24, -1.0))


def test_missing_hour_makes_its_day_missing():
    ghi = np.full(48, 10.0)
    ghi[3] = np.nan
    assert np.isnan(outside_dli(ghi)).tolist() == [True, False]


# Published: 100 umol m-2 s-1 for 16 h is 5.76 mol m-2 d-1; 185 for 16 h is 10.7.
@pytest.mark.parametrize(("ppfd", "expected", "digits"), [(100.0, 5.76, 2), (185.0, 10.7, 1)])
def test_lamps_alone_match_published_sums(ppfd, expected, digits):
    assert round(float(inside_dli(np.zeros(1), 0.0, ppfd, 16.0)[0]), digits) == expected


def test_cover_takes_its_share():
    assert inside_dli(np.array([20.0, 40.0]), 0.65).tolist() == [13.0, 26.0]


@pytest.mark.parametrize(
    ("args", "name"),
    [((1.2,), "cover_par_frac"), ((-0.1,), "cover_par_frac"), ((0.5, -1.0, 3.0), "lamp_ppfd"),
     ((0.5, 10.0, 25.0), "light_h"), ((float("nan"),), "cover_par_frac")],
)  # fmt: skip
def test_impossible_cover_and_lamps_are_refused(args, name):
    with pytest.raises(OutOfRangeError, match=name):
        inside_dli(np.array([10.0]), *args)


def test_sunny_window_is_south_in_the_north_and_north_in_the_south():
    assert window_dli("south", 50.0) == window_dli("north", -35.0) == window_dli("south")
    assert window_dli("north", 50.0) == window_dli("south", -35.0)
    assert window_dli("south") > window_dli("east") == window_dli("west") > window_dli("north")


def test_unknown_side_is_refused_with_the_nearest():
    with pytest.raises(UnknownNameError, match="south"):
        window_dli("souht")


def test_midnight_sun_and_polar_night():
    days = np.array([172, 355])
    assert day_length(80.0, days).tolist() == [24.0, 0.0]
    assert extraterrestrial_radiation(80.0, days)[1] == pytest.approx(0.0)


def test_day_is_twelve_hours_on_the_equator():
    assert day_length(0.0, np.arange(1, 366)) == pytest.approx(np.full(365, 12.0))


def test_impossible_latitude_and_day_are_refused():
    with pytest.raises(OutOfRangeError, match="latitude_deg"):
        day_length(91.0, np.array([1]))
    with pytest.raises(OutOfRangeError, match="day_of_year"):
        extraterrestrial_radiation(10.0, np.array([0]))
