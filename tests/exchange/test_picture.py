import struct
import xml.etree.ElementTree as ET
from datetime import date

import numpy as np
import pytest

from sowbench.exchange.picture import SOIL, WIDTH_PX, draw_season, place_spec, season_spec
from sowbench.exchange.season_use import DailyUse, by_week

FIRST = date(2027, 3, 1)


@pytest.fixture
def uses():
    days = np.arange(60)
    return [
        DailyUse("North <bench>", "m2", FIRST, np.minimum(days, 34.0), np.full(60, 34.0)),
        DailyUse("Yard", "positions", FIRST, days * 0.0 + 3, None),
        DailyUse(
            "Hands",
            "min",
            FIRST,
            np.where(days % 7 < 5, 100.0 + days, 10.0),
            np.where(days % 7 < 5, 480.0, 30.0),
            hands=True,
        ),
    ]


def test_picture_has_a_row_for_each_place_and_a_key(uses):
    spec = season_spec(uses, title="3 sowings")
    assert len(spec["vconcat"]) == 4
    assert spec["title"]["text"] == "North <bench> is full from 4 April to 29 April."
    assert "3 sowings" in spec["title"]["subtitle"]
    assert spec["title"]["text"] in spec["description"]


def test_full_days_have_a_shape_beside_their_color(uses):
    layers = season_spec(uses)["vconcat"][0]["layer"]
    (triangles,) = [each for each in layers if each["mark"].get("shape") == "triangle-down"]
    # 26 days on end: one triangle for about four days each.
    assert len(triangles["data"]["values"]) == 6
    assert triangles["mark"]["color"] == SOIL


def test_place_without_limit_has_no_line(uses):
    marks = [each["mark"]["type"] for each in season_spec(uses)["vconcat"][1]["layer"]]
    assert "rule" not in marks
    assert "rule" in [each["mark"]["type"] for each in season_spec(uses)["vconcat"][0]["layer"]]


def test_limit_is_drawn_where_it_is_and_not_on_closed_days():
    daily = DailyUse("Hands", "min", FIRST, [1.0] * 4, [480.0, 480.0, 0.0, 480.0], hands=True)
    layers = season_spec([daily])["vconcat"][0]["layer"]
    (line,) = [each for each in layers if each["mark"]["type"] == "rule"]
    assert [(each["from"], each["to"]) for each in line["data"]["values"]] == [
        ("2027-03-01", "2027-03-03"),
        ("2027-03-04", "2027-03-05"),
    ]


def test_nothing_to_draw_is_refused():
    with pytest.raises(ValueError, match="at least one place"):
        season_spec([])


def test_picture_is_drawn_as_svg_and_png_of_one_width(uses):
    pictures = draw_season(season_spec(uses))
    root = ET.fromstring(pictures["season.svg"])
    width = float(root.attrib["width"])
    assert width == pytest.approx(WIDTH_PX, abs=12)
    texts = [each.text for each in root.iter() if each.text and each.text.strip()]
    for word in ("North <bench>", "holds 34 m²", "full on 26 days", "no limit", "8 h a day", "Apr"):
        assert word in texts, word
    png = pictures["season.png"]
    assert png.startswith(b"\x89PNG")
    assert struct.unpack(">I", png[16:20])[0] == pytest.approx(width * 1.5, abs=2)


def test_long_name_does_not_run_into_the_bars():
    long = DailyUse("The yard behind the long hedge by the road", "m2", FIRST, [1.0] * 9, [2.0] * 9)
    root = ET.fromstring(draw_season(season_spec([long]))["season.svg"])
    (shown,) = [each.text for each in root.iter() if (each.text or "").startswith("The yard")]
    assert shown is not None
    assert shown.endswith("…")


def test_one_place_is_drawn_alone_as_wide_as_its_page_with_today_marked():
    daily = DailyUse("Bench", "m²", date(2027, 3, 1), [4.0, 10.0, 12.0, 0.0], [10.0] * 4)
    spec = place_spec(daily, date(2027, 3, 1), date(2027, 3, 5), today=date(2027, 3, 2), words="x")
    assert (spec["width"], spec["description"]) == ("container", "x")
    states = [each["state"] for each in spec["layer"][0]["data"]["values"]]
    assert states == ["room", "full", "over", "room"]
    marks = [each["mark"].get("shape", each["mark"]["type"]) for each in spec["layer"]]
    # Full and over have shapes of their own, beside their colors.
    assert marks == ["rect", "rule", "triangle-down", "triangle-up", "rule"]
    later = place_spec(daily, date(2027, 3, 1), date(2027, 3, 5), today=date(2027, 3, 9))
    assert len(later["layer"]) == len(spec["layer"]) - 1


def test_bars_of_weeks_are_cut_to_the_days_shown():
    daily = by_week(DailyUse("Bench", "m²", date(2027, 3, 4), [1.0] * 10, [10.0] * 10))
    bars = place_spec(daily, date(2027, 3, 4), date(2027, 3, 14))["layer"][0]["data"]["values"]
    assert [(each["from"], each["to"]) for each in bars] == [
        ("2027-03-04", "2027-03-08"),
        ("2027-03-08", "2027-03-14"),
    ]
