from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pytest

from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.house import Cover, indoor_temperature, place_climate, season_spread
from sowbench.science.weather_year import WeatherYear, day_of_common_year

NODES = np.array([-2.0, 0.0, 2.0])
FROM = date(2027, 3, 1)


@dataclass(frozen=True)
class Spot:
    kind: str = "bench"
    temp_c: float | None = None
    heat_day_c: float | None = None
    heat_night_c: float | None = None
    vent_c: float | None = None
    mix_offset_c: float = 0.0
    covered: bool = False
    cover_par_frac: float = 0.65
    lamp_ppfd_umol_m2_s: float = 0.0
    lamp_h: float = 0.0


@pytest.fixture(scope="module")
def year():
    hour = np.arange(8760) % 24
    ghi = np.where((hour >= 8) & (hour < 16), 500.0, 0.0)
    return WeatherYear(np.where(ghi > 0, 10.0, 2.0), ghi, 50.0, 10.0, 1.0)


def climate(spot, year=None, **more):
    return place_climate(spot, year, FROM, 4, NODES, **more)


def test_season_spread_by_hand():
    # n = 2, a = 0.5: variance (2 + 2 x 0.5) / 4 = 0.75.
    assert season_spread(2.0, 2, 0.5) == pytest.approx(2 * 0.75**0.5)
    # n = 4, a = 0.3: 4 + 2 (0.9 + 0.18 + 0.027) = 6.214.
    assert season_spread(1.0) == pytest.approx(6.214**0.5 / 4)


def test_season_spread_limits():
    assert season_spread(1.5, 1) == 1.5
    assert season_spread(1.5, 9, 0.0) == pytest.approx(0.5)
    assert season_spread(1.5, 9, 1.0) == pytest.approx(1.5)


def test_season_spread_agrees_with_sampled_weeks():
    rng = np.random.default_rng(1)
    shape = [[0.3 ** abs(i - j) for j in range(4)] for i in range(4)]
    weeks = rng.multivariate_normal(np.zeros(4), shape, 200_000)
    assert weeks.mean(axis=1).std() == pytest.approx(season_spread(1.0), rel=0.01)


@pytest.mark.parametrize("args", [(-1.0,), (1.0, 0), (1.0, 4, 1.1)])
def test_season_spread_refuses_nonsense(args):
    with pytest.raises(OutOfRangeError):
        season_spread(*args)


# Worked by hand with H = 6.75, tau 0.7, half of the sun warming.
@pytest.mark.parametrize(
    ("outside", "sun", "inside", "heat"),
    [
        (5.0, 0.0, 15.0, 67.5),  # 10 K x 6.75
        (10.0, 100.0, 10 + 35 / 6.75, 0.0),  # free
        (20.0, 100.0, 24.0, 0.0),  # 25.2 free, vents hold 24
        (30.0, 500.0, 30 + 175 / 66.75, 0.0),  # vents wide open
    ],
)
def test_indoor_temperature_by_hand(outside, sun, inside, heat):
    temp, need = indoor_temperature(outside, sun, 15.0, 24.0)
    assert temp == pytest.approx(inside)
    assert need == pytest.approx(heat)


def test_worked_day_of_two_steps_and_one():
    # H 7.361, 0.35 of 12 MJ m-2 let in to warm, 10 h of day at 8 and 14 h of night at 2.857 °C:
    # 23.85 °C by day, 89.38 W m-2 by night; as one step at 5 °C, 25.0 W m-2.
    cover = Cover(u_w_m2_k=7.361, cover_per_floor=1.0, air_changes_per_h=0.0)
    sun = 12e6 / (10 * 3600)
    temp, heat = indoor_temperature([8.0, 2.857], [sun, 0.0], 15.0, 30.0, 0.7, cover)
    assert temp == pytest.approx([23.85, 15.0], abs=0.005)
    assert heat == pytest.approx([0.0, 89.38], abs=0.005)
    one, need = indoor_temperature([5.0], [12e6 / 86400], 15.0, 30.0, 0.7, cover)
    assert need == pytest.approx([25.0], abs=0.05)
    assert one == pytest.approx([15.0])


