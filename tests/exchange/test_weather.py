from datetime import date
from pathlib import Path

import numpy as np
import pvlib
import pytest

from sowbench.exchange.weather import read_weather
from sowbench.science.errors import InputFileError

DATA = Path(pvlib.__file__).parent / "data"
TMY3 = DATA / "723170TYA.CSV"
TMY2 = DATA / "12839.tm2"
LENGTHS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]


@pytest.fixture(scope="module")
def greensboro_lines():
    return TMY3.read_text().splitlines()


def written(tmp_path, lines, name="weather.csv"):
    path = tmp_path / name
    path.write_text("\n".join(lines) + "\n")
    return path


def epw_lines(temp, ghi, leap=False):
    head = [
        "LOCATION,Testfield,ST,XXX,TMY,999999,10.50,-20.25,-1.0,12.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,made for a test",
        "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
    ]
    rows = []
    i = 0
    for month, length in enumerate(LENGTHS, start=1):
        days = 29 if leap and month == 2 else length
        for day in range(1, days + 1):
            for hour in range(1, 25):
                extra = month == 2 and day == 29
                t = 55.0 if extra else temp[i]
                g = 0 if extra else ghi[i]
                values = [0.0] * 27
                rows.append(
                    f"2004,{month},{day},{hour},60,X,{t},0,50,100000,0,0,300,{g},1,2,0,0,0,0,0,3.5,"
                    + ",".join(str(each) for each in values[:13])
                )
                i += 0 if extra else 1
    return head + rows


def test_tmy3_stamps_belong_to_the_hour_before():
    year = read_weather(TMY3)
    # First data row: 01/01 01:00, 10.0 °C; row of 09:00 holds the light from 8 to 9.
    lines = TMY3.read_text().splitlines()
    header = lines[1].split(",")
    ninth = lines[2 + 8].split(",")
    assert ninth[header.index("Time (HH:MM)")] == "09:00"
    assert year.ghi_w_m2[8] == float(ninth[header.index("GHI (W/m^2)")])
    assert year.temp_air_c[0] == 10.0
    assert (year.file_format, year.latitude_deg, year.longitude_deg) == ("TMY3", 36.1, -79.95)
    assert year.utc_offset_h == -5.0
    assert year.notes == ()


def test_tm2_is_read_in_degrees_and_meters_per_second():
    year = read_weather(TMY2)
    # First row: dry bulb 200 tenths, wind 67 tenths, both hour 1.
    assert year.temp_air_c[0] == pytest.approx(20.0)
    assert year.wind_m_s is not None
    assert year.wind_m_s[0] == pytest.approx(6.7)
    assert year.latitude_deg == pytest.approx(25.8)
    assert year.longitude_deg == pytest.approx(-80.2667, abs=1e-4)
    assert "MIAMI" in year.station


@pytest.mark.parametrize("leap", [False, True])
def test_epw_is_read_and_its_leap_day_left_out(tmp_path, leap):
    year = read_weather(TMY3)
    path = written(tmp_path, epw_lines(year.temp_air_c, year.ghi_w_m2, leap), "year.epw")
    epw = read_weather(path)
    assert epw.file_format == "EPW"
    assert np.array_equal(epw.temp_air_c, year.temp_air_c)
    assert np.array_equal(epw.ghi_w_m2, year.ghi_w_m2)
    assert (epw.latitude_deg, epw.longitude_deg, epw.utc_offset_h) == (10.5, -20.25, -1.0)


def test_light_peaks_about_noon_in_standard_time():
    year = read_weather(TMY3)
    by_hour = year.ghi_w_m2.reshape(365, 24).mean(axis=0)
    center = (by_hour * (np.arange(24) + 0.5)).sum() / by_hour.sum()
    # Longitude 79.95 W in the zone of 75 W: the sun is 20 min late.
    assert center == pytest.approx(12.33, abs=0.15)


