import contextlib
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sowbench.domain.records import ContainerStock, Crew, Machine, Place, PlaceKind, Prices
from sowbench.exchange.house import read_house, windowsill_house
from sowbench.science.errors import InputFileError, OutOfRangeError, UnknownNameError

FULL = """
[house]
name = "Hollow Hill"
latitude_deg = 44.5
longitude_deg = -72.0
time_zone = "Etc/GMT+5"
weather = "year.epw"
weather_spread_c = 1.2
confidence_frac = 0.9
school = true

[crew]
minutes_per_day = 480
work_days = ["Mon", "Tuesday", "wed", "Thu", "Fri"]
sow_days = ["Tue", "Thu"]
weekend_minutes = 20
closed = [2027-05-01, "2027-12-24"]
rate_per_hour = 18.5
setup_minutes = 4

[minutes]
fill_s_per_container = 30

[[machine]]
name = "Drum"
containers = ["plug-72", "own-60"]
trays_per_hour = 90
changeover_minutes = 12

[[place]]
name = "Warm room"
kind = "chamber"
positions = 80
temp_c = 22.0
cover_par_frac = 0
price_per_m2_day = 0.2

[[place]]
name = "North bench"
kind = "bench"
area_m2 = 40.0
usable_frac = 0.8
heat_day_c = 18
heat_night_c = 15
vent_c = 26
mix_offset_c = 1.5
covered = true
cover_par_frac = 0.6
lamp_ppfd_umol_m2_s = 80
lamp_h = 6
price_per_m2_day = 0.1

[[container]]
id = "plug-72"
in_stock = 400
price = 1.1
reusable = true
back_after_d = 10
wash_d = 2
per_rack = 24

[[container]]
id = "own-60"
in_stock = 20
cells = 60
cell_volume_ml = 55.0

[[crop]]
id = "Salad"
emergence = { thermal_time_cd = 60.0 }
hold_d = 5

[prices]
currency = "EUR"
short_plant = 0.7
late_plant_day = 0.06
overgrown_plant = 0.2
surplus_plant = 0.01
mix_per_l = 0.09
label = 0.03
"""


@pytest.fixture
def read(write):
    write("year.epw", "weather")

    def read_text(text, **more):
        return read_house(write("house.toml", text), **more)

    return read_text


@pytest.fixture
def found(read, problems_of):
    """Return the problems of a text as a dict of message by table path."""

    def collect(text, **more):
        return {
            column: (value, message)
            for _, column, value, message in problems_of(read, text, **more)
        }

    return collect


def test_every_key_is_taken(read, resolve_crop, tmp_path):
    house = read(FULL, containers=["plug-72"], resolve_crop=resolve_crop)
    assert (house.name, house.latitude_deg, house.longitude_deg) == ("Hollow Hill", 44.5, -72.0)
    assert (house.time_zone, house.weather_file) == ("Etc/GMT+5", str(tmp_path / "year.epw"))
    assert (house.weather_spread_c, house.confidence_frac, house.school) == (1.2, 0.9, True)
    assert (house.room_day_c, house.room_night_c, house.light) == (None, None, "")
    assert house.crew == Crew(
        minutes_per_day=480,
        work_days=(0, 1, 2, 3, 4),
        sow_days=(1, 3),
        weekend_minutes=20,
        closed=frozenset({date(2027, 5, 1), date(2027, 12, 24)}),
        rate_per_hour=18.5,
        setup_minutes=4,
    )
    assert house.minutes == {"fill_s_per_container": 30}
    assert house.machines == (Machine("Drum", ("plug-72", "own-60"), 90, 12),)
    assert house.places == (
        Place(
            "Warm room",
            PlaceKind.CHAMBER,
            n_positions=80,
            temp_c=22,
            cover_par_frac=0,
            price_per_m2_day=0.2,
        ),
        Place(
            "North bench",
            PlaceKind.BENCH,
            area_m2=40,
            usable_frac=0.8,
            heat_day_c=18,
            heat_night_c=15,
            vent_c=26,
            mix_offset_c=1.5,
            covered=True,
            cover_par_frac=0.6,
            lamp_ppfd_umol_m2_s=80,
            lamp_h=6,
            price_per_m2_day=0.1,
        ),
    )
    assert house.stock == (
        ContainerStock("plug-72", 400, 1.1, True, 10, 2, 24),
        ContainerStock("own-60", 20),
    )
    assert house.own_containers == ({"id": "own-60", "cells": 60, "cell_volume_ml": 55.0},)
    assert house.own_crops == (
        {"id": "lettuce", "emergence": {"thermal_time_cd": 60.0}, "hold_d": 5},
    )
    assert house.prices == Prices("EUR", 0.7, 0.06, 0.2, 0.01, 0.09, 0.03)
    assert house.assumptions == ()


