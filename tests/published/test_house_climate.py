"""Typical-year files against monthly tables worked out apart from this code.

House: table of an hourly steady balance over the two station files, worked out beforehand from
the equations of ASAE EP406 and Acta Horticulturae 107 (tests/data/house_climate.csv).
Weather: National Solar Radiation Data Base, TMY3 station 723170 and TMY2 station 12839.
"""

import csv
from datetime import date
from pathlib import Path

import numpy as np
import pvlib
import pytest
from pvlib import iotools
from tests.published._report import record

from sowbench.exchange.weather import read_weather
from sowbench.science.house import indoor_temperature

DATA = Path(pvlib.__file__).parent / "data"
FILES = {"723170": DATA / "723170TYA.CSV", "12839": DATA / "12839.tm2"}
TABLE = Path(__file__).parents[1] / "data" / "house_climate.csv"
SOURCE = "hourly balance after ASAE EP406.4 and Acta Horticulturae 107; NSRDB TMY3 and TMY2"
LENGTHS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
MONTH_OF_HOUR = np.repeat(np.arange(12), np.array(LENGTHS) * 24)


def published(station: str, column: str) -> np.ndarray:
    with TABLE.open() as file:
        rows = [row for row in csv.DictReader(file) if row["station"] == station]
    return np.array([float(row[column]) for row in rows if row["month"] != "year"])


def months(values: np.ndarray, how) -> np.ndarray:
    return np.array([how(values[month == MONTH_OF_HOUR]) for month in range(12)])


def compare(name, column, computed_by_station, tolerance, unit):
    errors = []
    for station, computed in computed_by_station.items():
        errors.append(computed - published(station, column))
    flat = np.concatenate(errors)
    result = record(name, SOURCE, flat.size, flat, unit)
    assert result.worst <= tolerance


@pytest.fixture(scope="module")
def years():
    return {station: read_weather(path) for station, path in FILES.items()}


def test_outside_monthly_means_match_the_table(years):
    means = {s: months(y.temp_air_c, np.mean) for s, y in years.items()}
    compare("outside temperature by month", "temp_out_c", means, 0.0051, "°C")


def test_global_radiation_matches_the_table(years):
    sums = {s: months(y.ghi_w_m2, np.sum) / 1000 / LENGTHS for s, y in years.items()}
    compare("global radiation by month", "ghi_kwh_m2_d", sums, 0.00051, "kWh m-2 d-1")


@pytest.mark.parametrize("base", [15, 10])
def test_heating_degree_hours_match_the_table(years, base):
    column = f"degree_hours_{base}_kh"
    hours = {s: months(np.maximum(0, base - y.temp_air_c), np.sum) for s, y in years.items()}
    compare(f"heating degree hours, base {base} °C", column, hours, 0.051, "K h")


def test_indoor_temperature_and_heat_match_the_hourly_table(years):
    inside, heat = {}, {}
    for station, year in years.items():
        temp_c, heat_w_m2 = indoor_temperature(year.temp_air_c, year.ghi_w_m2, 15.0, 24.0)
        inside[station] = months(temp_c, np.mean)
        heat[station] = months(heat_w_m2, np.sum) / 1000
    compare("temperature in the house by month", "temp_in_c", inside, 0.0051, "°C")
    compare("heat by month", "heat_kwh_m2", heat, 0.0051, "kWh m-2")


def test_year_of_heat_matches_and_daily_means_would_be_two_fifths_low(years):
    year = years["723170"]
    _, heat = indoor_temperature(year.temp_air_c, year.ghi_w_m2, 15.0, 24.0)
    assert heat.sum() / 1000 == pytest.approx(203.22, abs=0.005)
    by_day = [each.reshape(365, 24).mean(axis=1) for each in (year.temp_air_c, year.ghi_w_m2)]
    _, daily = indoor_temperature(by_day[0], by_day[1], 15.0, 24.0)
    assert daily.sum() * 24 / 1000 == pytest.approx(118.38, abs=0.005)


def test_degree_sums_agree_with_the_file_read_apart(years):
    # Growing degree days above 10 °C of each month, straight from pvlib's frames.
    frame3, _ = iotools.read_tmy3(FILES["723170"])
    frame2, _ = iotools.read_tmy2(FILES["12839"])
    outside = {
        "723170": frame3["temp_air"].to_numpy(dtype=float),
        "12839": frame2["DryBulb"].to_numpy(dtype=float) / 10,
    }
    errors = []
    for station, year in years.items():
        ours = np.maximum(0, year.temp_air_c.reshape(365, 24).mean(axis=1) - 10)
        theirs = np.maximum(0, outside[station].reshape(365, 24).mean(axis=1) - 10)
        month = MONTH_OF_HOUR[::24]
        errors += [ours[month == m].sum() - theirs[month == m].sum() for m in range(12)]
    result = record("degree sums above 10 °C by month", "NSRDB files read with pvlib", 24, errors,
                    "°C d")  # fmt: skip
    assert result.worst < 1e-9


def test_season_over_the_new_year_keeps_hours_in_place(years):
    year = years["723170"]
    hours = year.season_hours(date(2026, 12, 30), 4)
    by_month = year.temp_air_c[hours].reshape(4, 24)
    assert np.array_equal(by_month[2], year.temp_air_c[:24])
    assert np.array_equal(by_month[1], year.temp_air_c[-24:])
