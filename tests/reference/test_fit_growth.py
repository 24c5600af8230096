import csv
import math
from pathlib import Path

import pytest

from sowbench.reference.fit_growth import (
    RULE_COLUMNS,
    SIGMA_HIGH,
    SIGMA_LOW,
    Calibration,
    build,
)
from sowbench.reference.growth_rows import FOLDER, EmergenceDays, Row, growth_days, mean_24h
from sowbench.science.growth import relative_rate

HYDROPONIC = {"channel", "raft"}


@pytest.fixture(scope="module")
def calibration():
    return Calibration()


def stored(name: str) -> list[dict[str, str]]:
    with (Path(FOLDER) / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def rules():
    return {(r["crop"], r["container_class"], r["system"]): r for r in stored("ready_rules.csv")}


def test_stored_tables_are_what_the_inputs_make():
    for name, text in build().items():
        kept = (Path(FOLDER) / name).read_text(encoding="utf-8")
        assert kept == text, f"{name}: run python -m sowbench.reference.fit_growth"


def test_every_rule_stands_once_and_is_complete(rules):
    rows = stored("ready_rules.csv")
    assert len(rows) == len(rules)
    optional = {"pot_on_d_ref", "pot_on_from_class", "space_d_ref", "space_plants_per_m2"}
    for row in rows:
        blank = [each for each in RULE_COLUMNS if each not in optional and not row[each]]
        assert not blank, (row["crop"], row["container_class"], blank)


def test_every_crop_has_a_plug_rule_for_any_system(rules):
    crops = {row["crop"] for row in stored("growth.csv")}
    assert len(crops) >= 60
    assert all((crop, "plug", "any") in rules for crop in crops)


@pytest.mark.parametrize("crop", ["lettuce", "basil", "pak choi", "kale", "cilantro", "watercress"])
@pytest.mark.parametrize("system", ["channel", "raft"])
def test_leafy_crops_and_herbs_have_seedlings_for_hydroponics(rules, crop, system):
    for container_class in ("cube", "pellet"):
        rule = rules[crop, container_class, system]
        assert rule["leaves"] == "2.5"
        assert rule["tone_d"] == "0"
        assert float(rule["days_ref"]) < float(rules[crop, "plug", "any"]["days_ref"]) * 1.15


@pytest.mark.parametrize("crop", ["tomato", "pepper", "eggplant", "cucumber", "melon"])
def test_fruiting_crops_go_from_cube_to_block(rules, crop):
    rule = rules[crop, "block", "bucket"]
    assert rule["pot_on_from_class"] == "cube"
    pot_on, spaced, ready = (
        float(rule[each]) for each in ("pot_on_d_ref", "space_d_ref", "days_ref")
    )
    assert 0 < pot_on < spaced < ready


@pytest.mark.parametrize("crop", ["tomato", "pepper", "basil", "parsley", "marigold", "petunia"])
def test_pots_for_sale_come_from_plugs(rules, crop):
    rule = rules[crop, "pot", "sale"]
    assert rule["pot_on_from_class"] == "plug"
    assert 0 < float(rule["pot_on_d_ref"]) < float(rule["days_ref"])


def test_hydroponic_lettuce_takes_ten_to_twenty_one_days_from_sowing(rules):
    # Two to three true leaves at 10 to 21 days: rows C15 (11 d) and common practice (14-21 d).
    rule = rules["lettuce", "cube", "channel"]
    rate = relative_rate(21.0, 4.0, 24.0, 35.0, float(rule["temp_ref_c"]))
    assert 10 <= 2.3 + float(rule["days_ref"]) / rate <= 21


def test_spreads_stay_within_their_limits(rules):
    assert all(SIGMA_LOW <= float(r["sigma_growth"]) <= SIGMA_HIGH for r in rules.values())


def test_reference_temperature_lies_between_base_and_optimum(rules):
    response = {row["crop"]: row for row in stored("growth.csv")}
    for (crop, _, _), rule in rules.items():
        base, optimum, ceiling = (
            float(response[crop][each]) for each in ("base_c", "optimum_c", "ceiling_c")
        )
        assert base < float(rule["temp_ref_c"]) <= optimum < ceiling


def test_24_hour_mean_weighs_thirteen_hours_of_day():
    # C01 lettuce: 15.6-18.3 by day, 7.2 by night.
    assert mean_24h(16.95, 7.2) == pytest.approx((13 * 16.95 + 11 * 7.2) / 24)
    assert mean_24h(None, 10.0) == 10.0
    assert mean_24h(None, None) is None


def test_row_without_temperatures_sets_no_requirement(calibration):
    rows = calibration.rows_of("tomato", "plug")
    warm = [row for row in rows if row.temp_24h_c is not None]
    assert 0 < len(warm) < len(rows)
    assert calibration.prior("tomato", rows).days_ref == pytest.approx(
        calibration.prior("tomato", warm).days_ref
    )


def test_sources_that_disagree_widen_the_spread_and_those_that_agree_do_not_narrow_it(calibration):
    rows = calibration.rows_of("onion", "plug")
    kept = calibration.prior("onion", rows)
    far = Row("onion", "plug", 15, 17, None, None, None, "C14", "seen", widen=True)
    near = Row("onion", "plug", 9, 11, None, None, None, "C14", "seen", widen=True)
    assert calibration.prior("onion", [*rows, far]).sigma > kept.sigma
    assert calibration.prior("onion", [*rows, far]).days_ref == kept.days_ref
    same = [row for row in rows if row.temp_24h_c is not None]
    assert calibration.prior("onion", [*same, near]).sigma >= 0.98 * (
        calibration.prior("onion", same).sigma
    )


def test_one_source_alone_has_the_spread_usual_between_sources(calibration):
    rows = calibration.rows_of("marigold", "plug")
    assert len({row.source_id for row in rows}) == 1
    assert calibration.prior("marigold", rows).sigma >= calibration.typical_between**0.5


def test_growth_days_of_a_row_by_hand(calibration):
    class FourDays(EmergenceDays):
        def __init__(self):
            pass

        def days(self, row):
            return 4.0

    row = Row("lettuce", "plug", 4, 6, 22.0, 11.0, None, "C01", "seen", widen=False)
    response = {"base_c": "4", "optimum_c": "24", "ceiling_c": "35"}
    # Half the pace of 18 °C: (28 - 4) / 2, (35 - 4) / 2, (42 - 4) / 2.
    assert growth_days(row, FourDays(), response, 18.0) == pytest.approx((12.0, 15.5, 19.0))


def test_basis_is_seen_only_where_a_seen_row_sets_the_days(rules):
    assert rules["lettuce", "plug", "any"]["basis"] == "seen"
    assert rules["okra", "plug", "any"]["basis"] == "common practice"
    assert rules["thyme", "plug", "any"]["basis"] == "from memory"


def test_windows_and_spacings_are_positive_numbers(rules):
    for rule in rules.values():
        assert float(rule["window_d_ref"]) >= 2
        for name in ("space_d_ref", "space_plants_per_m2", "pot_on_d_ref"):
            assert not rule[name] or (float(rule[name]) > 0 and math.isfinite(float(rule[name])))
