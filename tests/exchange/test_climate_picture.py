"""The year of a place as a picture."""

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
import vl_convert

from sowbench.exchange.climate_picture import ClimateWeek, climate_spec

WEEK = ClimateWeek(date(2027, 3, 8), 20.04, 19.0, 21.0, 14.0, 28.0, 9.0, 12.0)
YEAR = [replace(WEEK, monday=WEEK.monday + timedelta(weeks=at)) for at in range(52)]


def test_every_week_is_there_once_with_its_temperatures():
    spec = climate_spec(YEAR, words="warm")
    values = spec["data"]["values"]
    assert [each["week"] for each in values] == [each.monday.isoformat() for each in YEAR]
    assert values[0]["mean"] == 20.0
    assert spec["description"] == "warm"
    assert "rule" not in json.dumps(spec)


def test_today_is_marked_where_it_is_shown():
    marks = [each["mark"]["type"] for each in climate_spec(YEAR, today=date(2027, 4, 1))["layer"]]
    assert marks[-1] == "rule"


def test_it_can_be_drawn_on_paper():
    spec = climate_spec(YEAR, today=date(2027, 4, 1)) | {"width": 400}
    svg = vl_convert.vegalite_to_svg(json.dumps(spec), vl_version="5.21")
    assert "°C" in svg


def test_no_week_is_refused():
    with pytest.raises(ValueError, match="at least one week"):
        climate_spec([])