def test_heat_loss_of_a_double_film_house_matches_the_worked_size():
    # Floor 270, cover 450 m2, volume 750 m3, 0.75 changes, 28 K: 55,650 W, 206.1 W m-2.
    cover = Cover(cover_per_floor=450 / 270, volume_per_floor_m=750 / 270)
    _, heat = indoor_temperature([-10.0], [0.0], 18.0, 24.0, 0.7, cover)
    assert heat[0] == pytest.approx(206.1, abs=0.05)


def test_house_without_heat_follows_the_outside_at_night():
    temp, heat = indoor_temperature([3.0], [0.0], -np.inf, 24.0)
    assert temp.tolist() == [3.0]
    assert heat.tolist() == [0.0]


def test_vents_below_the_heating_are_refused():
    with pytest.raises(OutOfRangeError, match="heating set point"):
        indoor_temperature([5.0], [0.0], 20.0, 18.0)
    with pytest.raises(OutOfRangeError, match="transmission_frac"):
        indoor_temperature([5.0], [0.0], 15.0, 24.0, 1.5)


def test_chamber_stands_at_its_temperature_with_its_own_error(year):
    found = climate(Spot("chamber", temp_c=22.0), year)
    assert found.temp_air_c[:, 0].tolist() == [21.0, 22.0, 23.0]
    assert np.array_equal(found.temp_mix_c, found.temp_air_c)
    assert found.dli_mol_m2_d.tolist() == [0.0] * 4
    assert found.coldest_hour_c.tolist() == [21.0] * 4


def test_lit_chamber_has_its_lamps_only(year):
    found = climate(Spot("chamber", temp_c=22.0, lamp_ppfd_umol_m2_s=100.0, lamp_h=16.0), year)
    assert found.dli_mol_m2_d == pytest.approx(np.full(4, 5.76))


def test_yard_follows_the_outside_shifted_by_the_season(year):
    found = climate(Spot("yard", cover_par_frac=1.0), year, weather_spread_c=1.5)
    spread = season_spread(1.5)
    assert found.temp_air_c[:, 0] == pytest.approx(2.0 + NODES * spread)
    # 8 h at 10 and 16 h at 2 °C.
    assert found.temp_day_mean_c[1] == pytest.approx(np.full(4, 112 / 24))
    assert found.coldest_hour_c == pytest.approx(np.full(4, 2.0 - 2 * spread))
    assert found.dli_mol_m2_d == pytest.approx(np.full(4, 500 * 8 * 3600 * 2.0565e-6))


def test_uncovered_mix_is_a_degree_below_the_air_and_a_mat_warms_it(year):
    bare = climate(Spot(mix_offset_c=4.0), year)
    assert bare.temp_mix_c - bare.temp_air_c == pytest.approx(np.full((3, 96), 3.0))
    covered = climate(Spot(mix_offset_c=4.0, covered=True), year)
    assert covered.temp_mix_c - covered.temp_air_c == pytest.approx(np.full((3, 96), 4.0))


def test_heated_house_holds_day_and_night_apart(year):
    spot = Spot(heat_day_c=30.0, heat_night_c=16.0, vent_c=32.0)
    found = climate(spot, year, weather_spread_c=0.0)
    by_hour = found.temp_air_c[1].reshape(4, 24)[0]
    # Day: free 10 + 0.65 x 0.5 x 500 / 6.75 = 34.07, vents hold 32; night at its set point.
    assert by_hour[8:16] == pytest.approx(np.full(8, 32.0))
    assert by_hour[:8] == pytest.approx(np.full(8, 16.0))
    assert found.heat_kwh_m2_d == pytest.approx(np.full(4, 16 * 14 * 6.75 / 1000))