def test_name_alone_makes_a_house_whose_stand_ins_are_said_aloud(read):
    house = read('[house]\nname = "x"\n')
    assert (house.room_day_c, house.room_night_c, house.light) == (20, 17, "south")
    assert house.crew == Crew()
    assert house.prices == Prices()
    assert [each.kind for each in house.places] == [PlaceKind.WINDOWSILL]
    said = "\n".join(house.assumptions)
    for sentence in (
        "late_plant_day 0.05: default, change in [prices]",
        "confidence_frac 0.95: default, change in [house]",
        "room_day_c 20: no weather file, default, change in [house]",
        "no [crew]: no limit on hands",
        "no [[place]]",
        "no [[container]]",
        "setup_minutes 6: default, change in [crew]",
    ):
        assert sentence in said


def test_stand_in_of_several_places_is_one_sentence(read):
    place = '[[place]]\nname = "{}"\nkind = "bench"\narea_m2 = 4\n'
    house = read(f'[house]\nname = "x"\n{place.format("A")}{place.format("B")}')
    assert "usable_frac 0.85: default for 'A', 'B', change in [[place]]" in house.assumptions


def test_value_that_is_given_is_no_assumption(read):
    house = read('[house]\nname = "x"\n[prices]\nlabel = 0.02\n')
    assert not any(each.startswith("label") for each in house.assumptions)


@pytest.mark.parametrize(
    ("kind", "light", "covered"),
    [("chamber", 0, False), ("cold_store", 0, False), ("yard", 1, False), ("mist", 0.65, True)],
)
def test_light_and_cover_left_out_follow_the_kind_of_place(read, kind, light, covered):
    text = f'[house]\nname = "x"\n[[place]]\nname = "A"\nkind = "{kind}"\npositions = 4\n'
    (place,) = read(text).places
    assert (place.cover_par_frac, place.covered) == (light, covered)


def test_windowsill_stands_in_for_no_house_file():
    house = windowsill_house()
    (place,) = house.places
    assert place.kind is PlaceKind.WINDOWSILL
    assert place.area_m2 is not None
    assert place.area_m2 * place.usable_frac == pytest.approx(1.0)
    assert (house.room_day_c, house.room_night_c) == (20, 17)
    assert house.crew.minutes_per_day is None
    assert house.crew.work_days == tuple(range(7))
    for word in ("house file", "room_day_c", "light", "area_m2", "hands", "short_plant 0.60"):
        assert any(word in each for each in house.assumptions), word


HOUSE = '[house]\nname = "x"\n'
PLACE = '[[place]]\nname = "A"\nkind = "bench"\npositions = 4\n'


