"""The chemistry engine as it is asked here."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sowbench.mixing.chemistry import (
    _ELEMENTS,
    ChemistryError,
    Engine,
    Solution,
    solve,
)
from sowbench.science.errors import OutOfRangeError

amounts = st.dictionaries(
    st.sampled_from([name for name in _ELEMENTS if name not in {"fe", "cu", "mn"}]),
    st.floats(0.01, 5.0),
    min_size=1,
    max_size=6,
)


@settings(max_examples=60, deadline=None)
@given(amounts)
def test_every_element_that_is_put_in_comes_back(mmol):
    # The engine drops what it does not know without a word, ammonium above all.
    given_in = {**mmol, "na": mmol.get("na", 0.0) + 60.0, "cl": mmol.get("cl", 0.0) + 60.0}
    (state,) = solve([Solution(given_in, co2_log_atm=-3.4)])
    assert state.mmol_kg.keys() == given_in.keys()
    for name, amount in given_in.items():
        assert state.mmol_kg[name] == pytest.approx(amount, rel=1e-6), name


def test_ammonium_counts_in_the_conductivity():
    (without, with_it) = solve(
        [Solution({"cl": 10.0, "na": 10.0}), Solution({"cl": 20.0, "na": 10.0, "nh4_n": 10.0})]
    )
    assert with_it.ec_ms_cm > 1.8 * without.ec_ms_cm


def test_nitrate_stays_nitrate_when_acid_is_put_to_it():
    (state,) = solve([Solution({"no3_n": 5.0, "ca": 2.0}, carbon_mmol_kg=1.0)])
    assert state.mmol_kg["no3_n"] == pytest.approx(5.0, rel=1e-6)


def test_many_solutions_at_once_are_those_one_by_one():
    asked = [Solution({"ca": 1.0 + k, "cl": 2.0 + 2 * k}, carbon_mmol_kg=k) for k in range(5)]
    assert [round(each.ph, 8) for each in solve(asked)] == [
        round(solve([each])[0].ph, 8) for each in asked
    ]


def test_concentrates_say_that_the_activity_model_is_beyond_its_range():
    (thin, thick) = solve(
        [Solution({"k": 10.0, "no3_n": 10.0}), Solution({"k": 2e3, "no3_n": 2e3})]
    )
    assert thin.trusted
    assert not thick.trusted


def test_what_falls_out_is_named_worst_first():
    (state,) = solve([Solution({"ca": 200.0, "no3_n": 400.0, "mg": 100.0, "s": 100.0})])
    assert state.falls_out[0] == "gypsum"


def test_an_engine_can_be_closed():
    with Engine() as own:
        assert own.solve([]) == ()
        assert own.solve([Solution({"na": 1.0, "cl": 1.0})])[0].ph == pytest.approx(7.0, abs=0.1)


def test_bad_questions_are_refused_before_the_engine_is_asked():
    with pytest.raises(OutOfRangeError, match="temp_c"):
        solve([Solution({"na": 1.0}, temp_c=80.0)])
    with pytest.raises(OutOfRangeError, match="one of"):
        solve([Solution({"xx": 1.0})])
    with pytest.raises(OutOfRangeError, match="0 mmol/kg"):
        solve([Solution({"na": -1.0})])
    with pytest.raises(OutOfRangeError, match="alkalinity"):
        solve([Solution({"na": 1.0}, alkalinity_meq_kg=1.0)])


def test_what_has_no_solution_is_an_error_and_the_engine_goes_on():
    with pytest.raises(ChemistryError, match=r"no solution|solved"):
        solve([Solution({"cl": 1.0}, alkalinity_meq_kg=500.0, ph=4.0, temp_c=10.0)])
    assert solve([Solution({"na": 1.0, "cl": 1.0})])[0].ph == pytest.approx(7.0, abs=0.1)