def test_season_wraps_and_repeats_the_28th_of_february():
    year = read_weather(TMY3)
    hours = year.season_hours(date(2028, 2, 28), 3).reshape(3, 24)
    assert np.array_equal(hours[0], hours[1])
    assert hours[2][0] == (31 + 28) * 24


def test_short_gap_is_filled_by_a_straight_line_and_reported(tmp_path, greensboro_lines):
    lines = list(greensboro_lines)
    column = lines[1].split(",").index("Dry-bulb (C)")
    full = read_weather(TMY3).temp_air_c
    for i in range(100, 106):
        parts = lines[2 + i].split(",")
        parts[column] = "-9900"
        lines[2 + i] = ",".join(parts)
    year = read_weather(written(tmp_path, lines))
    expected = np.linspace(full[99], full[106], 8)[1:-1]
    assert year.temp_air_c[100:106] == pytest.approx(expected)
    assert len(year.notes) == 1
    assert "temp_air_c: 6 h in 1 gaps" in year.notes[0]
    assert "01-05 04 h" in year.notes[0]


def test_long_gap_is_refused_with_its_place(tmp_path, greensboro_lines):
    lines = greensboro_lines[:2] + greensboro_lines[2 : 2 + 100] + greensboro_lines[2 + 107 :]
    with pytest.raises(InputFileError, match="7 h are missing from 01-05 04 h"):
        read_weather(written(tmp_path, lines))


def test_half_a_year_is_refused(tmp_path, greensboro_lines):
    with pytest.raises(InputFileError, match="each of 8760 hours"):
        read_weather(written(tmp_path, greensboro_lines[:4000]))


def test_gap_over_the_new_year_counts_as_one(tmp_path, greensboro_lines):
    lines = greensboro_lines[:2] + greensboro_lines[2 + 3 : -3]
    year = read_weather(written(tmp_path, lines))
    assert "6 h in 1 gaps" in year.notes[0]


def test_hour_that_stands_twice_is_refused(tmp_path, greensboro_lines):
    lines = [*greensboro_lines[:102], greensboro_lines[101], *greensboro_lines[102:]]
    with pytest.raises(InputFileError, match=r"each hour once.*01-05 03 h"):
        read_weather(written(tmp_path, lines))


def test_missing_column_is_named(tmp_path, greensboro_lines):
    lines = list(greensboro_lines)
    lines[1] = lines[1].replace("Dry-bulb (C)", "Dry (C)")
    with pytest.raises(InputFileError, match="lacks the column temp_air"):
        read_weather(written(tmp_path, lines))


def test_word_in_a_number_column_is_named_with_row_and_value(tmp_path, greensboro_lines):
    lines = list(greensboro_lines)
    column = lines[1].split(",").index("Dry-bulb (C)")
    parts = lines[9].split(",")
    parts[column] = "warm"
    lines[9] = ",".join(parts)
    with pytest.raises(InputFileError) as caught:
        read_weather(written(tmp_path, lines))
    problem = caught.value.problems[0]
    assert (problem.row, problem.value) == (10, "warm")


@pytest.mark.parametrize("text", ["", "order,crop\n1,lettuce\n", "\x00\x01\x02"])
def test_file_of_another_kind_is_refused(tmp_path, text):
    path = tmp_path / "weather.csv"
    path.write_text(text)
    with pytest.raises(InputFileError, match="EPW, TMY3"):
        read_weather(path)


def test_missing_file_is_refused_with_what_it_should_be(tmp_path):
    with pytest.raises(InputFileError, match="cannot be opened") as caught:
        read_weather(tmp_path / "none.epw")
    assert "none.epw" in str(caught.value)


def test_broken_epw_is_refused_in_words(tmp_path):
    path = written(tmp_path, ["LOCATION,only,this"], "year.epw")
    with pytest.raises(InputFileError, match="cannot be read as EPW"):
        read_weather(path)