@pytest.mark.parametrize(
    ("text", "path", "word"),
    [
        ("# nothing\n", "[house].name", "required"),
        ('[house]\nname = " "\n', "[house].name", "blank"),
        ("[house]\nname = 7\n", "[house].name", "text in quotes"),
        (HOUSE + "latitude_deg = 95\nlongitude_deg = 0\n", "[house].latitude_deg", "-90 and 90"),
        (HOUSE + "latitude_deg = 0\nlongitude_deg = 181\n", "[house].longitude_deg", "180"),
        (HOUSE + "latitude_deg = 45\n", "[house].latitude_deg", "longitude_deg"),
        (HOUSE + "longitude_deg = 45\n", "[house].longitude_deg", "latitude_deg"),
        (HOUSE + 'weather = "none.epw"\n', "[house].weather", "no weather file"),
        (HOUSE + 'weather = ""\n', "[house].weather", "name a file"),
        (HOUSE + 'weather = "year.epw"\nroom_day_c = 20\n', "[house].room_day_c", "temp_c"),
        (HOUSE + "room_night_c = 63\n", "[house].room_night_c", "17.2"),
        (HOUSE + 'light = "up"\n', "[house].light", "south"),
        (HOUSE + 'time_zone = "Etc/GMT+55"\n', "[house].time_zone", "Etc/GMT+5"),
        (HOUSE + "weather_spread_c = -1\n", "[house].weather_spread_c", "between 0"),
        (HOUSE + "confidence_frac = 95\n", "[house].confidence_frac", "0.5"),
        (HOUSE + 'school = "no"\n', "[house].school", "true or false"),
        (HOUSE + "confidense_frac = 0.9\n", "[house].confidense_frac", "'confidence_frac'"),
        (HOUSE + "[houze]\n", "The file.houze", "'house'"),
        ("[[house]]\nname = 'x'\n", "The file.house", "single brackets"),
        (HOUSE + "[place]\n", "The file.place", "double brackets"),
        (HOUSE + "[crew]\nminutes_per_day = -1\n", "[crew].minutes_per_day", "between 0"),
        (HOUSE + '[crew]\nwork_days = ["Mo"]\n', "[crew].work_days", "'Mo'"),
        (HOUSE + "[crew]\nwork_days = []\n", "[crew].work_days", "at least one"),
        (HOUSE + "[crew]\nsow_days = []\n", "[crew].sow_days", "at least one"),
        (HOUSE + '[crew]\nsow_days = ["Sat"]\n', "[crew].sow_days", "not among work_days"),
        (HOUSE + '[crew]\nclosed = ["24.12.2027"]\n', "[crew].closed", "2027-12-24"),
        (HOUSE + "[crew]\nclosed = [7]\n", "[crew].closed", "year-month-day"),
        (HOUSE + "[crew]\nclosed = [2027-05-01T08:00:00]\n", "[crew].closed", "2027-05-01"),
        (HOUSE + "[crew]\nrate_per_hour = nan\n", "[crew].rate_per_hour", "at least 0"),
        (HOUSE + "[crew]\nsetup = 3\n", "[crew].setup", "has no key"),
        (
            HOUSE + '[crew]\nminutes_per_day = 9\n[[hands]]\nname = "Z"\nminutes = 9\n',
            "[crew].minutes_per_day",
            "not both",
        ),
        (HOUSE + "[[hands]]\nminutes = 3\n", "[[hands]] 1.name", "required"),
        (HOUSE + '[[hands]]\nname = "Z"\n', '[[hands]] 1 "Z".minutes', "required"),
        (
            HOUSE + '[[hands]]\nname = "Z"\nminutes = { Moon = 3 }\n',
            '[[hands]] 1 "Z".minutes.Moon',
            "weekday",
        ),
        (
            HOUSE + '[[hands]]\nname = "Z"\nminutes = { Mon = 2000 }\n',
            '[[hands]] 1 "Z".minutes.Mon',
            "1,440",
        ),
        (HOUSE + "[minutes]\nfill_s = 0\n", "[minutes].fill_s", "above 0"),
        (HOUSE + "[minutes]\nfil_s = 4\n", "[minutes].fil_s", "'fill_s'"),
        (
            HOUSE + '[[machine]]\nname = "D"\ncontainers = ["plug-71"]\ntrays_per_hour = 3\n',
            '[[machine]] 1 "D".containers',
            "'plug-72'",
        ),
        (
            HOUSE + '[[machine]]\nname = "D"\ntrays_per_hour = 3\n',
            '[[machine]] 1 "D".containers',
            "at least one",
        ),
        (
            HOUSE + '[[machine]]\nname = "D"\ncontainers = ["plug-72"]\n',
            '[[machine]] 1 "D".trays_per_hour',
            "required",
        ),
        (HOUSE + PLACE + "area_m2 = 4\n", '[[place]] 1 "A".positions', "exactly one"),
        (
            HOUSE + '[[place]]\nname = "A"\nkind = "bench"\n',
            '[[place]] 1 "A"',
            "exactly one",
        ),
        (HOUSE + PLACE.replace("4", "0"), '[[place]] 1 "A".positions', "from 1"),
        (HOUSE + PLACE.replace("4", "4.5"), '[[place]] 1 "A".positions', "whole"),
        (HOUSE + PLACE.replace("bench", "bensh"), '[[place]] 1 "A".kind', "'bench'"),
        (HOUSE + '[[place]]\nname = "A"\npositions = 4\n', '[[place]] 1 "A".kind', "required"),
        (HOUSE + PLACE + PLACE, '[[place]] 2 "A".name', "earlier"),
        (HOUSE + PLACE + "temp_c = 72\n", '[[place]] 1 "A".temp_c', "22.2"),
        (HOUSE + PLACE + "temp_c = 20\nvent_c = 25\n", '[[place]] 1 "A".temp_c', "not both"),
        (HOUSE + PLACE + "heat_day_c = 18\n", '[[place]] 1 "A".heat_day_c', "weather file"),
        (HOUSE + PLACE + "usable_frac = 0.8\n", '[[place]] 1 "A".usable_frac', "area_m2"),
        (HOUSE + PLACE + "cover_par_frac = 65\n", '[[place]] 1 "A".cover_par_frac', "0.65"),
        (HOUSE + PLACE + "lamp_h = 25\n", '[[place]] 1 "A".lamp_h', "between 0 and 24"),
        (
            HOUSE + PLACE + "lamp_ppfd_umol_m2_s = 9\n",
            '[[place]] 1 "A".lamp_ppfd_umol_m2_s',
            "lamp_h",
        ),
        (HOUSE + PLACE + "covered = 1\n", '[[place]] 1 "A".covered', "true or false"),
        (HOUSE + PLACE + 'price_per_m2_day = "1"\n', '[[place]] 1 "A".price_per_m2_day', "quotes"),
        (HOUSE + PLACE + "positons = 3\n", '[[place]] 1 "A".positons', "'positions'"),
        (HOUSE + '[[container]]\nid = "plug-71"\n', '[[container]] 1 "plug-71".id', "'plug-72'"),
        (HOUSE + "[[container]]\nin_stock = 3\n", "[[container]] 1.id", "required"),
        (
            HOUSE + '[[container]]\nid = "plug-72"\nin_stock = -1\n',
            '[[container]] 1 "plug-72".in_stock',
            "from 0",
        ),
        (
            HOUSE + '[[container]]\nid = "own"\ncell = 3\n',
            '[[container]] 1 "own".cell',
            "'cells'",
        ),
        (HOUSE + "[[crop]]\nhold_d = 3\n", "[[crop]] 1.id", "required"),
        (HOUSE + '[[crop]]\nid = "kale"\nholdd = 3\n', '[[crop]] 1 "kale".holdd', "'hold_d'"),
        (HOUSE + "[prices]\nshort_plant = -1\n", "[prices].short_plant", "between 0"),
        (HOUSE + "[prices]\nshort = 1\n", "[prices].short", "'short_plant'"),
    ],
)
def test_each_wrong_key_is_named_with_its_table_and_what_would_be_right(found, text, path, word):
    problems = found(
        text,
        containers=["plug-72"],
        container_keys=["cells", "cell_volume_ml"],
        crop_keys=["hold_d"],
        minute_keys=["fill_s"],
    )
    assert path in problems, problems
    assert word in problems[path][1]


