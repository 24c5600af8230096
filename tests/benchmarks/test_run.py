"""The command around the measures: what it keeps, and what it writes."""

from __future__ import annotations

import json
import re
from datetime import date

import pytest
from benchmarks import run
from benchmarks.measure import bare_loop_s, measure, peak_mib
from benchmarks.tables import report, table


@pytest.fixture(scope="module")
def result():
    return measure("made-20-3", 600.0, 1, 3, rounds=2) | {"load_before": 0.5, "load_after": 0.5}


def test_measure_names_all_methods_and_their_gaps_to_one_bound(result):
    assert set(result["methods"]) == {"planner", "first come", "hand rule"}
    for each in result["methods"].values():
        assert each["gap_frac"] == pytest.approx(each["cost"] / result["bound"] - 1)
        assert 0 <= each["played"]["filled_frac"] <= 1
        assert 0 < each["played"]["plants_in_time_frac"] <= 1
        assert each["played"]["n_years"] == 3
    assert result["methods"]["planner"]["gap_frac"] > -1e-6
    assert result["memory_mib"] >= 0  # 0 where this process has held more before


def test_report_is_at_most_a_hundred_columns_wide(result):
    text = report([result], "python -m benchmarks.run", "2 cores", date(2027, 1, 4))
    assert max(len(line) for line in text.splitlines()) <= 100
    for method in result["methods"]:
        assert re.search(rf"made-20-3 +\| {method}", text)


def test_report_says_what_failed():
    bad = {"name": "made-2000-1", "seconds_limit": 30.0, "error": "over 5 s"}
    text = report([bad], "python -m benchmarks.run", "2 cores", date(2027, 1, 4))
    assert "made-2000-1, 30 s: not measured, over 5 s." in text


def test_too_wide_a_table_is_refused():
    with pytest.raises(ValueError, match="at most 100 columns; got 107"):
        table(("a", "b"), [("x" * 50, "y" * 50)])


def test_best_keeps_lower_costs_and_higher_bounds_of_the_same_files(tmp_path, monkeypatch):
    folder = tmp_path / "small"
    folder.mkdir()
    for each in run.FILES:
        (folder / each).write_text("a", encoding="utf-8")
    monkeypatch.setattr(run, "INSTANCES", tmp_path)
    monkeypatch.setattr(run, "instance_names", lambda: ["small"])

    def kept(cost, bound, n_candidates=7):
        result = {
            "name": "small",
            "seed": 1,
            "bound": bound,
            "methods": {"planner": {"cost": cost}},
            "seconds": {"n_candidates": float(n_candidates)},
        }
        run.keep_best(result, "run")
        return json.loads((folder / "best.json").read_text(encoding="utf-8"))

    assert kept(110.0, 100.0)["gap_frac"] == pytest.approx(0.1)
    best = kept(120.0, 104.0)
    assert (best["cost"], best["bound"]) == (110.0, 104.0)
    assert kept(108.0, 90.0)["gap_frac"] == pytest.approx(4 / 104, abs=1e-6)
    wider = kept(109.0, 80.0, n_candidates=9)
    assert (wider["cost"], wider["bound"]) == (108.0, 80.0)
    (folder / "house.toml").write_text("b", encoding="utf-8")
    assert kept(150.0, 120.0)["cost"] == 150.0


def test_failing_process_is_told_not_hidden():
    assert "error" in run.run_one("made-5-1", 1.0, 1, 0, 60.0)


def test_loop_and_memory_are_measured():
    assert bare_loop_s(1000) > 0
    assert peak_mib() > 10