def test_warmer_season_needs_less_heat_and_is_never_colder(year):
    spot = Spot(heat_day_c=18.0, heat_night_c=16.0)
    found = climate(spot, year)
    assert (np.diff(found.temp_day_mean_c, axis=0) >= 0).all()
    assert any("vents open at 24 °C" in note for note in found.assumptions)


def test_tunnel_with_vents_and_no_heat_freezes_with_the_yard(year):
    tunnel = climate(Spot(vent_c=25.0), year)
    yard = climate(Spot("yard"), year)
    assert tunnel.coldest_hour_c == pytest.approx(yard.coldest_hour_c)
    assert tunnel.temp_day_mean_c[1, 0] > yard.temp_day_mean_c[1, 0]
    assert tunnel.heat_kwh_m2_d.tolist() == [0.0] * 4


def test_windowsill_without_weather_stands_in_the_room():
    found = climate(Spot("windowsill"), None, house_light="east")
    by_hour = found.temp_air_c[1].reshape(4, 24)[0]
    assert by_hour.tolist() == [17.0] * 7 + [20.0] * 14 + [17.0] * 3
    assert found.temp_air_c[2, 0] == 19.0
    assert found.dli_mol_m2_d.tolist() == [4.0] * 4
    assert found.coldest_hour_c.tolist() == [15.0] * 4
    assert any("window to the east" in note for note in found.assumptions)


def test_room_temperatures_given_are_used():
    found = climate(Spot("windowsill"), None, room_day_c=23.0, room_night_c=19.0)
    assert found.temp_air_c[1, [0, 12]].tolist() == [19.0, 23.0]


def test_windowsill_beside_weather_stays_in_the_room_when_that_is_given(year):
    room = climate(Spot("windowsill"), year, room_day_c=21.0, room_night_c=18.0)
    assert room.temp_air_c[1, [0, 12]].tolist() == [18.0, 21.0]
    outside = climate(Spot("windowsill"), year)
    assert outside.temp_air_c[1, 0] == 2.0


def test_lamps_of_a_house_without_weather_are_assumed_if_not_given():
    found = climate(Spot("lamp_shelf"), None, house_light="lamps")
    assert found.dli_mol_m2_d == pytest.approx(np.full(4, 150 * 16 * 0.0036))
    assert any("150 µmol" in note for note in found.assumptions)
    own = climate(
        Spot("lamp_shelf", lamp_ppfd_umol_m2_s=200.0, lamp_h=14.0), None, house_light="lamps"
    )
    assert own.dli_mol_m2_d == pytest.approx(np.full(4, 200 * 14 * 0.0036))


def test_unknown_light_is_refused():
    with pytest.raises(UnknownNameError, match="lamps"):
        climate(Spot(), None, house_light="lamp")


def test_no_days_are_refused(year):
    with pytest.raises(OutOfRangeError, match="n_days"):
        place_climate(Spot(), year, FROM, 0, NODES)


def test_shapes_agree_with_nodes_and_days(year):
    found = climate(Spot(), year)
    assert found.temp_air_c.shape == found.temp_mix_c.shape == (3, 96)
    assert found.temp_day_mean_c.shape == (3, 4)
    assert found.dli_mol_m2_d.shape == found.coldest_hour_c.shape == (4,)


def test_leap_day_counts_as_the_28th():
    assert day_of_common_year(date(2028, 2, 29)) == day_of_common_year(date(2027, 2, 28))
    assert day_of_common_year(date(2028, 12, 31)) == 364


def test_weather_year_refuses_gaps_and_other_lengths(year):
    with pytest.raises(OutOfRangeError, match="shape"):
        replace(year, temp_air_c=np.zeros(8784))
    broken = year.temp_air_c.copy()
    broken[5] = np.nan
    with pytest.raises(OutOfRangeError, match="1 hours that are not"):
        replace(year, temp_air_c=broken)
    with pytest.raises(OutOfRangeError, match="n_days"):
        year.season_hours(FROM, 0)