def test_vent_below_heating_is_refused(found):
    text = HOUSE + 'weather = "year.epw"\n' + PLACE + "heat_day_c = 20\nvent_c = 18\n"
    assert "heat_day_c (20)" in found(text)['[[place]] 1 "A".vent_c'][1]


def test_all_problems_of_a_file_are_reported_at_once(found):
    text = HOUSE + "latitude_deg = 95\n[prices]\nlabel = -1\n" + PLACE + "temp_c = 99\n"
    assert len(found(text)) == 3


def test_minutes_of_all_hands_are_added_up_by_weekday(read):
    house = read(
        HOUSE + '[[hands]]\nname = "A"\nminutes = { Mon = 100, Saturday = 60 }\nlanguage = "es"\n'
        '[[hands]]\nname = "B"\nminutes = 30\ntasks = ["sow"]\n'
    )
    assert house.crew.minutes_by_weekday == (130, 30, 30, 30, 30, 60, 0)
    assert house.crew.work_days == (0, 1, 2, 3, 4, 5)
    assert any("tasks of B" in each for each in house.assumptions)


def test_own_values_that_their_owner_refuses_are_reported_with_their_table(found):
    def check_crop(values):
        raise OutOfRangeError("hold_d", "at most 60 d", values["hold_d"])

    def check_container(values):
        raise UnknownNameError("cels", "key")

    text = HOUSE + '[[crop]]\nid = "kale"\nhold_d = 99\n[[container]]\nid = "own"\ncels = 3\n'
    problems = found(text, check_crop=check_crop, check_container=check_container)
    assert "at most 60 d" in problems['[[crop]] 1 "kale"'][1]
    assert "cels" in problems['[[container]] 1 "own"'][1]


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ('[house]\nname = "x"\nlatitude_deg = 44,5\n', 3, "decimal point"),
        ("[house]\nname = x\n", 2, "quotes"),
        ('[house]\nname = "x"\nname = "y"\n', 3, "TOML"),
        ('[house\nname = "x"\n', 1, "TOML"),
        ('[house]\nname = "x', 2, "TOML"),
    ],
)
def test_text_that_is_no_toml_is_refused_with_its_line(read, problems_of, text, line, word):
    ((row, _, _, message),) = problems_of(read, text)
    assert row == line
    assert word in message


