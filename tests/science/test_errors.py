import pickle

import pytest

from sowbench.science.errors import (
    DoubtWarning,
    InputFileError,
    OutOfRangeError,
    Problem,
    SowbenchError,
    UnknownNameError,
)

ADVICE = "If this is °F, convert with units.f_to_c."
ERRORS = [
    OutOfRangeError("temp_air_c", "between -20 and 60 °C", 75, ADVICE),
    UnknownNameError("letuce", "crop", ["lettuce"]),
    InputFileError([Problem("orders.csv", 2, "crop", "letuce", "crop is not known.")]),
]


def test_out_of_range_message_has_name_rule_value_and_advice():
    assert str(ERRORS[0]) == (
        "temp_air_c must be between -20 and 60 °C; got 75. "
        "If this is °F, convert with units.f_to_c."
    )


def test_out_of_range_message_without_advice_ends_after_the_value():
    error = OutOfRangeError("photoperiod_h", "between 0 and 24 h", 25.5)
    assert str(error) == "photoperiod_h must be between 0 and 24 h; got 25.5."


def test_out_of_range_keeps_its_parts():
    error = OutOfRangeError("temp_air_c", "between -20 and 60 °C", 75, ADVICE)
    assert (error.name, error.rule, error.value, error.advice) == (
        "temp_air_c",
        "between -20 and 60 °C",
        75,
        ADVICE,
    )


@pytest.mark.parametrize(
    ("nearest", "ending"),
    [
        ([], ""),
        (["lettuce"], " Did you mean 'lettuce'?"),
        (["leek", "leaf beet"], " Did you mean 'leek' or 'leaf beet'?"),
    ],
)
def test_unknown_name_message_offers_what_is_near(nearest, ending):
    assert str(UnknownNameError("lek", "crop", nearest)) == f"Unknown crop 'lek'.{ending}"


def test_unknown_name_among_finds_the_nearest_whatever_the_case():
    error = UnknownNameError.among(" Pak choy", "crop", ["Pak Choi", "basil", "onion"])
    assert error.nearest == ["Pak Choi"]
    assert error.name == " Pak choy"


def test_unknown_name_among_offers_nothing_far_off():
    assert UnknownNameError.among("xyz", "crop", ["basil", "onion"]).nearest == []


def test_unknown_name_among_offers_no_more_than_three():
    known = [f"tray{n}" for n in range(10)]
    assert len(UnknownNameError.among("tray", "container", known).nearest) == 3


@pytest.mark.parametrize(
    ("problem", "line"),
    [
        (
            Problem("orders.csv", 3, "plants", "-4", "plants must be a whole number from 1 up."),
            "orders.csv, row 3, column plants: plants must be a whole number from 1 up. Got '-4'.",
        ),
        (
            Problem("orders.csv", None, "crop", None, "The column crop is missing."),
            "orders.csv, column crop: The column crop is missing.",
        ),
        (
            Problem("orders.csv", None, None, None, "The file is empty."),
            "orders.csv: The file is empty.",
        ),
        # An empty cell is a value too.
        (
            Problem("seed.csv", 2, "lot", "", "lot must not be blank."),
            "seed.csv, row 2, column lot: lot must not be blank. Got ''.",
        ),
    ],
)
def test_problem_says_where_it_is(problem, line):
    assert str(problem) == line


def test_input_file_error_prints_every_problem_in_the_order_given():
    problems = [Problem("orders.csv", row, "plants", "x", "Not a number.") for row in (9, 2, 5)]
    error = InputFileError(iter(problems))
    assert error.problems == problems
    assert str(error).splitlines() == [
        "3 problems; nothing was taken.",
        *(str(each) for each in problems),
    ]


def test_input_file_error_without_a_problem_is_refused():
    with pytest.raises(ValueError, match="at least one problem"):
        InputFileError([])


@pytest.mark.parametrize(
    ("kind", "builtin"),
    [
        (OutOfRangeError, ValueError),
        (UnknownNameError, LookupError),
        (InputFileError, ValueError),
    ],
)
def test_errors_are_of_the_family_and_of_the_builtin_that_fits(kind, builtin):
    assert issubclass(kind, SowbenchError)
    assert issubclass(kind, builtin)


def test_doubt_is_a_warning_for_the_user():
    assert issubclass(DoubtWarning, UserWarning)


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: type(error).__name__)
def test_errors_come_back_whole_from_another_process(error):
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error)
    assert vars(again) == vars(error)