def test_byte_order_mark_and_line_ends_of_other_systems_are_taken(read):
    assert read('\ufeff[house]\r\nname = "x"\r\n').name == "x"


def test_missing_and_foreign_files_are_refused(write, tmp_path, problems_of):
    assert "no such file" in problems_of(read_house, tmp_path / "h.toml")[0][3].casefold()
    assert "empty" in problems_of(read_house, write("h.toml", ""))[0][3]
    utf16 = write("h.toml", '[house]\nname = "x"'.encode("utf-16"))
    assert "UTF-16" in problems_of(read_house, utf16)[0][3]


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.one_of(st.binary(max_size=200), st.just(b"a=" + b"[" * 5000)))
def test_any_bytes_give_a_house_or_an_input_file_error(tmp_path, data):
    path = tmp_path / "any.toml"
    path.write_bytes(data)
    with contextlib.suppress(InputFileError):  # anything else fails the test
        read_house(path)


VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-5, 500), st.text("ab", max_size=3), st.floats(-9, 99)),
    lambda inner: st.lists(inner, max_size=2),
    max_leaves=3,
)
KEYS = st.sampled_from(
    ["name", "kind", "positions", "area_m2", "temp_c", "minutes", "id", "closed", "weather", "x"]
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    tables=st.dictionaries(
        st.sampled_from(
            ["[house]", "[crew]", "[prices]", "[[place]]", "[[hands]]", "[[machine]]", "[[crop]]"]
        ),
        st.dictionaries(KEYS, VALUES, max_size=4),
    )
)
def test_any_value_of_any_key_gives_a_house_or_an_input_file_error(tmp_path, tables):
    def toml(value):
        if isinstance(value, bool):
            return str(value).lower()
        if isinstance(value, list):
            return f"[{', '.join(toml(each) for each in value)}]"
        return f'"{value}"' if isinstance(value, str) else repr(value)

    lines = []
    for table, keys in tables.items():
        lines += [table, *(f"{key} = {toml(value)}" for key, value in keys.items())]
    path = tmp_path / "any.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with contextlib.suppress(InputFileError):  # anything else fails the test
        read_house(path)
